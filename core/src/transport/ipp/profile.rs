//! The text of a printer profile, from what a print queue says.

use super::attributes::Attributes;
use crate::unit::Micrometres;
use std::collections::BTreeMap;

/// Driver families by the document format they write.
fn families() -> BTreeMap<String, String> {
    toml::from_str(include_str!("../../../data/formats.toml")).unwrap_or_default()
}

/// The document format a driver family writes, as a media type; bytes of no named format where it is
/// not known.
pub fn format_of(family: &str) -> String {
    let families = families();
    let format = families.iter().find_map(|(format, of)| (of == family).then(|| format.clone()));
    format.unwrap_or_else(|| "application/octet-stream".to_owned())
}

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A text behind `#`: one line whatever is in it.
fn remark(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// Lower-case words with hyphens, for the id of a profile.
fn slug(text: &str) -> String {
    let mut slug = String::new();
    for c in text.chars() {
        if c.is_ascii_alphanumeric() {
            slug.push(c.to_ascii_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
    }
    slug.trim_end_matches('-').to_owned()
}

/// The widest and longest, and the shortest piece; from ranges where there are any.
fn bounds(attributes: &Attributes) -> Option<(Micrometres, Micrometres, Micrometres)> {
    let ranges: Vec<_> = attributes.media.iter().filter(|size| size.along.0 < size.along.1).collect();
    let all: Vec<_> = if ranges.is_empty() { attributes.media.iter().collect() } else { ranges };
    let widest = all.iter().map(|size| size.across.1).max()?;
    let longest = all.iter().map(|size| size.along.1).max()?;
    let shortest = all.iter().map(|size| size.along.0).min()?;
    Some((widest, longest, shortest))
}

impl Attributes {
    /// A `[[printer]]` table for a person's own file of profiles. Figures no print queue tells, such as
    /// the lead, are the usual ones, and a comment beside each says so.
    #[must_use]
    pub fn profile(&self) -> String {
        let title = self.make_and_model.as_deref().or(self.name.as_deref()).unwrap_or("printer");
        let id = Some(slug(self.name.as_deref().unwrap_or(title))).filter(|id| !id.is_empty());
        let mut text = String::new();
        let mut line = |line: String| {
            text.push_str(&line);
            text.push('\n');
        };
        line("# Made from what the print queue says. Lines marked \"unknown\" hold usual values: measure them.".into());
        for (what, value) in [("device id", &self.device_id), ("uuid", &self.uuid)] {
            if let Some(value) = value {
                line(format!("# {what}: {}", remark(value)));
            }
        }
        line("[[printer]]".into());
        line(format!("id = {}", quoted(id.as_deref().unwrap_or("printer"))));
        line(format!("title = {}", quoted(title)));
        let dpi = self
            .usual_resolution
            .filter(|usual| self.resolutions.is_empty() || self.resolutions.contains(usual))
            .or_else(|| self.resolutions.first().copied());
        let (across, along) = dpi.map_or((180_000, 180_000), |dpi| (dpi.across.milli(), dpi.along.milli()));
        let mut note = if dpi.is_none() { "  # unknown".to_owned() } else { String::new() };
        line(format!("dpi_across = {}{note}", f64::from(across) / 1000.0));
        let others: Vec<String> =
            self.resolutions.iter().filter(|other| Some(**other) != dpi).map(ToString::to_string).collect();
        if !others.is_empty() {
            note = format!("  # it can also do {}", others.join(", "));
        }
        line(format!("dpi_along = {}{note}", f64::from(along) / 1000.0));
        let size = bounds(self);
        let (widest, longest, shortest) =
            size.unwrap_or((Micrometres::from_mm(24.0), Micrometres::from_mm(1000.0), Micrometres::from_mm(25.0)));
        let unknown = if size.is_none() { "  # unknown" } else { "" };
        // What the format of a profile allows.
        let widest = Micrometres(widest.0.clamp(1_000, 500_000));
        let longest = Micrometres(longest.0.clamp(10_000, 1_000_000_000));
        let shortest = Micrometres(shortest.0.clamp(0, 1_000_000).min(longest.0));
        #[allow(clippy::cast_possible_truncation, reason = "at most 500 mm, and cut to 65535")]
        let dots = ((widest.mm() * f64::from(across) / 25_400.0) as i64).clamp(1, 65_535);
        line(format!("head_dots = {dots}  # unknown: as many as the widest tape has; the head may have fewer"));
        line(format!("widest_mm = {}{unknown}", widest.mm()));
        let sides = [self.margins.left, self.margins.right].into_iter().flatten().max().filter(|side| side.0 > 0);
        if let Some(side) = sides {
            line(format!("# it leaves {} mm at the sides of the tape: choose stock with such a zone", side.mm()));
        }
        let margin = |margin: Option<Micrometres>| margin.map(|margin| margin.0.clamp(0, 500_000));
        let lead = margin(self.margins.top).unwrap_or(0).max(25_000);
        line(format!(
            "lead_mm = {}  # unknown: from head to cutter, measure it on a printed strip",
            Micrometres(lead).mm()
        ));
        line("gap_mm = 3  # unknown".into());
        let trail = margin(self.margins.bottom).filter(|margin| *margin > 1_500).unwrap_or(1_500);
        line(format!("trail_mm = {}  # unknown", Micrometres(trail).mm()));
        line(format!("min_piece_mm = {}{unknown}", shortest.mm()));
        line(format!("max_strip_mm = {}{unknown}", longest.mm()));
        let cuts = self.cuts();
        if cuts.is_empty() {
            let why = if self.finishings.is_empty() { "unknown" } else { "it names no way to cut" };
            line(format!("cutter = \"none\"  # {why}"));
        } else {
            line(format!("cutter = \"full\"  # it names {}; half cuts have no name in the protocol", cuts.join(", ")));
        }
        line("load_mm = 25  # unknown".into());
        line("speed_mm_s = 20  # unknown".into());
        let families = families();
        match self.formats.iter().find_map(|format| families.get(format)) {
            Some(family) => line(format!("driver = {}", quoted(family))),
            None => {
                let known: Vec<&str> = families.keys().map(String::as_str).collect();
                let takes: Vec<String> = self.formats.iter().map(|format| remark(format)).collect();
                let takes = if takes.is_empty() { "nothing it names".to_owned() } else { takes.join(", ") };
                let family = families.values().next().map_or("", String::as_str);
                line(format!("# it takes {takes}; wanted {}: it may print nothing of use", known.join(" or ")));
                line(format!("driver = {}", quoted(family)));
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::media::{Catalogue, Cutter};
    use crate::transport::ipp::message::{Message, Value, group};

    #[test]
    fn every_profile_can_be_pasted() {
        let mut reply = Message { code: 0, id: 1, groups: Vec::new() };
        let empty = Attributes::read(&reply);
        let text = empty.profile();
        let mut catalogue = Catalogue::shipped();
        catalogue.add_printers(&text).unwrap_or_else(|error| panic!("{error}\n{text}"));
        assert_eq!(catalogue.printer("printer").unwrap().cutter, Cutter::None);
        let mut add = |name: &str, value| reply.add(group::PRINTER, name, value);
        // Nothing a printer says may leave its string or its comment.
        add("printer-name", Value::name("Bench \"A\"\n[[printer]]"));
        add("printer-make-and-model", Value::name("Roll \\ \u{1}\n'x'"));
        add("printer-device-id", Value::name("MFG:x;\nid = 3"));
        add("document-format-supported", Value::media_type("image/x\ny"));
        add("finishings-supported", Value::Enum(62));
        add("media-supported", Value::keyword("custom_min_0x0mm"));
        add("media-supported", Value::keyword("custom_max_99999x99999mm"));
        add("printer-resolution-supported", Value::Resolution(203, 406, 3));
        add("media-left-margin-supported", Value::Integer(200));
        let text = Attributes::read(&reply).profile();
        catalogue.add_printers(&text).unwrap_or_else(|error| panic!("{error}\n{text}"));
        let printer = catalogue.printer("bench-a-printer").unwrap();
        assert_eq!((printer.cutter, printer.along.milli(), printer.widest.mm()), (Cutter::Full, 406_000, 500.0));
        assert!(text.contains("it leaves 2 mm") && text.contains("trim-after-copies"), "{text}");
    }

    #[test]
    fn each_family_of_the_table_has_a_name() {
        assert!(!families().is_empty());
        assert!(families().iter().all(|(format, family)| format.contains('/') && !family.is_empty()));
    }
}
