//! Measures as people write them: `50 ft`, `12'6"`, `1,5 m`, `1 1/2 in`, `Ø6.15 mm`.
//!
//! Arithmetic is exact: a number is a fraction until it becomes whole micrometres.

use crate::unit::{MICROMETRES_PER_FOOT, MICROMETRES_PER_INCH, Micrometres};

/// What a cell with a measure says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reading {
    /// A number without a unit.
    Plain(Number),
    /// A length, rounded to the nearest micrometre (halves up).
    Length(Micrometres),
}

/// Why a cell is no measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unreadable {
    /// `1,000`: a comma as in "one thousand" or as a decimal mark.
    Thousands,
    /// Anything else.
    Other,
}

/// A number that is not negative, as a fraction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Number {
    over: i128,
    under: i128,
}

/// A unit of length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    Millimetre,
    Centimetre,
    Metre,
    Inch,
    Foot,
}

impl Unit {
    const fn micrometres(self) -> i64 {
        match self {
            Self::Millimetre => 1000,
            Self::Centimetre => 10_000,
            Self::Metre => 1_000_000,
            Self::Inch => MICROMETRES_PER_INCH,
            Self::Foot => MICROMETRES_PER_FOOT,
        }
    }

    fn named(name: &str) -> Option<Self> {
        Some(match name.to_lowercase().as_str() {
            "mm" => Self::Millimetre,
            "cm" => Self::Centimetre,
            "m" | "metre" | "metres" | "meter" | "meters" => Self::Metre,
            "in" | "inch" | "inches" | "\"" => Self::Inch,
            "ft" | "foot" | "feet" | "'" => Self::Foot,
            _ => return None,
        })
    }
}

impl Number {
    /// So many of a unit, to the nearest micrometre (halves up); nothing if it is absurdly long.
    pub(super) fn of(self, unit: Unit) -> Option<Micrometres> {
        let twice = 2 * self.over * i128::from(unit.micrometres()) + self.under;
        i64::try_from(twice.div_euclid(2 * self.under)).ok().filter(|um| *um < 1 << 50).map(Micrometres)
    }
}

/// Reads a trimmed cell.
pub(super) fn read(text: &str) -> Result<Reading, Unreadable> {
    let text = straightened(text);
    let text = text.trim().trim_start_matches(['Ø', 'ø', '⌀']).trim_start();
    let (first, rest) = number(text)?;
    if rest.is_empty() {
        return Ok(Reading::Plain(first));
    }
    if let Some(point) = metre_as_point(text) {
        return Ok(Reading::Length(point));
    }
    let (unit, rest) = unit(rest)?;
    let mut length = first.of(unit).ok_or(Unreadable::Other)?;
    if !rest.is_empty() {
        // Only feet go on, with inches: 12'6".
        let (inches, rest) = number(rest)?;
        let (second, rest) = self::unit(rest)?;
        if unit != Unit::Foot || second != Unit::Inch || !rest.is_empty() {
            return Err(Unreadable::Other);
        }
        length += inches.of(second).ok_or(Unreadable::Other)?;
    }
    Ok(Reading::Length(length))
}

/// `7m5` is 7.5 m: the unit in the place of the decimal point, as in IEC 60062 (from memory).
///
/// Up to three digits behind it and no blank between; anything else is no such length.
fn metre_as_point(text: &str) -> Option<Micrometres> {
    let (before, after) = text.split_once(['m', 'M'])?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(before) || !digits(after) || after.len() > 3 {
        return None;
    }
    let (number, _) = number(&format!("{before}.{after}")).ok()?;
    number.of(Unit::Metre)
}

/// Typographic forms turned into plain ones: primes and curly quotes, vulgar fractions.
fn straightened(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '′' | '’' | '‘' | '´' => plain.push('\''),
            '″' | '”' | '“' => plain.push('"'),
            '½' => plain.push_str(" 1/2"),
            '¼' => plain.push_str(" 1/4"),
            '¾' => plain.push_str(" 3/4"),
            '⅛' => plain.push_str(" 1/8"),
            '⅜' => plain.push_str(" 3/8"),
            '⅝' => plain.push_str(" 5/8"),
            '⅞' => plain.push_str(" 7/8"),
            _ => plain.push(c),
        }
    }
    plain.replace("''", "\"")
}

/// Splits off a unit; what follows is trimmed.
fn unit(text: &str) -> Result<(Unit, &str), Unreadable> {
    let end = match text.chars().next() {
        Some('\'' | '"') => 1,
        _ => text.find(|c: char| !c.is_alphabetic()).unwrap_or(text.len()),
    };
    let unit = Unit::named(&text[..end]).ok_or(Unreadable::Other)?;
    let rest = &text[end..];
    let rest = if end > 1 { rest.strip_prefix('.').unwrap_or(rest) } else { rest };
    Ok((unit, rest.trim_start()))
}

fn digits(text: &str) -> (&str, &str) {
    text.split_at(text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len()))
}

