use super::*;
use crate::media::Catalogue;

/// Labels of these lengths in dots along, on a stock of the shipped ones, two a cable.
fn sheet(
    paper: Paper,
    (printer, stock): (&str, &str),
    lengths: &[usize],
    about: impl Fn(usize) -> Vec<String>,
) -> Sheet {
    let catalogue = Catalogue::shipped();
    let (printer, stock) = (catalogue.printer(printer).unwrap(), catalogue.stock(stock).unwrap());
    let zone = usize::try_from(printer.zone(stock).unwrap().1.0).unwrap();
    let mut sheet = Sheet::new(paper, "Tidewater Playhouse");
    for (nth, &lines) in lengths.iter().enumerate() {
        let mut bitmap = Bitmap::new(zone, lines);
        bitmap.fill(lines / 3, lines / 3, zone / 4, zone / 2);
        sheet.add(&SheetLabel {
            printer,
            stock,
            bitmap: &bitmap,
            cable: u32::try_from(nth / 2).unwrap(),
            name: format!("OTTER {} {}", 1040 + nth / 2, ["near", "far"][nth % 2]),
            about: about(nth),
        });
    }
    sheet
}

fn same(_: usize) -> Vec<String> {
    vec!["flag as asked".into(), "good to 0.6 m".into()]
}

const TAPE: (&str, &str) = ("bench-180", "tape-12");

/// Every label, its page and its place on it: left, top, right, bottom in millimetres.
fn places<'s>(pages: &'s [Page<'s>]) -> Vec<(usize, &'s Piece, [f32; 4])> {
    let place = |(nth, page): (usize, &'s Page<'s>)| {
        page.pieces.iter().map(move |&(piece, x, y)| (nth, piece, [x, y, x + piece.along, y + piece.tape]))
    };
    pages.iter().enumerate().flat_map(place).collect()
}

fn pages_of(pdf: &[u8]) -> usize {
    let text = String::from_utf8_lossy(pdf).into_owned();
    let count = |rest: &str| rest.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok();
    text.split("/Count ").nth(1).and_then(count).unwrap_or(0)
}

#[test]
fn the_same_labels_give_the_same_bytes_on_as_many_pages_as_were_set() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    for count in [1, 2, 30, 31] {
        let sheet = || sheet(Paper::A4, TAPE, &vec![500; count], same);
        let bytes = sheet().finish(&Fonts::embedded()).unwrap();
        assert!(bytes.starts_with(b"%PDF-"));
        assert!(bytes == sheet().finish(&Fonts::embedded()).unwrap(), "{count}");
        assert_eq!(pages_of(&bytes), sheet().pages(&lettering).len(), "{count}");
    }
}

/// Small labels share rows: fewer pages than labels below one another would take.
#[test]
fn small_labels_stand_in_columns_and_long_ones_do_not() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    let lefts = |lines: usize| {
        let sheet = sheet(Paper::A4, TAPE, &[lines; 24], same);
        let pages = sheet.pages(&lettering);
        let mut lefts: Vec<u32> = places(&pages).iter().map(|(_, _, [left, ..])| left.to_bits()).collect();
        lefts.sort_unstable();
        lefts.dedup();
        (lefts.len(), pages.len())
    };
    // 14, 71 and 141 mm long.
    assert_eq!(lefts(100), (4, 1));
    assert_eq!(lefts(500), (2, 2));
    assert_eq!(lefts(1000), (1, 3));
}

