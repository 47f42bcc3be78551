//! Geometry against worked values, each with its source.

use super::*;
use crate::cable::DiameterSource;
use crate::media::{Catalogue, Form, Sleeve};

fn mm(value: f64) -> Micrometres {
    Micrometres::from_mm(value)
}

fn measured(value: f64) -> Diameter {
    Diameter { low: mm(value), typical: mm(value), high: mm(value), source: DiameterSource::Measured }
}

fn lines() -> Vec<String> {
    vec!["TWP OTTER".into(), "1040 50 ft".into()]
}

fn try_out(build: Build, stock: &str, printer: &str, od: f64, plug: &Plug) -> Result<Layout, Misfit> {
    let catalogue = Catalogue::shipped();
    let (stock, printer) = (catalogue.stock(stock).unwrap().clone(), catalogue.printer(printer).unwrap().clone());
    let (diameter, lines, design) = (measured(od), lines(), Design::default());
    let request = Request {
        build,
        stock: &stock,
        printer: &printer,
        diameter: Some(&diameter),
        plug,
        lines: &lines,
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
        let (diameter, lines, design) = (measured(6.2), vec!["OTTER".to_owned()], Design::default());
        let request = Request {
            build: Build::Sleeve,
            stock: catalogue.stock("s").unwrap(),
            printer: &printer,
            diameter: Some(&diameter),
            plug: &plug,
            lines: &lines,
            design: &design,
        };
        lay_out(&request, &Fonts::embedded()).map(|_| ()).map_err(|misfit| misfit.kind)
    };
    assert_eq!(passes(18.0, 6.0), Err(MisfitKind::DoesNotPass));
    assert_eq!(passes(24.0, 8.0), Err(MisfitKind::DoesNotGrip));
    assert_eq!(passes(24.0, 6.0), Ok(()));
}

/// Arc within ±45° is 0.785·D: on a 6.15 mm cable 4.83 mm; within ±60° 6.44 mm (calculated).
#[test]
fn copies_of_a_band_face_every_side() {
    for od in [12.4, 15.0, 28.0] {
        let layout = try_out(Build::Band, "tape-24", "bench-180", od, &Plug::Unsaid).unwrap();
        let dpi = Dpi::from_milli(180_000).unwrap();
        let round = dpi.dots_within(mm(od * std::f64::consts::PI)).0;
        let copies = &layout.block.copies;
        let along = if copies[0].0 == Turn::Along { layout.block.text.width } else { layout.block.text.height }.0;
        // Half of what one sees is 90° each way: every half circle must hold a whole copy.
        let half = round / 2;
        for from in 0..round {
            let seen = copies.iter().any(|&(_, line, _)| {
                let start = (line.0 - (layout.along.0 - round) - from).rem_euclid(round);
                start + along <= half
            });
            assert!(seen, "{od} mm: no whole copy in the half circle from {from} of {round}");
        }
        for &(_, line, _) in copies {
            assert!(line.0 >= 0 && line.0 + along <= layout.along.0, "{od}: copy at {line} leaves the band");
        }
    }
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
