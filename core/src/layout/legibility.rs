//! How high text must be to be read: angles seen from the reading distance; and how a label fares.

use super::{Build, Design, Layout, Strokes, Turn};
use crate::font::Size;
use crate::media::Printer;
use crate::unit::{Dots, Micrometres};
use std::fmt;

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

/// The distance at which a height is seen under so many minutes of arc.
pub fn distance(height: Micrometres, minutes: u32) -> Micrometres {
    height.scaled(1.0 / (2.0 * small_tangent(f64::from(minutes) * MINUTE / 2.0)))
}

/// Fewer dots of stroke than this break up in print (common practice, no source).
const LEAST_STROKE_DOTS: usize = 2;

/// How well a label can be read.
///
/// Displayed in plain words, as one line without a full stop.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Legibility {
    /// Height of capitals on the finished label, after shrinking.
    pub cap: Micrometres,
    /// Dots that is printed in.
    pub cap_dots: Dots,
    /// Height of capitals as printed; above [`Self::cap`] on a sleeve.
    pub printed: Micrometres,
    /// Reading distance it is good for: capitals are seen under 20′.
    pub good_to: Micrometres,
    /// Distance at which it can just be read: 16′.
    pub readable_to: Micrometres,
    /// Reading distance asked for.
    pub asked: Micrometres,
    /// Dots of the thinnest straight stem, as drawn. The target is a sixth of the height
    /// (DOD-HDBK-791(AM) 6-5.3.2.3).
    pub stroke_dots: usize,
    /// Width of a module of the label's code on the finished label; `None` without a code.
    pub module: Option<Micrometres>,
}

impl Legibility {
    /// Looks at a label that has been laid out.
    pub fn of(layout: &Layout, printer: &Printer, design: &Design, strokes: &mut Strokes<'_>) -> Self {
        let text = &layout.block.text;
        let size = Size { style: text.style, cap: text.cap.0, ratio_milli: text.ratio_milli };
        let along = layout.block.copies.first().is_none_or(|&(turn, _, _)| turn == Turn::Along);
        let printed = if along { printer.across } else { printer.along }.length(text.cap);
        Self {
            cap: layout.cap,
            cap_dots: text.cap,
            printed: if layout.build == Build::Sleeve { printed } else { layout.cap },
            good_to: distance(layout.cap, 20),
            readable_to: distance(layout.cap, 16),
            asked: design.reading,
            stroke_dots: strokes.of_text(text.lines.iter().map(|line| line.text.as_str()), size),
            module: layout.code.as_ref().map(|code| code.module),
        }
    }

    /// Whether capitals are below what one aims at, 20′ at the distance asked for.
    ///
    /// Compared as heights, so that a label at the aim to a micrometre is not called small.
    pub fn small(&self) -> bool {
        self.cap < cap_height(self.asked, 20)
    }

    /// Whether strokes are thinner than two dots although a sixth of the height has two.
    pub fn thin(&self) -> bool {
        thin(self.stroke_dots, self.cap_dots)
    }
}

/// Whether strokes of so many dots are too thin for capitals of this height.
pub fn thin(stroke_dots: usize, cap: Dots) -> bool {
    stroke_dots < LEAST_STROKE_DOTS && cap >= Dots(6 * 2)
}

/// Metres with two decimals at most, rounded down: nobody is promised more than there is.
fn metres(distance: Micrometres) -> String {
    let centimetres = distance.0 / 10_000;
    let text = format!("{}.{:02}", centimetres / 100, centimetres % 100);
    format!("{} m", text.trim_end_matches('0').trim_end_matches('.'))
}

impl fmt::Display for Legibility {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "capitals {:.1} mm", self.cap.mm())?;
        if self.printed == self.cap {
            write!(f, " ({} dots)", self.cap_dots.0)?;
        } else {
            write!(f, " after shrinking (printed {:.1} mm, {} dots)", self.printed.mm(), self.cap_dots.0)?;
        }
        write!(f, ", good to {}", metres(self.good_to))?;
        if self.small() {
            write!(f, ", asked {}; can just be read at {}", metres(self.asked), metres(self.readable_to))?;
        }
        let dots = if self.stroke_dots == 1 { "dot" } else { "dots" };
        write!(f, "; strokes {} {dots} thick", self.stroke_dots)?;
        if self.thin() {
            write!(f, ", too thin to print well")?;
        }
        match self.module {
            Some(module) => write!(f, "; code modules of {:.2} mm", module.mm()),
            None => Ok(()),
        }
    }
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
    /// NUREG-0700 rev 3 11.4.1.5: D/229 under 15′, D/215 under 16′, D/172 under 20′; FAA 1/200: 2.5 mm
    /// at 0.5 m (17.2′). Calculated independently.
    #[test]
    fn distances_are_heights_turned_round() {
        for (height, minutes, wanted) in
            [(10.0, 15, 2292.0), (10.0, 16, 2149.0), (10.0, 20, 1719.0), (2.5, 20, 429.7), (2.5, 16, 537.1)]
        {
            let found = distance(Micrometres::from_mm(height), minutes).mm();
            assert!((found - wanted).abs() < 0.6, "{height} mm under {minutes}′: {found}, wanted {wanted}");
        }
        let faa = Micrometres::from_mm(2.5);
        assert!(distance(faa, 20) < Micrometres::from_mm(500.0) && distance(faa, 16) > Micrometres::from_mm(500.0));
    }

    fn legibility(cap: f64, dots: i64, stroke_dots: usize) -> Legibility {
        let cap = Micrometres::from_mm(cap);
        Legibility {
            cap,
            cap_dots: Dots(dots),
            printed: cap,
            good_to: distance(cap, 20),
            readable_to: distance(cap, 16),
            asked: Micrometres::from_mm(500.0),
            stroke_dots,
            module: None,
        }
    }

    #[test]
    fn the_line_is_in_plain_words() {
        assert_eq!(
            legibility(3.1, 22, 4).to_string(),
            "capitals 3.1 mm (22 dots), good to 0.53 m; strokes 4 dots thick"
        );
        let small = legibility(2.4, 17, 3);
        assert_eq!(
            small.to_string(),
            "capitals 2.4 mm (17 dots), good to 0.41 m, asked 0.5 m; can just be read at 0.51 m; strokes 3 dots thick"
        );
        let sleeve =
            Legibility { printed: Micrometres::from_mm(4.4), module: Some(Micrometres(423)), ..legibility(3.1, 31, 1) };
        assert_eq!(
            sleeve.to_string(),
            "capitals 3.1 mm after shrinking (printed 4.4 mm, 31 dots), good to 0.53 m; strokes 1 dot thick, too thin to print well; code modules of 0.42 mm"
        );
        assert!(!legibility(1.0, 7, 1).thin() && small.small() && !legibility(2.91, 21, 3).small());
    }
}
