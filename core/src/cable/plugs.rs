//! Plugs: what a sleeve must pass when the cable is terminated.

use std::collections::HashMap;

use super::measure::{Reading, Unit, read};
use super::{Cable, Column, FieldError, entries, nearest, quoted, shortened};
use crate::error::Result;
use crate::unit::Micrometres;

/// What the list says about the ends of a cable.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Plug {
    /// Nothing is said.
    Unsaid,
    /// The ends are bare: anything may be slid on.
    Bare,
    /// A plug is on.
    Fitted {
        /// Its name, or the size as the list gives it.
        name: String,
        /// Across the widest part.
        widest: Micrometres,
    },
    /// Something is said that is no plug we know: what is wrong with it.
    Unknown(FieldError),
}

/// A kind of plug.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlugKind {
    /// The name that is shown, a neutral trade name.
    pub name: String,
    /// Across the widest part: the widest of what is sold under this name.
    pub widest: Micrometres,
    /// Where the figure comes from: document and section, or "from memory".
    pub source: String,
}

/// The plugs we know, found by name as [`super::Kinds`] are.
#[derive(Clone, Debug, Default)]
pub struct Plugs {
    plugs: Vec<PlugKind>,
    names: HashMap<String, usize>,
    rotated: HashMap<String, usize>,
}

/// The range in which a width is believed.
const NARROWEST: Micrometres = Micrometres(2_000);
const WIDEST: Micrometres = Micrometres(300_000);

const BARE: [&str; 12] =
    ["no", "none", "bare", "open", "", "notyet", "not", "unterminated", "n", "false", "bareends", "noplug"];

const SAYS_TOO_LITTLE: [&str; 8] = ["yes", "y", "true", "both", "bothends", "terminated", "done", "x"];

const SHIPPED: &str = include_str!("../../data/plugs.toml");

impl Plugs {
    /// No plugs.
    pub fn new() -> Self {
        Self::default()
    }

    /// The plugs that come with the program.
    ///
    /// # Panics
    /// Never: a test reads the shipped table.
    pub fn shipped() -> Self {
        let mut plugs = Self::new();
        plugs.add_toml(SHIPPED, "plugs.toml").expect("the shipped table is read by a test");
        plugs
    }

    /// Adds plugs from TOML (`[[plug]]` with `name`, `aliases`, `widest_mm`, `source`); a name that
    /// is known already means the later one from now on.
    ///
    /// # Errors
    /// `Input`, naming file, entry and field: not TOML, an unknown or missing field, a width not
    /// from 2 mm to 300 mm, a name twice in one file. Nothing is added then.
    pub fn add_toml(&mut self, text: &str, file_name: &str) -> Result<()> {
        let mut added = self.clone();
        let first = added.plugs.len();
        for entry in entries::read(text, file_name, "plug", &["name", "aliases", "widest_mm", "source"])? {
            let plug = PlugKind {
                name: entry.text("name")?,
                widest: entry.millimetres("widest_mm", NARROWEST, WIDEST)?,
                source: entry.text("source")?,
            };
            let mut names = entry.texts("aliases")?;
            names.push(plug.name.clone());
            let index = added.plugs.len();
            for name in names {
                for rotated in entries::rotated(&name) {
                    added.rotated.insert(rotated, index);
                }
                let known = added.names.insert(entries::compared(&name), index);
                if let Some(other) = known.filter(|known| (first..index).contains(known)) {
                    let other = &added.plugs[other].name;
                    return Err(
                        entry.error(format!("found the name `{name}` also at `{other}`, wanted each name once"))
                    );
                }
            }
            added.plugs.push(plug);
        }
        *self = added;
        Ok(())
    }

    /// The plug of this name.
    pub fn get(&self, name: &str) -> Option<&PlugKind> {
        let name = entries::compared(name);
        self.names.get(&name).or_else(|| self.rotated.get(&name)).map(|&index| &self.plugs[index])
    }

    /// The names of up to three plugs that look like this one, nearest first.
    pub fn nearest(&self, name: &str) -> Vec<&str> {
        let names = self.names.iter().map(|(compared, &index)| (compared.as_str(), self.plugs[index].name.as_str()));
        nearest::three(&entries::compared(name), names)
    }

    /// All plugs, in the order in which they were added.
    pub fn iter(&self) -> impl Iterator<Item = &PlugKind> {
        self.plugs.iter()
    }
}

