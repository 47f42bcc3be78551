use super::flow::Words;
use super::*;
use crate::media::Catalogue;

/// Rows of many sizes, strip by strip: name, place and notes as long as given.
fn bench(paper: Paper, count: usize, long: usize) -> Bench {
    let catalogue = Catalogue::shipped();
    let printer = catalogue.printer("wide-300").unwrap();
    let mut bench = Bench::new(paper);
    for nth in 0..count {
        let stock = catalogue.stock(["tape-12", "wrap-64", "sleeve-1/2", "tape-24"][nth / 5 % 4]).unwrap();
        let (_, zone) = printer.zone(stock).unwrap();
        let mut bitmap = Bitmap::new(usize::try_from(zone.0).unwrap(), 200 + nth % 9 * 300);
        bitmap.fill(10, 100, 5, 20 + nth % 3);
        bench.add(&BenchRow {
            nth: nth + 1,
            strip: nth / 7,
            heading: format!("Strip {} · {}", nth / 7 + 1, stock.title),
            printer,
            stock,
            bitmap: &bitmap,
            cable: format!("NIGHTINGALE{} {nth}", " LONG".repeat(long)),
            end: "near",
            place: "under the stage, second rack from the left ".repeat(long),
            build: Build::ALL[nth % 5],
            reads: Some(Reads::Along),
            diameter: Some(Micrometres(6200)),
            notes: vec!["the text goes round the side of the cable: turn the cable to read all of it".into(); long],
            view: None,
        });
    }
    bench
}

fn head() -> BenchHead {
    let facts = vec!["12 mm tape (tape-12): 16 labels in 3 strips".to_owned(); 4];
    BenchHead { title: "Tidewater Playhouse".into(), reference: "plan 1".into(), facts }
}

#[test]
fn rows_stand_whole_on_a_page_in_order() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    for paper in [Paper::A4, Paper::Letter] {
        let (width, height) = paper.size();
        for long in [0, 1, 4] {
            let bench = bench(paper, 60, long);
            let pages = bench.pages(&lettering, &head());
            let mut numbers = Vec::new();
            for (number, page) in pages.iter().enumerate() {
                for Words { text, x, y, size } in &page.words {
                    let right = x + lettering.width(text, *size) / POINT;
                    assert!(*x >= EDGE && right <= width - EDGE + 0.1, "page {number}: `{text}` ends at {right}");
                    assert!(*y > 10.0 && *y < height - 21.0, "page {number}: `{text}` at {y}");
                }
                assert_eq!(page.boxes.len(), 2 * page.drawings.len(), "page {number}");
                for pair in page.drawings.windows(2) {
                    assert!(pair[0].2 + pair[0].0.size.1 + 1.0 < pair[1].2, "page {number}: labels overlap");
                }
                for &(drawing, x, y) in &page.drawings {
                    assert!(x + drawing.size.0 <= width - EDGE && y + drawing.size.1 <= height - 21.0);
                }
                let is_number = |words: &&Words| words.x == EDGE && words.text.chars().all(|c| c.is_ascii_digit());
                numbers.extend(page.words.iter().filter(is_number).map(|words| words.text.parse::<usize>().unwrap()));
            }
            assert!(numbers.iter().copied().eq(1..=60), "{numbers:?}");
        }
    }
}

#[test]
fn what_is_too_large_is_drawn_by_the_percentage_that_is_said() {
    let bench = bench(Paper::A4, 60, 0);
    let catalogue = Catalogue::shipped();
    let along = catalogue.printer("wide-300").unwrap().along;
    let mut reduced = 0;
    for entry in &bench.entries {
        let lines = bench.pictures[entry.drawing.picture].lines();
        let long = mm(along.length(Dots(i64::try_from(lines).unwrap())));
        #[allow(clippy::cast_precision_loss)]
        let factor = entry.drawing.percent.map_or(1.0, |percent| percent as f32 / 100.0);
        assert!((entry.drawing.size.0 - long * factor).abs() < 0.01);
        let said = entry.lines.iter().any(|line| line.contains("drawn at"));
        assert_eq!(said, factor < 1.0, "{:?}", entry.lines);
        reduced += usize::from(said);
    }
    assert!(reduced > 10 && reduced < 50, "{reduced}");
}

#[test]
fn labels_alike_are_one_picture() {
    let bench = bench(Paper::A4, 60, 0);
    assert!(bench.pictures.len() < 60);
    for (nth, one) in bench.pictures.iter().enumerate() {
        assert!(!bench.pictures[..nth].contains(one), "picture {nth} is there twice");
    }
}

#[test]
fn an_empty_sheet_says_so() {
    let fonts = Fonts::embedded();
    let lettering = Lettering::new(&fonts);
    let bench = Bench::new(Paper::A4);
    let pages = bench.pages(&lettering, &head());
    assert!(pages.len() == 1 && pages[0].words.iter().any(|words| words.text.starts_with("No labels")));
    assert!(bench.finish(&head(), &fonts).unwrap().starts_with(b"%PDF-"));
}
