//! Rows of a page, each written in the way that takes the fewest bytes.

use tapewright_kit::{Out, packbits};

use crate::delta;
use crate::language::Mode;

/// Most bytes by which a row can be longer than as it is: a change of mode takes as many, and is
/// made when it pays.
pub(crate) const MOST_OVER: usize = 2;

/// What the device knows about the page going on, and the rows it does not yet know about.
#[derive(Debug, Default)]
pub(crate) struct Rows {
    /// The row before, as the device holds it: a skipped row is a row of zeros.
    seed: Vec<u8>,
    /// How the device takes the next row; `None` when that is not certain.
    mode: Option<Mode>,
    /// Rows without ink that wait to be skipped.
    blank: u32,
    packed: Vec<u8>,
    delta: Vec<u8>,
}

impl Rows {
    /// For rows of `bytes` bytes.
    pub(crate) fn new(bytes: usize) -> Rows {
        Rows { seed: vec![0; bytes], ..Rows::default() }
    }

    /// A raster begins. Its first row names its mode: devices differ in whether the end of a
    /// raster sets the mode back.
    pub(crate) fn begin(&mut self) {
        self.seed.fill(0);
        self.mode = None;
        self.blank = 0;
    }

    /// A row.
    pub(crate) fn add(&mut self, row: &[u8], out: &mut Out) {
        let Some(last) = row.iter().rposition(|byte| *byte != 0) else {
            self.skip(1);
            return;
        };
        if self.seed == row {
            self.repeat(1, out);
            return;
        }
        // Bytes a row does not reach are 0, but for the delta row.
        let plain = &row[..=last];
        self.delta.clear();
        delta::encode(&self.seed, row, plain.len() + MOST_OVER, &mut self.delta);
        self.packed.clear();
        packbits::encode(plain, &mut self.packed);
        let bytes = |mode: Mode| match mode {
            Mode::Plain => plain,
            Mode::Packed => self.packed.as_slice(),
            Mode::Delta => self.delta.as_slice(),
        };
        let cost = |mode: Mode| {
            let length = bytes(mode).len();
            // A change of mode is two characters more.
            length + digits(length) + if self.mode == Some(mode) { 0 } else { 2 }
        };
        let mut best = self.mode.unwrap_or(Mode::Delta);
        for mode in Mode::ALL {
            if cost(mode) < cost(best) {
                best = mode;
            }
        }
        transfer(&mut self.blank, &mut self.mode, best, bytes(best), out);
        self.seed.copy_from_slice(row);
    }

    /// `count` rows like the one before.
    pub(crate) fn repeat(&mut self, count: u32, out: &mut Out) {
        if self.blank > 0 {
            self.skip(count);
            return;
        }
        for _ in 0..count {
            transfer(&mut self.blank, &mut self.mode, Mode::Delta, &[], out);
        }
    }

    /// `count` rows without ink.
    pub(crate) fn skip(&mut self, count: u32) {
        self.seed.fill(0);
        self.blank += count;
    }

    /// The raster ends: skips what waits, so that the rows of the stream are those of the page.
    pub(crate) fn end(&mut self, out: &mut Out) {
        if self.blank > 0 {
            out.extend(b"\x1B*b");
            number(self.blank, b'Y', out);
            self.blank = 0;
        }
    }
}

/// Writes one row behind the rows skipped before it.
fn transfer(blank: &mut u32, current: &mut Option<Mode>, mode: Mode, bytes: &[u8], out: &mut Out) {
    out.extend(b"\x1B*b");
    if *blank > 0 {
        number(*blank, b'y', out);
        *blank = 0;
    }
    if *current != Some(mode) {
        number(mode.number(), b'm', out);
        *current = Some(mode);
    }
    number(u32::try_from(bytes.len()).expect("no longer than a row"), b'W', out);
    out.extend(bytes);
}

/// Writes a number and the letter that says what it is for.
pub(crate) fn number(value: u32, letter: u8, out: &mut Out) {
    // Ten digits hold any value.
    let mut text = [letter; 11];
    let mut at = text.len() - 1;
    let mut rest = value;
    loop {
        at -= 1;
        text[at] = b"0123456789"[(rest % 10) as usize];
        rest /= 10;
        if rest == 0 {
            break;
        }
    }
    out.extend(&text[at..]);
}

