//! What is loaded and what prints: stocks and printer profiles.
//!
//! Both come from TOML tables (`[[stock]]`, `[[printer]]`); the shipped ones are generic, a user's
//! own files add to them or replace them by id.

use crate::error::{Error, Result};
use crate::unit::{Dots, Dpi, Micrometres};
use serde::Deserialize;
use std::collections::BTreeMap;

/// What a stock may be cut with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Cutting {
    /// Through the label but not the backing.
    Half,
    /// Only right through.
    Full,
    /// Not by a machine: by hand, along a printed guide.
    None,
}

/// Which way a self-laminating wrap runs round the cable.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WrapAxis {
    /// The tape's length goes round the cable; the clear tail is cut to the cable.
    Along,
    /// The tape's width goes round the cable; printed zone and clear tail are fixed.
    Across,
}

/// Heat-shrink tube: sizes before and after shrinking.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sleeve {
    /// Least inside diameter as supplied.
    pub supplied: Micrometres,
    /// Greatest inside diameter after full, free recovery.
    pub recovered: Micrometres,
    /// Wall after full recovery, nominal.
    pub wall: Micrometres,
    /// Room asked for between the supplied tube and what it must pass, in percent of the latter.
    pub slack_percent: i64,
    /// Change of length when shrunk, in tenths of a percent; negative is shorter.
    pub along_permille: i64,
}

/// The form of a stock: what kind of label it can become.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Plain adhesive tape: flags, bands, plates.
    Tape,
    /// Self-laminating: a printed zone and a clear tail.
    Wrap {
        /// Which way it goes round.
        axis: WrapAxis,
        /// What the tail must cover beyond the print, at least.
        overlap: Micrometres,
    },
    /// Printed heat-shrink tube, laid flat.
    Sleeve(Sleeve),
}

impl Form {
    /// The word for it in lists and streams.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Tape => "tape",
            Self::Wrap { .. } => "wrap",
            Self::Sleeve(_) => "sleeve",
        }
    }
}

/// A kind of tape or tube, as it lies on the shelf.
#[derive(Clone, Debug, PartialEq)]
pub struct Stock {
    /// Short name used in job files.
    pub id: String,
    /// What a person calls it.
    pub title: String,
    /// What it can become.
    pub form: Form,
    /// Width of the tape, or lay-flat width of the tube.
    pub width: Micrometres,
    /// Printable zone across.
    pub zone: Micrometres,
    /// From the tape's edge at the dot-0 side to the zone.
    pub zone_from_edge: Micrometres,
    /// Thickness once on the cable (without backing).
    pub thickness: Micrometres,
    /// Whether the raster is mirrored across the tape: print that is seen from its back.
    pub mirrored: bool,
    /// Tape in a full cartridge.
    pub length: Micrometres,
    /// Price of a full cartridge, in the user's money.
    pub price: Option<f64>,
    /// Cutting it allows.
    pub cutting: Cutting,
}

/// Cutter of a printer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum Cutter {
    /// Half and full cuts.
    #[serde(rename = "half+full")]
    HalfAndFull,
    /// Full cuts only.
    #[serde(rename = "full")]
    Full,
    /// None: a tear bar or scissors.
    #[serde(rename = "none")]
    None,
}

impl Cutter {
    /// Its word in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::HalfAndFull => "half+full",
            Self::Full => "full",
            Self::None => "none",
        }
    }
}

/// Where narrow stock lies on the head.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Alignment {
    /// The middle of the stock runs under the middle of the head.
    Centre,
    /// The stock's edge runs along dot 0.
    Edge,
}

