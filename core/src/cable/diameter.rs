//! Diameter of a cable: measured, or from its kind.

use super::kinds::{Kinds, THICKEST, THINNEST};
use super::measure::{Reading, Unit, Unreadable, read};
use super::{Cable, Column, FieldError, quoted, shortened};
use crate::unit::Micrometres;

/// How thick a cable is over its sheath, as far as it is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diameter {
    /// The thinnest it may be.
    pub low: Micrometres,
    /// The value to draw and to estimate with.
    pub typical: Micrometres,
    /// The thickest it may be. A label must suit everything from `low` to `high`.
    pub high: Micrometres,
    /// Who says so.
    pub source: DiameterSource,
}

/// Where a diameter comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DiameterSource {
    /// The list gives it; low, typical and high are the same.
    Measured,
    /// The kind of this name, see [`super::CableKind`].
    Kind(String),
}

impl Cable<'_> {
    /// The diameter: measured in `od`, else `od_mm`, else `od_in`; if all are blank, from `kind`.
    /// Nothing if that is blank too. A measured diameter counts even if the kind is unknown.
    ///
    /// # Errors
    /// A cell is no diameter, has no unit in the column `od`, or is not from 0.3 mm to 200 mm; two
    /// cells differ by more than 0.1 mm; the kind is unknown and nothing is measured.
    pub fn diameter(&self, kinds: &Kinds) -> Result<Option<Diameter>, FieldError> {
        if let Some(measured) = self.measured()? {
            let source = DiameterSource::Measured;
            return Ok(Some(Diameter { low: measured, typical: measured, high: measured, source }));
        }
        let Some((_, header, name)) = self.first_of(&[Column::Kind]) else { return Ok(None) };
        match kinds.get(name) {
            Some(kind) => Ok(Some(Diameter {
                low: kind.low,
                typical: kind.typical,
                high: kind.high,
                source: DiameterSource::Kind(kind.name.clone()),
            })),
            None => {
                let nearest = kinds.nearest(name);
                let mean = match nearest.as_slice() {
                    [] => String::new(),
                    names => format!("did you mean {}? ", quoted(names)),
                };
                Err(FieldError {
                    field: header.to_owned(),
                    found: shortened(name),
                    wanted: "a kind of cable we know".to_owned(),
                    hint: Some(format!("{mean}or give the measured diameter in od")),
                })
            }
        }
    }

    /// The first of the columns that is filled in; the others must say the same.
    fn measured(&self) -> Result<Option<Micrometres>, FieldError> {
        let mut first: Option<(&str, &str, Micrometres)> = None;
        for column in [Column::Od, Column::OdMm, Column::OdIn] {
            let Some((column, header, text)) = self.first_of(&[column]) else { continue };
            let measured = measured_in(column, header, text)?;
            match first {
                None => first = Some((header, text, measured)),
                Some((before, said, diameter)) if (diameter - measured).0.abs() > ALIKE.0 => {
                    return Err(FieldError {
                        field: header.to_owned(),
                        found: shortened(text),
                        wanted: format!("the same diameter as in {before}, `{}`", shortened(said)),
                        hint: Some("measure again, and leave the wrong one blank".to_owned()),
                    });
                }
                Some(_) => {}
            }
        }
        Ok(first.map(|(_, _, measured)| measured))
    }
}

/// Two diameters no further apart are the same, once in millimetres and once in inches, each rounded
/// to a tenth of a millimetre or so.
const ALIKE: Micrometres = Micrometres(100);

