//! Tables of named things in TOML (cable kinds, plugs), read strictly, and how their names match.

use crate::error::{Error, Result};
use crate::unit::Micrometres;

/// One entry of a table: `[[kind]]` or `[[plug]]`.
pub(super) struct Entry {
    what: String,
    table: toml::Table,
}

/// Reads all entries of an array of tables.
///
/// # Errors
/// `Input`, with file, entry and field: no TOML, anything but the array, an unknown field.
pub(super) fn read(text: &str, file_name: &str, array: &str, fields: &[&str]) -> Result<Vec<Entry>> {
    let input = |text: String| Error::input(text).doing(file_name);
    let table: toml::Table = text.parse().map_err(|error| Error::toml(text, &error).doing(file_name))?;
    let mut entries = Vec::new();
    for (key, value) in table {
        let tables = match value {
            toml::Value::Array(tables) if key == array => tables,
            _ => return Err(input(format!("found `{key}`, wanted only [[{array}]] entries"))),
        };
        for (index, value) in tables.into_iter().enumerate() {
            let toml::Value::Table(table) = value else {
                return Err(input(format!("found `{array}` as a list of values, wanted [[{array}]] entries")));
            };
            let name = table.get("name").and_then(toml::Value::as_str).unwrap_or("without a name");
            let what = format!("{file_name}: {array} {} ({name})", index + 1);
            if let Some(field) = table.keys().find(|field| !fields.contains(&field.as_str())) {
                let wanted = fields.join(", ");
                return Err(Error::input(format!("found the field `{field}`, wanted only {wanted}")).doing(what));
            }
            entries.push(Entry { what, table });
        }
    }
    Ok(entries)
}

impl Entry {
    /// An error about one field of this entry.
    pub(super) fn error(&self, text: String) -> Error {
        Error::input(text).doing(self.what.as_str())
    }

    /// A text that is there and not blank.
    pub(super) fn text(&self, field: &str) -> Result<String> {
        match self.table.get(field).and_then(toml::Value::as_str).map(str::trim) {
            Some(text) if !text.is_empty() => Ok(text.to_owned()),
            _ => Err(self.error(format!("found {}, wanted `{field}` as a text", self.found(field)))),
        }
    }

    /// A list of texts; absent is empty.
    pub(super) fn texts(&self, field: &str) -> Result<Vec<String>> {
        let Some(value) = self.table.get(field) else { return Ok(Vec::new()) };
        let texts = value.as_array().and_then(|values| {
            values.iter().map(|value| value.as_str().map(str::to_owned)).collect::<Option<Vec<String>>>()
        });
        texts.ok_or_else(|| self.error(format!("found {}, wanted `{field}` as a list of texts", self.found(field))))
    }

    /// A length in millimetres within a range.
    #[allow(clippy::cast_precision_loss, reason = "a value that large is out of range anyway")]
    pub(super) fn millimetres(&self, field: &str, low: Micrometres, high: Micrometres) -> Result<Micrometres> {
        let mm = match self.table.get(field) {
            Some(toml::Value::Float(mm)) => Some(*mm),
            Some(toml::Value::Integer(mm)) => Some(*mm as f64),
            _ => None,
        };
        let length = mm.filter(|mm| mm.is_finite()).map(Micrometres::from_mm);
        length.filter(|length| (low..=high).contains(length)).ok_or_else(|| {
            self.error(format!("found {}, wanted `{field}` as a number from {low} to {high}", self.found(field)))
        })
    }

    fn found(&self, field: &str) -> String {
        self.table.get(field).map_or_else(|| format!("no `{field}`"), |value| format!("`{field} = {value}`"))
    }
}

/// A name reduced to what is compared: lower case; no blanks, hyphens, underscores, slashes, dots.
///
/// Dots (or commas) and slashes between two digits stay, since `1x2.5` and `1x25` are two cables.
/// Between digits `×`, `*` and the `G` of a cord with earth conductor (`3G1.5`) are an `x`; a square
/// millimetre at the end falls away.
pub(super) fn compared(name: &str) -> String {
    let name = name.to_lowercase().replace('ω', "ohm").replace("mm²", "mm2");
    let name = name.replace('¼', "1/4").replace('⅛', "1/8").replace(['”', '″'], "\"");
    // Blanks and hyphens are gone before neighbours are looked at: `3 x 1.5`.
    let plain: Vec<char> = name
        .trim_end_matches('.')
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_' | '\u{2010}'..='\u{2014}'))
        .collect();
    let digit = |at: Option<usize>| at.and_then(|at| plain.get(at)).is_some_and(char::is_ascii_digit);
    let mut compared = String::with_capacity(name.len());
    for (at, &c) in plain.iter().enumerate() {
        let between = digit(at.checked_sub(1)) && digit(Some(at + 1));
        match c {
            '×' | '*' => compared.push('x'),
            'g' if between => compared.push('x'),
            '.' | ',' if between => compared.push('.'),
            '/' if between => compared.push('/'),
            '.' | ',' | '/' => {}
            _ => compared.push(c),
        }
    }
    for unit in ["mm2", "sqmm"] {
        if let Some(size) = compared.strip_suffix(unit)
            && size.ends_with(|c: char| c.is_ascii_digit())
        {
            compared.truncate(size.len());
            break;
        }
    }
    compared
}

/// The same words in another order: `3x1.5 H07RN-F` for `H07RN-F 3x1.5`.
pub(super) fn rotated(name: &str) -> Vec<String> {
    let words: Vec<&str> = name.split_whitespace().collect();
    (1..words.len()).map(|first| compared(&[&words[first..], &words[..first]].concat().join(" "))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_match_in_any_dress_but_sizes_stay_apart() {
        for name in ["H07RN-F 3x1.5", "H07RNF 3×1.5", "h07 rn-f 3 x 1,5", "H07RN-F 3G1.5", "H07RN-F 3x1.5 mm²"] {
            assert_eq!(compared(name), "h07rnf3x1.5", "{name}");
        }
        assert_eq!(compared("RG-59/U"), compared("rg 59 u."));
        assert_eq!(compared("75 Ω video 0.6/2.8"), "75ohmvideo0.6/2.8");
        assert_ne!(compared("H07RN-F 1x2.5"), compared("H07RN-F 1x25"));
        assert_eq!(rotated("H07RN-F 3x1.5"), ["3x1.5h07rnf"]);
        assert_eq!(rotated("mini mic cable"), ["miccablemini", "cableminimic"]);
    }
}
