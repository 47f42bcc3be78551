//! Panels drawn: every build with every part, turned, mirrored, at unequal resolutions.

use super::*;
use crate::cable::{Diameter, DiameterSource, Plug};
use crate::code::Symbology;
use crate::font::Fonts;
use crate::layout::{
    Build, CodeWish, Design, Emphasis, LogoWish, MarkWish, Misfit, MisfitKind, Parts, PartsWish, Request, Runs, Signs,
    Text, lay_out,
};
use crate::logo::{Picture, Tone};
use crate::mark::{Direction, Pattern};
use crate::media::Catalogue;
use crate::unit::{Dpi, Micrometres};
use std::sync::Arc;

fn mm(value: f64) -> Micrometres {
    Micrometres::from_mm(value)
}

/// A picture without symmetry: an L, 60 × 40.
fn picture() -> Arc<Picture> {
    let mut pixels = vec![255_u8; 60 * 40];
    for y in 0..40 {
        for x in 0..60 {
            if x < 20 || y >= 30 {
                pixels[y * 60 + x] = 0;
            }
        }
    }
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 60, 40);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.write_header().unwrap().write_image_data(&pixels).unwrap();
    Arc::new(Picture::read("l.png", &bytes).unwrap())
}

fn logo() -> LogoWish {
    LogoWish { picture: picture(), tone: Tone::Auto, height: None }
}

fn code(symbologies: &[Symbology]) -> CodeWish {
    CodeWish { symbologies: symbologies.to_vec(), least_module: None, height: None }
}

/// Everything a label can have.
fn everything() -> (PartsWish, Signs) {
    let parts = PartsWish {
        logo: Some(logo()),
        code: Some(code(&[Symbology::DataMatrix])),
        marks: MarkWish { frame: true, rule: true, fold: true },
    };
    let signs = Signs {
        code: Some("TWP 1040".into()),
        arrow: Some(Direction::Left),
        pattern: Some(Pattern::Bars2),
        inverse: Some(Emphasis { text: "50 ft".into(), nth: 0 }),
    };
    (parts, signs)
}

struct Bench {
    catalogue: Catalogue,
    fonts: Fonts,
    design: Design,
}

impl Bench {
    fn new() -> Self {
        Self { catalogue: Catalogue::shipped(), fonts: Fonts::embedded(), design: Design::default() }
    }

    fn lay_out(
        &self,
        (build, stock, od): (Build, &str, f64),
        printer: &str,
        parts: &Parts,
        signs: &Signs,
    ) -> Result<Layout, Misfit> {
        let od = mm(od);
        let diameter = Diameter { low: od, typical: od, high: od, source: DiameterSource::Measured };
        let request = Request {
            build,
            stock: self.catalogue.stock(stock).unwrap(),
            printer: self.catalogue.printer(printer).unwrap(),
            diameter: Some(&diameter),
            plug: &Plug::Bare,
            lines: &Text::from_iter(["OTTER 1040", "50 ft"]),
            signs,
            parts,
            design: &self.design,
        };
        lay_out(&request, &self.fonts)
    }

    fn draw(&self, layout: &Layout, mirrored: bool) -> Bitmap {
        let mut label = Bitmap::new(0, 0);
        Raster::new(Pen::new(&self.fonts)).draw(layout, mirrored, &mut label);
        label
    }
}

/// Builds that take a panel, on stock and cable where all parts fit.
const ROOMY: [(Build, &str, f64); 5] = [
    (Build::Flag, "tape-24", 6.2),
    (Build::Wrap, "wrap-24", 30.0),
    (Build::Band, "tape-24", 60.0),
    (Build::Sleeve, "sleeve-1/2", 10.4),
    (Build::Plate, "tape-18", 6.2),
];

/// A part of a bitmap: `lines` from `line`, `dots` from `dot`.
fn cut(from: &Bitmap, (line, lines): (Dots, Dots), (dot, dots): (Dots, Dots)) -> Bitmap {
    let mut part = Bitmap::new(size(dots), size(lines));
    part.blit(from, -line.0, -dot.0);
    part
}