fn measured_in(column: Column, header: &str, text: &str) -> Result<Micrometres, FieldError> {
    let unit = match column {
        Column::OdMm => Some(Unit::Millimetre),
        Column::OdIn => Some(Unit::Inch),
        _ => None,
    };
    let error = |wanted: &str, hint: Option<&str>| FieldError {
        field: header.to_owned(),
        found: shortened(text),
        wanted: wanted.to_owned(),
        hint: hint.map(str::to_owned),
    };
    let measured = match (read(text), unit) {
        (Ok(Reading::Length(measured)), _) => Some(measured),
        (Ok(Reading::Plain(number)), Some(unit)) => number.of(unit),
        (Ok(Reading::Plain(_)), None) => {
            let hint = "write `6.15 mm` or `0.242 in`, or name the column od_mm or od_in";
            return Err(error("a diameter with its unit", Some(hint)));
        }
        (Err(Unreadable::Thousands), _) => {
            return Err(error("a diameter without a thousands mark", Some("write `6.15 mm` or `6.150 mm`")));
        }
        (Err(Unreadable::Other), _) => {
            return Err(error("a diameter such as `6.15 mm`, `0.242 in` or `1/4 in`", None));
        }
    };
    measured
        .filter(|measured| (THINNEST..=THICKEST).contains(measured))
        .ok_or_else(|| error(&format!("a diameter from {THINNEST} to {THICKEST}"), None))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::CableList;
    use super::*;

    fn diameter(cells: &[(&str, &str)]) -> Result<Option<Diameter>, FieldError> {
        let headers = cells.iter().map(|(header, _)| header.to_string()).chain(["owner".into()]).collect();
        let mut builder = CableList::builder(headers, &BTreeMap::new()).unwrap();
        builder.push(2, cells.iter().map(|(_, text)| *text).chain(["TWP"]));
        builder.finish().cable(0).diameter(&Kinds::shipped())
    }

    #[track_caller]
    fn check(cells: &[(&str, &str)], micrometres: i64) {
        let measured = Micrometres(micrometres);
        let source = DiameterSource::Measured;
        let expected = Diameter { low: measured, typical: measured, high: measured, source };
        assert_eq!(diameter(cells), Ok(Some(expected)), "{cells:?}");
    }

    #[track_caller]
    fn check_error(cells: &[(&str, &str)], field: &str, message: &str) {
        let error = diameter(cells).unwrap_err();
        assert_eq!(error.to_string(), message);
        assert_eq!(error.field, field);
    }

    #[test]
    fn a_measured_diameter_wins() {
        check(&[("od", "6.15 mm")], 6_150);
        check(&[("OD mm", "6,2"), ("kind", "RG-59")], 6_200);
        check(&[("od_in", "0.242")], 6_147);
        check(&[("od_in", "1/4")], 6_350);
        check(&[("od", ""), ("od_in", "6.15 mm")], 6_150);
        check(&[("od", "7 mm"), ("kind", "no such kind")], 7_000);
        check(&[("od_mm", "0.3")], 300);
        check(&[("od_mm", "200")], 200_000);
    }

    #[test]
    fn two_measured_diameters_must_agree() {
        check(&[("od", "6.15 mm"), ("od_in", "0.242")], 6_150);
        check(&[("od_mm", "6.2"), ("od_in", "0.242"), ("od", "")], 6_200);
        check_error(
            &[("od", "6.15 mm"), ("OD mm", "8.1")],
            "OD mm",
            "found `8.1`, wanted the same diameter as in od, `6.15 mm`; measure again, and leave the wrong one blank",
        );
        check_error(
            &[("od", "6.15 mm"), ("od_mm", "thick")],
            "od_mm",
            "found `thick`, wanted a diameter such as `6.15 mm`, `0.242 in` or `1/4 in`",
        );
    }

    #[test]
    fn else_the_kind_counts() {
        let found = diameter(&[("od", ""), ("Kind", "rg59 b/u")]).unwrap().unwrap();
        assert_eq!((found.low.mm(), found.typical.mm(), found.high.mm()), (5.97, 6.15, 6.33));
        assert_eq!(found.source, DiameterSource::Kind("RG-59".into()));
        assert_eq!(diameter(&[("od", ""), ("kind", "")]), Ok(None));
        assert_eq!(diameter(&[]), Ok(None));
    }

    #[test]
    fn a_bad_diameter_is_not_replaced_by_the_kind() {
        check_error(
            &[("Od", "6.15"), ("kind", "RG-59")],
            "Od",
            "found `6.15`, wanted a diameter with its unit; write `6.15 mm` or `0.242 in`, or name the column od_mm or od_in",
        );
        check_error(
            &[("od", "thin")],
            "od",
            "found `thin`, wanted a diameter such as `6.15 mm`, `0.242 in` or `1/4 in`",
        );
        check_error(&[("od_mm", "0.299")], "od_mm", "found `0.299`, wanted a diameter from 0.3 mm to 200 mm");
        check_error(
            &[("od_mm", "6,150")],
            "od_mm",
            "found `6,150`, wanted a diameter without a thousands mark; write `6.15 mm` or `6.150 mm`",
        );
    }

    #[test]
    fn an_unknown_kind_offers_the_nearest() {
        check_error(
            &[("Kind", "RG-57")],
            "Kind",
            "found `RG-57`, wanted a kind of cable we know; did you mean `RG-58`, `RG-59`? or give the measured diameter in od",
        );
        check_error(
            &[("kind", "garden hose")],
            "kind",
            "found `garden hose`, wanted a kind of cable we know; or give the measured diameter in od",
        );
    }
}
