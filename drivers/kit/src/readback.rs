//! Turning a stream into lines and cuts again.

use tapewright_abi::value::Cut;

use crate::Fault;

/// Reads one stream, piece by piece. Its memory must not grow with the stream.
pub trait Readback: Send {
    /// Reads the next bytes; pieces may end anywhere.
    ///
    /// # Errors
    ///
    /// A [`Fault`] when the stream is not in order: the byte offset, what was found, what was
    /// wanted. Faults of `events` are passed on. The decoder is not called again after one.
    fn push(&mut self, bytes: &[u8], events: &mut dyn Events) -> Result<(), Fault>;

    /// The stream ends here.
    ///
    /// # Errors
    ///
    /// As [`Readback::push`]; also when the stream stops in the middle.
    fn finish(&mut self, events: &mut dyn Events) -> Result<(), Fault>;
}

/// Where a decoder reports, in the order
/// `(strip_begin (lines | blank | cut)* strip_end)*`.
///
/// # Errors
///
/// A [`Fault`] of any function means stop: return it.
pub trait Events {
    /// A strip begins.
    ///
    /// # Errors
    ///
    /// When the host wants to stop, as for all of these.
    fn strip_begin(&mut self, page: &Page) -> Result<(), Fault>;

    /// `count` (at least 1) lines, back to back, ⌈dots / 8⌉ bytes each, spare bits 0.
    ///
    /// # Errors
    ///
    /// As [`Events::strip_begin`].
    fn lines(&mut self, rows: &[u8], count: u32) -> Result<(), Fault>;

    /// `count` (at least 1) lines without ink.
    ///
    /// # Errors
    ///
    /// As [`Events::strip_begin`].
    fn blank(&mut self, count: u32) -> Result<(), Fault>;

    /// A cut, anywhere in its strip; cuts ascend strictly.
    ///
    /// # Errors
    ///
    /// As [`Events::strip_begin`].
    fn cut(&mut self, cut: Cut) -> Result<(), Fault>;

    /// The strip ends.
    ///
    /// # Errors
    ///
    /// As [`Events::strip_begin`].
    fn strip_end(&mut self) -> Result<(), Fault>;
}

/// Head of a strip as it stands in the stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Page {
    /// Lines of the strip; `None` when the stream does not say in advance.
    pub lines: Option<u32>,
    /// Width of a line in dots, at least 1.
    pub dots: u32,
    /// Thousandths of a dot per inch across the tape; `None` when the stream does not say.
    pub dpi_across_milli: Option<u32>,
    /// Thousandths of a line per inch along the tape; `None` when the stream does not say.
    pub dpi_along_milli: Option<u32>,
}
