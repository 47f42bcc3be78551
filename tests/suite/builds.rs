//! Every build by several printers: what is read back from the stream is what was planned, to the dot.

use crate::jobs::load;
use crate::pbm::Pbm;
use crate::streams::{Printed, all};
use serde_json::Value;
use std::collections::BTreeSet;
use tapewright::bitmap::Bitmap;
use tapewright::font::Pen;
use tapewright::job::{Job, Plan, StockPlan};
use tapewright::layout::Layout;
use tapewright::mark::snip_guide;
use tapewright::raster::Raster;
use tapewright::strip::{Cut, Strip};
use tapewright::unit::{Dots, Dpi};

fn size(dots: Dots) -> usize {
    usize::try_from(dots.0).expect("a size")
}

/// The strip as the plan has it, line for line across the whole tape.
struct Expected {
    strip: Strip,
    lines: Pbm,
    /// What stands on each line, for messages.
    on: Vec<String>,
}

/// Where a stock lies on the page: dot 0 is the tape's edge.
struct Web {
    /// Dots of the tape's whole width.
    dots: i64,
    /// First dot of the printable zone.
    zone: i64,
    /// The raster is mirrored across the tape.
    mirrored: bool,
}

impl Web {
    fn of(job: &Job, plan: &StockPlan) -> Self {
        let (printer, stock) = (&job.printer, job.stock(plan));
        let (first, _) = printer.zone(stock).expect("the zone lies under the head");
        Self {
            dots: printer.across.dots_nearest(stock.width).0,
            zone: (first - printer.stock_edge(stock)).0,
            mirrored: stock.mirrored,
        }
    }

    /// Puts a picture of the zone on the tape; mirroring is done here, dot by dot.
    fn put(&self, from: &Bitmap, line: usize, mirrored: bool, to: &mut Pbm) {
        for l in 0..from.lines() {
            for d in 0..from.dots() {
                if from.get(l, d) {
                    let across = if mirrored { from.dots() - 1 - d } else { d };
                    let dot = self.zone + i64::try_from(across).expect("a dot");
                    assert!((0..self.dots).contains(&dot), "ink at dot {dot} of a tape of {}", self.dots);
                    to.set(line + l, usize::try_from(dot).expect("a dot"));
                }
            }
        }
    }
}

/// All strips of a plan on one stock, drawn with the library's raster and put together here.
fn expected(job: &Job, plan: &StockPlan) -> Vec<Expected> {
    let web = Web::of(job, plan);
    let mut raster = Raster::new(Pen::new(job.fonts()));
    let mut label = Bitmap::new(0, 0);
    let mut all = Vec::new();
    for labels in &plan.strips.strips {
        let strip = job.strip(plan, labels);
        let mut lines = Pbm::blank(usize::try_from(web.dots).expect("a width"), size(strip.length));
        let mut on = vec!["blank tape".to_owned(); size(strip.length)];
        for (index, &start) in labels.clone().zip(&strip.starts) {
            let layout: Layout = job.lay_out(plan, plan.slots[index]).unwrap_or_else(|error| panic!("{error}"));
            raster.draw(&layout, false, &mut label);
            assert_eq!(label.lines(), size(plan.lengths[index]), "the raster is as long as planned");
            assert!(label.ink() > 50, "a label with hardly any ink: {}", label.ink());
            web.put(&label, size(start), web.mirrored, &mut lines);
            on[size(start)..size(start) + label.lines()].fill(format!("label {index}"));
        }
        for &guide in &strip.guides {
            let zone = job.printer.zone(job.stock(plan)).expect("the zone lies under the head").1;
            assert_eq!(on[size(guide)], "blank tape", "a guide on a label");
            // Dashes have no reading side: a guide is the same on mirrored stock.
            web.put(&snip_guide(size(zone)), size(guide), false, &mut lines);
            on[size(guide)] = "a snip guide".to_owned();
        }
        all.push(Expected { strip, lines, on });
    }
    all
}

fn thousandths(value: &Value) -> i64 {
    let mm = value.as_f64().unwrap_or_else(|| panic!("found {value}, wanted a number"));
    #[allow(clippy::cast_possible_truncation)]
    let rounded = (mm * 1000.0).round() as i64;
    assert!((mm * 1000.0 - rounded as f64).abs() < 1e-6, "{mm} is no whole number of thousandths");
    rounded
}

