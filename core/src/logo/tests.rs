use super::plane::{PAPER, Window};
use super::tone::{grey, levels};
use super::*;

fn dpi(milli: u32) -> Dpi {
    Dpi::from_milli(milli).unwrap()
}

fn room(width: Option<i64>, height: i64) -> super::Box {
    super::Box { width: width.map(Dots), height: Dots(height), along: dpi(180_000), up: dpi(180_000) }
}

fn plane(width: usize, height: usize, tone: impl Fn(usize, usize) -> u8) -> Plane {
    let tones = (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| tone(x, y)).collect();
    Plane { width, height, tones }
}

/// A grey or coloured PNG of these samples.
fn png(width: u32, height: u32, color: png::ColorType, depth: png::BitDepth, samples: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(color);
    encoder.set_depth(depth);
    encoder.write_header().unwrap().write_image_data(samples).unwrap();
    bytes
}

fn grey_png(plane: &Plane) -> Picture {
    let side = |n: usize| u32::try_from(n).unwrap();
    let bytes =
        png(side(plane.width), side(plane.height), png::ColorType::Grayscale, png::BitDepth::Eight, &plane.tones);
    Picture::read("made.png", &bytes).unwrap()
}

#[test]
fn light_is_that_of_srgb() {
    // IEC 61966-2-1 at some values, from its formula with 30 digits.
    for (tone, wanted) in
        [(0, 0), (1, 20), (10, 199), (11, 219), (50, 2090), (128, 14_146), (188, 32_957), (255, 65_535)]
    {
        assert_eq!(LIGHT[tone], wanted, "{tone}");
    }
    assert!(LIGHT.is_sorted_by(|a, b| a < b));
    // Pure colours: the weights of BT.709 alone.
    assert_eq!((grey(255, 0, 0), grey(0, 255, 0), grey(0, 0, 255)), (127, 220, 76));
    assert_eq!((grey(77, 77, 77), grey(255, 255, 254)), (77, 255));
}

#[test]
fn margins_go_and_near_white_is_margin() {
    let tone = |x: usize, y: usize| match (x, y) {
        (3, 2) | (6, 4) => 0,
        _ => PAPER,
    };
    let plane = plane(10, 8, tone);
    assert_eq!(plane.inked(), Some(Window { left: 3, top: 2, right: 7, bottom: 5 }));
    let picture = grey_png(&plane);
    assert!((picture.aspect() - 4.0 / 3.0).abs() < 1e-12);
    let drawn = picture.draw(room(None, 3), Tone::Threshold(128));
    assert_eq!(drawn.ink.to_string(), "#...\n....\n...#\n", "the picture's top is the bitmap's top");
}

#[test]
fn alpha_lies_over_white_and_sixteen_bits_become_eight() {
    // Black at alpha 0, 127, 128 and 255: the middle ones are grey 128 and 127.
    let samples = [0, 0, 0, 0, 0, 0, 0, 127, 0, 0, 0, 128, 0, 0, 0, 255];
    let bytes = png(4, 1, png::ColorType::Rgba, png::BitDepth::Eight, &samples);
    assert_eq!(pixels::png(&bytes).unwrap().tones, [255, 128, 127, 0]);
    let bytes = png(2, 1, png::ColorType::GrayscaleAlpha, png::BitDepth::Sixteen, &[0, 0, 128, 0, 200, 0, 255, 255]);
    assert_eq!(pixels::png(&bytes).unwrap().tones, [127, 200]);
    let bytes = png(9, 1, png::ColorType::Grayscale, png::BitDepth::One, &[0b1010_1010, 0b1000_0000]);
    assert_eq!(pixels::png(&bytes).unwrap().tones, [255, 0, 255, 0, 255, 0, 255, 0, 255]);
}

