//! Damaged streams: an error or other lines, never a panic, never a broken contract.

use tapewright_host::{FaultKind, HostError};

use crate::{Family, Found, Random};

/// The text of a fault. A damaged stream may be refused by a fault of the driver, and in no other
/// way.
///
/// # Panics
///
/// When it was refused in another way, a panic of the driver included.
pub fn refused(error: &HostError) -> &str {
    match error {
        HostError::Fault(fault) if fault.kind == FaultKind::Fault => {
            assert!(!fault.text.contains("panicked"), "{}", fault.text);
            &fault.text
        }
        other => panic!("refused in the wrong way: {other}"),
    }
}

/// How streams with one wrong bit fared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Flips {
    /// Read without an error.
    pub survived: usize,
    /// Refused.
    pub told: usize,
}

impl Family {
    /// Every beginning of a stream is refused because it ends, and the whole stream is not. Read in
    /// parts of 64 bytes.
    ///
    /// # Panics
    ///
    /// When one is not.
    pub fn refuses_every_truncation(&self, stream: &[u8]) {
        let name = &self.name;
        for end in 0..stream.len() {
            match self.read(&stream[..end], 64) {
                Ok(_) => panic!("{name}: took {end} of {} bytes", stream.len()),
                Err(error) => assert!(refused(&error).contains("the stream ends"), "{name}, {end}: {error}"),
            }
        }
        self.read(stream, 64).unwrap_or_else(|error| panic!("{name}: {error}"));
    }

    /// A stream with one bit wrong, for every bit of it, is refused or holds what `is_likely` allows.
    /// Read in parts of `step` bytes.
    ///
    /// # Panics
    ///
    /// When it does other harm.
    pub fn survives_flips(&self, stream: &[u8], step: usize, is_likely: impl Fn(&Found) -> bool) -> Flips {
        let mut flips = Flips { survived: 0, told: 0 };
        let mut damaged = stream.to_vec();
        for at in 0..stream.len() {
            for bit in 0..8 {
                damaged[at] = stream[at] ^ (1 << bit);
                match self.read(&damaged, step) {
                    Ok(found) => {
                        assert!(is_likely(&found), "{}: byte {at} bit {bit}: {:?}", self.name, found.pages);
                        flips.survived += 1;
                    }
                    Err(error) => {
                        refused(&error);
                        flips.told += 1;
                    }
                }
            }
            damaged[at] = stream[at];
        }
        flips
    }

    /// A stream with one byte lost or doubled, for every byte of it, does no harm. Read in parts of
    /// 90 bytes.
    ///
    /// # Panics
    ///
    /// When it does.
    pub fn survives_lost_and_doubled_bytes(&self, stream: &[u8]) {
        for at in 0..stream.len() {
            let (head, tail) = stream.split_at(at);
            for damaged in [[head, &tail[1..]].concat(), [head, &tail[..1], tail].concat()] {
                if let Err(error) = self.read(&damaged, 90) {
                    refused(&error);
                }
            }
        }
    }

    /// Makes 300 streams and reads them in parts of 90 bytes: none does harm. `noise` is given the
    /// number of the stream and a seeded source. Returns how many were refused.
    ///
    /// # Panics
    ///
    /// When one does harm.
    pub fn survives_noise(&self, mut noise: impl FnMut(usize, &mut Random) -> Vec<u8>) -> usize {
        let mut random = Random::new(3);
        let streams = (0..300).map(|number| noise(number, &mut random));
        let told = streams.filter(|stream| self.read(stream, 90).map_err(|error| _ = refused(&error)).is_err());
        told.count()
    }
}
