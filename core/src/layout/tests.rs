//! Geometry against worked values, each with its source.

use super::*;
use crate::cable::DiameterSource;
use crate::media::{Catalogue, Form, Sleeve, sleeve_wall};

fn mm(value: f64) -> Micrometres {
    Micrometres::from_mm(value)
}

fn measured(value: f64) -> Diameter {
    Diameter { low: mm(value), typical: mm(value), high: mm(value), source: DiameterSource::Measured }
}

/// `{owner} {batch}` over `{number} {length}`.
fn lines() -> Text {
    let mut text = Text::new();
    text.push("TWP OTTER".into(), vec![(3, Seam::Field)]);
    text.push("1040 50 ft".into(), vec![(4, Seam::Field)]);
    text
}

fn try_out(build: Build, stock: &str, printer: &str, od: f64, plug: &Plug) -> Result<Layout, Misfit> {
    try_at(0.5, build, stock, printer, od, plug)
}

/// To be read from so many metres.
fn try_at(metres: f64, build: Build, stock: &str, printer: &str, od: f64, plug: &Plug) -> Result<Layout, Misfit> {
    let catalogue = Catalogue::shipped();
    let (stock, printer) = (catalogue.stock(stock).unwrap().clone(), catalogue.printer(printer).unwrap().clone());
    let design = Design { reading: mm(metres * 1000.0), ..Design::default() };
    let (diameter, lines) = (measured(od), lines());
    let request = Request {
        build,
        stock: &stock,
        printer: &printer,
        diameter: Some(&diameter),
        plug,
        lines: &lines,
        signs: &Signs::default(),
        parts: &Parts::new(PartsWish::default()),
        design: &design,
    };
    lay_out(&request, &Fonts::embedded())
}

/// Calculated: flag F 25 on D 6 is 68.85 mm, F 30 on D 10.3 is 92.36 mm (t = 0).
#[test]
fn flag_lengths() {
    for (face, d, wanted) in [(25.0, 6.0, 68.85), (30.0, 10.3, 92.36)] {
        let found = 2.0 * face + flag::neck(mm(d), Micrometres::ZERO).mm();
        assert!((found - wanted).abs() < 0.005, "found {found}, wanted {wanted}");
    }
}

/// Calculated from `D_max = (L − P − o)/π`, `D_min = P/π` (t = 0): L, P, o, D_min, D_max.
#[test]
fn wrap_ranges() {
    for (l, p, o, least, greatest) in [
        (25.4, 9.5, 0.0, 3.02, 5.06),
        (36.0, 12.7, 3.0, 4.04, 6.46),
        (38.1, 12.7, 0.0, 4.04, 8.09),
        (38.1, 12.7, 3.0, 4.04, 7.13),
        (63.5, 19.05, 5.0, 6.06, 12.56),
        (101.6, 25.4, 6.0, 8.09, 22.35),
    ] {
        let (found_least, found_greatest) = wrap::range(mm(p), mm(l - p), Micrometres::ZERO, mm(o));
        assert!((found_least.mm() - least).abs() < 0.006, "{l}: {found_least}, wanted {least}");
        assert!((found_greatest.mm() - greatest).abs() < 0.006, "{l}: {found_greatest}, wanted {greatest}");
        // The tail a cable needs and the range are the same rule.
        assert!((wrap::tail(found_greatest, Micrometres::ZERO, mm(o)) - mm(l - p)).0.abs() <= 2);
    }
}

/// Calculated: πD, 1.25 and 1.5 turns.
#[test]
fn band_lengths() {
    for (d, one, five_quarters, three_halves) in [
        (2.5, 7.85, 9.82, 11.78),
        (5.0, 15.71, 19.63, 23.56),
        (6.15, 19.32, 24.15, 28.98),
        (10.3, 32.36, 40.45, 48.54),
        (15.0, 47.12, 58.90, 70.69),
    ] {
        let d = mm(d);
        assert!((band::length(d, d, 150).mm() - three_halves).abs() < 0.006);
        // Thin cables keep at least 3 mm of overlap.
        let wanted = f64::max(five_quarters, one + 3.0);
        assert!((band::length(d, d, 125).mm() - wanted).abs() < 0.011, "{d}");
    }
}