/// Digits of a number.
fn digits(value: usize) -> usize {
    value.checked_ilog10().map_or(1, |digits| digits as usize + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(function: impl FnOnce(&mut Out)) -> String {
        let mut out = Out::new();
        function(&mut out);
        out.bytes().escape_ascii().to_string()
    }

    #[test]
    fn numbers() {
        for value in [0, 9, 10, 99, 100, 32_767, u32::MAX] {
            assert_eq!(text(|out| number(value, b'W', out)), format!("{value}W"));
            assert_eq!(digits(value as usize), value.to_string().len());
        }
    }

    #[test]
    fn each_row_in_its_shortest_form() {
        let mut rows = Rows::new(16);
        rows.begin();
        let mut add = |row: &[u8]| text(|out| rows.add(row, out));
        // One byte of ink, near the edge: as it is. Far from it: as a difference.
        assert_eq!(add(b"A\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"), r"\x1b*b0m1WA");
        assert_eq!(add(b"A\0\0\0\0\0\0\0\0\0\0\0\0\0\0A"), r"\x1b*b3m2W\x0fA");
        // The same again.
        assert_eq!(add(b"A\0\0\0\0\0\0\0\0\0\0\0\0\0\0A"), r"\x1b*b0W");
        // A long run, then noise: a byte longer than as it is, which costs less than the change.
        assert_eq!(add(&[0x55; 16]), r"\x1b*b2m2W\xf1U");
        assert_eq!(add(b"qwertyuiopasdfgh"), r"\x1b*b17W\x0fqwertyuiopasdfgh");
        // Blank rows wait, and the row behind them has a blank row before it.
        assert_eq!(add(&[0; 16]), "");
        assert_eq!(add(&[0; 16]), "");
        assert_eq!(add(b"\0\0\0\0\0\0\0A\0\0\0\0\0\0\0A"), r"\x1b*b2y3m4W\x07A\x07A");
    }

    #[test]
    fn a_change_of_mode_must_pay() {
        let mut rows = Rows::new(4);
        rows.begin();
        let mut add = |row: &[u8]| text(|out| rows.add(row, out));
        assert_eq!(add(&[0x55; 4]), r"\x1b*b2m2W\xfdU");
        // A byte shorter as it is, and the change takes two.
        assert_eq!(add(b"A\0\0\0"), r"\x1b*b2W\x00A");
    }

    /// Bytes of rows when every change of mode is chosen with all rows known.
    fn least(page: &[Vec<u8>]) -> usize {
        let (mut costs, mut seed) = ([2, 2, 2], vec![0; page[0].len()]);
        for row in page {
            let plain = &row[..=row.iter().rposition(|byte| *byte != 0).unwrap()];
            let (mut packed, mut delta) = (Vec::new(), Vec::new());
            packbits::encode(plain, &mut packed);
            delta::encode(&seed, row, usize::MAX, &mut delta);
            let any = costs.iter().min().unwrap() + 2;
            for (cost, length) in costs.iter_mut().zip([plain.len(), packed.len(), delta.len()]) {
                *cost = any.min(*cost) + 3 + digits(length) + 1 + length;
            }
            seed.clone_from(row);
        }
        *costs.iter().min().unwrap()
    }

    /// Without looking ahead, a change of mode can come a row late. It stays within 1 in 50 of the
    /// least on rows of strokes, edges and noise.
    #[test]
    fn looking_ahead_would_gain_little() {
        let mut state = 5u32;
        let mut next = |below: u32| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 16) % below
        };
        for bytes in [8, 16, 40, 156] {
            let mut row = vec![0x80; bytes];
            let page: Vec<Vec<u8>> = (0..2000)
                .map(|_| {
                    match next(6) {
                        0 => row.fill_with(|| next(256).to_le_bytes()[0]),
                        1 => row.fill(next(4).to_le_bytes()[0]),
                        2 => row.rotate_right(1),
                        3 => row.iter_mut().step_by(3).for_each(|byte| *byte ^= 0x18),
                        _ => {}
                    }
                    row[0] |= 0x80;
                    row.clone()
                })
                .collect();
            let mut rows = Rows::new(bytes);
            rows.begin();
            let mut out = Out::new();
            page.iter().for_each(|row| rows.add(row, &mut out));
            let (found, least) = (out.bytes().len(), least(&page));
            assert!(found >= least && found - least < least / 50, "{bytes}: {found} bytes, least {least}");
        }
    }
}
