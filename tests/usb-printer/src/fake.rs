//! The printer in this process, without libusb and without a system's USB.

use crate::model::{End, Model};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tapewright_usb::{CHUNK, Data, Stop, Wire};

/// A printer that several hold.
#[derive(Clone)]
pub struct Shared(Arc<Mutex<Model>>);

impl Shared {
    /// Shares a printer.
    #[must_use]
    pub fn new(model: Model) -> Self {
        Self(Arc::new(Mutex::new(model)))
    }

    /// The printer, for a moment.
    pub fn model(&self) -> MutexGuard<'_, Model> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A wire to it. A transfer that would wait times out at once: the fake has no clock.
pub struct Fake(pub Shared);

const fn result(end: End) -> Result<(), Stop> {
    match end {
        End::Done => Ok(()),
        End::Waits => Err(Stop::TimedOut),
        End::Stalled => Err(Stop::Stalled),
        End::Garbled => Err(Stop::Garbled),
        End::Gone => Err(Stop::Gone),
    }
}

impl Wire for Fake {
    fn control(
        &self,
        request_type: u8,
        request: u8,
        value: u16,
        index: u16,
        data: &mut [u8],
        _within: Duration,
    ) -> Result<usize, Stop> {
        let ([v0, v1], [i0, i1]) = (value.to_le_bytes(), index.to_le_bytes());
        let [l0, l1] = u16::try_from(data.len()).unwrap_or(u16::MAX).to_le_bytes();
        let mut model = self.0.model();
        if model.gone() {
            return Err(Stop::Gone);
        }
        let answer = model.control([request_type, request, v0, v1, i0, i1, l0, l1]).ok_or(Stop::Stalled)?;
        data[..answer.len()].copy_from_slice(&answer);
        Ok(answer.len())
    }

    fn bulk(&self, _endpoint: u8, data: Data<'_>, _within: Duration) -> (usize, Result<(), Stop>) {
        let mut model = self.0.model();
        match data {
            Data::Out(bytes) => {
                let (taken, end) = model.bulk_out(&bytes[..bytes.len().min(CHUNK)]);
                (taken, result(end))
            }
            Data::In(room) => {
                let (answer, end) = model.bulk_in(room.len());
                room[..answer.len()].copy_from_slice(&answer);
                (answer.len(), result(end))
            }
        }
    }

    fn clear_halt(&self, endpoint: u8) -> Result<(), Stop> {
        let mut model = self.0.model();
        if model.gone() {
            return Err(Stop::Gone);
        }
        model.clear_halt(endpoint);
        Ok(())
    }
}
