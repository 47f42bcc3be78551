use super::*;
use crate::bitmap::Bitmap;

fn cap_rows(c: &str, style: Style, cap: i64) -> usize {
    let fonts = Fonts::embedded();
    let mut page = Bitmap::new(200, 400);
    Pen::new(&fonts).draw(c, Size { style, cap, ratio_milli: 1000 }, &mut page, (10, 50));
    (0..200).filter(|&dot| (0..400).any(|line| page.get(line, dot))).count()
}

#[test]
fn a_capital_is_exactly_as_high_as_asked() {
    for style in [Style::Normal, Style::Condensed] {
        for cap in 7..60 {
            assert_eq!(cap_rows("H", style, cap), usize::try_from(cap).unwrap(), "{style:?} {cap}");
        }
    }
}

#[test]
fn look_alikes_differ_and_stand_on_the_baseline() {
    let fonts = Fonts::embedded();
    for style in [Style::Normal, Style::Condensed] {
        let draw = |text: &str| {
            let mut page = Bitmap::new(40, 40);
            Pen::new(&fonts).draw(text, Size { style, cap: 14, ratio_milli: 1000 }, &mut page, (4, 10));
            page
        };
        for (a, b) in [("0", "O"), ("1", "I"), ("1", "l"), ("I", "l"), ("5", "S"), ("8", "B"), ("2", "Z")] {
            let (a_ink, b_ink) = (draw(a), draw(b));
            let differ = (0..40)
                .flat_map(|l| (0..40).map(move |d| (l, d)))
                .filter(|&(l, d)| a_ink.get(l, d) != b_ink.get(l, d))
                .count();
            assert!(differ >= 5, "{style:?}: {a} and {b} differ in {differ} dots at 14 dots of cap height");
        }
        let page = draw("H");
        assert!(!page.get(6, 9) && (0..40).any(|line| page.get(line, 10)));
    }
}

#[test]
fn marks_and_units_are_set_and_the_unknown_is_named() {
    let fonts = Fonts::embedded();
    for text in ["50′ 6″ ½ Ω µ ° ± × – ’", "Ärger ÉÇ Łódź", "Ωμέγα Кабель"] {
        for style in [Style::Normal, Style::Condensed] {
            fonts.measure(text, style).unwrap_or_else(|missing| panic!("{text}: {missing:?}"));
        }
    }
    assert_eq!(fonts.measure("ab漢", Style::Normal), Err(MissingGlyph('漢')));
}

#[test]
fn width_follows_the_ratio_and_height_does_not() {
    let fonts = Fonts::embedded();
    let size = |ratio| {
        let mut page = Bitmap::new(60, 400);
        Pen::new(&fonts).draw("OTTER", Size { style: Style::Normal, cap: 20, ratio_milli: ratio }, &mut page, (5, 20));
        let used = |lines: bool| {
            let hit: Vec<usize> = if lines {
                (0..400).filter(|&l| (0..60).any(|d| page.get(l, d))).collect()
            } else {
                (0..60).filter(|&d| (0..400).any(|l| page.get(l, d))).collect()
            };
            hit[hit.len() - 1] - hit[0] + 1
        };
        (used(true), used(false))
    };
    let (one, two) = (size(1000), size(2000));
    assert!(two.0.abs_diff(one.0 * 2) <= 3, "{one:?} {two:?}");
    assert!(two.1.abs_diff(one.1) <= 1, "{one:?} {two:?}");
}

fn page(fonts: &Fonts, text: &str, style: Style) -> Bitmap {
    let mut page = Bitmap::new(60, 400);
    Pen::new(fonts).draw(text, Size { style, cap: 20, ratio_milli: 1000 }, &mut page, (20, 16));
    page
}