/// Left, bottom, right, top of everything in a block.
fn boxes(block: &Block) -> Vec<[i64; 4]> {
    let of = |left: Dots, bottom: Dots, wide: Dots, high: Dots| [left.0, bottom.0, (left + wide).0, (bottom + high).0];
    let mut boxes = vec![of(block.text_at.0, block.text_at.1, block.text.width, block.text.height)];
    boxes.extend(block.inks.iter().map(|ink| {
        let (dots, lines) = ink.bits.size();
        of(ink.left, ink.bottom, lines, dots)
    }));
    boxes.extend(block.rules.iter().map(|rule| of(rule.left, rule.bottom, rule.width, rule.height)));
    boxes
}

#[test]
fn every_build_takes_every_part_and_none_covers_another() {
    let mut bench = Bench::new();
    bench.design.reading = mm(300.0);
    let (wish, all) = everything();
    for printer in ["bench-180", "fine-360", "wide-300"] {
        for (build, stock, od) in ROOMY {
            // The tape's width bounds the text of these: no room for all of it.
            let bounded = matches!(build, Build::Wrap | Build::Band);
            let signs = if bounded { Signs { arrow: None, pattern: None, ..all.clone() } } else { all.clone() };
            let logo = wish.logo.clone().filter(|_| !bounded);
            let parts = Parts::new(PartsWish { logo, ..wish.clone() });
            let inks = if bounded { 1 } else { 4 };
            let layout = bench.lay_out((build, stock, od), printer, &parts, &signs);
            let layout = layout.unwrap_or_else(|misfit| panic!("{build} on {printer}: {misfit:?}"));
            let block = &layout.block;
            assert_eq!(block.inks.len(), inks, "{build} on {printer}: logo, code, arrow, pattern");
            assert_eq!(block.rules.len(), inks - usize::from(!bounded), "{build} on {printer}");
            assert_eq!(block.inverse.len(), 1, "{build} on {printer}");
            let (along, up) = block.frame.expect("a frame");
            let boxes = boxes(block);
            for (nth, one) in boxes.iter().enumerate() {
                let inside = one[0] >= along.0
                    && one[1] >= up.0
                    && one[2] <= (block.width - along).0
                    && one[3] <= (block.height - up).0;
                assert!(inside, "{build} on {printer}: {one:?} leaves {} × {}", block.width, block.height);
                for other in &boxes[nth + 1..] {
                    let apart = one[2] <= other[0] || other[2] <= one[0];
                    assert!(apart, "{build} on {printer}: {one:?} and {other:?} overlap");
                }
            }
            for &(turn, line, dot) in &block.copies {
                let (lines, dots) =
                    if turn == Turn::Along { (block.width, block.height) } else { (block.height, block.width) };
                assert!(line.0 >= 0 && dot.0 >= 0, "{build} on {printer}");
                assert!(line + lines <= layout.along && dot + dots <= layout.across, "{build} on {printer}");
            }
            let code = layout.code.as_ref().expect("a code");
            assert!(code.dots.0 >= 3 && code.dots.1 >= 3 && code.module >= mm(0.25), "{build} on {printer}: {code:?}");
            // Folds stand on the neck, where no copy is.
            assert_eq!(layout.folds.len(), if build == Build::Flag { 2 } else { 0 });
            for fold in &layout.folds {
                assert!(block.copies.iter().all(|&(_, line, _)| *fold < line || *fold >= line + block.width));
            }
        }
    }
}

#[test]
fn both_faces_of_a_flag_have_the_same_dots_turned_where_they_must() {
    let mut bench = Bench::new();
    let (parts, signs) = everything();
    let (parts, signs) = (Parts::new(parts), Signs { arrow: None, ..signs });
    for runs in [Runs::Tape, Runs::Cable] {
        bench.design.flag_runs = runs;
        // Along the cable the text has the tape's width: all parts want a wide one.
        let (stock, printer) = if runs == Runs::Tape { ("tape-24", "fine-360") } else { ("wide", "wide-300") };
        if runs == Runs::Cable {
            bench
                .catalogue
                .add_stocks("[[stock]]\nid='wide'\ntitle='w'\nkind='tape'\nwidth_mm=80\nzone_mm=76\nthickness_mm=0.1\nlength_m=8\ncutting='full'\n")
                .unwrap();
        }
        let layout = bench.lay_out((Build::Flag, stock, 6.2), printer, &parts, &signs).unwrap();
        let label = bench.draw(&layout, false);
        let block = &layout.block;
        let [(turn_1, line_1, dot_1), (turn_2, line_2, dot_2)] = block.copies[..] else { panic!("two faces") };
        let (lines, dots) = if runs == Runs::Tape { (block.width, block.height) } else { (block.height, block.width) };
        let first = cut(&label, (line_1, lines), (dot_1, dots));
        let second = cut(&label, (line_2, lines), (dot_2, dots));
        assert!(first.ink() > 500, "{runs:?}");
        assert_eq!((turn_1 == turn_2, first == second), (runs == Runs::Tape, runs == Runs::Tape));
        if runs == Runs::Cable {
            assert_eq!(first, second.turned());
        }
    }
}

