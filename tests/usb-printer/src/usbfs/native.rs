//! Numbers in the machine's own byte order, which is the kernel's.
#![expect(clippy::disallowed_methods, reason = "the kernel's structs have the machine's byte order")]

/// Bytes of a struct under construction.
#[derive(Default)]
pub(super) struct Bytes(pub(super) Vec<u8>);

impl Bytes {
    pub(super) fn u16(mut self, value: u16) -> Self {
        self.0.extend(value.to_ne_bytes());
        self
    }

    pub(super) fn u32(mut self, value: u32) -> Self {
        self.0.extend(value.to_ne_bytes());
        self
    }

    pub(super) fn i32(mut self, value: i32) -> Self {
        self.0.extend(value.to_ne_bytes());
        self
    }

    pub(super) fn u64(mut self, value: u64) -> Self {
        self.0.extend(value.to_ne_bytes());
        self
    }

    pub(super) fn bytes(mut self, bytes: &[u8]) -> Self {
        self.0.extend(bytes);
        self
    }

    /// Zeros up to `length` bytes in all.
    pub(super) fn zeros_to(mut self, length: usize) -> Self {
        self.0.resize(length, 0);
        self
    }
}

fn array<const N: usize>(bytes: &[u8], at: usize) -> [u8; N] {
    let mut array = [0; N];
    if let Some(found) = bytes.get(at..at + N) {
        array.copy_from_slice(found);
    }
    array
}

/// A number in a struct; 0 beyond its end.
pub(super) fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_ne_bytes(array(bytes, at))
}

pub(super) fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_ne_bytes(array(bytes, at))
}

pub(super) fn u64_at(bytes: &[u8], at: usize) -> u64 {
    u64::from_ne_bytes(array(bytes, at))
}
