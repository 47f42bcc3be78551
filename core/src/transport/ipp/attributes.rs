//! What a print queue says about its printer, and a profile made of it.
//!
//! Names of attributes: RFC 8011, section 5.4; PWG 5100.7 (media, finishings), PWG 5102.4 (raster);
//! all from memory, checked against two queues in the tests.

use super::condition::Condition;
use super::message::{Message, Value, group};
use crate::unit::{Dpi, Micrometres};
use std::fmt;

/// What a printer is doing (RFC 8011, section 5.4.11).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Activity {
    /// Ready for a job.
    Idle,
    /// At a job.
    Processing,
    /// Does nothing until somebody acts.
    Stopped,
    /// It does not say.
    Unknown,
}

/// Dots per inch across and along the tape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Resolution {
    /// Across, along the head.
    pub across: Dpi,
    /// Along the feed.
    pub along: Dpi,
}

impl fmt::Display for Resolution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} × {} dpi", number(self.across), number(self.along))
    }
}

fn number(dpi: Dpi) -> f64 {
    f64::from(dpi.milli()) / 1000.0
}

/// Media the printer takes: a size, or a range of sizes. Across is the width of the tape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MediaSize {
    /// Least and greatest width.
    pub across: (Micrometres, Micrometres),
    /// Least and greatest length.
    pub along: (Micrometres, Micrometres),
}

impl MediaSize {
    /// Whether a piece of tape is of this size, to the hundredth of a millimetre.
    #[must_use]
    pub fn takes(&self, across: Micrometres, along: Micrometres) -> bool {
        let within = |(least, most): (Micrometres, Micrometres), size: Micrometres| {
            (least.0 - 10..=most.0 + 10).contains(&size.0)
        };
        within(self.across, across) && within(self.along, along)
    }
}

/// Least margins, where the printer says them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Margins {
    /// Before the first line.
    pub top: Option<Micrometres>,
    /// After the last line.
    pub bottom: Option<Micrometres>,
    /// At the side of dot 0.
    pub left: Option<Micrometres>,
    /// At the other side.
    pub right: Option<Micrometres>,
}

/// What a print queue says about its printer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attributes {
    /// Name of the queue.
    pub name: Option<String>,
    /// Make and model, as the printer has it.
    pub make_and_model: Option<String>,
    /// IEEE 1284 device id: `KEY:VALUE;` pairs.
    pub device_id: Option<String>,
    /// `urn:uuid:…`
    pub uuid: Option<String>,
    /// What it is doing.
    pub activity: Activity,
    /// What is the matter with it.
    pub conditions: Vec<Condition>,
    /// Whether it takes jobs; true where it does not say.
    pub accepting: bool,
    /// Document formats as media types, in its order, each once.
    pub formats: Vec<String>,
    /// Resolutions of raster documents; those of the printer where it names none for documents.
    pub resolutions: Vec<Resolution>,
    /// The resolution it uses unasked.
    pub usual_resolution: Option<Resolution>,
    /// Media it takes, widest range first where it gives ranges.
    pub media: Vec<MediaSize>,
    /// Least margins.
    pub margins: Margins,
    /// What it can do to a finished strip, as numbers of the registry; [`finishing_name`] has their names.
    pub finishings: Vec<i32>,
    /// Colour modes, such as `bi-level`.
    pub color_modes: Vec<String>,
    /// Operations it knows, as numbers of the registry.
    pub(super) operations: Vec<i32>,
}

/// Finishings that part the tape, and the name the registry has for each (IPP registry, `finishings`,
/// from memory): 11 is cutting where the printer sees fit.
const TRIMS: [(i32, &str); 5] = [
    (11, "trim"),
    (60, "trim-after-pages"),
    (61, "trim-after-documents"),
    (62, "trim-after-copies"),
    (63, "trim-after-job"),
];

