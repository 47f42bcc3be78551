//! Values as bytes between the program and a module's process: little-endian, lengths in front.

use tapewright_abi::value::{Cut, CutKind};

/// A message being written.
#[derive(Debug, Default)]
pub(super) struct Put(pub(super) Vec<u8>);

impl Put {
    pub(super) fn byte(&mut self, value: u8) {
        self.0.push(value);
    }

    pub(super) fn number(&mut self, value: u32) {
        self.0.extend_from_slice(&value.to_le_bytes());
    }

    pub(super) fn signed(&mut self, value: i64) {
        self.0.extend_from_slice(&value.to_le_bytes());
    }

    pub(super) fn flag(&mut self, value: bool) {
        self.byte(u8::from(value));
    }

    pub(super) fn text(&mut self, value: &str) {
        self.bytes(value.as_bytes());
    }

    /// # Panics
    ///
    /// With 4 GiB or more; nothing that is sent comes near.
    pub(super) fn count(&mut self, value: usize) {
        self.number(u32::try_from(value).expect("a message is shorter than 4 GiB"));
    }

    pub(super) fn bytes(&mut self, value: &[u8]) {
        self.count(value.len());
        self.0.extend_from_slice(value);
    }

    pub(super) fn maybe(&mut self, value: Option<u32>) {
        self.flag(value.is_some());
        self.number(value.unwrap_or(0));
    }

    pub(super) fn cut(&mut self, cut: &Cut) {
        self.number(cut.line);
        self.number(cut.kind.to_raw());
    }

    pub(super) fn list<T>(&mut self, values: &[T], mut put: impl FnMut(&mut Put, &T)) {
        self.count(values.len());
        for value in values {
            put(self, value);
        }
    }
}

/// A message being read. Each function is `None` when the message holds no such value there: the
/// other side may be anything by now.
#[derive(Debug)]
pub(super) struct Take<'m>(pub(super) &'m [u8]);

impl<'m> Take<'m> {
    pub(super) fn some(&mut self, count: usize) -> Option<&'m [u8]> {
        let (these, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(these)
    }

    pub(super) fn byte(&mut self) -> Option<u8> {
        self.some(1).map(|one| one[0])
    }

    pub(super) fn number(&mut self) -> Option<u32> {
        self.some(4).and_then(|four| four.try_into().ok()).map(u32::from_le_bytes)
    }

    pub(super) fn signed(&mut self) -> Option<i64> {
        self.some(8).and_then(|eight| eight.try_into().ok()).map(i64::from_le_bytes)
    }

    pub(super) fn flag(&mut self) -> Option<bool> {
        match self.byte()? {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        }
    }

    /// A count.
    pub(super) fn size(&mut self) -> Option<usize> {
        self.number().and_then(|count| usize::try_from(count).ok())
    }

    pub(super) fn cut(&mut self) -> Option<Cut> {
        Some(Cut { line: self.number()?, kind: CutKind::from_raw(self.number()?)? })
    }

    pub(super) fn bytes(&mut self) -> Option<&'m [u8]> {
        let count = self.size()?;
        self.some(count)
    }

    pub(super) fn text(&mut self) -> Option<String> {
        self.bytes().and_then(|bytes| std::str::from_utf8(bytes).ok()).map(str::to_owned)
    }

    pub(super) fn maybe(&mut self) -> Option<Option<u32>> {
        let (is_some, value) = (self.flag()?, self.number()?);
        Some(is_some.then_some(value))
    }

    pub(super) fn list<T>(&mut self, mut take: impl FnMut(&mut Take<'m>) -> Option<T>) -> Option<Vec<T>> {
        let count = self.number()?;
        // Every value takes a byte at least, so a wrong count ends soon and reserves nothing.
        let mut values = Vec::new();
        for _ in 0..count {
            values.push(take(self)?);
        }
        Some(values)
    }

    /// `value` when nothing is left over.
    pub(super) fn whole<T>(&self, value: T) -> Option<T> {
        self.0.is_empty().then_some(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back() {
        let mut put = Put::default();
        put.byte(7);
        put.number(u32::MAX);
        put.signed(-5);
        put.flag(true);
        put.text("Bühne");
        put.maybe(None);
        put.maybe(Some(3));
        put.list(&[1, 2], |put, value| put.number(*value));
        let mut take = Take(&put.0);
        assert_eq!(take.byte(), Some(7));
        assert_eq!(take.number(), Some(u32::MAX));
        assert_eq!(take.signed(), Some(-5));
        assert_eq!(take.flag(), Some(true));
        assert_eq!(take.text().as_deref(), Some("Bühne"));
        assert_eq!(take.maybe(), Some(None));
        assert_eq!(take.maybe(), Some(Some(3)));
        assert_eq!(take.list(Take::number), Some(vec![1, 2]));
        assert_eq!(take.whole(()), Some(()));
    }

    #[test]
    fn nothing_is_read_past_the_end() {
        assert_eq!(Take(&[1, 0, 0]).number(), None);
        assert_eq!(Take(&[9, 0, 0, 0, b'a']).text(), None);
        assert_eq!(Take(&[1, 0, 0, 0, 0xFF]).text(), None);
        assert_eq!(Take(&[2]).flag(), None);
        assert_eq!(Take(&[255, 255, 255, 255, 1]).list(Take::byte), None);
        assert_eq!(Take(&[1]).whole(()), None);
    }
}