/// Whatever the labels, they stay on the page and apart, in order, words too.
#[test]
fn nothing_leaves_the_page_or_lies_on_another() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    let differing = |nth: usize| vec![format!("flag of {}", nth / 4), format!("{nth} mm long"), "note: ".repeat(nth)];
    for paper in [Paper::A4, Paper::Letter] {
        for media in [TAPE, ("wide-300", "wrap-64"), ("bench-180", "sleeve-3/32")] {
            for lengths in [&[60; 50][..], &[500, 60, 60, 900, 2000, 30], &[4000, 4000]] {
                let sheet = sheet(paper, media, lengths, differing);
                let (width, height) = paper.size();
                let pages = sheet.pages(&lettering);
                let mut boxes: Vec<(usize, [f32; 4], String)> = places(&pages)
                    .into_iter()
                    .map(|(page, _, [left, top, right, bottom])| {
                        (page, [left - 0.15, top - 0.15, right + 0.15, bottom + 0.15], "a label".to_owned())
                    })
                    .collect();
                for (nth, page) in pages.iter().enumerate() {
                    boxes.extend(page.words.iter().map(|words| {
                        let wide = lettering.width(&words.text, words.size) / POINT;
                        let cap = words.size * 0.68 / POINT;
                        (nth, [words.x, words.y - cap, words.x + wide, words.y + cap * 0.3], words.text.clone())
                    }));
                }
                for (nth, (page, [left, top, right, bottom], what)) in boxes.iter().enumerate() {
                    let inside = *left > 13.0 && *right < width - 13.0 && *top > 21.0 && *bottom < height - FOOT + 1.0;
                    assert!(inside, "{what} on {paper:?} {media:?}: {left} {top} {right} {bottom}");
                    for (other_page, [l, t, r, b], other) in &boxes[nth + 1..] {
                        let meets = page == other_page && left < r && l < right && top < b && t < bottom;
                        assert!(!meets, "{what} lies on {other}, {paper:?} {media:?}");
                    }
                }
            }
        }
    }
}

#[test]
fn labels_keep_their_order_and_both_ends_of_a_cable_one_row() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    // 52 mm: three fit a row, and a cable's two stay together.
    let sheet = sheet(Paper::A4, TAPE, &[370; 20], same);
    let pages = sheet.pages(&lettering);
    let places = places(&pages);
    for ((page, piece, place), entry) in places.iter().zip(&sheet.entries) {
        assert!(std::ptr::eq(*piece, &raw const entry.pieces[0]), "{} on page {page} at {place:?}", entry.name);
    }
    assert_eq!(places.len(), 20);
    for pair in places.chunks(2) {
        assert_eq!((pair[0].0, pair[0].2[1].to_bits()), (pair[1].0, pair[1].2[1].to_bits()), "one row");
        assert!(pair[0].2[2] < pair[1].2[0], "near at the left of far");
    }
    for pair in places.windows(2) {
        let key = |(page, _, [left, top, ..]): &(usize, &Piece, [f32; 4])| (*page, *top, *left);
        assert!(key(&pair[0]) < key(&pair[1]), "in reading order");
    }
}

/// What labels share is said once in their heading, the rest at each.
#[test]
fn the_heading_has_what_all_share() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    let about = |nth: usize| vec!["flag as asked".into(), format!("{nth} mm long"), "good to 0.6 m".into()];
    let sheet = sheet(Paper::A4, TAPE, &[300; 4], about);
    let pages = sheet.pages(&lettering);
    let times = |text: &str| pages.iter().flat_map(|page| &page.words).filter(|words| words.text == text).count();
    assert_eq!(times("12 mm tape"), 1);
    assert_eq!(times("flag as asked · good to 0.6 m"), 1);
    for nth in 0..4 {
        assert_eq!(times(&format!("{nth} mm long")), 1);
    }
}

#[test]
fn a_label_longer_than_the_page_goes_on_in_the_next_row() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    let sheet = sheet(Paper::Letter, TAPE, &[3000], same);
    let pieces = &sheet.entries[0].pieces;
    assert_eq!(pieces.len(), 3);
    assert_eq!(pieces.iter().map(|piece| piece.grid.0).sum::<usize>(), 3000);
    assert_eq!(pieces[0].open, [false, true, false, false]);
    assert_eq!(pieces[1].open, [true, true, false, false]);
    assert_eq!(pieces[2].open, [true, false, false, false]);
    let pages = sheet.pages(&lettering);
    let names: Vec<&str> = pages[0].words.iter().map(|words| words.text.as_str()).collect();
    for part in 1..=3 {
        assert!(names.contains(&format!("OTTER 1040 near, part {part} of 3").as_str()), "{names:?}");
    }
}

