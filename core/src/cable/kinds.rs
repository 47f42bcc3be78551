//! Kinds of cable and what is known about their diameters.

use std::collections::HashMap;

use super::{entries, nearest};
use crate::error::Result;
use crate::unit::Micrometres;

/// A kind of cable. The diameters are of the whole cable, over the sheath.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CableKind {
    /// The name that is shown.
    pub name: String,
    /// The thinnest cable sold under this name.
    pub low: Micrometres,
    /// A usual one.
    pub typical: Micrometres,
    /// The thickest.
    pub high: Micrometres,
    /// Where the figures come from: document and section, or "common practice, no source".
    pub source: String,
}

/// The kinds we know, found by name without regard to case, blanks, hyphens, underscores, slashes
/// and dots, and whichever way round the words stand.
#[derive(Clone, Debug, Default)]
pub struct Kinds {
    kinds: Vec<CableKind>,
    names: HashMap<String, usize>,
    /// Names with their words in another order; a name that someone wrote comes first.
    rotated: HashMap<String, usize>,
}

/// The range in which a diameter is believed: the thinnest single wires to the thickest feeders.
pub(super) const THINNEST: Micrometres = Micrometres(300);
pub(super) const THICKEST: Micrometres = Micrometres(200_000);

const SHIPPED: &str = include_str!("../../data/kinds.toml");

impl Kinds {
    /// No kinds.
    pub fn new() -> Self {
        Self::default()
    }

    /// The kinds that come with the program.
    ///
    /// # Panics
    /// Never: a test reads the shipped table.
    pub fn shipped() -> Self {
        let mut kinds = Self::new();
        kinds.add_toml(SHIPPED, "kinds.toml").expect("the shipped table is read by a test");
        kinds
    }

    /// Adds kinds from TOML; a name that is known already means the later one from now on.
    ///
    /// ```
    /// use tapewright::cable::Kinds;
    ///
    /// let mut kinds = Kinds::shipped();
    /// let ours = r#"
    /// [[kind]]
    /// name = "stage loom"
    /// aliases = ["loom"]
    /// low_mm = 17.5
    /// typical_mm = 18.0
    /// high_mm = 18.5
    /// source = "measured on reel 4, 3 times"
    /// "#;
    /// kinds.add_toml(ours, "kinds.toml").unwrap();
    /// assert_eq!(kinds.get("LOOM").unwrap().typical.mm(), 18.0);
    /// ```
    ///
    /// # Errors
    /// `Input`, naming file, entry and field: not TOML, an unknown or missing field, a diameter not
    /// from 0.3 mm to 200 mm, low ≤ typical ≤ high not held, a name twice in one file. Nothing is
    /// added then.
    pub fn add_toml(&mut self, text: &str, file_name: &str) -> Result<()> {
        let fields = ["name", "aliases", "low_mm", "typical_mm", "high_mm", "source"];
        let mut added = self.clone();
        let first = added.kinds.len();
        for entry in entries::read(text, file_name, "kind", &fields)? {
            let diameter = |field| entry.millimetres(field, THINNEST, THICKEST);
            let kind = CableKind {
                name: entry.text("name")?,
                low: diameter("low_mm")?,
                typical: diameter("typical_mm")?,
                high: diameter("high_mm")?,
                source: entry.text("source")?,
            };
            if kind.low > kind.typical || kind.typical > kind.high {
                return Err(entry.error(format!(
                    "found low {}, typical {}, high {}, wanted low_mm, typical_mm and high_mm to rise",
                    kind.low, kind.typical, kind.high
                )));
            }
            let mut names = entry.texts("aliases")?;
            names.push(kind.name.clone());
            let index = added.kinds.len();
            for name in names {
                for rotated in entries::rotated(&name) {
                    added.rotated.insert(rotated, index);
                }
                let known = added.names.insert(entries::compared(&name), index);
                if let Some(other) = known.filter(|known| (first..index).contains(known)) {
                    let other = &added.kinds[other].name;
                    return Err(
                        entry.error(format!("found the name `{name}` also at `{other}`, wanted each name once"))
                    );
                }
            }
            added.kinds.push(kind);
        }
        *self = added;
        Ok(())
    }