fn places(value: &Value) -> Vec<i64> {
    value.as_array().expect("a list of places").iter().map(thousandths).collect()
}

/// The one stock a case prints on.
fn plan_of(job: &Job, name: &str) -> Plan {
    let plan = job.plan();
    assert!(plan.problems.is_empty(), "{name}: {:?}", plan.problems);
    assert_eq!((plan.stocks.len(), plan.stocks[0].slots.len()), (1, 24), "{name}: twelve cables, two labels each");
    plan
}

fn along(dpi: Dpi, dots: &[Dots]) -> Vec<i64> {
    dots.iter().map(|&dots| dpi.length(dots).0).collect()
}

fn cuts(strip: &Strip, kind: Cut) -> Vec<Dots> {
    strip.cuts.iter().filter(|(_, cut)| *cut == kind).map(|&(at, _)| at).collect()
}

/// Checks feed, cuts and labels of one printed job against its plan.
fn figures(printed: &Printed) {
    let name = &printed.name;
    let job = load(&printed.job);
    let plan = plan_of(&job, name);
    let stock = &plan.stocks[0];
    let dpi = job.printer.along;
    let strips = printed.read["strips"].as_array().expect("strips");
    assert_eq!(strips.len(), stock.strips.strips.len(), "{name}: strips");
    let (mut labels, mut lines) = (0, 0);
    for (nth, (range, read)) in stock.strips.strips.iter().zip(strips).enumerate() {
        let strip = job.strip(stock, range);
        let at = format!("{name}, strip {}", nth + 1);
        assert_eq!(read["lines"].as_i64(), Some(strip.length.0), "{at}: lines");
        assert_eq!(thousandths(&read["feed_mm"]), dpi.length(strip.length).0, "{at}: feed");
        assert_eq!(places(&read["half_cuts_mm"]), along(dpi, &cuts(&strip, Cut::Half)), "{at}: half cuts");
        assert_eq!(places(&read["full_cuts_mm"]), along(dpi, &cuts(&strip, Cut::Full)), "{at}: full cuts");
        labels += strip.starts.len();
        lines += strip.length.0;
    }
    assert_eq!(labels, 24, "{name}: labels on all strips");
    // The ledger: what the strips feed, and what is fed and lost around them, is all the tape.
    let ledger = stock.strips.ledger;
    assert_eq!(lines + (ledger.load + ledger.tail + ledger.scrap).0, ledger.tape().0, "{name}: the ledger's tape");
    let sum: i64 = strips.iter().map(|strip| thousandths(&strip["feed_mm"])).sum();
    assert_eq!(thousandths(&printed.read["feed_mm"]), sum, "{name}: feed of all strips");
}

#[test]
fn feed_cuts_and_labels_are_as_planned() {
    for printed in all() {
        figures(printed);
    }
}

#[test]
fn lines_are_the_raster_and_gaps_are_blank() {
    for printed in all() {
        let job = load(&printed.job);
        let plan = plan_of(&job, &printed.name);
        let wanted = expected(&job, &plan.stocks[0]);
        let found = printed.strips();
        assert_eq!(found.len(), wanted.len(), "{}: strips", printed.name);
        for (nth, (found, wanted)) in found.iter().zip(&wanted).enumerate() {
            let at = format!("{}, strip {}", printed.name, nth + 1);
            assert_eq!(found.dots, wanted.lines.dots, "{at}: the page is as wide as the tape");
            assert_eq!(found.rows.len(), wanted.lines.rows.len(), "{at}: lines");
            if let Some((line, dot)) = found.first_difference(&wanted.lines) {
                let ink = if found.get(line, dot) { "ink" } else { "no ink" };
                panic!("{at}: found {ink} at line {line}, dot {dot}, on {}; wanted the other", wanted.on[line]);
            }
            let ink = printed.read["strips"][nth]["ink_dots"].as_u64();
            assert_eq!(ink, Some(wanted.lines.ink()), "{at}: ink");
            assert_eq!(
                wanted.strip.starts.len(),
                wanted.on.iter().filter(|on| on.starts_with("label")).collect::<BTreeSet<_>>().len(),
                "{at}"
            );
        }
    }
}

