//! Patterns that stand for a length.

use super::{Area, count, frame, thickness};
use crate::bitmap::Bitmap;
use crate::unit::{Dots, Dpi, Micrometres};

/// The stroke of a hatch: 0.6 mm. At 500 mm that is 4 minutes of arc, four times what normal
/// sight resolves (1 minute: ISO 8596, from memory), which leaves room for dim light.
const STROKE: Micrometres = Micrometres(600);

/// A field that is told from the other fields at a glance, in one colour and in dim light.
///
/// They differ in what is easy to see: how many bars, which way the hatch runs, how dark the field
/// is. Each looks the same when the label is turned by 180 degrees. No standard gives them a
/// meaning; the user's table does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Pattern {
    /// All ink.
    Solid,
    /// One bar across the text line, a third of the field.
    Bars1,
    /// Two bars.
    Bars2,
    /// Three bars.
    Bars3,
    /// Hatched, strokes rising to the right.
    Rising,
    /// Hatched, strokes falling to the right.
    Falling,
    /// Squares of a chess board.
    Chequer,
    /// Dots with much paper between them: the lightest field.
    Dots,
}

impl Pattern {
    /// All of them.
    pub const ALL: [Self; 8] =
        [Self::Solid, Self::Bars1, Self::Bars2, Self::Bars3, Self::Rising, Self::Falling, Self::Chequer, Self::Dots];

    /// The word for it in a job file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Solid => "solid",
            Self::Bars1 => "bars-1",
            Self::Bars2 => "bars-2",
            Self::Bars3 => "bars-3",
            Self::Rising => "rising",
            Self::Falling => "falling",
            Self::Chequer => "chequer",
            Self::Dots => "dots",
        }
    }

    /// The pattern of that name.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|pattern| pattern.word() == word)
    }

    /// The least field in which every pattern is still told from the others: (along, across).
    ///
    /// Three bars with their gaps are seven strokes along; a hatch needs five across. The outline
    /// comes on top.
    pub fn least(along: Dpi, up: Dpi) -> (Dots, Dots) {
        let dots = |n: usize| Dots(i64::try_from(n).unwrap_or(i64::MAX));
        (dots(7 * stroke(along) + 2 * thickness(along)), dots(5 * stroke(up) + 2 * thickness(up)))
    }

    /// A field of `lines` by `dots` in an outline, for a head of these resolutions.
    ///
    /// Strokes are about 0.6 mm, at least 3 dots; bars share the field evenly. The hatch starts from the
    /// middle, so that the field is the same from both sides.
    pub fn draw(self, lines: usize, dots: usize, along: Dpi, up: Dpi) -> Bitmap {
        let mut field = Bitmap::new(dots, lines);
        let all = Area::of(&field);
        frame(&mut field, all, thickness(along), thickness(up));
        let inner = all.inside(thickness(along), thickness(up));
        match self {
            Self::Solid => field.fill(0, lines, 0, dots),
            Self::Bars1 => bars(&mut field, inner, 1),
            Self::Bars2 => bars(&mut field, inner, 2),
            Self::Bars3 => bars(&mut field, inner, 3),
            _ => self.hatch(&mut field, inner, stroke(along), stroke(up)),
        }
        field
    }

    fn hatch(self, field: &mut Bitmap, inner: Area, along: usize, up: usize) {
        for l in 0..inner.lines {
            for d in 0..inner.dots {
                // Twice the distance from the middle, in strokes of each direction times both:
                // whole numbers that change their sign when the field is turned.
                let x = signed(2 * l + 1) - signed(inner.lines);
                let y = signed(2 * d + 1) - signed(inner.dots);
                let (x, y) = (x * signed(up), y * signed(along));
                let one = 2 * signed(along * up);
                let ink = match self {
                    Self::Rising => band(x - y, 4 * one, 2 * one),
                    Self::Falling => band(x + y, 4 * one, 2 * one),
                    // Squares of one and a half strokes.
                    Self::Chequer => {
                        let square = 3 * one / 2;
                        (nearest(x, square) + nearest(y, square)).rem_euclid(2) == 0
                    }
                    _ => {
                        let (to_x, to_y) = (from_middle(x, 3 * one), from_middle(y, 3 * one));
                        // Round, one and a half strokes across, and only where there is room for
                        // a whole one.
                        let room = |at: i64, half: i64| at.abs() + 3 * one / 4 <= half;
                        let (wide, high) = (signed(inner.lines * up), signed(inner.dots * along));
                        room(x - to_x, wide)
                            && room(y - to_y, high)
                            && 16 * (to_x * to_x + to_y * to_y) <= 9 * one * one
                    }
                };
                if ink {
                    field.set(inner.line + l, inner.dot + d);
                }
            }
        }
    }
}

/// Whether a place lies in a stripe: stripes as wide as `ink`, one every `every`, one in the middle.
///
/// A place on a border is paper on both sides of the stripe.
fn band(at: i64, every: i64, ink: i64) -> bool {
    2 * from_middle(at, every).abs() < ink
}

/// How far a place lies from the next multiple of `every`.
fn from_middle(at: i64, every: i64) -> i64 {
    let at = at.rem_euclid(every);
    if 2 * at > every { at - every } else { at }
}

/// Which multiple of `every` a place is nearest to; halves away from the middle, so both sides agree.
fn nearest(at: i64, every: i64) -> i64 {
    at.signum() * ((2 * at.abs() + every) / (2 * every))
}

/// So many bars, all alike, with paper between and beside them that differs by a dot at most.
fn bars(field: &mut Bitmap, inner: Area, bars: usize) {
    let mut wide = inner.lines / (2 * bars + 1);
    // An odd bar stands in the middle, which needs an even rest.
    if bars % 2 == 1 && (inner.lines - bars * wide) % 2 == 1 {
        wide = wide.saturating_sub(1);
    }
    let paper = inner.lines - bars * wide;
    for bar in 0..bars {
        // Counted from the nearer end, so that the field is symmetric.
        let before = if 2 * (bar + 1) <= bars + 1 {
            paper * (bar + 1) / (bars + 1)
        } else {
            paper - paper * (bars - bar) / (bars + 1)
        };
        field.fill(inner.line + before + bar * wide, wide, inner.dot, inner.dots);
    }
}

/// The stroke in dots: at least 3, since a burnt dot is larger than its pitch and closes gaps of one.
fn stroke(dpi: Dpi) -> usize {
    count(dpi.dots_nearest(STROKE)).max(3)
}

fn signed(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}