fn two_to_one(supplied: f64, recovered: f64, wall: f64) -> Sleeve {
    Sleeve { supplied: mm(supplied), recovered: mm(recovered), wall: mm(wall), slack_percent: 20, along_permille: 0 }
}

/// Calculated at constant volume: text height on a shrunk sleeve. 3/8 in on 6.15 mm 0.702,
/// 1/4 in on 5.0 mm 0.833, 1/2 in on 10.3 mm 0.832.
#[test]
fn sleeve_text_heights() {
    for (sleeve, cable, wanted) in [
        (two_to_one(9.53, 4.75, 0.64), 6.15, 0.702),
        (two_to_one(6.35, 3.18, 0.64), 5.0, 0.833),
        (two_to_one(12.70, 6.35, 0.64), 10.3, 0.832),
    ] {
        let found = sleeve::height_scale(&sleeve, mm(cable));
        assert!((found - wanted).abs() < 0.002, "found {found}, wanted {wanted}");
    }
}

/// Worked choice A (calculated): cable 6.15 mm, 20 % to spare: 7.38 mm supplied at least; 3/8 in is
/// the first that fits, 1/4 in fails.
#[test]
fn the_first_sleeve_that_fits_a_6_15_mm_cable() {
    assert_eq!(sleeve::must_pass(&two_to_one(9.53, 4.75, 0.64), mm(6.15)), mm(7.38));
    let fits = |stock| try_out(Build::Sleeve, stock, "bench-180", 6.15, &Plug::Bare);
    assert_eq!(fits("sleeve-1/4").unwrap_err().kind, MisfitKind::DoesNotPass);
    let layout = fits("sleeve-3/8").unwrap();
    assert!(layout.cap >= Design::default().least_cap());
    assert_eq!(fits("sleeve-1/2").unwrap_err().kind, MisfitKind::DoesNotGrip);
}

/// Worked choice B (calculated): cable 6.2 mm, plug 19.0 mm: 18/6 fails, 24/8 fails, 24/6 (4:1) passes.
#[test]
fn a_plug_needs_a_higher_ratio() {
    let plug = Plug::Fitted { name: "plug".into(), widest: mm(19.0) };
    let passes = |supplied, recovered| {
        let mut catalogue = Catalogue::shipped();
        let text = format!(
            "[[stock]]\nid='s'\ntitle='s'\nkind='sleeve'\nsupplied_mm={supplied}\nrecovered_mm={recovered}\nwall_mm=0.85\nslack_percent=0\nzone_mm=17\nlength_m=5\ncutting='full'\n"
        );
        catalogue.add_stocks(&text).unwrap();
        let mut printer = catalogue.printer("wide-300").unwrap().clone();
        printer.widest = mm(60.0);
        let (diameter, lines, design) = (measured(6.2), Text::from_iter(["OTTER"]), Design::default());
        let request = Request {
            build: Build::Sleeve,
            stock: catalogue.stock("s").unwrap(),
            printer: &printer,
            diameter: Some(&diameter),
            plug: &plug,
            lines: &lines,
            signs: &Signs::default(),
            parts: &Parts::new(PartsWish::default()),
            design: &design,
        };
        lay_out(&request, &Fonts::embedded()).map(|_| ()).map_err(|misfit| misfit.kind)
    };
    assert_eq!(passes(18.0, 6.0), Err(MisfitKind::DoesNotPass));
    assert_eq!(passes(24.0, 8.0), Err(MisfitKind::DoesNotGrip));
    assert_eq!(passes(24.0, 6.0), Ok(()));
}

fn band(od: f64, stock: &str, lines: &Text) -> Result<Layout, Misfit> {
    let catalogue = Catalogue::shipped();
    let (diameter, design) = (measured(od), Design::default());
    let request = Request {
        build: Build::Band,
        stock: catalogue.stock(stock).unwrap(),
        printer: catalogue.printer("bench-180").unwrap(),
        diameter: Some(&diameter),
        plug: &Plug::Unsaid,
        lines,
        signs: &Signs::default(),
        parts: &Parts::new(PartsWish::default()),
        design: &design,
    };
    lay_out(&request, &Fonts::embedded())
}

