//! The device id of IEEE 1284: what a printer says it is.

use crate::error::{Error, Result};

/// What the length field of a device id was found to be.
///
/// IEEE 1284-2000 7.6 (from memory): two bytes, most significant first, that count themselves.
/// Printers get each part of that wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LengthField {
    /// As the standard has it, or right for the text in a longer answer.
    Right,
    /// It does not count its own two bytes.
    WithoutItself,
    /// The least significant byte comes first.
    LittleEndian,
    /// It claims more than was received; all that was received is used.
    TooLong,
    /// It claims nothing, as little as itself; the text up to the first NUL is used.
    Empty,
    /// There is none: the answer begins with the text.
    Missing,
}

/// A device id, read.
///
/// Keys are kept in upper case with single spaces, values without blanks around them. Control
/// characters became spaces and bytes that are no UTF-8 became U+FFFD, so that every part can be
/// shown on a terminal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceId {
    text: String,
    pairs: Vec<(String, String)>,
    length: LengthField,
}

impl DeviceId {
    /// Reads the bytes a printer answered to GET_DEVICE_ID, length field included.
    ///
    /// A wrong length field is forgiven, see [`DeviceId::length_field`]; so are empty values, a
    /// missing last semicolon, and pieces without a key.
    ///
    /// ```
    /// use tapewright_usb::DeviceId;
    ///
    /// let id = DeviceId::parse(b"\x00\x22MFG:Tidewater;MDL:Strip;CMD:PWG;")?;
    /// assert_eq!((id.manufacturer(), id.model()), (Some("Tidewater"), Some("Strip")));
    /// # Ok::<(), tapewright_usb::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`Error::Answer`]: not one pair of a key and a value is in it.
    pub fn parse(answer: &[u8]) -> Result<Self> {
        let (length, text) = text(answer);
        let text: String = String::from_utf8_lossy(text).replace(char::is_control, " ").trim().to_owned();
        let pairs: Vec<(String, String)> = text.split(';').filter_map(pair).collect();
        if pairs.is_empty() {
            let what = format!("device id `{text}` of {} bytes, wanted KEY:VALUE; pairs", answer.len());
            return Err(Error::Answer { what });
        }
        Ok(Self { text, pairs, length })
    }

    /// The whole text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What the length field was found to be.
    #[must_use]
    pub const fn length_field(&self) -> LengthField {
        self.length
    }

    /// The first value of a key that is not empty; the key in any case.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&str> {
        let key = normal(key);
        self.pairs.iter().find(|(found, value)| *found == key && !value.is_empty()).map(|(_, value)| value.as_str())
    }

    fn first(&self, keys: &[&str]) -> Option<&str> {
        keys.iter().find_map(|key| self.get(key))
    }

    /// Who made it: `MFG`, `MANUFACTURER` or `MFR`.
    #[must_use]
    pub fn manufacturer(&self) -> Option<&str> {
        self.first(&["MFG", "MANUFACTURER", "MFR"])
    }

    /// The model: `MDL` or `MODEL`.
    #[must_use]
    pub fn model(&self) -> Option<&str> {
        self.first(&["MDL", "MODEL"])
    }

    /// The languages it understands: `CMD` or `COMMAND SET`, split at commas.
    #[must_use]
    pub fn commands(&self) -> Vec<&str> {
        let all = self.first(&["CMD", "COMMAND SET"]).unwrap_or_default();
        all.split(',').map(str::trim).filter(|one| !one.is_empty()).collect()
    }

    /// What sort of device it is: `CLS` or `CLASS`.
    #[must_use]
    pub fn class(&self) -> Option<&str> {
        self.first(&["CLS", "CLASS"])
    }

    /// Its description for people: `DES` or `DESCRIPTION`.
    #[must_use]
    pub fn description(&self) -> Option<&str> {
        self.first(&["DES", "DESCRIPTION"])
    }

    /// Its serial number: `SN`, `SERN` or `SERIALNUMBER`.
    #[must_use]
    pub fn serial(&self) -> Option<&str> {
        self.first(&["SN", "SERN", "SERIALNUMBER"])
    }
}

/// The text of an answer, by the length field that fits what was received.
fn text(answer: &[u8]) -> (LengthField, &[u8]) {
    let printable = |byte: u8| (b' '..=b'~').contains(&byte);
    let &[first, second, ..] = answer else { return (LengthField::Missing, answer) };
    // As a length, two printable characters would be 8 KiB at the least.
    if printable(first) && printable(second) {
        return (LengthField::Missing, to_nul(answer));
    }
    let received = answer.len();
    // Where an answer padded with NULs ends.
    let end = answer.iter().rposition(|byte| *byte != 0).map_or(2, |last| last + 1).max(2);
    let (big, little) = (usize::from(first) << 8 | usize::from(second), usize::from(second) << 8 | usize::from(first));
    let fits = |length: usize| length > 2 && (length == received || length == end);
    let (field, stop) = if fits(big) {
        (LengthField::Right, big)
    } else if fits(big + 2) {
        (LengthField::WithoutItself, big + 2)
    } else if fits(little) || fits(little + 2) || (big > received && (3..=received).contains(&little)) {
        // Little-endian lengths are told by fit; whether they count themselves, by fit as well.
        (LengthField::LittleEndian, if fits(little + 2) { little + 2 } else { little })
    } else if big > received {
        (LengthField::TooLong, received)
    } else if big <= 2 {
        (LengthField::Empty, received)
    } else {
        (LengthField::Right, big)
    };
    (field, to_nul(&answer[2..stop.clamp(2, received)]))
}