#[test]
fn a_mark_stands_on_its_letter_however_it_is_written() {
    let fonts = Fonts::embedded();
    for style in [Style::Normal, Style::Condensed] {
        for (apart, whole) in [("e\u{301}", "é"), ("A\u{30A}", "Å"), ("и\u{306}", "й"), ("η\u{301}", "ή")] {
            assert_eq!(fonts.measure(apart, style), fonts.measure(whole, style), "{whole} {style:?}");
            assert!(page(&fonts, apart, style) == page(&fonts, whole, style), "{whole} {style:?}");
        }
        // No character of its own: the mark adds ink above the letter, and no width.
        for (plain, marked) in [("x", "x\u{302}"), ("ж", "ж\u{301}"), ("n", "n\u{302}")] {
            let (bare, with) = (page(&fonts, plain, style), page(&fonts, marked, style));
            let [one, two] = [plain, marked].map(|text| fonts.measure(text, style).unwrap());
            assert!((one.width - two.width).abs() < 1e-9, "{marked} {style:?}: {one:?} {two:?}");
            let added: Vec<_> = (0..400)
                .flat_map(|line| (0..60).map(move |dot| (line, dot)))
                .filter(|&(line, dot)| with.get(line, dot) && !bare.get(line, dot))
                .collect();
            let end = 20.0 + one.width * 20.0 + 2.0;
            assert!(added.len() > 5, "{marked} {style:?}: the mark has {} dots", added.len());
            let over = added.iter().all(|&(line, dot)| line >= 18 && (line as f64) < end && dot > 28);
            assert!(over, "{marked} {style:?}: ink at {added:?}");
        }
    }
}

#[test]
fn right_to_left_text_is_set_from_the_right_and_joined() {
    let fonts = Fonts::embedded();
    let order = |text: &str| {
        let mut at = Vec::new();
        fonts.place(text, Style::Normal, |glyph| at.push(text[glyph.at..].chars().next().unwrap()));
        at.into_iter().collect::<String>()
    };
    assert_eq!(order("TWP שלום 12"), "TWP 12 םולש");
    assert_eq!(order("שלום (12)"), ")12( םולש");
    assert_eq!(order("TWP مسرح 12 م"), "TWP م 12 حرسم");
    let glyphs = |text: &str| {
        let mut glyphs = Vec::new();
        fonts.place(text, Style::Normal, |glyph| glyphs.push(glyph.glyph));
        glyphs
    };
    // A letter alone, first, inside and last has four shapes, and a non-joiner parts two letters.
    let (alone, word) = (glyphs("ه"), glyphs("ههه"));
    assert_eq!(word.len(), 3);
    assert!(word.iter().all(|glyph| !alone.contains(glyph)) && word[0] != word[1] && word[1] != word[2], "{word:?}");
    let parted = glyphs("ه\u{200C}ه");
    assert!(parted.iter().filter(|glyph| alone.contains(glyph)).count() == 2, "{parted:?} {alone:?}");
    // Rule L4: a bracket in right-to-left text is mirrored.
    assert_eq!((glyphs("א(")[0], glyphs("א)")[0]), (glyphs(")")[0], glyphs("(")[0]));
}

#[test]
fn a_cluster_stays_in_one_face_and_signs_stay_with_their_letters() {
    let fonts = Fonts::embedded();
    let faces = |text: &str, style| {
        let mut faces = Vec::new();
        fonts.place(text, style, |glyph| faces.push(glyph.face));
        faces
    };
    assert_eq!(faces("TWP é°", Style::Normal), [NORMAL; 6]);
    // The fallback has both parts, but no place for the mark: the cluster goes on whole.
    assert_eq!(faces("xЖЖ\u{301} x", Style::Normal), [NORMAL, FALLBACK, CONDENSED, CONDENSED, NORMAL, NORMAL]);
    assert_eq!(faces("مسرح م", Style::Condensed), [JOINED, CONDENSED, JOINED, JOINED, JOINED, JOINED]);
    assert_eq!(faces("Ж-Ж", Style::Normal), [FALLBACK; 3]);
    // The normal face has no place for a mark on Q, nor has the fallback for one on a figure.
    assert_eq!(faces("Q\u{302}7\u{302}", Style::Normal), [FALLBACK, FALLBACK, CONDENSED, CONDENSED]);
    // Foot and inch marks of a face without primes are its straight ones, curled ones too.
    for text in ["50′", "50’", "50'"] {
        assert_eq!(fonts.measure(text, Style::Normal), fonts.measure("50'", Style::Normal), "{text}");
    }
    for text in ["6″", "6”", "6\""] {
        assert_eq!(fonts.measure(text, Style::Normal), fonts.measure("6\"", Style::Normal), "{text}");
    }
    assert_ne!(page(&fonts, "D’", Style::Normal), page(&fonts, "D'", Style::Normal), "an apostrophe stays curled");
    for same in [["10 µF", "10 μF"], ["10 k\u{2126}", "10 kΩ"], ["50\u{A0}ft", "50 ft"], ["5\u{2011}2", "5-2"]] {
        let [one, two] = same.map(|text| page(&fonts, text, Style::Normal));
        assert!(one == two, "{same:?}");
    }
    // A number stays a number: nothing makes `1/2` a fraction.
    assert_eq!(faces("1/2 ½", Style::Normal).len(), 5);
}