#[test]
fn areas_are_averaged_exactly() {
    // Three pixels on two dots: each dot has one and a half.
    let plane = plane(3, 1, |x, _| [0, 100, 200][x]);
    let (found, weight) = sums(&plane, Span::whole(2), Span::whole(1), &identity(), 255);
    let mean = |sum: u64| (sum * 3) as f64 / weight as f64;
    assert_eq!(found.iter().map(|&sum| mean(sum)).collect::<Vec<_>>(), [100.0, 500.0]);
    // A quarter of a dot of paper before the picture, and two after it.
    let span = Span { dots: 2, before: 1, after: 2 };
    let whole: u64 = span.cover(5).iter().flat_map(|(_, weights)| weights).sum();
    assert_eq!(whole, 25, "five quarters of a dot hold five pixels, each five units");
    for (dots, pixels) in [(7, 3), (3, 7), (16, 16), (13, 1000)] {
        for (before, after) in [(0, 0), (1, 2), (3, 0), (0, 3)] {
            let span = Span { dots, before, after };
            for (dot, (first, weights)) in span.cover(pixels).iter().enumerate() {
                let quarters = 4 - if dot == 0 { before } else { 0 } - if dot + 1 == dots { after } else { 0 };
                assert_eq!(weights.iter().sum::<u64>(), (quarters * pixels) as u64);
                assert!(weights.iter().all(|&weight| weight > 0) && first + weights.len() <= pixels);
            }
            assert!((0..pixels).all(|pixel| span.dot_of(pixel, pixels) < dots));
        }
    }
}

#[test]
fn levels_are_the_two_tones_there_are() {
    let two = levels(&plane(10, 10, |x, _| if x < 3 { 40 } else { 230 }).histogram());
    assert_eq!(two, Levels { ink: 40, paper: 230, parted: 1000 });
    let one = levels(&plane(4, 4, |_, _| 90).histogram());
    assert_eq!((one.ink, one.paper), (90, 255), "a solid field is ink");
    let ramp = levels(&plane(256, 1, |x, _| u8::try_from(x).unwrap()).histogram());
    // An even ramp: the variance of each half is a quarter of the whole's.
    assert!((749..=751).contains(&ramp.parted), "{ramp:?}");
    let map = two.coverage();
    assert_eq!((map[0], map[40], map[230], map[255]), (255, 255, 0, 0));
    assert_eq!(map[135], 128, "halves up");
}

#[test]
fn tones_are_kept_by_dots() {
    // Flat fields and ramps: the light of the paper that stays white is that of the picture, to 1 %.
    for tone in [Tone::Ordered, Tone::Diffused] {
        for grey in [20, 60, 90, 128, 150, 188, 220, 240] {
            let picture = grey_png(&plane(64, 64, |_, _| grey));
            let ink = picture.draw(room(None, 64), tone).ink.ink();
            let light = 1.0 - ink as f64 / 4096.0;
            let wanted = f64::from(LIGHT[usize::from(grey)]) / 65_535.0;
            assert!((light - wanted).abs() <= 0.01, "{tone:?} {grey}: found {light}, wanted {wanted}");
        }
        for across in [false, true] {
            let ramp = plane(256, 256, |x, y| u8::try_from(if across { y } else { x }.min(246)).unwrap());
            let wanted = ramp.tones.iter().map(|&tone| f64::from(LIGHT[usize::from(tone)])).sum::<f64>() / 65_535.0;
            // An ordered ramp of five patterns is too short to hold 1 %.
            let sizes: &[i64] = if tone == Tone::Ordered { &[64, 101, 256] } else { &[40, 64, 101, 256] };
            for &dots in sizes {
                let ink = grey_png(&ramp).draw(room(None, dots), tone).ink;
                let light = 1.0 - ink.ink() as f64 / (ink.dots() * ink.lines()) as f64;
                let wanted = wanted / 65_536.0;
                assert!((light - wanted).abs() <= 0.01, "{tone:?} at {dots}: found {light}, wanted {wanted}");
            }
        }
    }
}

#[test]
fn a_photograph_is_no_line_art() {
    let line = |tone: &dyn Fn(usize, usize) -> u8| grey_png(&plane(64, 64, tone)).is_line_art();
    assert!(line(&|x, y| if (x / 9 + y / 7) % 2 == 0 { 0 } else { 255 }));
    assert!(line(&|x, _| [0, 0, 0, 64, 255, 255, 255, 190][x % 8]), "smoothed stripes of four pixels");
    assert!(!line(&|x, _| u8::try_from(x * 3).unwrap()), "a ramp");
    assert!(!line(&|x, y| u8::try_from((x * x + y * y) % 240).unwrap()), "noise");
}

