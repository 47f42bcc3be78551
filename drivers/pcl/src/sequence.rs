//! Escape sequences, byte by byte.
//!
//! A sequence is the escape character, a character that begins it, mostly one that names a group,
//! then a number and a letter. A small letter says that another number and letter of the same
//! group follow, a capital one that the sequence ends.

/// A number with its letter, and where it belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Command {
    /// First character behind the escape character.
    pub(crate) first: u8,
    /// Character of the group, or 0.
    pub(crate) group: u8,
    /// The letter, as a capital.
    pub(crate) letter: u8,
    /// No command of the same sequence follows.
    pub(crate) is_last: bool,
    pub(crate) value: Value,
}

impl Command {
    /// As it would stand alone.
    pub(crate) fn text(&self) -> String {
        let group = if self.group == 0 { String::new() } else { char::from(self.group).to_string() };
        format!("ESC{}{group}{}{}", char::from(self.first), self.value.text(), char::from(self.letter))
    }
}

/// A number as it stands in a command; 0 when none does.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Value {
    /// `+`, `-`, or 0 for neither: a sign means "relative" in some commands.
    pub(crate) sign: u8,
    pub(crate) whole: u32,
    /// Behind the point, in 1/10000.
    pub(crate) part: u32,
    /// Digits behind the point, and 1 for the point itself.
    behind: u8,
}

/// Greatest number any command is read with.
const GREATEST: u32 = 65_535;

impl Value {
    /// The number, when it has neither sign nor a part behind the point.
    pub(crate) fn plain(&self) -> Option<u32> {
        (self.sign == 0 && self.part == 0).then_some(self.whole)
    }

    fn text(&self) -> String {
        let sign = if self.sign == 0 { String::new() } else { char::from(self.sign).to_string() };
        let part = if self.part == 0 { String::new() } else { format!(".{:04}", self.part) };
        format!("{sign}{}{part}", self.whole)
    }

    fn digit(&mut self, digit: u8) -> Result<(), String> {
        let digit = u32::from(digit - b'0');
        match self.behind {
            0 => self.whole = self.whole * 10 + digit,
            behind @ 1..=4 => {
                self.part += digit * 10u32.pow(u32::from(4 - behind));
                self.behind += 1;
            }
            _ => return Err("number with more than 4 digits behind the point, wanted at most 4".into()),
        }
        if self.whole > GREATEST {
            return Err(format!("number of {} or more, wanted at most {GREATEST}", self.whole));
        }
        Ok(())
    }
}

/// Reads one sequence behind its escape character.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sequence {
    first: u8,
    group: u8,
    value: Value,
    place: Place,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Place {
    #[default]
    First,
    Group,
    Value,
    Digits,
}

/// What a byte of a sequence brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Found {
    Nothing,
    /// A sequence of one character: it.
    Single(u8),
    Command(Command),
}

impl Sequence {
    pub(crate) fn push(&mut self, byte: u8) -> Result<Found, String> {
        match (self.place, byte) {
            (Place::First, b'!'..=b'/') => {
                self.first = byte;
                self.place = Place::Group;
                Ok(Found::Nothing)
            }
            (Place::First, b'0'..=b'~') => Ok(Found::Single(byte)),
            (Place::Group, b'`'..=b'~') => {
                self.group = byte;
                self.place = Place::Value;
                Ok(Found::Nothing)
            }
            (Place::Group | Place::Value, b'+' | b'-') => {
                self.value.sign = byte;
                self.place = Place::Digits;
                Ok(Found::Nothing)
            }
            (Place::Group | Place::Value | Place::Digits, b'0'..=b'9') => {
                self.place = Place::Digits;
                self.value.digit(byte)?;
                Ok(Found::Nothing)
            }
            (Place::Value | Place::Digits, b'.') if self.value.behind == 0 => {
                self.place = Place::Digits;
                self.value.behind = 1;
                Ok(Found::Nothing)
            }
            (Place::Value | Place::Digits, b'@'..=b'^' | b'`'..=b'~') => {
                let is_last = byte <= b'^';
                let letter = byte.to_ascii_uppercase();
                let command = Command { first: self.first, group: self.group, letter, is_last, value: self.value };
                self.value = Value::default();
                self.place = Place::Value;
                Ok(Found::Command(command))
            }
            _ => {
                let wanted = match self.place {
                    Place::First => "a character from ! to ~",
                    Place::Group => "the letter of a group or a number",
                    Place::Value | Place::Digits => "a number or a letter",
                };
                Err(format!("{} in an escape sequence, wanted {wanted}", byte.escape_ascii()))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &[u8]) -> Result<Vec<String>, String> {
        let mut sequence = Sequence::default();
        let mut found = Vec::new();
        for &byte in text {
            match sequence.push(byte)? {
                Found::Nothing => {}
                Found::Single(byte) => found.push(char::from(byte).to_string()),
                Found::Command(command) => found.push(command.text()),
            }
        }
        Ok(found)
    }

    #[test]
    fn sequences() {
        assert_eq!(read(b"E").unwrap(), ["E"]);
        assert_eq!(read(b"%-12345X").unwrap(), ["ESC%-12345X"]);
        assert_eq!(read(b"*b5y3m12W").unwrap(), ["ESC*b5Y", "ESC*b3M", "ESC*b12W"]);
        assert_eq!(read(b"&l.16c0.08C").unwrap(), ["ESC&l0.1600C", "ESC&l0.0800C"]);
        assert_eq!(read(b"*p+679Y").unwrap(), ["ESC*p+679Y"]);
        assert_eq!(read(b"*bW").unwrap(), ["ESC*b0W"]);
    }

    #[test]
    fn damage_is_named() {
        assert_eq!(read(b"\x1B").unwrap_err(), "\\x1b in an escape sequence, wanted a character from ! to ~");
        assert_eq!(
            read(b"*\x00").unwrap_err(),
            "\\x00 in an escape sequence, wanted the letter of a group or a number"
        );
        assert_eq!(read(b"*b--").unwrap_err(), "- in an escape sequence, wanted a number or a letter");
        assert_eq!(read(b"*b1.2.").unwrap_err(), ". in an escape sequence, wanted a number or a letter");
        assert_eq!(read(b"*b70000").unwrap_err(), "number of 70000 or more, wanted at most 65535");
        assert!(read(b"*b1.00001").unwrap_err().starts_with("number with more than 4 digits"));
    }
}