/// At most 15 digits, so that all products stay far within 128 bits.
fn whole(digits: &str) -> Result<i128, Unreadable> {
    if digits.is_empty() || digits.len() > 15 {
        return Err(Unreadable::Other);
    }
    digits.parse().map_err(|_| Unreadable::Other)
}

/// Splits off a number (`6`, `6.15`, `6,15`, `.242`, `1/4`, `1 1/2`, `1-1/2`); what follows is trimmed.
fn number(text: &str) -> Result<(Number, &str), Unreadable> {
    let (first, rest) = digits(text);
    if let Some(after) = rest.strip_prefix(['.', ','])
        && after.starts_with(|c: char| c.is_ascii_digit())
    {
        let (decimals, after) = digits(after);
        if rest.starts_with(',') && decimals.len() == 3 && !first.trim_start_matches('0').is_empty() {
            return Err(Unreadable::Thousands);
        }
        let before = if first.is_empty() { 0 } else { whole(first)? };
        let under = 10i128.pow(u32::try_from(decimals.len().min(15)).unwrap_or(15));
        let over = before * under + whole(&decimals[..decimals.len().min(15)])?;
        return Ok((Number { over, under }, after.trim_start()));
    }
    let value = whole(first)?;
    if let Some(after) = rest.strip_prefix('/') {
        let (under, after) = digits(after);
        return Ok((fraction(0, value, whole(under)?)?, after.trim_start()));
    }
    // A whole number and a fraction behind it.
    let between = rest.trim_start();
    let (over, after) = digits(between.strip_prefix('-').unwrap_or(between));
    if let Some(after) = after.strip_prefix('/')
        && !over.is_empty()
        && between.len() < rest.len() + usize::from(between.starts_with('-'))
    {
        let (under, after) = digits(after);
        return Ok((fraction(value, whole(over)?, whole(under)?)?, after.trim_start()));
    }
    Ok((Number { over: value, under: 1 }, between))
}

fn fraction(whole: i128, over: i128, under: i128) -> Result<Number, Unreadable> {
    if under == 0 || under > 1000 {
        return Err(Unreadable::Other);
    }
    Ok(Number { over: whole * under + over, under })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, micrometres: i64) {
        assert_eq!(read(text), Ok(Reading::Length(Micrometres(micrometres))), "{text}");
    }

    #[test]
    fn all_notations() {
        // 1 in = 25.4 mm and 1 ft = 0.3048 m exactly (international yard and pound, 1959; from memory).
        for text in ["50 ft", "50ft", "50'", "50′", "50 feet", "50 foot", "50 FT.", "50’", "50.0 ft"] {
            check(text, 15_240_000);
        }
        for text in ["12'6\"", "12 ft 6 in", "12′ 6″", "12’6”", "12' 6''", "12 1/2 ft", "12½'", "12.5ft", "150 in"]
        {
            check(text, 3_810_000);
        }
        for text in ["1.5 m", "1,5 m", "150 cm", "1500 mm", "1,5 metres", "1.5 Meter", "1.50m"] {
            check(text, 1_500_000);
        }
        for text in ["6.15 mm", "6,15 mm", "Ø6.15 mm", "⌀ 6.15mm"] {
            check(text, 6_150);
        }
        check("0.242 in", 6_147);
        check(".242\"", 6_147);
        check("0,242 in", 6_147);
        for text in ["1/4 in", "1/4\"", "¼ in", "0.25 inch"] {
            check(text, 6_350);
        }
        for text in ["1 1/2 in", "1-1/2\"", "1½ inches", "1.5 in."] {
            check(text, 38_100);
        }
        check("0.3048000000000001 m", 304_800);
        check("7m5", 7_500_000);
        check("12M05", 12_050_000);
        check("0m750", 750_000);
    }

    #[test]
    fn plain_numbers_take_a_unit_later() {
        let Ok(Reading::Plain(number)) = read("12,5") else { panic!("12,5 is a number") };
        assert_eq!(number.of(Unit::Metre), Some(Micrometres(12_500_000)));
        assert_eq!(read("999999999999999 m"), Err(Unreadable::Other), "absurd");
    }

    #[test]
    fn what_is_no_measure_is_refused() {
        for text in [
            "",
            "ft",
            "2 yd",
            "-5 m",
            "5 m 3",
            "5m 3",
            "7m5m",
            "7m5000",
            "7mm5",
            "7.5m2",
            "7cm5",
            "5 m 3 in",
            "1/0 in",
            "1/ in",
            "6.15.2 mm",
            "6 . 15 mm",
            "5 ft 3 ft",
            "about 5 m",
            "5 m long",
            "1e3 m",
            "٣ m",
            "1 2 in",
            "5'6",
            "12-6 in",
            "11/2 1/2 in",
            ".",
            "5. m",
            "１ m",
            "1234567890123456 mm",
        ] {
            assert_eq!(read(text), Err(Unreadable::Other), "{text}");
        }
        assert_eq!(read("1,000 ft"), Err(Unreadable::Thousands));
        assert_eq!(read("6,150 mm"), Err(Unreadable::Thousands));
    }
}