/// Arc within ±45° is 0.785·D: on a 6.15 mm cable 4.83 mm; within ±60° 6.44 mm (calculated).
///
/// Whoever looks at a band sees at least one whole copy within ±45° or ±60° of straight on, or
/// within ±90° where a note says that the cable must be turned.
#[test]
fn copies_of_a_band_face_every_side_and_stand_apart() {
    let dpi = Dpi::from_milli(180_000).unwrap();
    let mut pitches = 0;
    for lines in [lines(), Text::from_iter(["7"]), Text::from_iter(["HERON 2001 25 m"]), Text::from_iter(["A", "1"])] {
        for od in [8.0, 9.5, 12.4, 15.0, 21.0, 28.0, 40.0] {
            for stock in ["tape-12", "tape-24"] {
                let what = format!("{:?} on {od} mm with {stock}", lines.lines());
                let Ok(layout) = band(od, stock, &lines) else { continue };
                pitches += 1;
                let round = dpi.dots_within(mm(od * std::f64::consts::PI)).0;
                let copies = &layout.block.copies;
                let text = &layout.block.text;
                let along = if copies[0].0 == Turn::Along { text.width } else { text.height }.0;
                let turned = layout.notes.iter().any(|note| note.contains("turn the cable"));
                let window = if turned { round / 2 } else { dpi.dots_within(mm(od * std::f64::consts::PI / 3.0)).0 };
                let starts: Vec<i64> = copies.iter().map(|&(_, line, _)| line.0 - (layout.along.0 - round)).collect();
                for from in 0..round {
                    let seen = starts.iter().any(|start| (start - from).rem_euclid(round) + along <= window);
                    assert!(seen, "{what}: no whole copy in the window from {from} of {round}");
                }
                // Round the cable, the last copy to the first as well, at least a cap height is blank.
                for (nth, start) in starts.iter().enumerate() {
                    let next = if nth + 1 < starts.len() { starts[nth + 1] } else { starts[0] + round };
                    let blank = dpi.length(Dots(next - start - along));
                    assert!(blank >= layout.cap, "{what}: copies stand {blank} apart, capitals are {}", layout.cap);
                }
                for &(_, line, _) in copies {
                    assert!(line.0 >= 0 && line.0 + along <= layout.along.0, "{what}: copy at {line} leaves the band");
                }
            }
        }
    }
    assert!(pitches >= 40, "only {pitches} bands could be made");
}

#[test]
fn a_band_on_a_thin_cable_is_refused_with_the_height_reached() {
    let misfit = try_out(Build::Band, "tape-12", "bench-180", 2.0, &Plug::Unsaid).unwrap_err();
    assert_eq!(misfit.kind, MisfitKind::Legibility);
}

#[test]
fn faces_of_a_flag_are_mirror_images_in_place() {
    for (printer, runs) in [("bench-180", Runs::Tape), ("fine-360", Runs::Tape), ("bench-180", Runs::Cable)] {
        let catalogue = Catalogue::shipped();
        let (diameter, lines, plug) = (measured(6.15), lines(), Plug::Unsaid);
        let design = Design { flag_runs: runs, ..Design::default() };
        let request = Request {
            build: Build::Flag,
            stock: catalogue.stock("tape-24").unwrap(),
            printer: catalogue.printer(printer).unwrap(),
            diameter: Some(&diameter),
            plug: &plug,
            lines: &lines,
            signs: &Signs::default(),
            parts: &Parts::new(PartsWish::default()),
            design: &design,
        };
        let layout = lay_out(&request, &Fonts::embedded()).unwrap();
        let text = &layout.block.text;
        let along = if runs == Runs::Tape { text.width } else { text.height };
        let [(turn_1, first, _), (turn_2, second, _)] = layout.block.copies[..] else { panic!("two faces") };
        assert_eq!(first, layout.along - second - along, "{printer}");
        assert_eq!(turn_1 == turn_2, runs == Runs::Tape);
        // Between the faces there is room for the neck π(D + t) and both margins.
        let neck = request.printer.along.dots_covering(flag::neck(mm(6.15), request.stock.thickness));
        assert!(second - first - along >= neck);
    }
}