/// The registry's name of a finishing that parts the tape, or of doing nothing.
#[must_use]
pub fn finishing_name(number: i32) -> Option<&'static str> {
    if number == 3 {
        return Some("none");
    }
    TRIMS.iter().find(|(trim, _)| *trim == number).map(|(_, name)| *name)
}

/// Hundredths of a millimetre, the unit of media sizes (PWG 5100.7).
fn hundredths(value: i32) -> Micrometres {
    Micrometres(i64::from(value) * 10)
}

fn resolution(value: &Value) -> Option<Resolution> {
    let Value::Resolution(across, along, units) = value else { return None };
    let dpi = |dots: i32| {
        let milli = match units {
            3 => u32::try_from(dots).ok()?.checked_mul(1000)?,
            4 => u32::try_from(dots).ok()?.checked_mul(2540)?,
            _ => return None,
        };
        Dpi::from_milli(milli)
    };
    Some(Resolution { across: dpi(*across)?, along: dpi(*along)? })
}

/// The size in a `media-size` collection.
fn size(value: &Value) -> Option<MediaSize> {
    let side = |name| {
        let (least, most) = value.member(name).first()?.range()?;
        (0 <= least && least <= most && most > 0).then(|| (hundredths(least), hundredths(most)))
    };
    Some(MediaSize { across: side("x-dimension")?, along: side("y-dimension")? })
}

/// The size at the end of a self-describing name, such as `om_small_12x60mm` (PWG 5101.1, section 5).
fn named_size(name: &str) -> Option<(Micrometres, Micrometres)> {
    let last = name.rsplit('_').next()?;
    let (sides, unit) = match (last.strip_suffix("mm"), last.strip_suffix("in")) {
        (Some(sides), _) => (sides, 1.0),
        (None, Some(sides)) => (sides, 25.4),
        _ => return None,
    };
    let (across, along) = sides.split_once('x')?;
    let side = |text: &str| {
        let value: f64 = text.parse().ok()?;
        (0.0..=100_000.0).contains(&value).then(|| Micrometres::from_mm(value * unit))
    };
    Some((side(across)?, side(along)?))
}

/// Media by name: single sizes, and the range between `custom_min_…` and `custom_max_…`.
fn named_media(names: &[String]) -> Vec<MediaSize> {
    let bound = |start| names.iter().find(|name| name.starts_with(start)).and_then(|name| named_size(name));
    let mut media = Vec::new();
    if let (Some(least), Some(most)) = (bound("custom_min_"), bound("custom_max_")) {
        media.push(MediaSize { across: (least.0, most.0), along: (least.1, most.1) });
    }
    for name in names.iter().filter(|name| !name.starts_with("custom_m")) {
        media.extend(named_size(name).map(|(x, y)| MediaSize { across: (x, x), along: (y, y) }));
    }
    media
}

impl Attributes {
    /// Reads the printer's group of a reply.
    pub(super) fn read(reply: &Message) -> Self {
        const P: u8 = group::PRINTER;
        let text = |name| reply.text(P, name).filter(|text| !text.is_empty());
        let once = |mut list: Vec<String>| {
            let mut seen: Vec<String> = Vec::new();
            list.retain(|one| {
                let new = !seen.contains(one);
                seen.push(one.clone());
                new
            });
            list
        };
        let resolutions = |name| -> Vec<Resolution> { reply.values(P, name).filter_map(resolution).collect() };
        let numbers = |name| -> Vec<i32> { reply.values(P, name).filter_map(Value::number).collect() };
        let margin = |name| numbers(name).into_iter().min().map(hundredths);
        let sizes = reply.values(P, "media-size-supported");
        let database = reply.values(P, "media-col-database").flat_map(|entry| entry.member("media-size"));
        let mut media: Vec<MediaSize> = sizes.chain(database).filter_map(size).collect();
        media.extend(named_media(&reply.texts(P, "media-supported")));
        let room = |size: &MediaSize| {
            let span = |(least, most): (Micrometres, Micrometres)| most.0 - least.0;
            (span(size.across), span(size.along), size.across.1.0, size.along.1.0)
        };
        media.sort_by_key(|size| std::cmp::Reverse(room(size)));
        media.dedup();
        let mut documents = resolutions("pwg-raster-document-resolution-supported");
        if documents.is_empty() {
            documents = resolutions("printer-resolution-supported");
        }
        let (activity, conditions) = state(reply);
        Self {
            name: text("printer-name"),
            make_and_model: text("printer-make-and-model"),
            device_id: text("printer-device-id"),
            uuid: text("printer-uuid"),
            activity,
            conditions,
            accepting: !reply.values(P, "printer-is-accepting-jobs").any(|value| *value == Value::Boolean(false)),
            formats: once(reply.texts(P, "document-format-supported")),
            usual_resolution: resolutions("printer-resolution-default").first().copied(),
            resolutions: documents,
            media,
            margins: Margins {
                top: margin("media-top-margin-supported"),
                bottom: margin("media-bottom-margin-supported"),
                left: margin("media-left-margin-supported"),
                right: margin("media-right-margin-supported"),
            },
            finishings: numbers("finishings-supported"),
            color_modes: once(reply.texts(P, "print-color-mode-supported")),
            operations: numbers("operations-supported"),
        }
    }