/// The cases reach what they are there for: every build, mirrored stock, every way of parting
/// labels, tape wider than the head, several strips.
#[test]
fn the_cases_reach_every_sort() {
    let mut seen = BTreeSet::new();
    for printed in all() {
        let job = load(&printed.job);
        let plan = plan_of(&job, &printed.name);
        let stock = &plan.stocks[0];
        let media = job.stock(stock);
        let (edge, rules) = (job.printer.stock_edge(media), job.rules(stock));
        let strip = job.strip(stock, &stock.strips.strips[0]);
        seen.insert(format!("build {}", printed.case.build));
        seen.insert(format!("printer {}", printed.case.printer));
        seen.insert(format!("parted by {}", rules.between.word()));
        for (is, what) in [
            (media.mirrored, "mirrored"),
            (edge < Dots::ZERO, "tape wider than the head"),
            (edge > Dots::ZERO, "tape narrower than the head"),
            (stock.strips.strips.len() > 1, "several strips"),
            (!strip.guides.is_empty(), "guides"),
            (cuts(&strip, Cut::Half).len() > 1, "half cuts"),
            (cuts(&strip, Cut::Full).len() > 2, "full cuts inside"),
            (strip.cuts.is_empty(), "no cut at all"),
            (strip.ledger.pad > Dots::ZERO, "pad"),
        ] {
            if is {
                seen.insert(what.to_owned());
            }
        }
    }
    for wanted in [
        "build flag",
        "build wrap",
        "build band",
        "build sleeve",
        "build plate",
        "printer bench-180",
        "printer fine-360",
        "printer wide-300",
        "printer field-203",
        "printer odd",
        "printer narrow",
        "parted by half",
        "parted by full",
        "parted by snip",
        "mirrored",
        "tape wider than the head",
        "tape narrower than the head",
        "several strips",
        "guides",
        "half cuts",
        "full cuts inside",
        "no cut at all",
        "pad",
    ] {
        assert!(seen.contains(wanted), "no case has {wanted}; found {seen:?}");
    }
}

/// Resolutions that are whole numbers stand in the stream: readback needs no telling.
#[test]
fn readback_knows_whole_resolutions_itself() {
    let whole: Vec<&Printed> =
        all().iter().filter(|printed| ["bench-180", "fine-360", "wide-300"].contains(&printed.case.printer)).collect();
    assert!(whole.len() > 10);
    for printed in whole {
        let folder = printed.stream.parent().expect("a folder");
        let read = crate::program::run(folder, ["readback", "out.pwg", "--json"]).ended(0).json();
        assert_eq!(read, printed.read, "{}", printed.name);
    }
}

/// What `estimate` says of the tape is what the stream feeds, but for loading and remnants; and it
/// is the plan's own ledger, to the micrometre.
#[test]
fn the_estimate_is_what_the_stream_feeds() {
    for printed in all() {
        let folder = printed.job.parent().expect("a folder");
        let estimate = crate::program::run(folder, ["estimate", "job.toml", "--json"]).ended(0).json();
        let stock = &estimate["stocks"][0];
        let waste = |part: &str| thousandths(&stock["waste_mm"][part]);
        let planned = thousandths(&stock["tape_mm"]) - waste("load") - waste("tail") - waste("scrap");
        let strips = i64::try_from(printed.read["strips"].as_array().expect("strips").len()).expect("a count");
        // Every strip is rounded to a micrometre on its own, half a micrometre off at most.
        let off = (planned - thousandths(&printed.read["feed_mm"])).abs();
        assert!(off <= strips / 2 + 2, "{}: planned and fed differ by {off} µm over {strips} strips", printed.name);
        assert_eq!(stock["strips"].as_i64(), Some(strips), "{}", printed.name);
        let job = load(&printed.job);
        let plan = plan_of(&job, &printed.name);
        let ledger = plan.stocks[0].strips.ledger;
        for (key, dots) in
            [("label_mm", ledger.label), ("tape_mm", ledger.tape()), ("singly_mm", plan.stocks[0].singly)]
        {
            assert_eq!(thousandths(&stock[key]), job.printer.along.length(dots).0, "{}: {key}", printed.name);
        }
    }
}