#[test]
fn every_build_needs_its_own_form_of_stock() {
    for (build, stock) in [
        (Build::Flag, "wrap-24"),
        (Build::Wrap, "tape-12"),
        (Build::Band, "sleeve-1/4"),
        (Build::Sleeve, "tape-12"),
        (Build::Plate, "wrap-24"),
    ] {
        assert_eq!(try_out(build, stock, "bench-180", 5.0, &Plug::Bare).unwrap_err().kind, MisfitKind::Stock);
    }
    let wide = try_out(Build::Wrap, "wrap-38", "bench-180", 5.0, &Plug::Bare).unwrap_err();
    assert_eq!(wide.wanted, "stock up to 24 mm for printer bench-180");
    assert!(matches!(Catalogue::shipped().stock("wrap-38").unwrap().form, Form::Wrap { .. }));
}

#[test]
fn a_roll_wrap_takes_its_range_and_no_more() {
    let fits = |od| try_out(Build::Wrap, "wrap-38", "wide-300", od, &Plug::Unsaid).map(|_| ()).map_err(|m| m.kind);
    assert_eq!(fits(3.9), Err(MisfitKind::Diameter));
    assert_eq!(fits(4.1), Ok(()));
    assert_eq!(fits(6.9), Ok(()));
    assert_eq!(fits(7.2), Err(MisfitKind::Diameter));
}

/// Folded at the middle of the neck, a flag shows both faces upright. Along the tape: the fold is a
/// line across, so face 2 read from behind is face 1's text again when it is printed the same way
/// round. Along a level cable: the neck is the upper edge of both faces, so the tops of both texts
/// point to it (design: text parallel to the cable needs face 2 turned by 180°).
#[test]
fn both_faces_of_a_flag_read_upright() {
    let catalogue = Catalogue::shipped();
    let flag = |runs| {
        let (diameter, lines) = (measured(6.15), lines());
        let design = Design { flag_runs: runs, ..Design::default() };
        let request = Request {
            build: Build::Flag,
            stock: catalogue.stock("tape-24").unwrap(),
            printer: catalogue.printer("bench-180").unwrap(),
            diameter: Some(&diameter),
            plug: &Plug::Unsaid,
            lines: &lines,
            signs: &Signs::default(),
            parts: &Parts::new(PartsWish::default()),
            design: &design,
        };
        lay_out(&request, &Fonts::embedded()).unwrap()
    };
    let tape = flag(Runs::Tape);
    let [one, two] = tape.block.copies[..] else { panic!("two faces") };
    assert_eq!((one.0, two.0, one.2), (Turn::Along, Turn::Along, two.2));
    let level = flag(Runs::Cable);
    let [one, two] = level.block.copies[..] else { panic!("two faces") };
    // `Down` has its top towards the last line, `Up` towards the first: face 1 lies before the neck,
    // face 2 behind it.
    assert_eq!((one.0, two.0), (Turn::Down, Turn::Up));
    assert!(one.1 < two.1);
}

/// The text of a sleeve is printed larger by what it shrinks: 3/8 in on 6.15 mm leaves 0.702 of the
/// height, 1/4 in on 5.0 mm 0.833 (calculated at constant volume).
#[test]
fn sleeve_text_is_judged_after_shrinking() {
    for (stock, od, scale) in [("sleeve-3/8", 6.15, 0.702), ("sleeve-1/4", 5.0, 0.833)] {
        let layout = try_out(Build::Sleeve, stock, "bench-180", od, &Plug::Bare).unwrap();
        let printed = Dpi::from_milli(180_000).unwrap().length(layout.block.text.cap);
        let found = layout.cap.mm() / printed.mm();
        assert!((found - scale).abs() < 0.002, "{stock}: {found}, wanted {scale}");
        // Printed as narrow as it will be low: the finished letters have the face's proportions.
        // The shipped tubes lose 5 % of their length, too.
        let narrow = f64::from(i32::try_from(layout.block.text.ratio_milli).unwrap()) / 1000.0 * 0.95;
        assert!((narrow - scale).abs() < 0.002, "{stock}: {narrow}, wanted {scale}");
        assert!(layout.cap >= Design::default().least_cap());
        let printer = Catalogue::shipped().printer("bench-180").unwrap().clone();
        let fonts = Fonts::embedded();
        let mut strokes = Strokes::new(crate::font::Pen::new(&fonts));
        let legibility = Legibility::of(&layout, &printer, &Design::default(), &mut strokes);
        assert_eq!((legibility.cap, legibility.printed), (layout.cap, printed));
        assert!(legibility.to_string().contains("after shrinking (printed "), "{legibility}");
    }
}

