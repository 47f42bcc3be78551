//! A round surface seen from far away: what lies at an arc shows at `x = (D / 2) sin θ`.

use std::f64::consts::FRAC_PI_2;

/// A cylinder's surface, lengths in millimetres.
#[derive(Clone, Copy, Debug)]
pub(super) struct Round {
    pub(super) radius: f64,
}

impl Round {
    /// Once round it.
    pub(super) const fn circumference(self) -> f64 {
        self.radius * std::f64::consts::TAU
    }

    /// Longest arc on either side of straight on that is seen.
    pub(super) const fn quarter(self) -> f64 {
        self.radius * FRAC_PI_2
    }

    /// Where a point at `arc` from straight on is seen, from the middle; what lies behind is at the rim.
    pub(super) fn seen(self, arc: f64) -> f64 {
        self.radius * sine((arc / self.radius).clamp(-FRAC_PI_2, FRAC_PI_2))
    }
}

/// Sine of an angle from -π/2 to π/2, the same bits on any machine: the Taylor series to x¹³, which is
/// off by 7·10⁻¹⁰ at most (the first term left out, x¹⁵/15!, at π/2).
fn sine(x: f64) -> f64 {
    let square = x * x;
    let mut sum = 0.0;
    for n in [12.0, 10.0, 8.0, 6.0, 4.0, 2.0] {
        sum = (1.0 - sum) * square / (n * (n + 1.0));
    }
    x * (1.0 - sum)
}

/// Points of a full circle.
pub(super) fn circle((x, y): (f64, f64), radius: f64) -> Vec<(f64, f64)> {
    const QUARTER: i32 = 24;
    let around = Round { radius };
    let step = |n: i32| around.quarter() * f64::from(n) / f64::from(QUARTER);
    let corner = |n: i32| (around.seen(step(n)), around.seen(step(QUARTER - n)));
    (0..4 * QUARTER)
        .map(|n| {
            let (quarter, part) = (n / QUARTER, n % QUARTER);
            let (across, up) = corner(part);
            match quarter {
                0 => (x + across, y - up),
                1 => (x + up, y + across),
                2 => (x - across, y + up),
                _ => (x - up, y - across),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{FRAC_PI_3, FRAC_PI_4, FRAC_PI_6};

    #[test]
    fn the_sine_is_the_sine() {
        // Sines of 30°, 45°, 60° and 90°.
        for (angle, wanted) in
            [(FRAC_PI_6, 0.5), (FRAC_PI_4, 0.5_f64.sqrt()), (FRAC_PI_3, 0.75_f64.sqrt()), (FRAC_PI_2, 1.0), (0.0, 0.0)]
        {
            assert!((sine(angle) - wanted).abs() < 1e-9, "{angle}: {} for {wanted}", sine(angle));
            assert!((sine(-angle) + wanted).abs() < 1e-9, "-{angle}");
        }
    }

    #[test]
    fn what_lies_behind_is_at_the_rim() {
        let round = Round { radius: 3.0 };
        assert!((round.seen(round.circumference() / 12.0) - 1.5).abs() < 1e-8);
        assert!((round.seen(7.0) - 3.0).abs() < 1e-8 && (round.seen(-70.0) + 3.0).abs() < 1e-8);
    }

    #[test]
    fn a_circle_is_as_far_from_its_middle_everywhere() {
        let points = circle((5.0, -2.0), 3.0);
        for (nth, (x, y)) in points.iter().enumerate() {
            let far = ((x - 5.0) * (x - 5.0) + (y + 2.0) * (y + 2.0)).sqrt();
            assert!((far - 3.0).abs() < 1e-6, "{nth}: {far}");
            let (next_x, next_y) = points[(nth + 1) % points.len()];
            let step = ((x - next_x) * (x - next_x) + (y - next_y) * (y - next_y)).sqrt();
            assert!(step < 0.2, "{nth}: a step of {step}");
        }
    }
}
