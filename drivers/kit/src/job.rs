//! What a driver is told about a job and its strips.

use tapewright_abi::value::Cut;

use crate::{Fault, OptionKind, OptionSpec};

/// What is true for all strips of a job.
#[derive(Debug, Clone, Copy)]
pub struct Job<'a> {
    /// For the device's display or log.
    pub name: &'a str,
    /// Strips in the whole job; `None` when not known yet.
    pub strips: Option<u32>,
    /// Resolution across the tape in thousandths of a dot per inch, at least 1: 203200 is
    /// 8 dots/mm.
    pub dpi_across_milli: u32,
    /// Resolution along the tape in thousandths of a line per inch, at least 1.
    pub dpi_along_milli: u32,
    /// Width of a head line in dots, at least 1.
    pub dots: u32,
    /// Bytes of a head line, ⌈dots / 8⌉.
    pub bytes_per_line: usize,
    /// What is loaded.
    pub stock: Stock<'a>,
    /// The family's settings, each with a value.
    pub options: &'a Options,
}

/// The stock a job is for.
#[derive(Debug, Clone, Copy)]
pub struct Stock<'a> {
    /// Where the tape's edge on the dot 0 side lies on the head, in dots; negative when the tape
    /// is wider than the head.
    pub web_first_dot: i32,
    /// Width of the tape in dots, at least 1.
    pub web_dots: u32,
    /// Nominal width of the tape in micrometres; `None` when not known.
    pub width_um: Option<u32>,
    /// `tape`, `wrap`, `sleeve`, …
    pub kind: &'a str,
    /// As a person calls it.
    pub title: &'a str,
}

/// One piece of tape.
///
/// Its lines are all lines of the piece in feed order as measured at the cutter: first
/// `lead_lines` blank ones, then labels and gaps, then `trail_lines` blank ones.
#[derive(Debug, Clone, Copy)]
pub struct Strip<'a> {
    /// From 0, without holes.
    pub index: u32,
    /// All lines, lead and trail included; at least 1.
    pub lines: u32,
    /// Blank lines that stood between head and cutter; a family whose device feeds them by itself
    /// may skip them.
    pub lead_lines: u32,
    /// Blank lines after the last label.
    pub trail_lines: u32,
    /// Labels on this strip.
    pub labels: u32,
    /// Strictly ascending by line; a full cut at the end has `line == lines`.
    pub cuts: &'a [Cut],
}

/// The family's settings with the values of one job.
#[derive(Debug, Clone, Default)]
pub struct Options(Vec<(&'static str, Value)>);

#[derive(Debug, Clone)]
enum Value {
    Bool(bool),
    Int(i64),
    Text(String),
}

impl Options {
    /// Checks values against their description and fills in the defaults; for tests of a driver
    /// without a host.
    ///
    /// # Errors
    ///
    /// A [`Fault`] of kind `BadArgument`: an unknown key, a key given twice, a value out of range.
    pub fn new(specs: &'static [OptionSpec], given: &[(&str, &str)]) -> Result<Options, Fault> {
        for (index, (key, _)) in given.iter().enumerate() {
            if !specs.iter().any(|spec| spec.id == *key) {
                let known: Vec<&str> = specs.iter().map(|spec| spec.id).collect();
                return Err(Fault::argument(format!("option {key} is not known, wanted one of: {}", known.join(", "))));
            }
            if given[..index].iter().any(|(other, _)| other == key) {
                return Err(Fault::argument(format!("option {key} is given twice, wanted once")));
            }
        }
        let value = |spec: &OptionSpec| {
            let given = given.iter().find(|(key, _)| *key == spec.id);
            let text = given.map_or(spec.default, |(_, value)| *value);
            Ok((spec.id, Value::read(spec, text)?))
        };
        specs.iter().map(value).collect::<Result<_, _>>().map(Options)
    }

    /// The value of a `Bool` option.
    ///
    /// # Panics
    ///
    /// When the family has no such option, which is a mistake in the driver; the kit reports it.
    pub fn bool(&self, id: &str) -> bool {
        match self.value(id) {
            Some(Value::Bool(value)) => *value,
            _ => panic!("the family declares no bool option {id}"),
        }
    }

    /// The value of an `Int` option.
    ///
    /// # Panics
    ///
    /// When the family has no such option.
    pub fn int(&self, id: &str) -> i64 {
        match self.value(id) {
            Some(Value::Int(value)) => *value,
            _ => panic!("the family declares no int option {id}"),
        }
    }

    /// The value of a `Text` or `Choice` option.
    ///
    /// # Panics
    ///
    /// When the family has no such option.
    pub fn text(&self, id: &str) -> &str {
        match self.value(id) {
            Some(Value::Text(value)) => value,
            _ => panic!("the family declares no text or choice option {id}"),
        }
    }

    fn value(&self, id: &str) -> Option<&Value> {
        self.0.iter().find(|(key, _)| *key == id).map(|(_, value)| value)
    }
}

impl Value {
    fn read(spec: &OptionSpec, text: &str) -> Result<Value, Fault> {
        let refuse = |wanted: String| Err(Fault::argument(format!("option {} is {text:?}, wanted {wanted}", spec.id)));
        match spec.kind {
            OptionKind::Bool => match text {
                "true" => Ok(Value::Bool(true)),
                "false" => Ok(Value::Bool(false)),
                _ => refuse("true or false".into()),
            },
            OptionKind::Int { min, max } => match text.parse() {
                Ok(value) if (min..=max).contains(&value) => Ok(Value::Int(value)),
                _ => refuse(format!("a whole number from {min} to {max}")),
            },
            OptionKind::Text => Ok(Value::Text(text.to_owned())),
            OptionKind::Choice(choices) if choices.contains(&text) => Ok(Value::Text(text.to_owned())),
            OptionKind::Choice(choices) => refuse(format!("one of: {}", choices.join(", "))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPECS: &[OptionSpec] = &[
        OptionSpec { id: "cut", kind: OptionKind::Bool, default: "true", help: "" },
        OptionSpec { id: "speed", kind: OptionKind::Int { min: -1, max: 3 }, default: "2", help: "" },
        OptionSpec { id: "page", kind: OptionKind::Choice(&["tape", "head"]), default: "tape", help: "" },
        OptionSpec { id: "note", kind: OptionKind::Text, default: "", help: "" },
    ];

    #[test]
    fn defaults_and_values() {
        let options = Options::new(SPECS, &[("speed", "-1"), ("note", "rack ä")]).unwrap();
        assert!(options.bool("cut"));
        assert_eq!(options.int("speed"), -1);
        assert_eq!(options.text("page"), "tape");
        assert_eq!(options.text("note"), "rack ä");
    }

    #[test]
    fn bad_values_say_what_is_wanted() {
        let text = |given: &[(&str, &str)]| Options::new(SPECS, given).unwrap_err().text;
        assert_eq!(text(&[("cut", "yes")]), r#"option cut is "yes", wanted true or false"#);
        assert_eq!(text(&[("speed", "4")]), r#"option speed is "4", wanted a whole number from -1 to 3"#);
        assert_eq!(text(&[("page", "")]), r#"option page is "", wanted one of: tape, head"#);
        assert_eq!(text(&[("pace", "1")]), "option pace is not known, wanted one of: cut, speed, page, note");
        assert_eq!(text(&[("cut", "true"), ("cut", "true")]), "option cut is given twice, wanted once");
    }
}