    /// The kind of this name.
    pub fn get(&self, name: &str) -> Option<&CableKind> {
        let name = entries::compared(name);
        self.names.get(&name).or_else(|| self.rotated.get(&name)).map(|&index| &self.kinds[index])
    }

    /// The names of up to three kinds that look like this one, nearest first.
    pub fn nearest(&self, name: &str) -> Vec<&str> {
        let names = self.names.iter().map(|(compared, &index)| (compared.as_str(), self.kinds[index].name.as_str()));
        nearest::three(&entries::compared(name), names)
    }

    /// All kinds, in the order in which they were added.
    pub fn iter(&self) -> impl Iterator<Item = &CableKind> {
        self.kinds.iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(name: &str) -> (f64, f64, f64) {
        let kinds = Kinds::shipped();
        let kind = kinds.get(name).unwrap_or_else(|| panic!("no kind {name}"));
        (kind.low.mm(), kind.typical.mm(), kind.high.mm())
    }

    /// A value in inches, rounded as the source rounds it to millimetres.
    fn inches(inches: f64) -> f64 {
        (inches * 2540.0 + 1e-6).round() / 100.0
    }

    #[test]
    fn coax_is_what_the_public_table_says() {
        // Overall diameters in inches: a public coax table, read in a copy; RG-58, RG-59,
        // RG-11 and RG-223 also in a second sheet of coax data. 1 in = 25.4 mm.
        for (name, inch) in [
            ("RG-58", 0.195),
            ("RG-59", 0.242),
            ("RG-6A/U", 0.332),
            ("RG-11", 0.405),
            ("RG-8A", 0.405),
            ("RG-213", 0.405),
            ("RG-214", 0.425),
            ("RG-62", 0.242),
            ("RG-174", 0.110),
            ("RG-178", 0.072),
            ("RG-179", 0.100),
            ("RG-223", 0.211),
            ("RG-316", 0.102),
            ("RG-400", 0.195),
            ("RG-303", 0.170),
            ("RG-393", 0.390),
        ] {
            let (low, typical, high) = mm(name);
            assert_eq!(typical, inches(inch), "{name}");
            // Tolerance of the military sheets up to 0.007 in (from memory).
            assert!(low <= typical - 0.17 && high >= typical + 0.17, "{name}: {low} {high}");
        }
        assert_eq!(mm("rg59b/u").1, 6.15);
    }

    #[test]
    fn cords_have_the_limits_of_their_standards() {
        // H05VV-F: EN 50525-2-11, H07RN-F: EN 50525-2-21; limits from memory. The middle figures are
        // approximate diameters of a maker's table and of a cable-tray calculator (both read).
        assert_eq!(mm("H05VV-F 3x1.5"), (7.4, 8.2, 9.4));
        assert_eq!(mm("3G1.5 H05VV-F"), (7.4, 8.2, 9.4));
        assert_eq!(mm("H05VVF 2 × 0,75 mm²"), (5.7, 7.0, 7.2));
        assert_eq!(mm("H07RN-F 3x2.5"), (10.9, 12.2, 14.0));
        assert_eq!(mm("H07RN-F 5x2.5"), (13.3, 14.5, 17.0));
        assert_eq!(mm("h07rn-f 1x95").0, 20.8);
        assert_eq!(mm("H07RN-F 5x25").2, 40.4);
        let kinds = Kinds::shipped();
        assert!(kinds.get("H07RN-F 1x2.5").is_none(), "1x25 is another cable");
        for (family, count) in [("H05VV-F ", 18), ("H07RN-F ", 24), ("RG-", 17)] {
            assert_eq!(kinds.iter().filter(|kind| kind.name.starts_with(family)).count(), count, "{family}");
        }
    }

    #[test]
    fn data_and_trade_cables() {
        // Data cable: default list of a public cable-tray calculator, read. Trade values: from memory.
        assert_eq!(mm("Cat5e U/UTP"), (5.3, 5.3, 5.3));
        assert_eq!(mm("cat 6a f/utp").1, 7.6);
        assert_eq!(mm("XLR cable"), (6.0, 6.25, 6.5));
        assert_eq!(mm("mini microphone cable").0, 3.0);
        assert_eq!(mm("speaker cable 4x2.5").2, 11.0);
        assert_eq!(mm("dmx").2, 7.0);
        assert_eq!(mm("75 ohm video 0.8/3.7").2, 6.1);
    }

    #[test]
    fn every_shipped_kind_names_its_source_with_its_mark() {
        let kinds = Kinds::shipped();
        assert!(kinds.iter().count() > 70);
        for kind in kinds.iter() {
            let marked =
                ["read in", "from memory", "common practice, no source"].iter().any(|m| kind.source.contains(m));
            assert!(marked, "{}: {}", kind.name, kind.source);
            let single = kind.low == kind.high;
            assert_eq!(single, kind.source.contains("measure it"), "{}: {}", kind.name, kind.source);
            assert_eq!(kinds.get(&kind.name), Some(kind));
        }
    }

    const OURS: &str =
        "[[kind]]\nname = \"RG-59\"\nlow_mm = 6\ntypical_mm = 6.1\nhigh_mm = 6.2\nsource = \"measured\"\n";

    #[test]
    fn later_kinds_win() {
        let mut kinds = Kinds::shipped();
        kinds.add_toml(OURS, "ours.toml").unwrap();
        assert_eq!(kinds.get("rg 59").unwrap().high.mm(), 6.2);
        assert_eq!(kinds.get("RG-59/U").unwrap().typical.mm(), 6.15, "an alias of the shipped kind");
    }

    #[test]
    fn bad_tables_name_file_entry_and_field_and_change_nothing() {
        for (text, message) in [
            (OURS.replace("source", "sauce"), "ours.toml: kind 1 (RG-59): found the field `sauce`, wanted only name"),
            (OURS.replace("6.2", "5"), "kind 1 (RG-59): found low 6 mm, typical 6.1 mm, high 5 mm, wanted low_mm"),
            (OURS.replace("= 6\n", "= \"6\"\n"), "found `low_mm = \"6\"`, wanted `low_mm` as a number from 0.3 mm"),
            (
                OURS.replace("6.2", "250.0"),
                "found `high_mm = 250.0`, wanted `high_mm` as a number from 0.3 mm to 200 mm",
            ),
            (OURS.replace("6.2", "nan"), "found `high_mm = nan`"),
            (
                OURS.replace("name = \"RG-59\"\n", ""),
                "kind 1 (without a name): found no `name`, wanted `name` as a text",
            ),
            (format!("{OURS}aliases = \"x\"\n"), "wanted `aliases` as a list of texts"),
            (
                format!("{OURS}{}", OURS.replace("RG-59", "rg 59")),
                "ours.toml: kind 2 (rg 59): found the name `rg 59` also",
            ),
            ("[kinds]\n".into(), "ours.toml: found `kinds`, wanted only [[kind]] entries"),
            ("kind = [1]\n".into(), "found `kind` as a list of values"),
            ("\n[[kind]\n".into(), "ours.toml: line 2, "),
        ] {
            let mut kinds = Kinds::shipped();
            let error = kinds.add_toml(&text, "ours.toml").unwrap_err().to_string();
            assert!(error.contains(message), "{error:?} does not say {message:?}");
            assert_eq!(kinds.get("RG-59").unwrap().high.mm(), 6.33);
        }
    }
}