/// A stock of 500 mm, as wide as may be, is folded across, and every millimetre and dot is there once.
#[test]
fn a_stock_wider_than_the_page_is_folded_across() {
    let catalogue = Catalogue::shipped();
    let mut printer = catalogue.printer("wide-300").unwrap().clone();
    let mut stock = catalogue.stock("tape-24").unwrap().clone();
    (printer.head, printer.widest) = (Dots(6000), Micrometres(500_000));
    (stock.width, stock.zone, stock.zone_from_edge) = (Micrometres(500_000), Micrometres(320_000), Micrometres(90_000));
    let (first, zone) = printer.zone(&stock).unwrap();
    let zone_dots = usize::try_from(zone.0).unwrap();
    let mut bitmap = Bitmap::new(zone_dots, 4);
    bitmap.fill(0, 4, 0, zone_dots);
    for paper in [Paper::A4, Paper::Letter] {
        let mut sheet = Sheet::new(paper, "x");
        let (name, about) = ("OTTER 1040 near".to_owned(), vec!["plate".to_owned()]);
        sheet.add(&SheetLabel { printer: &printer, stock: &stock, bitmap: &bitmap, cable: 1, name, about });
        let pieces = &sheet.entries[0].pieces;
        assert_eq!(pieces.len(), 4);
        assert!((pieces.iter().map(|piece| piece.tape).sum::<f32>() - 500.0).abs() < 0.01);
        assert_eq!(pieces.iter().map(|piece| piece.grid.1).sum::<usize>(), zone_dots);
        // The ink begins as far from the upper edge as the plan has it.
        let above = 500.0 - mm(printer.across.length(first + zone));
        let skipped: f32 = pieces.iter().take_while(|piece| piece.grid.1 == 0).map(|piece| piece.tape).sum();
        let from = pieces.iter().find(|piece| piece.grid.1 > 0).unwrap();
        assert!((skipped + from.zone_top - above).abs() < 0.02, "{skipped} {} {above}", from.zone_top);
        assert_eq!(pieces[0].open, [false, false, false, true]);
        assert_eq!(pieces[3].open, [false, false, true, false]);
        let pages = sheet.pages(&Lettering::new(&Fonts::embedded()));
        let bottom = places(&pages).iter().map(|(_, _, [.., bottom])| *bottom).fold(0.0, f32::max);
        assert!(bottom < paper.size().1 - FOOT + 0.1, "{bottom}");
        assert!(sheet.finish(&Fonts::embedded()).unwrap().starts_with(b"%PDF-"));
    }
}

#[test]
fn a_long_title_leaves_the_page_number_alone() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    let title = "Tidewater Playhouse, store of sound, video and lighting cables, second floor behind the paint frame";
    let room = 400.0;
    let short = head(&lettering, title, room);
    assert!(short.starts_with("Tidewater Playhouse, store") && short.ends_with("… · labels at true size"), "{short}");
    assert!(lettering.width(&short, TITLE) <= room);
    assert_eq!(head(&lettering, "proof", room), "proof · labels at true size");
}

#[test]
fn a_sheet_without_labels_is_a_page_that_says_so() {
    let pages = |labels: usize| {
        let sheet = sheet(Paper::Letter, TAPE, &vec![300; labels], same);
        let fonts = Fonts::embedded();
        let lettering = Lettering::new(&fonts);
        let pages = sheet.pages(&lettering);
        assert_eq!(pages.len(), 1);
        let says = pages[0].words.iter().any(|words| words.text.starts_with("No labels"));
        (says, pages[0].pieces.len())
    };
    assert_eq!(pages(0), (true, 0));
    assert_eq!(pages(1), (false, 1));
    assert_eq!(pages_of(&Sheet::new(Paper::A4, "x").finish(&Fonts::embedded()).unwrap()), 1);
}