/// Whoever walks round a flag sees the same way shown: its back has the arrow turned.
#[test]
fn an_arrow_shows_the_same_way_on_both_faces_of_a_flag() {
    let mut bench = Bench::new();
    let parts = Parts::new(PartsWish::default());
    for (arrow, turns) in [(Direction::Left, true), (Direction::Right, true), (Direction::Up, false)] {
        for runs in [Runs::Tape, Runs::Cable] {
            bench.design.flag_runs = runs;
            let signs = Signs { arrow: Some(arrow), ..Signs::default() };
            let layout = bench.lay_out((Build::Flag, "tape-24", 6.2), "fine-360", &parts, &signs).unwrap();
            let label = bench.draw(&layout, false);
            let block = &layout.block;
            let [(_, line_1, dot_1), (_, line_2, dot_2)] = block.copies[..] else { panic!("two faces") };
            let (lines, dots) =
                if runs == Runs::Tape { (block.width, block.height) } else { (block.height, block.width) };
            let upright = |face: Bitmap| if runs == Runs::Tape { face } else { face.turned() };
            let first = cut(&label, (line_1, lines), (dot_1, dots));
            let second = upright(cut(&label, (line_2, lines), (dot_2, dots)));
            assert_eq!(first == second, !turns, "{arrow:?} {runs:?}");
            if turns {
                // The arrow in its place, turned back, is all that differs.
                let [ink] = &block.inks[..] else { panic!("an arrow") };
                let flip =
                    |bits: &Bitmap| if runs == Runs::Tape { bits.clone() } else { bits.quarter_turned().turned() };
                let (there, back) = (flip(ink.behind.as_ref().expect("a back")), flip(&ink.bits));
                assert_eq!(there.ink(), back.ink());
                let apart = |a: &Bitmap, b: &Bitmap| -> usize {
                    (0..a.lines()).map(|l| (0..a.dots()).filter(|&d| a.get(l, d) != b.get(l, d)).count()).sum()
                };
                assert_eq!(apart(&first, &second), apart(&back, &there), "{arrow:?} {runs:?}");
            }
        }
    }
}

#[test]
fn a_sleeve_is_mirrored_whole_and_judged_after_shrinking() {
    let bench = Bench::new();
    let (parts, signs) = everything();
    let parts = Parts::new(parts);
    let layout = bench.lay_out((Build::Sleeve, "sleeve-1/2", 8.5), "bench-180", &parts, &signs).unwrap();
    let mut mirrored = bench.draw(&layout, true);
    mirrored.mirror();
    assert_eq!(mirrored, bench.draw(&layout, false));
    // Height of text on this sleeve: (8.5 + 2·wall) / (12.7 + 2·0.64) at constant volume, about 0.71.
    let dpi = Dpi::from_milli(180_000).unwrap();
    let code = layout.code.unwrap();
    let (along, up) = (dpi.length(Dots(code.dots.0)).mm(), dpi.length(Dots(code.dots.1)).mm());
    let scale = layout.cap.mm() / dpi.length(layout.block.text.cap).mm();
    assert!((0.68..0.75).contains(&scale), "{scale}");
    assert!(code.dots.1 > code.dots.0, "more dots round the sleeve, where it shrinks: {code:?}");
    assert!((code.module.mm() - along.min(up * scale)).abs() < 0.002, "{code:?}");
    assert!((along - up * scale).abs() < 0.1, "square to less than a dot: {along} and {}", up * scale);
}

