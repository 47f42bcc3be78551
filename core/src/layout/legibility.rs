//! How high text must be to be read: angles seen from the reading distance.

use crate::unit::Micrometres;

/// One minute of arc in radians.
const MINUTE: f64 = std::f64::consts::PI / (180.0 * 60.0);

/// Tangent of a small angle by its series; below half a degree the next term is under 1e-15.
fn small_tangent(angle: f64) -> f64 {
    angle + angle * angle * angle / 3.0
}

/// Height that is seen under so many minutes of arc: `H = 2·d·tan(α/2)`.
///
/// Source of the angles used: NUREG-0700 11.4.1.5 (15′ minimum, 16′ to 18′ the group's view,
/// 20′ preferred); 16′ warns and 20′ is aimed at.
pub fn cap_height(distance: Micrometres, minutes: u32) -> Micrometres {
    distance.scaled(2.0 * small_tangent(f64::from(minutes) * MINUTE / 2.0))
}

/// The angle a height is seen under, in thousandths of a minute of arc (small-angle, so slightly high).
pub fn arc_minutes_milli(height: Micrometres, distance: Micrometres) -> i64 {
    if distance.0 <= 0 { 0 } else { Micrometres::from_mm(height.mm() / distance.mm() / MINUTE).0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `H = 2·D·tan(α/2)` at 0.35, 0.5, 0.71, 1, 2 and 3 m, calculated independently and rounded as
    /// printed: NUREG-0700 rev 3 11.4.1.5 (15′, 16′, 20′), FAA 1/200 (17.2′), BGI 650 H = D/155 (22′).
    #[test]
    fn heights_by_distance_and_angle() {
        for (minutes, heights) in [
            (15, [1.53, 2.18, 3.10, 4.36, 8.73, 13.1]),
            (16, [1.63, 2.33, 3.30, 4.65, 9.31, 14.0]),
            (18, [1.83, 2.62, 3.72, 5.24, 10.5, 15.7]),
            (20, [2.04, 2.91, 4.13, 5.82, 11.6, 17.5]),
            (22, [2.24, 3.20, 4.54, 6.40, 12.8, 19.2]),
        ] {
            for (metres, wanted) in [0.35, 0.5, 0.71, 1.0, 2.0, 3.0].into_iter().zip(heights) {
                let found = cap_height(Micrometres::from_mm(metres * 1000.0), minutes).mm();
                let rounding = if wanted >= 10.0 { 0.051 } else { 0.0051 };
                assert!((found - wanted).abs() <= rounding, "{minutes}′ at {metres} m: {found}, wanted {wanted}");
            }
        }
        // FAA: 1/200 of the distance is seen under 17.2′.
        let minutes = arc_minutes_milli(Micrometres::from_mm(2.5), Micrometres::from_mm(500.0));
        assert!((17_150..17_250).contains(&minutes), "{minutes}");
    }
}