/// What lies beyond ±60° of straight on is read on edge: text of a shrunk sleeve keeps within, a
/// third of the way round, or else a note says that the cable must be turned.
#[test]
fn sleeve_text_is_read_from_one_side() {
    let catalogue = Catalogue::shipped();
    let (mut ahead, mut turned) = (0, 0);
    for (stock, ods) in
        [("sleeve-1/4", [3.5, 4.3, 5.2]), ("sleeve-3/8", [5.0, 6.2, 7.5]), ("sleeve-1/2", [6.5, 8.0, 10.0])]
    {
        for (od, (printer, metres)) in ods.into_iter().zip([("bench-180", 1.2), ("fine-360", 0.5), ("wide-300", 0.5)]) {
            let layout = try_at(metres, Build::Sleeve, stock, printer, od, &Plug::Bare).unwrap();
            let Form::Sleeve(sleeve) = catalogue.stock(stock).unwrap().form else { panic!("{stock} is no sleeve") };
            let up = catalogue.printer(printer).unwrap().across;
            let high = up.length(layout.block.height).mm() * sleeve::height_scale(&sleeve, mm(od));
            let round = std::f64::consts::PI * (mm(od) + sleeve_wall(&sleeve, mm(od)) * 2).mm();
            let degrees = 360.0 * high / round;
            let said = layout.notes.iter().any(|note| note.contains("turn the cable"));
            assert_eq!(said, degrees > 120.5, "{stock} on {od} by {printer}: {degrees}°");
            if said { turned += 1 } else { ahead += 1 }
        }
    }
    assert!(ahead > 0 && turned > 0, "{ahead} ahead, {turned} turned");
}

/// Text is broken into lines before a plate, a sleeve or a wrap grows too long; where that leaves
/// nothing to read, the reason is the length.
#[test]
fn long_text_is_broken_or_refused_for_its_length() {
    let catalogue = Catalogue::shipped();
    let plate = |words: &str, limit: f64| {
        let lines = Text::from_iter([words]);
        let design = Design { largest_length: mm(limit), ..Design::default() };
        let request = Request {
            build: Build::Plate,
            stock: catalogue.stock("tape-12").unwrap(),
            printer: catalogue.printer("bench-180").unwrap(),
            diameter: None,
            plug: &Plug::Unsaid,
            lines: &lines,
            signs: &Signs::default(),
            parts: &Parts::new(PartsWish::default()),
            design: &design,
        };
        lay_out(&request, &Fonts::embedded())
    };
    let words = "Stage left box to the balcony rail by way of the pit";
    let dpi = Dpi::from_milli(180_000).unwrap();
    let long = plate(words, 150.0).unwrap();
    assert!(
        long.along <= dpi.dots_covering(mm(150.0)) && long.block.text.lines.len() == 1,
        "{:?}",
        long.block.text.lines
    );
    let broken = plate(words, 60.0).unwrap();
    assert!(broken.along <= dpi.dots_covering(mm(60.0)) && broken.block.text.lines.len() > 1);
    let misfit = plate(words, 20.0).unwrap_err();
    assert_eq!(misfit.kind, MisfitKind::TooLong);
    assert!(misfit.found.starts_with(&format!("`{words}` on a plate of 1")), "{}", misfit.found);
    assert_eq!(misfit.wanted, "at most 20 mm (largest_length_mm in [design])");
}