#[test]
fn a_box_keeps_the_shape_in_millimetres() {
    let square = grey_png(&plane(50, 50, |_, _| 0));
    let size = |width: Option<i64>, height: i64, along: u32, up: u32| {
        let room = super::Box { width: width.map(Dots), height: Dots(height), along: dpi(along), up: dpi(up) };
        let drawn = square.draw(room, Tone::Auto).ink;
        assert_eq!(square.size(room), (drawn.size().1, drawn.size().0));
        (drawn.lines(), drawn.dots())
    };
    assert_eq!(size(None, 64, 180_000, 180_000), (64, 64));
    assert_eq!(size(None, 64, 360_000, 180_000), (128, 64));
    assert_eq!(size(None, 64, 180_000, 360_000), (32, 64));
    assert_eq!(size(Some(20), 64, 180_000, 180_000), (20, 20), "as large as fits");
    assert_eq!(size(Some(20), 64, 180_000, 360_000), (20, 40));
    assert_eq!(size(Some(0), -5, 180_000, 180_000), (1, 1), "never empty");
    assert_eq!(size(Some(3), i64::MAX, 180_000, 180_000), (3, 3));
}

#[test]
fn line_art_lies_on_the_dots() {
    // Bars of exactly a dot, a third of a dot off: half covered both ways without fitting.
    let bars = plane(600, 60, |x, _| if (x + 20) % 60 < 30 { 0 } else { 255 });
    let drawn = grey_png(&bars).draw(room(Some(20), 60), Tone::Line);
    let columns: Vec<bool> = (0..drawn.ink.lines()).map(|line| drawn.ink.get(line, 0)).collect();
    assert!(columns.windows(2).filter(|pair| pair[0] != pair[1]).count() >= 17, "{columns:?}");
}

#[test]
fn hairlines_and_narrow_gaps_are_named_with_their_width() {
    // 40 by 40 dots of 0.1411 mm; a stroke of 3 of 400 pixels is 0.3 dots, 0.042 mm.
    let stroke = |ink: u8, paper: u8| {
        let plane = plane(400, 400, |x, y| {
            let edge = !(20..380).contains(&x) || !(20..380).contains(&y);
            if edge || ((100..300).contains(&y) && (x == 200 || x == 201 || x == 202)) { ink } else { paper }
        });
        grey_png(&plane).draw(room(None, 40), Tone::Line).lost
    };
    let lost = stroke(0, 255).expect("the stroke is lost");
    assert_eq!(lost.part, Part::Stroke);
    assert!((35..=50).contains(&lost.width.0), "{lost:?}");
    assert_eq!(lost.dot.0, 141);
    // A black field with a white cut inside a white ring.
    let plane = plane(400, 400, |x, y| if (100..300).contains(&y) && (200..203).contains(&x) { 255 } else { 0 });
    let lost = grey_png(&plane).draw(room(None, 40), Tone::Line).lost.expect("the gap is lost");
    assert_eq!(lost.part, Part::Gap);
    assert!((35..=50).contains(&lost.width.0), "{lost:?}");
    let words = lost.to_string();
    assert!(words.starts_with("gaps of about 0.04 mm are below one dot (0.14 mm): make the logo 3."), "{words}");
    // As large as it says, nothing is lost.
    let larger = 40 * lost.factor_tenths() / 10 + 1;
    assert_eq!(grey_png(&plane).draw(room(None, larger), Tone::Line).lost, None);
}

#[test]
fn every_way_is_the_same_each_time_and_named() {
    for word in ["auto", "line", "threshold", "ordered", "diffused"] {
        let tone = Tone::named(word).unwrap();
        assert_eq!(tone.word(), word);
        let picture = grey_png(&plane(30, 30, |x, y| u8::try_from(x * y % 240).unwrap()));
        assert_eq!(picture.draw(room(None, 17), tone), picture.clone().draw(room(None, 17), tone));
    }
    assert_eq!(Tone::named("dither"), None);
}