    /// Whether it knows an operation; true where it names none.
    pub(super) fn knows(&self, operation: u16) -> bool {
        self.operations.is_empty() || self.operations.contains(&i32::from(operation))
    }

    /// Names of the ways it cuts, as the registry has them.
    #[must_use]
    pub fn cuts(&self) -> Vec<&'static str> {
        TRIMS.iter().filter(|(number, _)| self.finishings.contains(number)).map(|(_, name)| *name).collect()
    }
}

/// What a printer is doing and what is the matter with it.
pub(super) fn state(reply: &Message) -> (Activity, Vec<Condition>) {
    let activity = match reply.number(group::PRINTER, "printer-state") {
        Some(3) => Activity::Idle,
        Some(4) => Activity::Processing,
        Some(5) => Activity::Stopped,
        _ => Activity::Unknown,
    };
    let reasons = reply.texts(group::PRINTER, "printer-state-reasons");
    (activity, reasons.iter().filter_map(|reason| Condition::parse(reason)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_from_names() {
        let mm = Micrometres::from_mm;
        for (name, wanted) in [
            ("om_small_12x60mm", Some((mm(12.0), mm(60.0)))),
            ("custom_12.5x150.28mm_12.5x150.28mm", Some((mm(12.5), mm(150.28)))),
            ("na_index-4x6_4x6in", Some((mm(101.6), mm(152.4)))),
            ("continuous", None),
            ("om_x_axbmm", None),
        ] {
            assert_eq!(named_size(name), wanted, "{name}");
        }
        let names: Vec<String> = ["om_a_12x60mm", "custom_max_36x1000mm", "custom_min_6x10mm"].map(String::from).into();
        let media = named_media(&names);
        assert_eq!(media.len(), 2);
        assert_eq!(media[0].across, (mm(6.0), mm(36.0)));
        assert!(media[0].takes(mm(36.0), mm(1000.0)) && !media[0].takes(mm(36.1), mm(1000.0)));
    }

    #[test]
    fn dots_per_centimetre_are_dots_per_inch() {
        let found = resolution(&Value::Resolution(80, 160, 4)).unwrap();
        assert_eq!(found.to_string(), "203.2 × 406.4 dpi");
        assert_eq!(resolution(&Value::Resolution(0, 180, 3)), None);
        assert_eq!(resolution(&Value::Resolution(-1, 180, 3)), None);
        assert_eq!(resolution(&Value::Resolution(180, 180, 5)), None);
    }

    #[test]
    fn a_printer_that_says_nothing_is_read() {
        let found = Attributes::read(&Message { code: 0, id: 1, groups: Vec::new() });
        assert!(found.accepting && found.knows(2) && found.media.is_empty());
        assert_eq!(found.activity, Activity::Unknown);
    }
}
