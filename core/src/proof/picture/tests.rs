use super::*;
use crate::media::Catalogue;
use crate::strip::{Between, Rules};

const CAPTION: &str = "OTTER 1040 near";

/// Labels of a pattern that no shift and no turn maps onto itself.
fn bitmap(zone: usize, length: usize) -> Bitmap {
    let mut bitmap = Bitmap::new(zone, length);
    let mut seed = 0x9E37_79B9_7F4A_7C15_u64;
    for line in 0..length {
        for dot in 0..zone {
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            if seed.is_multiple_of(3) {
                bitmap.set(line, dot);
            }
        }
    }
    bitmap
}

fn picture_of(
    (printer, stock): (&str, &str),
    between: Option<Between>,
    lengths: &[usize],
    check: impl Fn(&StripPicture<'_>),
) {
    let catalogue = Catalogue::shipped();
    let (printer, stock) = (catalogue.printer(printer).unwrap(), catalogue.stock(stock).unwrap());
    let rules = Rules::new(printer, stock, between);
    let zone = lines(printer.zone(stock).unwrap().1);
    let strip =
        Strip::new(&rules, &lengths.iter().map(|&length| Dots(i64::try_from(length).unwrap())).collect::<Vec<_>>());
    let label = |&length| PictureLabel {
        bitmap: bitmap(zone, length),
        caption: CAPTION.into(),
        legibility: "capitals 3.1 mm (22 dots), good to 0.53 m; strokes 4 dots thick".into(),
    };
    let labels = lengths.iter().map(label).collect();
    check(&StripPicture { title: "strip 1 of 1".into(), printer, stock, strip: &strip, labels });
}

fn decode(bytes: &[u8]) -> (Vec<u8>, usize, png::Info<'static>) {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut pixels).unwrap();
    let info = reader.info().clone();
    (pixels, info.width as usize, info)
}

/// Where tape shows in the picture, in rows of the strip: found by its white, which nothing else has.
/// Left, top, width, height.
fn tapes(pixels: &[u8], width: usize) -> Vec<(usize, usize, usize, usize)> {
    let on = |pixel: u8| pixel == TAPE;
    let mut tapes: Vec<(usize, usize, usize, usize)> = Vec::new();
    for (y, row) in pixels.chunks(width).enumerate() {
        let Some(left) = row.iter().position(|&pixel| on(pixel)) else { continue };
        let right = row.iter().rposition(|&pixel| on(pixel)).unwrap() + 1;
        match tapes.last_mut() {
            // A row of pixels may begin or end with ink: the tape is what all of them span.
            Some((x, top, wide, high)) if *top + *high == y => {
                let (from, to) = ((*x).min(left), (*x + *wide).max(right));
                (*x, *wide, *high) = (from, to - from, *high + 1);
            }
            _ => tapes.push((left, y, right - left, 1)),
        }
    }
    tapes
}

/// The ink of the whole strip, from the plan's positions.
fn wanted(picture: &StripPicture<'_>) -> Bitmap {
    let zone = picture.labels[0].bitmap.dots();
    let mut ink = Bitmap::new(zone, lines(picture.strip.length));
    for (label, start) in picture.labels.iter().zip(&picture.strip.starts) {
        ink.blit(&label.bitmap, start.0, 0);
    }
    for guide in &picture.strip.guides {
        ink.blit(&snip_guide(zone), guide.0, 0);
    }
    ink
}

/// Every pixel of tape is the dot that the plan has there; the zone lies where the stock says.
#[test]
fn dots_are_true_in_their_places_and_nothing_else_is_on_the_tape() {
    for (media, between, lengths) in [
        (("bench-180", "tape-12"), None, &[500; 3][..]),
        (("fine-360", "tape-12"), None, &[700, 30, 31]),
        (("field-203", "tape-18"), None, &[300, 200]),
        (("bench-180", "tape-12"), Some(Between::Full), &[60, 70, 80]),
        (("bench-180", "sleeve-3/8"), None, &[400; 3]),
        (("wide-300", "wrap-38"), None, &[300; 3]),
        (("bench-180", "tape-12"), None, &[1400]),
    ] {
        picture_of(media, between, lengths, |picture| {
            let (pixels, width, _) = decode(&strip_png(picture, &Fonts::embedded()).unwrap());
            let scale = scale(picture.printer);
            let ink = wanted(picture);
            let tapes = tapes(&pixels, width);
            let across = lines(picture.printer.across.dots_nearest(picture.stock.width));
            let (first, zone) = picture.printer.zone(picture.stock).unwrap();
            let first = lines(first - picture.printer.stock_edge(picture.stock));
            let mut line = 0;
            for &(left, top, wide, high) in &tapes {
                assert_eq!((wide % scale.0, high), (0, across * scale.1), "{media:?}");
                for y in 0..high {
                    for x in 0..wide {
                        // Dot 0 of the tape is the lowest.
                        let dot = (high - 1 - y) / scale.1;
                        let at = line + x / scale.0;
                        let black = dot >= first && dot < first + lines(zone) && ink.get(at, dot - first);
                        let pixel = pixels[(top + y) * width + left + x];
                        assert_eq!(pixel, if black { BLACK } else { TAPE }, "{media:?}: line {at}, dot {dot}");
                    }
                }
                line += wide / scale.0;
            }
            assert_eq!(line, ink.lines(), "{media:?}: every line is shown once");
        });
    }
}

#[test]
fn the_density_makes_it_true_size() {
    picture_of(("bench-180", "tape-12"), None, &[500; 5], |picture| {
        let (_, width, info) = decode(&strip_png(picture, &Fonts::embedded()).unwrap());
        let dims = info.pixel_dims.unwrap();
        // 180 dpi at two pixels a dot: 360 / 0.0254.
        assert_eq!((dims.xppu, dims.yppu), (14_173, 14_173));
        assert!(width < 4000, "a row stays looked at: {width}");
    });
    picture_of(("fine-360", "tape-12"), None, &[500; 5], |picture| {
        let dims = decode(&strip_png(picture, &Fonts::embedded()).unwrap()).2.pixel_dims.unwrap();
        assert_eq!((dims.xppu, dims.yppu), (28_346, 28_346));
    });
}

/// Boxes that words take, with their text.
fn boxes(setting: &Setting<'_>, fonts: &Fonts) -> Vec<(Range<usize>, Range<usize>, String)> {
    let words = setting.words.iter().map(|(text, cap, (x, y))| (text.clone(), *cap, *x, *y));
    let legend = setting
        .marks
        .iter()
        .map(|&(_, text, (x, y))| (text.to_owned(), setting.sizes.cap, x + setting.sizes.mark + setting.sizes.gap, y));
    words
        .chain(legend)
        .map(|(text, cap, x, y)| (x..x + width_of(fonts, &text, cap), y + 1 - cap..y + cap / 3, text))
        .collect()
}

/// However short or long labels and rows are, words neither overlap nor leave the picture nor lie on tape.
#[test]
fn words_keep_apart() {
    let fonts = Fonts::embedded();
    for lengths in [&[1][..], &[20; 40], &[71; 9], &[142; 12], &[1250, 40, 1260], &[3000], &[1250; 2]] {
        for printer in ["bench-180", "fine-360", "field-203"] {
            picture_of((printer, "tape-12"), None, lengths, |picture| {
                let setting = Setting::new(picture, &fonts).unwrap();
                let boxes = boxes(&setting, &fonts);
                let tapes = setting.frames.iter().map(|frame| {
                    let wide = frame.row.len() * frame.scale;
                    (frame.x..frame.x + wide, frame.top..frame.top + setting.tape, "tape".to_owned())
                });
                let meets = |a: &Range<usize>, b: &Range<usize>| a.start < b.end && b.start < a.end;
                let all: Vec<_> = boxes.iter().cloned().chain(tapes).collect();
                for (nth, (columns, rows, text)) in all.iter().enumerate() {
                    assert!(columns.end <= setting.width && rows.end <= setting.height, "{text} leaves the picture");
                    for (other_columns, other_rows, other) in &all[nth + 1..] {
                        let clash = meets(columns, other_columns) && meets(rows, other_rows);
                        assert!(!clash, "{lengths:?}, {printer}: `{text}` lies on `{other}`");
                    }
                }
                if printer == "bench-180" {
                    assert!(setting.drawn(&fonts).png(setting.density).is_ok());
                }
            });
        }
    }
}

/// Every label's whole name is somewhere: over it, or in the key.
#[test]
fn no_name_is_cut_short() {
    let fonts = Fonts::embedded();
    for (lengths, keyed) in [(&[500; 5][..], false), (&[90; 12], false), (&[20; 40], true)] {
        picture_of(("bench-180", "tape-12"), None, lengths, |picture| {
            let setting = Setting::new(picture, &fonts).unwrap();
            let words: Vec<&str> = setting.words.iter().map(|(text, _, _)| text.as_str()).collect();
            let joined = words.iter().rev().copied().collect::<Vec<_>>().join(" ");
            let keys = words.iter().filter(|text| text.contains(&format!(": {CAPTION}, at "))).count();
            assert_eq!(keys, if keyed { lengths.len() } else { 0 }, "{joined}");
            if !keyed {
                assert_eq!(joined.matches(CAPTION).count(), lengths.len(), "{joined}");
            }
        });
    }
}

#[test]
fn a_mirrored_strip_says_so_and_others_do_not() {
    let fonts = Fonts::embedded();
    for (stock, mirrored) in [("sleeve-3/8", true), ("tape-12", false)] {
        picture_of(("bench-180", stock), None, &[400, 400], |picture| {
            let setting = Setting::new(picture, &fonts).unwrap();
            let said = setting.words.iter().find(|(text, _, _)| text == MIRRORED);
            assert_eq!(said.is_some(), mirrored, "{stock}");
            if let Some((_, cap, (x, y))) = said {
                let (pixels, width, _) = decode(&strip_png(picture, &Fonts::embedded()).unwrap());
                let inked = (y - cap..*y).any(|row| pixels[row * width + x..][..cap * 4].contains(&BLACK));
                assert!(inked, "the words are drawn");
            }
        });
    }
}

#[test]
fn snip_guides_are_marked_and_explained() {
    let fonts = Fonts::embedded();
    let has = |marks: &[(Mark, &str, (usize, usize))]| marks.iter().any(|&(mark, ..)| mark == Mark::Snip);
    picture_of(("field-203", "tape-12"), None, &[400; 3], |picture| {
        let setting = Setting::new(picture, &fonts).unwrap();
        assert!(has(&setting.marks));
        assert_eq!(picture.strip.guides.len(), 2, "between three labels");
        let (pixels, width, _) = decode(&strip_png(picture, &Fonts::embedded()).unwrap());
        for guide in &picture.strip.guides {
            let shown = setting.frames.iter().filter(|frame| frame.row.contains(&lines(*guide))).count();
            assert_eq!(shown, 1);
            let frame = setting.frames.iter().find(|frame| frame.row.contains(&lines(*guide))).unwrap();
            let x = frame.column(lines(*guide)).unwrap();
            let y = frame.top + setting.tape + setting.sizes.thin + setting.sizes.arrow / 2;
            assert_eq!(pixels[y * width + x], BLACK, "an arrow under the guide");
        }
    });
    picture_of(("bench-180", "tape-12"), None, &[400; 3], |picture| {
        assert!(!has(&Setting::new(picture, &fonts).unwrap().marks));
    });
}

#[test]
fn a_strip_of_one_label_counts_one_and_one_of_none_is_an_empty_picture() {
    picture_of(("bench-180", "tape-12"), None, &[400], |picture| {
        assert_eq!(head(picture), ["1 label on 83.1 mm of tape: labels 56.4, lead 25.1, trail 1.6"]);
        let empty = Strip {
            length: Dots::ZERO,
            starts: Vec::new(),
            cuts: Vec::new(),
            guides: Vec::new(),
            ledger: crate::strip::Ledger::default(),
        };
        let (printer, stock) = (picture.printer, picture.stock);
        let none = |labels| StripPicture { title: "strip".into(), printer, stock, strip: &empty, labels };
        let (pixels, width, _) = decode(&strip_png(&none(Vec::new()), &Fonts::embedded()).unwrap());
        assert!(tapes(&pixels, width).is_empty(), "no tape");
        let stray = PictureLabel { bitmap: bitmap(70, 3), caption: "stray".into(), legibility: String::new() };
        let error = strip_png(&none(vec![stray]), &Fonts::embedded()).unwrap_err();
        assert!(error.to_string().contains("1 labels for 0 places"), "{error}");
    });
}

#[test]
fn legibility_is_said_once_for_labels_alike() {
    let label = |caption: &str, legibility: &str| PictureLabel {
        bitmap: bitmap(7, 3),
        caption: caption.into(),
        legibility: legibility.into(),
    };
    let told = |labels: &[(&str, &str)]| {
        legible(&labels.iter().map(|(caption, words)| label(caption, words)).collect::<Vec<_>>())
    };
    assert_eq!(told(&[("OTTER 1 near", "good"), ("OTTER 1 far", "good")]), ["Every label: good"]);
    assert_eq!(told(&[("OTTER 1 near", "good")]), ["OTTER 1 near: good"]);
    assert_eq!(
        told(&[("OTTER 1 near", "good"), ("OTTER 1 far", "good"), ("OTTER 2 near", "small"), ("OTTER 2 far", "good")]),
        ["OTTER 1 near to OTTER 1 far: good", "OTTER 2 near: small", "OTTER 2 far: good"]
    );
    assert!(told(&[("stray", "")]).is_empty() && told(&[]).is_empty());
    // The words stand under the strip and make the picture higher by a line each.
    picture_of(("bench-180", "tape-12"), None, &[200, 200], |picture| {
        let height = |picture: &StripPicture<'_>| {
            let (pixels, width, _) = decode(&strip_png(picture, &Fonts::embedded()).unwrap());
            pixels.len() / width
        };
        let labels = [("a", ""), ("b", "")].map(|(caption, words)| PictureLabel {
            bitmap: bitmap(picture.labels[0].bitmap.dots(), 200),
            ..label(caption, words)
        });
        let bare = StripPicture { labels: labels.into(), title: picture.title.clone(), ..*picture };
        assert!(height(picture) > height(&bare));
    });
}
