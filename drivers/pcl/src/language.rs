//! Words and numbers of the language that writer and reader share.

/// Universal exit: leaves whatever language the device speaks, so that it looks for a new one.
pub(crate) const EXIT: &[u8] = b"\x1B%-12345X";

/// Printer reset: defaults everywhere, and a page that holds something is fed out.
pub(crate) const RESET: &[u8] = b"\x1BE";

/// Form feed: the page ends.
pub(crate) const FORM_FEED: u8 = 0x0C;

/// Resolutions in dots per inch, the same in both directions.
pub(crate) const RESOLUTIONS: [u32; 6] = [75, 100, 150, 200, 300, 600];

/// Greatest number in a command.
pub(crate) const GREATEST: u32 = 32_767;

/// The unit of the line spacing, 1/48 inch, to four decimal places: so many stand for an inch.
pub(crate) const SPACINGS_PER_INCH: u32 = 480_000;

/// How the bytes of a row are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mode {
    /// As they are.
    Plain,
    /// PackBits.
    Packed,
    /// What differs from the row before.
    Delta,
}

impl Mode {
    pub(crate) const ALL: [Mode; 3] = [Mode::Plain, Mode::Packed, Mode::Delta];

    /// The number in the command.
    pub(crate) const fn number(self) -> u32 {
        match self {
            Mode::Plain => 0,
            Mode::Packed => 2,
            Mode::Delta => 3,
        }
    }

    pub(crate) fn from_number(number: u32) -> Option<Mode> {
        Mode::ALL.into_iter().find(|mode| mode.number() == number)
    }
}
