//! Stretches of time, as people say them.

/// Seconds of a day; leap seconds are not counted in Unix time (POSIX.1-2017, base definitions 4.16).
const SECONDS: i64 = 86_400;

/// Days of a year and of a month on the average: the Gregorian calendar has 146,097 days in 400 years.
const YEAR_DAYS: f64 = 365.2425;
const MONTH_DAYS: f64 = YEAR_DAYS / 12.0;

/// A stretch of time as people write it, in days: `30d`, `6 weeks`, `18months`, `2y`. A plain number is
/// days. From 1 day to 100 years.
pub fn days_of(text: &str) -> Option<i64> {
    let text = text.trim().to_lowercase();
    let split = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let count: u16 = text[..split].parse().ok()?;
    let one = match text[split..].trim() {
        "" | "d" | "day" | "days" => 1.0,
        "w" | "week" | "weeks" => 7.0,
        "m" | "mo" | "month" | "months" => MONTH_DAYS,
        "y" | "year" | "years" => YEAR_DAYS,
        _ => return None,
    };
    let days = (f64::from(count) * one).round();
    #[allow(clippy::cast_possible_truncation, reason = "a whole number below 65,536 years")]
    (1.0..=36_525.0).contains(&days).then_some(days as i64)
}

/// Days in words: `18 months` where they are months, else `40 days`.
pub fn in_words(days: i64) -> String {
    for (count, word) in (1..=1200_u16).map(|months| (months, "month")) {
        if days_of(&format!("{count}{word}s")) == Some(days) {
            return format!("{count} {word}{}", if count == 1 { "" } else { "s" });
        }
    }
    format!("{days} day{}", if days == 1 { "" } else { "s" })
}

/// A moment so many days later.
pub(super) const fn later(at: i64, days: i64) -> i64 {
    at.saturating_add(days.saturating_mul(SECONDS))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_are_read_and_said() {
        for (text, days) in [("30d", 30), ("6 weeks", 42), ("18months", 548), ("2y", 730), ("40", 40), ("1 month", 30)]
        {
            assert_eq!(days_of(text), Some(days), "{text}");
        }
        for text in ["", "0d", "d", "-3d", "3 moons", "101y", "1.5y"] {
            assert_eq!(days_of(text), None, "{text}");
        }
        assert_eq!((in_words(548), in_words(40), in_words(1)), ("18 months".into(), "40 days".into(), "1 day".into()));
        assert_eq!(in_words(730), "24 months");
    }
}