fn to_nul(bytes: &[u8]) -> &[u8] {
    bytes.split(|byte| *byte == 0).next().unwrap_or_default()
}

fn normal(key: &str) -> String {
    key.split_whitespace().collect::<Vec<_>>().join(" ").to_uppercase()
}

fn pair(piece: &str) -> Option<(String, String)> {
    let (key, value) = piece.split_once(':')?;
    let key = normal(key);
    if key.is_empty() { None } else { Some((key, value.trim().to_owned())) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &[u8] = b"MFG:Tidewater Playhouse;MDL:Strip Printer;CMD:PWGRaster,Plain;CLS:PRINTER;";

    fn with(length: [u8; 2], text: &[u8], padding: &[u8]) -> Vec<u8> {
        [&length[..], text, padding].concat()
    }

    #[track_caller]
    fn reads(answer: &[u8], length: LengthField) {
        let id = DeviceId::parse(answer).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(id.length_field(), length);
        assert_eq!(id.text().as_bytes(), TEXT, "{}", id.text());
        assert_eq!(id.manufacturer(), Some("Tidewater Playhouse"));
        assert_eq!(id.model(), Some("Strip Printer"));
        assert_eq!(id.commands(), ["PWGRaster", "Plain"]);
        assert_eq!(id.class(), Some("PRINTER"));
    }

    #[test]
    fn every_length_field_is_understood() {
        let long = u8::try_from(TEXT.len() + 2).unwrap();
        reads(&with([0, long], TEXT, b""), LengthField::Right);
        reads(&with([0, long], TEXT, &[0; 40]), LengthField::Right);
        reads(&with([0, long], TEXT, b"junk;SN:1;"), LengthField::Right);
        reads(&with([0, long + 1], TEXT, b"\0"), LengthField::Right);
        reads(&with([0, long - 2], TEXT, b""), LengthField::WithoutItself);
        reads(&with([0, long - 2], TEXT, &[0; 40]), LengthField::WithoutItself);
        reads(&with([long, 0], TEXT, b""), LengthField::LittleEndian);
        reads(&with([long, 0], TEXT, &[0; 40]), LengthField::LittleEndian);
        reads(&with([long - 2, 0], TEXT, b""), LengthField::LittleEndian);
        reads(&with([long, 0], TEXT, b"junk"), LengthField::LittleEndian);
        reads(&with([3, 0xe8], TEXT, b""), LengthField::TooLong);
        reads(&with([0xff, 0xff], TEXT, &[0; 40]), LengthField::TooLong);
        reads(&with([0, 0], TEXT, b"\0junk"), LengthField::Empty);
        reads(&with([0, 2], TEXT, b""), LengthField::Empty);
        reads(TEXT, LengthField::Missing);
        reads(&[TEXT, b"\0junk"].concat(), LengthField::Missing);
    }

    #[test]
    fn keys_have_other_names_cases_and_blanks() {
        let id = DeviceId::parse(
            b"\x00\x00 manufacturer : A ;Model:B; command  set:x, ,y ;class:c;Description:d e;SERN:7;;:v;novalue; MDL:B2",
        )
        .unwrap();
        assert_eq!((id.manufacturer(), id.model()), (Some("A"), Some("B2")), "MDL goes before MODEL");
        assert_eq!(id.commands(), ["x", "y"]);
        assert_eq!((id.class(), id.description(), id.serial()), (Some("c"), Some("d e"), Some("7")));
        assert_eq!((id.get("model"), id.get("novalue"), id.get("")), (Some("B"), None, None));
    }

    #[test]
    fn empty_values_are_absent_and_values_may_hold_colons() {
        let id = DeviceId::parse(b"\x00\x00MFG:;MFG:A:B;MDL:;CMD:,;").unwrap();
        assert_eq!((id.manufacturer(), id.model()), (Some("A:B"), None));
        assert_eq!(id.commands(), [""; 0]);
    }

    /// Worked by hand: 2 bytes of length and 10 of text.
    #[test]
    fn the_shortest_example_is_twelve_bytes() {
        let id = DeviceId::parse(b"\x00\x0cMFG:X;MDL:").unwrap();
        assert_eq!((id.manufacturer(), id.model(), id.length_field()), (Some("X"), None, LengthField::Right));
    }

    #[test]
    fn what_could_upset_a_terminal_is_replaced() {
        let id = DeviceId::parse(b"\x00\x00MFG:\x1b[2JA\xffB\nC;").unwrap();
        assert_eq!(id.manufacturer(), Some("[2JA\u{fffd}B C"));
    }

    #[test]
    fn an_answer_without_pairs_is_refused() {
        for answer in [&b""[..], b"M", b"\x00\x02", b"\x00\x00", b"\x00\x07hello", b"\x00\x04;;", b"\xff\xff\xff"] {
            let error = DeviceId::parse(answer).expect_err("no pairs");
            assert!(error.to_string().contains("wanted KEY:VALUE; pairs"), "{error}");
        }
    }

    /// Every length field before every length of text: no panic, and never more than was received.
    #[test]
    fn no_length_field_reaches_beyond_the_answer() {
        for received in 0..=TEXT.len() {
            for claim in (0..=u16::MAX).step_by(97) {
                let answer = with(claim.to_be_bytes(), &TEXT[..received], b"");
                if let Ok(id) = DeviceId::parse(&answer) {
                    let text = std::str::from_utf8(&answer[2..]).unwrap();
                    let shown = id.text().trim_end_matches('\u{fffd}');
                    assert!(text.contains(shown.trim()) || id.length_field() == LengthField::Missing, "{shown}");
                }
            }
        }
    }
}
