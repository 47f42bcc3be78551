use super::*;
use crate::cable::{Diameter, DiameterSource, Plug};
use crate::layout::{Design, Parts, PartsWish, Request, Runs, Signs, lay_out};
use crate::media::Catalogue;

/// A layout whose dots are drawn by the test, so that it knows where each is.
fn layout(build: Build, stock: &str, diameter_mm: f64, runs: Runs) -> (Catalogue, Layout) {
    let catalogue = Catalogue::shipped();
    let typical = Micrometres::from_mm(diameter_mm);
    let diameter = Diameter { low: typical, typical, high: typical, source: DiameterSource::Measured };
    let design = Design { flag_runs: runs, ..Design::default() };
    let request = Request {
        build,
        stock: catalogue.stock(stock).unwrap(),
        printer: catalogue.printer("bench-180").unwrap(),
        diameter: Some(&diameter),
        plug: &Plug::Bare,
        lines: &["TWP OTTER", "1040"].into_iter().collect(),
        signs: &Signs::default(),
        parts: &Parts::new(PartsWish::default()),
        design: &design,
    };
    let layout = lay_out(&request, &Fonts::embedded()).unwrap();
    (catalogue, layout)
}

/// Corners of the ink of one dot on a label, in millimetres.
fn seen(build: Build, stock: &str, diameter_mm: f64, runs: Runs, dot: (usize, usize)) -> Vec<Point> {
    let (catalogue, layout) = layout(build, stock, diameter_mm, runs);
    let mut bitmap = Bitmap::new(whole(layout.across), whole(layout.along));
    bitmap.set(dot.0, dot.1);
    let label = OnCable {
        bitmap: &bitmap,
        layout: &layout,
        printer: catalogue.printer("bench-180").unwrap(),
        stock: catalogue.stock(stock).unwrap(),
        diameter: Some(Micrometres::from_mm(diameter_mm)),
    };
    let (scene, _) = drawn(&label);
    scene.shapes.into_iter().filter(|shape| shape.grey == INK).flat_map(|shape| shape.polygons).flatten().collect()
}

#[test]
fn print_round_a_cable_is_foreshortened_by_the_sine() {
    // A wrap along: one dot in line n lies n · 25.4 / 180 mm from the start of the tape.
    let (catalogue, layout) = layout(Build::Wrap, "wrap-24", 8.0, Runs::Tape);
    let (_, line, _) = layout.block.copies[0];
    let centre = (line.0 as f64 + layout.block.height.0 as f64 / 2.0) * 25.4 / 180.0;
    let radius = (8.0 + catalogue.stock("wrap-24").unwrap().thickness.mm()) / 2.0;
    for at in (0..whole(layout.block.height)).step_by(3) {
        let corners = seen(Build::Wrap, "wrap-24", 8.0, Runs::Tape, (whole(line) + at, 4));
        let (top, bottom) =
            corners.iter().fold((f64::MAX, f64::MIN), |(a, b), corner| (a.min(corner.1), b.max(corner.1)));
        let from = (whole(line) + at) as f64 * 25.4 / 180.0 - centre;
        let arc = |y: f64| radius * (y / radius).asin();
        assert!((arc(top) - from).abs() < 2e-3, "line {at}: {} for {from}", arc(top));
        assert!((arc(bottom) - from - 25.4 / 180.0).abs() < 2e-3, "line {at}");
    }
}

#[test]
fn faces_of_a_flag_stand_back_to_back() {
    for runs in [Runs::Tape, Runs::Cable] {
        let (_, layout) = layout(Build::Flag, "tape-24", 6.0, runs);
        let lines = whole(layout.along);
        // The first line is the outer end of face 1, the last that of face 2: as far from the cable.
        let reach = |line: usize| {
            let corners = seen(Build::Flag, "tape-24", 6.0, runs, (line, 9));
            assert_eq!(corners.len(), 4, "{runs:?} {line}: seen from one side only");
            corners
        };
        let wide = |corners: &[Point]| {
            let xs = corners.iter().map(|corner| corner.0);
            xs.clone().fold(f64::MIN, f64::max) - xs.fold(f64::MAX, f64::min)
        };
        let deep = |corners: &[Point]| {
            let ys = corners.iter().map(|corner| corner.1);
            ys.clone().fold(f64::MIN, f64::max) - ys.fold(f64::MAX, f64::min)
        };
        for line in [0, lines - 1] {
            let corners = reach(line);
            let dot = 25.4 / 180.0;
            assert!((wide(&corners) - dot).abs() < 1e-6 && (deep(&corners) - dot).abs() < 1e-6, "{runs:?}");
        }
        if runs == Runs::Cable {
            let outer = |line| reach(line).iter().map(|corner| corner.1).fold(f64::MIN, f64::max);
            assert!((outer(0) - outer(lines - 1)).abs() < 1e-6, "{runs:?}: both hang as low");
        }
    }
}

#[test]
fn what_is_behind_the_cable_is_not_seen() {
    let (_, layout) = layout(Build::Band, "tape-24", 25.0, Runs::Tape);
    // Ink in the middle of each line of the band: as much of it is seen as of half a turn.
    let shown = (0..whole(layout.along))
        .filter(|&line| {
            let corners = seen(Build::Band, "tape-24", 25.0, Runs::Tape, (line, 20));
            let (least, most) = corners.iter().fold((f64::MAX, f64::MIN), |(a, b), corner| {
                let beside = if layout.block.copies[0].0 == Turn::Along { corner.0 } else { corner.1 };
                (a.min(beside), b.max(beside))
            });
            most - least > 1e-9
        })
        .count();
    let half = 25.0 * std::f64::consts::FRAC_PI_2 * 180.0 / 25.4;
    assert!((shown as f64 - half).abs() < 6.0, "{shown} lines seen, half a turn has {half:.0}");
}

#[test]
fn the_picture_says_its_scale() {
    let (catalogue, layout) = layout(Build::Sleeve, "sleeve-3/8", 6.5, Runs::Tape);
    let bitmap = Bitmap::new(whole(layout.across), whole(layout.along));
    let label = OnCable {
        bitmap: &bitmap,
        layout: &layout,
        printer: catalogue.printer("bench-180").unwrap(),
        stock: catalogue.stock("sleeve-3/8").unwrap(),
        diameter: Some(Micrometres::from_mm(6.5)),
    };
    let png = on_cable_png("OTTER 1040 near", &label, &Fonts::embedded()).unwrap();
    let info = png::Decoder::new(std::io::Cursor::new(&png)).read_info().unwrap();
    let density = info.info().pixel_dims.unwrap();
    assert_eq!((density.xppu, density.yppu), (20_000, 20_000));
    assert!(png == on_cable_png("OTTER 1040 near", &label, &Fonts::embedded()).unwrap(), "the same bytes again");
}
