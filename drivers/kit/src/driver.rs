//! What a driver does.

use tapewright_abi::value::DeviceStatus;

use crate::{Fault, Job, Out, Strip};

/// Turns a job into a stream, step by step. It does no input and no output of its own.
///
/// The kit calls in this order and no other:
/// `begin_job (begin_strip (lines | blank)* end_strip)* end_job`, lines exactly as many as the
/// strip announced. After a fault or [`Driver::cancel`] the next call is `begin_job` or none.
///
/// # Errors
///
/// A [`Fault`] of any step ends the job; what the step has put out is dropped when the host
/// cancels.
pub trait Driver: Send {
    /// A job begins. Options are already checked against the family's description.
    ///
    /// # Errors
    ///
    /// When the job cannot be done.
    fn begin_job(&mut self, job: &Job<'_>, out: &mut Out) -> Result<(), Fault>;

    /// A strip begins.
    ///
    /// # Errors
    ///
    /// When the strip cannot be done.
    fn begin_strip(&mut self, strip: &Strip<'_>, out: &mut Out) -> Result<(), Fault>;

    /// `count` (at least 1) head lines, back to back, `bytes_per_line` each.
    ///
    /// # Errors
    ///
    /// When they cannot be put out.
    fn lines(&mut self, rows: &[u8], count: u32, out: &mut Out) -> Result<(), Fault>;

    /// `count` (at least 1) head lines without ink.
    ///
    /// # Errors
    ///
    /// When they cannot be put out.
    fn blank(&mut self, count: u32, out: &mut Out) -> Result<(), Fault>;

    /// All lines of the strip have come.
    ///
    /// # Errors
    ///
    /// When the strip cannot be finished.
    fn end_strip(&mut self, out: &mut Out) -> Result<(), Fault>;

    /// All strips of the job have come.
    ///
    /// # Errors
    ///
    /// When the job cannot be finished.
    fn end_job(&mut self, out: &mut Out) -> Result<(), Fault>;

    /// The job is given up, at whatever point. Puts out what the device needs to become usable
    /// again; by default nothing.
    ///
    /// # Errors
    ///
    /// When even that cannot be done.
    fn cancel(&mut self, out: &mut Out) -> Result<(), Fault> {
        let _ = out;
        Ok(())
    }

    /// What the device said after [`Out::wait_reply`]; empty when nothing came in time or the link
    /// cannot answer.
    ///
    /// # Errors
    ///
    /// When the answer means that the job cannot go on.
    fn reply(&mut self, bytes: &[u8], out: &mut Out) -> Result<(), Fault> {
        let _ = (bytes, out);
        Ok(())
    }

    /// The status byte of a USB printer (USB Printer Class 1.1, GET_PORT_STATUS).
    ///
    /// # Errors
    ///
    /// When it means that the job cannot go on.
    fn port_status(&mut self, status: u8) -> Result<(), Fault> {
        let _ = status;
        Ok(())
    }

    /// What the device last told about itself; by default that nothing is known.
    fn status(&self) -> DeviceStatus {
        DeviceStatus::default()
    }
}