#[test]
fn what_lacks_a_glyph_is_named_and_shown_as_a_question_mark() {
    let fonts = Fonts::embedded();
    for (text, c, shown) in [
        ("TWP 音響 é", '音', "TWP ?? é"),
        ("TWP مسرح\u{1F3AD}", '\u{1F3AD}', "TWP مسرح?"),
        ("a\tb", '\t', "a?b"),
        ("กี่", 'ก', "?"),
    ] {
        assert_eq!(fonts.measure(text, Style::Normal), Err(MissingGlyph(c)), "{text}");
        assert_eq!(fonts.shown(text, Style::Normal), shown);
    }
    // What has no ink is not missed.
    for text in ["a\u{200B}b", "\u{FEFF}ab", "a\u{AD}b", "\u{200E}ab", "\u{2068}ab\u{2069}", "ab\u{FE0F}"] {
        let width = |text| fonts.measure(text, Style::Normal).unwrap().width;
        assert!((width(text) - width("ab")).abs() < 1e-9, "{text:?}");
    }
}

#[test]
fn words_apart_leave_the_line_as_it_runs() {
    let order = |line: &str| {
        let levels = bidi::levels(line, None).expect("a line with parts that run right to left");
        let at = |word: &str| line.find(word).map(|at| levels[at] % 2).expect("the word");
        (at("1"), at("near"), at("צ"))
    };
    let words = bidi::apart("צר 12");
    assert_eq!(order(&format!("{words} near to 1")), (0, 0, 1));
    assert_eq!(bidi::apart("OTTER 12"), "OTTER 12");
}

#[test]
fn plain_lines_measure_the_same_in_the_table_and_by_the_shaper() {
    let fonts = Fonts::embedded();
    for style in [Style::Normal, Style::Condensed] {
        for text in ["TWP OTTER 1040", "AVAST To. LT 50' 6\"", "fi ff -> != 1/2", "0O1Il"] {
            let mut shaped = Vec::new();
            for run in fonts.runs(text, style) {
                shaped.extend(fonts.place_run(text, &run));
            }
            let mut table = Vec::new();
            fonts.place(text, style, |glyph| table.push(glyph));
            assert_eq!(shaped, table, "{text}");
        }
    }
    let width = |text| fonts.measure(text, Style::Normal).unwrap().width;
    assert!(width("AV") < width("A") + width("V"), "the plain face kerns A and V");
}

#[test]
fn a_line_holds_its_ink() {
    let fonts = Fonts::embedded();
    for text in ["שָׁ", "שׂ", "TWP שָׁלוֹם (4)", "ĳ fjord ĵ", "مسرح 12", "f\u{302}\u{301}"] {
        let page = page(&fonts, text, Style::Normal);
        let inked: Vec<usize> = (0..400).filter(|&line| (0..60).any(|dot| page.get(line, dot))).collect();
        let wide = fonts.measure(text, Style::Normal).unwrap().width * 20.0;
        let (first, last) = (inked[0], inked[inked.len() - 1]);
        assert!(first >= 18 && last as f64 <= 20.0 + wide + 2.0, "{text}: ink from {first} to {last}, {wide} wide");
    }
}