#[test]
fn a_code_that_would_bend_out_of_sight_is_refused() {
    let bench = Bench::new();
    let signs = Signs { code: Some("TWP 1040".into()), ..Signs::default() };
    let lay_out = |kind: Symbology, place: (Build, &str, f64)| {
        let parts = Parts::new(PartsWish { code: Some(code(&[kind])), ..PartsWish::default() });
        bench.lay_out(place, "bench-180", &parts, &signs)
    };
    // At 3 dots a module there is room for these if they lay flat. 21 modules are 8.9 mm: they need
    // a cable of 17 mm to lie within 60° of it; 15 modules are 6.4 mm and need 12.1 mm (calculated).
    for (kind, place) in [
        (Symbology::Qr, (Build::Wrap, "wrap-24", 14.0)),
        (Symbology::MicroQr, (Build::Band, "tape-24", 11.9)),
        (Symbology::Qr, (Build::Sleeve, "sleeve-1/2", 8.5)),
    ] {
        let misfit = lay_out(kind, place).unwrap_err();
        assert_eq!((misfit.kind, misfit.field), (MisfitKind::Code, "code"), "{place:?}: {misfit:?}");
        assert!(misfit.wanted.contains("30°"), "{place:?}: {misfit:?}");
    }
    // The same code lies flat on a flag of the same cable.
    let flat = lay_out(Symbology::Qr, (Build::Flag, "tape-24", 8.5)).unwrap();
    assert_eq!(flat.code.unwrap().symbology, Symbology::Qr);
}

#[test]
fn an_inverse_field_is_the_complement_of_its_words() {
    let bench = Bench::new();
    let parts = Parts::new(PartsWish::default());
    let inverse = Signs { inverse: Some(Emphasis { text: "50 ft".into(), nth: 0 }), ..Signs::default() };
    for printer in ["bench-180", "fine-360"] {
        let layout = bench.lay_out((Build::Plate, "tape-24", 5.0), printer, &parts, &inverse).unwrap();
        let drawn = bench.draw(&layout, false);
        let mut plain = layout.clone();
        plain.block.inverse.clear();
        let plain = bench.draw(&plain, false);
        let (_, line, dot) = layout.block.copies[0];
        let field = layout.block.inverse[0];
        let cut = |from: &Bitmap| cut(from, (line + field.left, field.width), (dot + field.bottom, field.height));
        let (inside, words) = (cut(&drawn), cut(&plain));
        assert_eq!(inside.ink() + words.ink(), u64::try_from(field.width.0 * field.height.0).unwrap(), "{printer}");
        assert!(words.ink() > 100, "{printer}");
        assert_eq!(drawn.ink() - inside.ink(), plain.ink() - words.ink(), "{printer}: nothing else changed");
        // The words do not touch the border, so that they stay closed letters on black.
        let border = |bits: &Bitmap| {
            let (dots, lines) = (bits.dots(), bits.lines());
            (0..lines).any(|l| !bits.get(l, 0) || !bits.get(l, dots - 1))
                || (0..dots).any(|d| !bits.get(0, d) || !bits.get(lines - 1, d))
        };
        assert!(!border(&inside), "{printer}:\n{inside}");
    }
}

#[test]
fn arrows_stand_on_the_side_they_point_to() {
    let bench = Bench::new();
    let parts = Parts::new(PartsWish::default());
    let side = |arrow: Direction| {
        let signs = Signs { arrow: Some(arrow), ..Signs::default() };
        let layout = bench.lay_out((Build::Flag, "tape-12", 6.0), "bench-180", &parts, &signs).unwrap();
        let ink = &layout.block.inks[0];
        assert_eq!(*ink.bits, mark::arrow(arrow, ink.bits.lines(), ink.bits.dots()));
        assert!(ink.bits.ink() > 50);
        ink.left < layout.block.text_at.0
    };
    assert!(side(Direction::Left));
    for right in [Direction::Right, Direction::Up, Direction::Down] {
        assert!(!side(right), "{right:?}");
    }
}