impl Cable<'_> {
    /// What `terminated` says: blank is unsaid; `no`, `bare`, `open`, `-` … is bare; else a plug we
    /// know, or the size across its widest part (`19 mm`, `0.75 in`, a plain number in millimetres).
    ///
    /// Names come before sizes, so `1/4 in` is the plug of that name and not a width of 6.35 mm.
    ///
    /// `yes` (a width is needed), a plug we do not know, and a size not from 2 mm to 300 mm are
    /// [`Plug::Unknown`]: only what must pass the plug need care.
    pub fn plug(&self, plugs: &Plugs) -> Plug {
        self.known_plug(plugs).unwrap_or_else(Plug::Unknown)
    }

    fn known_plug(&self, plugs: &Plugs) -> std::result::Result<Plug, FieldError> {
        let Some((_, header, text)) = self.first_of(&[Column::Terminated]) else { return Ok(Plug::Unsaid) };
        let compared = entries::compared(text);
        if BARE.contains(&compared.as_str()) {
            return Ok(Plug::Bare);
        }
        if let Some(plug) = plugs.get(text) {
            return Ok(Plug::Fitted { name: plug.name.clone(), widest: plug.widest });
        }
        let error = |wanted: &str, hint: String| FieldError {
            field: header.to_owned(),
            found: shortened(text),
            wanted: wanted.to_owned(),
            hint: Some(hint),
        };
        let sizes = "write a name such as `XLR`, or `no` if the ends are bare".to_owned();
        if SAYS_TOO_LITTLE.contains(&compared.as_str()) {
            return Err(error("the name of the plug or its widest part in mm", sizes));
        }
        let widest = match read(text) {
            Ok(Reading::Length(widest)) => Some(widest),
            Ok(Reading::Plain(number)) => number.of(Unit::Millimetre),
            Err(_) => {
                let hint = match plugs.nearest(text).as_slice() {
                    [] => "give the widest part of the plug in mm".to_owned(),
                    names => format!("did you mean {}? or give the widest part in mm", quoted(names)),
                };
                return Err(error("a plug we know or its widest part such as `19 mm`", hint));
            }
        };
        match widest.filter(|widest| (NARROWEST..=WIDEST).contains(widest)) {
            Some(widest) => Ok(Plug::Fitted { name: shortened(text), widest }),
            None => Err(error(&format!("a plug of {NARROWEST} to {WIDEST} across its widest part"), sizes)),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::CableList;
    use super::*;

    fn plug(text: &str) -> std::result::Result<Plug, FieldError> {
        let headers = ["owner", "Terminated"].map(String::from).to_vec();
        let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
        builder.push(2, ["TWP", text]);
        builder.finish().cable(0).known_plug(&Plugs::shipped())
    }

    #[track_caller]
    fn check(text: &str, name: &str, micrometres: i64) {
        assert_eq!(plug(text), Ok(Plug::Fitted { name: name.into(), widest: Micrometres(micrometres) }), "{text}");
    }

    #[test]
    fn ends_said_to_be_bare_or_not_said() {
        assert_eq!(plug(""), Ok(Plug::Unsaid));
        for text in ["no", "None", "bare", "OPEN", "-", "–", "not yet", "unterminated", "FALSE"] {
            assert_eq!(plug(text), Ok(Plug::Bare), "{text}");
        }
    }

    #[test]
    fn plugs_and_sizes() {
        // The upper figures of trade values, from memory.
        check("xlr", "XLR", 20_000);
        check("XLR male", "XLR", 20_000);
        check("bnc", "BNC", 15_000);
        check("1/4 in", "1/4 in plug", 16_000);
        check("¼\" jack", "1/4 in plug", 16_000);
        check("6.35 mm", "1/4 in plug", 16_000);
        check("8P8C", "8P8C", 14_000);
        check("4-pole speaker lock connector", "4-pole speaker lock connector", 30_000);
        check("CEE 16 A 3-pin", "CEE 16 A 3-pin", 60_000);
        check("20A lock mains", "20 A lock mains", 28_000);
        check("19 mm", "19 mm", 19_000);
        check("0.75 in", "0.75 in", 19_050);
        check("19", "19", 19_000);
    }

    #[test]
    fn a_plug_that_cannot_be_understood_says_what_to_write() {
        for (text, message) in [
            (
                "Yes",
                "found `Yes`, wanted the name of the plug or its widest part in mm; write a name such as `XLR`, or `no` if the ends are bare",
            ),
            (
                "XRL",
                "found `XRL`, wanted a plug we know or its widest part such as `19 mm`; did you mean `XLR`? or give the widest part in mm",
            ),
            (
                "gold one",
                "found `gold one`, wanted a plug we know or its widest part such as `19 mm`; give the widest part of the plug in mm",
            ),
            (
                "1",
                "found `1`, wanted a plug of 2 mm to 300 mm across its widest part; write a name such as `XLR`, or `no` if the ends are bare",
            ),
        ] {
            let error = plug(text).unwrap_err();
            assert_eq!(error.to_string(), message);
            assert_eq!(error.field, "Terminated");
        }
    }

    #[test]
    fn every_shipped_plug_names_its_source_and_is_no_bare_word() {
        let plugs = Plugs::shipped();
        assert!(plugs.iter().count() >= 8);
        for plug in plugs.iter() {
            assert!(plug.source.contains("from memory"), "{}: {}", plug.name, plug.source);
        }
        for word in BARE.iter().chain(&SAYS_TOO_LITTLE) {
            assert!(plugs.get(word).is_none(), "{word}");
        }
        let mut more = Plugs::shipped();
        more.add_toml("[[plug]]\nname = \"XLR\"\nwidest_mm = 21\nsource = \"measured\"\n", "ours.toml").unwrap();
        assert_eq!(more.get("xlr").unwrap().widest, Micrometres(21_000));
        let error = more.add_toml("[[plug]]\nname = \"A\"\nwidth = 21\n", "ours.toml").unwrap_err();
        assert_eq!(
            error.to_string(),
            "ours.toml: plug 1 (A): found the field `width`, wanted only name, aliases, widest_mm, source"
        );
    }
}