/// A printer as the planner and the raster see it. Lengths along are as measured at the cutter.
#[derive(Clone, Debug, PartialEq)]
pub struct Printer {
    /// Short name used in job files.
    pub id: String,
    /// What a person calls it.
    pub title: String,
    /// Dots per inch across the tape (the head).
    pub across: Dpi,
    /// Dots per inch along the tape (the feed).
    pub along: Dpi,
    /// Dots of the head.
    pub head: Dots,
    /// Widest stock that fits.
    pub widest: Micrometres,
    /// Where narrow stock lies.
    pub alignment: Alignment,
    /// Blank before the first label: head to cutter, less what the printer draws back.
    pub lead: Micrometres,
    /// Between two labels.
    pub gap: Micrometres,
    /// Blank after the last label.
    pub trail: Micrometres,
    /// Least piece the cutter can part and push out.
    pub min_piece: Micrometres,
    /// Longest strip.
    pub max_strip: Micrometres,
    /// Most labels in a strip; 0 for no limit.
    pub max_labels: u32,
    /// Cutter.
    pub cutter: Cutter,
    /// Fed when a cartridge is mounted.
    pub load: Micrometres,
    /// Fed out when a cartridge is taken out to be kept.
    pub tail: Micrometres,
    /// End of a cartridge that cannot be printed.
    pub reserve: Micrometres,
    /// Remnants shorter than this are thrown away.
    pub min_remnant: Micrometres,
    /// Feed in micrometres a second.
    pub speed: Micrometres,
    /// Milliseconds for one cut.
    pub cut_ms: i64,
    /// Milliseconds to change a cartridge.
    pub swap_ms: i64,
    /// Driver family that speaks to it.
    pub driver: String,
    /// Options of that family.
    pub options: BTreeMap<String, String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StockFile {
    #[serde(default)]
    stock: Vec<StockEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StockEntry {
    id: String,
    title: String,
    kind: String,
    width_mm: Option<f64>,
    zone_mm: f64,
    zone_from_edge_mm: Option<f64>,
    thickness_mm: Option<f64>,
    #[serde(default)]
    mirrored: bool,
    length_m: f64,
    price: Option<f64>,
    cutting: Cutting,
    axis: Option<WrapAxis>,
    overlap_mm: Option<f64>,
    supplied_mm: Option<f64>,
    recovered_mm: Option<f64>,
    wall_mm: Option<f64>,
    slack_percent: Option<i64>,
    along_percent: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PrinterFile {
    #[serde(default)]
    printer: Vec<PrinterEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PrinterEntry {
    id: String,
    title: String,
    dpi_across: f64,
    dpi_along: f64,
    head_dots: u16,
    widest_mm: f64,
    #[serde(default = "centre")]
    alignment: Alignment,
    lead_mm: f64,
    #[serde(default)]
    retract_mm: f64,
    gap_mm: f64,
    trail_mm: f64,
    min_piece_mm: f64,
    max_strip_mm: f64,
    #[serde(default)]
    max_labels: u32,
    cutter: Cutter,
    #[serde(default)]
    load_mm: f64,
    #[serde(default)]
    tail_mm: f64,
    #[serde(default)]
    reserve_mm: f64,
    #[serde(default)]
    min_remnant_mm: f64,
    speed_mm_s: f64,
    #[serde(default)]
    cut_s: f64,
    #[serde(default)]
    swap_s: f64,
    driver: String,
    #[serde(default)]
    options: BTreeMap<String, toml::Value>,
}

const fn centre() -> Alignment {
    Alignment::Centre
}

/// A length field of an entry, checked against a range in millimetres.
fn length(entry: &str, field: &str, mm: f64, least: f64, most: f64) -> Result<Micrometres> {
    if mm.is_finite() && (least..=most).contains(&mm) {
        Ok(Micrometres::from_mm(mm))
    } else {
        Err(Error::input(format!("{entry}: {field}: found {mm}, wanted {least} to {most}")))
    }
}

fn needed<T>(entry: &str, field: &str, value: Option<T>) -> Result<T> {
    value.ok_or_else(|| Error::input(format!("{entry}: {field} is missing")))
}

/// Wall of a heat-shrink tube when its inside diameter is `inside`, at constant volume and length.
///
/// From the recovered size: `t = (−D + √(D² + 4·tr·(dr + tr))) / 2`.
pub fn sleeve_wall(sleeve: &Sleeve, inside: Micrometres) -> Micrometres {
    let (d, wall, recovered) = (inside.mm(), sleeve.wall.mm(), sleeve.recovered.mm());
    Micrometres::from_mm(((d * d + 4.0 * wall * (recovered + wall)).sqrt() - d) / 2.0)
}

/// Lay-flat width of a tube: half the circumference at the middle of its supplied wall.
pub fn lay_flat(sleeve: &Sleeve) -> Micrometres {
    (sleeve.supplied + sleeve_wall(sleeve, sleeve.supplied)).scaled(std::f64::consts::FRAC_PI_2)
}

impl StockEntry {
    fn settle(self) -> Result<Stock> {
        let entry = format!("stock `{}`", self.id);
        let form = match self.kind.as_str() {
            "tape" => Form::Tape,
            "wrap" => Form::Wrap {
                axis: needed(&entry, "axis", self.axis)?,
                overlap: length(&entry, "overlap_mm", needed(&entry, "overlap_mm", self.overlap_mm)?, 0.0, 100.0)?,
            },
            "sleeve" => {
                let size = |field, value| length(&entry, field, needed(&entry, field, value)?, 0.1, 200.0);
                let sleeve = Sleeve {
                    supplied: size("supplied_mm", self.supplied_mm)?,
                    recovered: size("recovered_mm", self.recovered_mm)?,
                    wall: size("wall_mm", self.wall_mm)?,
                    slack_percent: self.slack_percent.unwrap_or(20).clamp(0, 200),
                    along_permille: Micrometres::from_mm(self.along_percent.unwrap_or(0.0) / 100.0).0.clamp(-500, 500),
                };
                if sleeve.recovered >= sleeve.supplied {
                    return Err(Error::input(format!(
                        "{entry}: recovered_mm {} is not below supplied_mm {}",
                        sleeve.recovered.mm(),
                        sleeve.supplied.mm()
                    )));
                }
                Form::Sleeve(sleeve)
            }
            other => {
                return Err(Error::input(format!("{entry}: kind: found `{other}`, wanted tape, wrap or sleeve")));
            }
        };
        let width = match (self.width_mm, &form) {
            (Some(mm), _) => length(&entry, "width_mm", mm, 1.0, 500.0)?,
            (None, Form::Sleeve(sleeve)) => lay_flat(sleeve),
            (None, _) => return Err(Error::input(format!("{entry}: width_mm is missing"))),
        };
        let zone = length(&entry, "zone_mm", self.zone_mm, 0.5, 500.0)?;
        let zone_from_edge = match self.zone_from_edge_mm {
            Some(mm) => length(&entry, "zone_from_edge_mm", mm, 0.0, 500.0)?,
            None => Micrometres((width.0 - zone.0) / 2),
        };
        if let Some(price) = self.price.filter(|price| !(price.is_finite() && *price >= 0.0)) {
            return Err(Error::input(format!("{entry}: price: found {price}, wanted 0 or more")));
        }
        if zone_from_edge.0 < 0 || zone_from_edge + zone > width {
            return Err(Error::input(format!("{entry}: the printable zone of {zone} leaves the width of {width}")));
        }
        Ok(Stock {
            thickness: length(&entry, "thickness_mm", self.thickness_mm.unwrap_or(0.0), 0.0, 5.0)?,
            length: length(&entry, "length_m", self.length_m * 1000.0, 100.0, 1_000_000.0)?,
            price: self.price,
            id: self.id,
            title: self.title,
            form,
            width,
            zone,
            zone_from_edge,
            mirrored: self.mirrored,
            cutting: self.cutting,
        })
    }
}

/// Dots per inch from a file, to the thousandth.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "range checked just before")]
fn dpi(entry: &str, field: &str, value: f64) -> Result<Dpi> {
    let milli = if (1.0..=10_000.0).contains(&value) { Dpi::from_milli((value * 1000.0 + 0.5) as u32) } else { None };
    milli.ok_or_else(|| Error::input(format!("{entry}: {field}: found {value}, wanted 1 to 10000")))
}

impl PrinterEntry {
    fn settle(self) -> Result<Printer> {
        let entry = format!("printer `{}`", self.id);
        let along = |field, mm, most| length(&entry, field, mm, 0.0, most);
        let head_to_cutter = along("lead_mm", self.lead_mm, 500.0)?;
        let retract = along("retract_mm", self.retract_mm, 500.0)?;
        if self.head_dots == 0 {
            return Err(Error::input(format!("{entry}: head_dots: found 0, wanted 1 to 65535")));
        }
        Ok(Printer {
            across: dpi(&entry, "dpi_across", self.dpi_across)?,
            along: dpi(&entry, "dpi_along", self.dpi_along)?,
            head: Dots(i64::from(self.head_dots)),
            widest: length(&entry, "widest_mm", self.widest_mm, 1.0, 500.0)?,
            alignment: self.alignment,
            lead: Micrometres((head_to_cutter - retract).0.max(0)),
            gap: along("gap_mm", self.gap_mm, 100.0)?,
            trail: along("trail_mm", self.trail_mm, 500.0)?,
            min_piece: along("min_piece_mm", self.min_piece_mm, 1000.0)?,
            max_strip: length(&entry, "max_strip_mm", self.max_strip_mm, 10.0, 1_000_000.0)?,
            max_labels: self.max_labels,
            cutter: self.cutter,
            load: along("load_mm", self.load_mm, 1000.0)?,
            tail: along("tail_mm", self.tail_mm, 1000.0)?,
            reserve: along("reserve_mm", self.reserve_mm, 1000.0)?,
            min_remnant: along("min_remnant_mm", self.min_remnant_mm, 10_000.0)?,
            speed: length(&entry, "speed_mm_s", self.speed_mm_s, 0.1, 10_000.0)?,
            cut_ms: along("cut_s", self.cut_s, 600.0)?.0,
            swap_ms: along("swap_s", self.swap_s, 3600.0)?.0,
            driver: self.driver,
            options: self
                .options
                .into_iter()
                .map(|(key, value)| match value {
                    toml::Value::String(text) => Ok((key, text)),
                    toml::Value::Integer(_) | toml::Value::Boolean(_) => Ok((key, value.to_string())),
                    other => Err(Error::input(format!(
                        "{entry}: options: {key}: found {other}, wanted a word, a whole number, true or false"
                    ))),
                })
                .collect::<Result<_>>()?,
            id: self.id,
            title: self.title,
        })
    }
}

impl Printer {
    /// First dot of the stock's edge at the dot-0 side; negative where the stock is wider than the head.
    pub fn stock_edge(&self, stock: &Stock) -> Dots {
        match self.alignment {
            Alignment::Edge => Dots::ZERO,
            Alignment::Centre => Dots((self.head.0 - self.across.dots_nearest(stock.width).0).div_euclid(2)),
        }
    }

    /// The printable zone of a stock on this head: first dot and number of dots.
    ///
    /// The zone is cut to what the head reaches; `None` when nothing of it is reached.
    pub fn zone(&self, stock: &Stock) -> Option<(Dots, Dots)> {
        let first = self.stock_edge(stock) + self.across.dots_covering(stock.zone_from_edge);
        let last = (first + self.across.dots_within(stock.zone)).min(self.head);
        let first = first.max(Dots::ZERO);
        (last > first).then_some((first, last - first))
    }
}

/// Every stock and printer known: the shipped ones and the user's.
#[derive(Clone, Debug)]
pub struct Catalogue {
    /// Stocks, in the order read.
    pub stocks: Vec<Stock>,
    /// Printers, in the order read.
    pub printers: Vec<Printer>,
}

/// Replaces the entry with the same id, or adds it.
fn put<T>(list: &mut Vec<T>, new: T, id: impl Fn(&T) -> &str) {
    match list.iter_mut().find(|old| id(old) == id(&new)) {
        Some(old) => *old = new,
        None => list.push(new),
    }
}

impl Catalogue {
    /// The stocks and printers that come with the program.
    ///
    /// # Panics
    /// Never in a build that passes its tests: the shipped files are checked there.
    pub fn shipped() -> Self {
        let mut catalogue = Self { stocks: Vec::new(), printers: Vec::new() };
        catalogue.add_stocks(include_str!("../data/stocks.toml")).expect("shipped stocks are right");
        catalogue.add_printers(include_str!("../data/printers.toml")).expect("shipped printers are right");
        catalogue
    }

    /// Adds or replaces stocks from the text of a TOML file with `[[stock]]` tables.
    ///
    /// # Errors
    /// Kind `Input`: not TOML, an unknown or missing field, a value out of range.
    pub fn add_stocks(&mut self, text: &str) -> Result<()> {
        let file: StockFile = toml::from_str(text).map_err(|error| Error::toml(text, &error))?;
        for entry in file.stock {
            put(&mut self.stocks, entry.settle()?, |stock| &stock.id);
        }
        Ok(())
    }

    /// Adds or replaces printers from the text of a TOML file with `[[printer]]` tables.
    ///
    /// # Errors
    /// Kind `Input`: not TOML, an unknown or missing field, a value out of range.
    pub fn add_printers(&mut self, text: &str) -> Result<()> {
        let file: PrinterFile = toml::from_str(text).map_err(|error| Error::toml(text, &error))?;
        for entry in file.printer {
            put(&mut self.printers, entry.settle()?, |printer| &printer.id);
        }
        Ok(())
    }

    /// The stock with this id.
    ///
    /// # Errors
    /// Kind `Input`, naming the ids known.
    pub fn stock(&self, id: &str) -> Result<&Stock> {
        self.stocks.iter().find(|stock| stock.id == id).ok_or_else(|| {
            let known: Vec<&str> = self.stocks.iter().map(|stock| stock.id.as_str()).collect();
            Error::input(format!("found stock `{id}`, wanted one of {}", known.join(", ")))
        })
    }

    /// The printer with this id.
    ///
    /// # Errors
    /// Kind `Input`, naming the ids known.
    pub fn printer(&self, id: &str) -> Result<&Printer> {
        self.printers.iter().find(|printer| printer.id == id).ok_or_else(|| {
            let known: Vec<&str> = self.printers.iter().map(|printer| printer.id.as_str()).collect();
            Error::input(format!("found printer `{id}`, wanted one of {}", known.join(", ")))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shipped_files_are_right_and_ids_are_unique() {
        let catalogue = Catalogue::shipped();
        assert!(catalogue.stocks.len() >= 10 && catalogue.printers.len() >= 3);
        let text = include_str!("../data/stocks.toml");
        assert_eq!(text.lines().filter(|line| *line == "[[stock]]").count(), catalogue.stocks.len());
        let text = include_str!("../data/printers.toml");
        assert_eq!(text.lines().filter(|line| *line == "[[printer]]").count(), catalogue.printers.len());
    }

    /// Sizes of AMS-DTL-23053/5 class 1 as drawn in a public 2:1 polyolefin control drawing
    /// (1996, rev B); supplied wall and lay-flat width calculated there at constant volume, so
    /// within 0.02 mm and 0.04 mm: (supplied, recovered, wall, flat at the wall's middle).
    #[test]
    fn lay_flat_widths_of_two_to_one_tube() {
        for (supplied, recovered, wall, flat) in [
            (1.17, 0.58, 0.40, 2.28),
            (1.60, 0.79, 0.43, 2.95),
            (2.36, 1.17, 0.50, 4.21),
            (3.18, 1.58, 0.50, 5.48),
            (4.75, 2.36, 0.50, 7.92),
            (6.35, 3.18, 0.64, 10.55),
            (9.53, 4.75, 0.64, 15.52),
            (12.70, 6.35, 0.64, 20.49),
            (19.05, 9.53, 0.76, 30.56),
            (25.40, 12.70, 0.88, 40.63),
            (38.10, 19.05, 1.01, 60.68),
            (50.80, 25.40, 1.14, 80.72),
        ] {
            let sleeve = Sleeve {
                supplied: Micrometres::from_mm(supplied),
                recovered: Micrometres::from_mm(recovered),
                wall: Micrometres::from_mm(wall),
                slack_percent: 20,
                along_permille: 0,
            };
            let found = lay_flat(&sleeve).mm();
            assert!((found - flat).abs() <= 0.04, "{supplied}: found {found}, wanted {flat}");
        }
    }

    #[test]
    fn a_wrong_entry_names_itself_and_the_field() {
        let mut catalogue = Catalogue::shipped();
        for (text, wanted) in [
            ("[[stock]]\nid = 3\n", "line 2, `id = 3`: invalid type"),
            (
                "[[stock]]\nid = 'x'\ntitle = 'x'\nkind = 'tape'\nzone_mm = 9\nlength_m = 8\ncutting = 'half'\n",
                "stock `x`: width_mm is missing",
            ),
            (
                "[[stock]]\nid = 'x'\ntitle = 'x'\nkind = 'rope'\nzone_mm = 9\nlength_m = 8\ncutting = 'half'\n",
                "stock `x`: kind: found `rope`, wanted tape, wrap or sleeve",
            ),
            (
                "[[stock]]\nid = 'x'\ntitle = 'x'\nkind = 'tape'\nwidth_mm = 8\nzone_mm = 9\nlength_m = 8\ncutting = 'half'\n",
                "leaves the width",
            ),
            ("[[stock]]\nid = 'x'\ncolour = 'red'\n", "unknown field `colour`"),
        ] {
            let found = catalogue.add_stocks(text).unwrap_err().to_string();
            assert!(found.contains(wanted), "found {found}, wanted {wanted}");
        }
    }

    #[test]
    fn narrow_stock_lies_in_the_middle_of_a_wide_head() {
        let catalogue = Catalogue::shipped();
        let printer = catalogue.printer("bench-180").unwrap();
        let stock = catalogue.stock("tape-12").unwrap();
        // 12 mm is 85 dots, 10 mm is 70 dots on a head of 128.
        assert_eq!(printer.stock_edge(stock), Dots(21));
        let (first, dots) = printer.zone(stock).unwrap();
        assert_eq!(dots, Dots(70));
        assert!((first + first + dots - printer.head).0.abs() <= 2, "{first:?}");
    }
}
