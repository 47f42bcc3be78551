//! Arrows that stay crisp at one bit.

use crate::bitmap::Bitmap;

/// Where an arrow points, in the directions of the text beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// Against the reading direction.
    Left,
    /// In the reading direction.
    Right,
    /// To the top edge of the text.
    Up,
    /// To the bottom edge of the text.
    Down,
}

impl Direction {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Left, Self::Right, Self::Up, Self::Down];

    /// The word for it in a job file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
            Self::Up => "up",
            Self::Down => "down",
        }
    }

    /// The direction of that name.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|direction| direction.word() == word)
    }
}

/// The least arrow: 7 dots each way. Below that head and shaft cannot be told apart.
pub const LEAST: usize = 7;

/// An arrow that fills a box of `lines` by `dots`; blank if the box is below [`LEAST`] either way.
///
/// # Guarantees
/// Each step of the head is one dot along for one dot on either side, so its flanks have no uneven
/// stairs. The arrow is symmetric about its axis to the dot. A box longer than the head needs
/// lengthens the shaft; a box too short for its width leaves paper at both sides.
pub fn arrow(direction: Direction, lines: usize, dots: usize) -> Bitmap {
    match direction {
        Direction::Right => pointing_right(lines, dots),
        Direction::Left => pointing_right(lines, dots).turned(),
        // A quarter turn makes what ran along the tape run up.
        Direction::Up => pointing_right(dots, lines).quarter_turned(),
        Direction::Down => pointing_right(dots, lines).quarter_turned().turned(),
    }
}

fn pointing_right(lines: usize, dots: usize) -> Bitmap {
    let mut arrow = Bitmap::new(dots, lines);
    if lines < LEAST || dots < LEAST {
        return arrow;
    }
    // The head is half as long as it is wide; the shaft at least two fifths of the whole.
    let head = dots.div_ceil(2).min(lines * 3 / 5);
    // Of the parity of the box, so that the axis lies in its middle: the tip is 1 or 2 dots.
    let tip = if dots.is_multiple_of(2) { 2 } else { 1 };
    let wide = 2 * (head - 1) + tip;
    // About a third of the width, of the same parity.
    let third = wide / 3;
    let shaft = if third % 2 == tip % 2 { third } else { third + 1 }.max(tip);
    for step in 0..head {
        let height = tip + 2 * step;
        arrow.fill(lines - 1 - step, 1, (dots - height) / 2, height);
    }
    arrow.fill(0, lines - head, (dots - shaft) / 2, shaft);
    arrow
}