#[test]
fn ink_is_shared_by_faces_copies_and_labels() {
    let bench = Bench::new();
    let (parts, signs) = everything();
    let parts = Parts::new(parts);
    let layout = |content: &str| {
        let signs = Signs { code: Some(content.into()), ..signs.clone() };
        bench.lay_out((Build::Flag, "tape-24", 6.2), "bench-180", &parts, &signs).unwrap()
    };
    let (one, same, other) = (layout("TWP 1040"), layout("TWP 1040"), layout("TWP 1041"));
    // In the order placed: arrow, logo, code, pattern.
    assert!(Arc::ptr_eq(&one.block.inks[1].bits, &other.block.inks[1].bits), "one logo for all");
    assert!(Arc::ptr_eq(&one.block.inks[2].bits, &same.block.inks[2].bits), "one code for a content");
    assert_ne!(one.block.inks[2].bits, other.block.inks[2].bits);
    assert_eq!(one, same);
}

#[test]
fn what_does_not_fit_says_which_part_and_what_there_is() {
    let bench = Bench::new();
    let lay_out = |stock: &str, parts: PartsWish, signs: Signs| {
        bench.lay_out((Build::Flag, stock, 6.2), "bench-180", &Parts::new(parts), &signs).unwrap_err()
    };
    let tall = PartsWish { logo: Some(LogoWish { height: Some(mm(12.0)), ..logo() }), ..PartsWish::default() };
    let misfit = lay_out("tape-12", tall, Signs::default());
    assert_eq!((misfit.kind, misfit.found.as_str()), (MisfitKind::Logo, "a logo of 12 mm"));
    assert!(misfit.wanted.starts_with("at most 9.8"), "{misfit:?}");

    let wide = CodeWish { height: Some(mm(11.0)), ..code(&[Symbology::Rmqr]) };
    let signs = Signs { code: Some("TWP 1040".into()), ..Signs::default() };
    let misfit = lay_out("tape-12", PartsWish { code: Some(wide), ..PartsWish::default() }, signs.clone());
    assert_eq!((misfit.kind, misfit.found.as_str()), (MisfitKind::Code, "a code of 11 mm"));

    let qr = PartsWish { code: Some(code(&[Symbology::Qr])), ..PartsWish::default() };
    let misfit = lay_out("tape-9", qr, signs);
    assert_eq!(misfit.kind, MisfitKind::Code);
    assert!(misfit.found.starts_with("qr of 21 × 21 modules"), "{misfit:?}");

    let frame = PartsWish { marks: MarkWish { frame: true, ..MarkWish::default() }, ..PartsWish::default() };
    let pattern = Signs { pattern: Some(Pattern::Chequer), ..Signs::default() };
    let misfit = lay_out("tape-6", frame, pattern);
    assert_eq!((misfit.kind, misfit.field), (MisfitKind::Mark, "marks"), "{misfit:?}");
    assert!(misfit.found.contains("chequer"), "{misfit:?}");
}

#[test]
fn text_beside_too_much_says_beside_what() {
    let mut bench = Bench::new();
    bench.design.flag_runs = Runs::Cable;
    let parts = PartsWish { logo: Some(LogoWish { height: Some(mm(6.0)), ..logo() }), ..PartsWish::default() };
    let misfit =
        bench.lay_out((Build::Flag, "tape-18", 6.2), "bench-180", &Parts::new(parts), &Signs::default()).unwrap_err();
    assert_eq!(misfit.kind, MisfitKind::Legibility);
    assert!(misfit.found.contains(" beside a logo "), "{misfit:?}");
}

/// Golden where nothing but whole dots decides: a frame that fills the face of a plate.
#[test]
fn a_frame_fills_its_face() {
    let bench = Bench::new();
    let marks = MarkWish { frame: true, ..MarkWish::default() };
    let parts = Parts::new(PartsWish { marks, ..PartsWish::default() });
    let layout = bench.lay_out((Build::Plate, "tape-12", 5.0), "bench-180", &parts, &Signs::default()).unwrap();
    let label = bench.draw(&layout, false);
    assert_eq!(layout.block.height, layout.across);
    let (_, line, dot) = layout.block.copies[0];
    assert_eq!(dot, Dots::ZERO);
    let margin = Dpi::from_milli(180_000).unwrap().dots_covering(bench.design.margin);
    assert_eq!(line, margin);
    let last = size(line + layout.block.width) - 1;
    let edge = (0..label.dots()).filter(|&d| label.get(last, d)).count();
    assert_eq!(edge, label.dots(), "the frame's end is closed");
    assert!(!(0..label.dots()).any(|d| label.get(last + 1, d)), "and nothing stands behind it");
}
