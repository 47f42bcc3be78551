//! Text of many scripts: shaping against HarfBuzz, bidirectional text against the Unicode test file,
//! ink against HarfBuzz and FreeType, fonts of the user's, and labels end to end.

use crate::jobs::load;
use crate::pbm::Pbm;
use crate::program::{folder, needs_modules, run};
use crate::{python, sources};
use std::collections::HashSet;
use std::ffi::OsString;
use std::fmt::Write as _;
use std::path::Path;
use tapewright::bitmap::Bitmap;
use tapewright::font::{FontFile, Fonts, Pen, Size, Style, bidi};

/// A font with Japanese text, of the Debian package fonts-ipafont-gothic.
const JAPANESE: &str = "/usr/share/fonts/opentype/ipafont-gothic/ipag.ttf";
/// A font that ligates `fi`, of the Debian package fonts-dejavu-core.
const LIGATING: &str = "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf";
/// Of the Debian package unicode-data.
const BIDI_TEST: &str = "/usr/share/unicode/BidiCharacterTest.txt";

fn installed(path: &str, package: &str) -> Vec<u8> {
    std::fs::read(path)
        .unwrap_or_else(|error| panic!("{path}: {error}: install the Debian package {package} (tests/run does)"))
}

fn file(path: &str, package: &str) -> FontFile {
    FontFile { bytes: installed(path, package), index: 0 }
}

/// The job's fonts with Japanese after them.
fn with_japanese() -> Fonts {
    let mut fonts = Fonts::embedded();
    fonts.add(file(JAPANESE, "fonts-ipafont-gothic")).expect("a font");
    fonts
}

/// Lines as a playhouse has them, and lines that try the shaper.
const LINES: [&str; 34] = [
    "TWP OTTER 1040",
    "fi ffi -> 1/2 AV To.",
    "Ärger ÉÇ Łódź",
    "e\u{301}a\u{308} A\u{30A} n\u{303}",
    "x\u{302} q\u{308}\u{301} m\u{323}",
    "ế Ế ộ ạ́",
    "Ωμέγα 10 kΩ",
    "ᾧ α\u{313}\u{301}",
    "Кабель № 12",
    "и\u{306} Ж\u{301} ё",
    "שלום 12",
    "TWP שָׁלוֹם 1040",
    "(12) אבג [x]",
    "מסך 4: 5.5 מ'",
    "مسرح",
    "TWP مسرح 12 م",
    "لا إلى الإضاءة",
    "بَسْمَلَة",
    "كابل ٤٠ م (١٢)",
    "ه\u{200C}ه ههه \u{200D}ه",
    "پگچژ ی ک",
    "شاشة 3 OTTER א 12",
    "50' 6\" 50′ 6″ 50’ 6”",
    "½ ¼ ¾ 1/2 10 µF 10 μF 10 k\u{2126}",
    "20 °C ±5 × 3",
    "TWP 音響 1040",
    "音響ケーブル 12 m",
    "かﾞ が プ",
    "照明、「上手」",
    "舞台(12)左",
    "12 مسرح 音響",
    "\u{200F}12 TWP\u{200E} מ",
    "5\u{2011}2 a\u{A0}b a\u{202F}b",
    "a\u{AD}b a\u{200B}b",
];

/// Runs and their glyphs as the checkers read them; the faces beside them.
fn runs_json(fonts: &Fonts, lines: &[&str], style: Style, to: &Path) -> std::path::PathBuf {
    let mut faces = Vec::new();
    while let Some((bytes, index)) = u8::try_from(faces.len()).ok().and_then(|nth| fonts.file(nth)) {
        let nth = u8::try_from(faces.len()).expect("few faces");
        let path = to.join(format!("face-{nth}"));
        std::fs::write(&path, bytes).expect("a file can be written");
        // Units of an em stand at byte 18 of `head` (OpenType 1.9, "head").
        let table = bytes[12..].chunks(16).find(|record| &record[..4] == b"head").expect("a head table");
        let head = u32::from_be_bytes([table[8], table[9], table[10], table[11]]) as usize;
        let units = f64::from(u16::from_be_bytes([bytes[head + 18], bytes[head + 19]]));
        faces.push(serde_json::json!({"file": path, "index": index, "cap_units": fonts.cap_of_em(nth) * units}));
    }
    let lines = lines.iter().map(|&text| {
        let runs = fonts.runs(text, style).into_iter().map(|run| {
            let glyphs = fonts.place_run(text, &run).into_iter().map(|glyph| {
                serde_json::json!({"glyph": glyph.glyph, "advance": glyph.advance, "right": glyph.right,
                    "up": glyph.up, "at": glyph.at})
            });
            let letters: Vec<(usize, u32)> = run.letters.iter().map(|&(at, c)| (at, u32::from(c))).collect();
            serde_json::json!({"face": run.face, "script": run.script, "leftwards": run.leftwards,
                "without": run.without(), "range": [run.range.start, run.range.end],
                "letters": letters, "glyphs": glyphs.collect::<Vec<_>>()})
        });
        serde_json::json!({"text": text, "runs": runs.collect::<Vec<_>>()})
    });
    let path = to.join(format!("runs-{style:?}.json"));
    let all = serde_json::json!({"faces": faces, "lines": lines.collect::<Vec<_>>()});
    std::fs::write(&path, all.to_string()).expect("a file can be written");
    path
}

#[test]
fn runs_are_shaped_as_harfbuzz_shapes_them() {
    let folder = folder();
    let fonts = with_japanese();
    for style in [Style::Normal, Style::Condensed] {
        for line in LINES {
            fonts.measure(line, style).unwrap_or_else(|missing| panic!("{line}: {missing}"));
        }
        let runs = runs_json(&fonts, &LINES, style, folder.path());
        let said = python::check("shaping.py", [&runs]);
        let count: usize = said.split(' ').next().and_then(|count| count.parse().ok()).expect("a count of glyphs");
        assert!(count > 300, "{said}");
    }
    // The checker itself: the text as written, without what stands for other characters, differs.
    let runs = runs_json(&fonts, &["50’ 10 µF"], Style::Normal, folder.path());
    python::check("shaping.py", [&runs]);
    python::refuses("shaping.py", [runs.as_os_str(), "--letters-as-text".as_ref()], "HarfBuzz has");
}

#[test]
fn nothing_is_ligated_in_names_and_numbers() {
    let mut fonts = Fonts::embedded();
    fonts.lead(file(LIGATING, "fonts-dejavu-core")).expect("a font");
    let folder = folder();
    let text = "fi ffi 1040 é";
    let mut glyphs = 0;
    fonts.place(text, Style::Normal, |_| glyphs += 1);
    assert_eq!(glyphs, text.chars().count());
    let runs = runs_json(&fonts, &[text], Style::Normal, folder.path());
    python::check("shaping.py", [&runs]);
    python::refuses("shaping.py", [runs.as_os_str(), "--keep-ligatures".as_ref()], "HarfBuzz has");
}

/// A font with CFF outlines sets and draws what the same font with TrueType outlines does.
#[test]
fn outlines_of_both_kinds_are_drawn_alike() {
    let folder = folder();
    let target = folder.path().join("outlines.otf");
    let source = sources::root().join("fonts/atkinson-hyperlegible-next-semibold.ttf");
    python::check("cff_font.py", [&source, &target]);
    let (embedded, mut fonts) = (Fonts::embedded(), Fonts::embedded());
    fonts.lead(FontFile { bytes: std::fs::read(&target).expect("the font"), index: 0 }).expect("a font");
    let text = "TWP OTTER 1040 é x\u{302} gjpq";
    let [one, two] = [&embedded, &fonts].map(|fonts| fonts.measure(text, Style::Normal).expect("all is in the face"));
    assert!((one.width - two.width).abs() < 1e-9 && (one.below - two.below).abs() < 0.01, "{one:?} {two:?}");
    let [one, two] = [&embedded, &fonts].map(|fonts| page(fonts, text, 40));
    let inked = |page: &Bitmap| {
        (0..1400).flat_map(|l| (0..240).map(move |d| (l, d))).filter(|&(l, d)| page.get(l, d)).collect::<HashSet<_>>()
    };
    let (one, two) = (inked(&one), inked(&two));
    let (both, either) = (one.intersection(&two).count(), one.union(&two).count());
    assert!(both * 100 > either * 97 && one.len() > 1000, "{both} of {either} dots are in both");
}

/// Every line of BidiCharacterTest.txt: levels after rule L1 and the order in print.
///
/// Source: Unicode Character Database, BidiCharacterTest.txt (fields stated in its head).
#[test]
fn bidirectional_text_is_as_unicode_says() {
    let bytes = installed(BIDI_TEST, "unicode-data");
    let text = String::from_utf8(bytes).expect("the file is UTF-8");
    let (mut lines, mut wrong) = (0, String::new());
    for case in text.lines().filter(|case| !case.is_empty() && !case.starts_with('#')) {
        let fields: Vec<&str> = case.split(';').collect();
        let chars: Vec<char> = fields[0]
            .split(' ')
            .map(|hex| char::from_u32(u32::from_str_radix(hex, 16).expect("hex")).expect("a character"))
            .collect();
        // A paragraph separator ends a paragraph; a label's line has one paragraph.
        if chars[..chars.len() - 1].contains(&'\u{2029}') {
            continue;
        }
        let base = fields[1].parse().ok().filter(|&base: &u8| base < 2);
        let line: String = chars.iter().collect();
        let levels = bidi::levels(&line, base);
        let mut runs = Vec::new();
        let mut found = Vec::new();
        for ((nth, (at, _)), wanted) in line.char_indices().enumerate().zip(fields[3].split(' ')) {
            // `x`: removed by rule X9, so its level says nothing.
            if wanted != "x" {
                let level = levels.as_ref().map_or(0, |levels| levels[at]);
                found.push(level.to_string() == wanted);
                runs.push((level, nth));
            }
        }
        bidi::in_print(&mut runs, |run| run.0);
        let order: Vec<String> = runs.iter().map(|(_, nth)| nth.to_string()).collect();
        if found.contains(&false) || order.join(" ") != fields[4].trim() {
            let _ = writeln!(wrong, "{case}");
        }
        lines += 1;
    }
    assert!(lines > 90_000, "found only {lines} lines to test in {BIDI_TEST}");
    assert!(
        wrong.is_empty(),
        "{} of {lines} lines differ:\n{}",
        wrong.lines().count(),
        &wrong[..wrong.len().min(2000)]
    );
}

/// A line drawn large.
fn page(fonts: &Fonts, text: &str, cap: i64) -> Bitmap {
    let mut page = Bitmap::new(240, 1400);
    Pen::new(fonts).draw(text, Size { style: Style::Normal, cap, ratio_milli: 1000 }, &mut page, (40, 80));
    page
}

/// The same as a picture, upright as it reads.
fn drawn(fonts: &Fonts, text: &str, cap: i64, to: &Path) {
    let page = page(fonts, text, cap);
    let (height, width) = (page.dots(), page.lines());
    let mut picture = Pbm::blank(width, height);
    for line in 0..width {
        (0..height).filter(|&dot| page.get(line, dot)).for_each(|dot| picture.set(height - 1 - dot, line));
    }
    picture.write(to);
}

/// Our ink lies where FreeType fills the outlines at HarfBuzz's places; a grid-fitted glyph differs
/// at its edges, another order or an unjoined letter in much more.
#[test]
fn ink_stands_where_harfbuzz_and_freetype_put_it() {
    let folder = folder();
    let fonts = with_japanese();
    let lines = ["TWP مسرح 12 م", "TWP 音響 1040", "שָׁלוֹם 12", "x\u{302} Кабель", "كابل (١٢)", "TWP ح ر س م 12 م"];
    let runs = runs_json(&fonts, &lines, Style::Normal, folder.path());
    let page = folder.path().join("page.pbm");
    let arguments = |nth: usize| {
        let numbers = [nth.to_string(), "60".into(), "40".into(), "80".into(), "0.85".into()];
        [runs.clone().into_os_string(), page.clone().into_os_string()]
            .into_iter()
            .chain(numbers.map(OsString::from))
            .collect::<Vec<_>>()
    };
    for (nth, line) in lines.iter().enumerate() {
        drawn(&fonts, line, 60, &page);
        println!("`{line}`: {}", python::check("shaped_ink.py", arguments(nth)).trim());
    }
    // The checker itself: letters that stand apart are not the word.
    drawn(&fonts, lines[5], 60, &page);
    python::refuses("shaped_ink.py", arguments(0), "of the ink overlaps");
}

const JOB: &str = "list = 'cables.csv'\nprinter = 'bench-180'\nstock = 'tape-12'\nbuild = 'flag'\nends = 'near'\n\
                   text = ['{owner} {batch} {note}', '{number} {length}']\n";

/// Two cables whose names are Arabic and Japanese.
fn write_job(folder: &Path, more: &str) {
    let write = |name: &str, text: &str| std::fs::write(folder.join(name), text).expect("a file can be written");
    write("cables.csv", "owner,batch,number,length,od_mm,note\nTWP,مسرح,12,15 m,6,12 م\nTWP,音響,1040,50',6,\n");
    write("job.toml", &format!("{JOB}{more}"));
}

/// Planned, proofed, printed and read back: the ink of the strip is that of the labels.
#[test]
fn labels_in_arabic_and_japanese_are_made() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    write_job(path, &format!("fonts = ['{JAPANESE}']\n"));
    installed(JAPANESE, "fonts-ipafont-gothic");
    let planned = run(path, ["estimate", "job.toml", "--json"]).ended(0).json();
    assert_eq!((planned["labels"].as_u64(), planned["problems"].as_array().map(Vec::len)), (Some(2), Some(0)));
    run(path, ["proof", "job.toml", "--out", "proof", "--quiet"]).ended(0);
    let pdf = std::fs::read(path.join("proof/labels.pdf")).expect("the sheet");
    assert!(pdf.starts_with(b"%PDF"));
    run(path, ["print", "job.toml", "--to", "file:out.pwg"]).ended(0);
    let read = run(path, ["readback", "out.pwg", "--json"]).ended(0).json();
    assert!(read["strips"][0]["ink_dots"].as_u64() > Some(1000), "{read}");
    let job = load(&path.join("job.toml"));
    let plan = job.plan();
    let texts = plan.stocks[0].slots.iter().map(|&slot| {
        let layout = job.lay_out(&plan.stocks[0], slot).unwrap_or_else(|error| panic!("{error}"));
        layout.block.text.lines.iter().map(|line| bidi::bare(&line.text)).collect::<Vec<_>>().join(" / ")
    });
    assert_eq!(texts.collect::<Vec<_>>(), ["TWP مسرح 12 م / 12  15 m", "TWP 音響 / 1040  50'"]);
}

/// Poppler finds the names of the sheet as they were written: text of any script can be searched for.
#[test]
fn the_sheet_names_cables_in_their_script() {
    let folder = folder();
    let path = folder.path();
    write_job(path, &format!("fonts = ['{JAPANESE}']\n"));
    installed(JAPANESE, "fonts-ipafont-gothic");
    run(path, ["proof", "job.toml", "--out", "proof", "--quiet"]).ended(0);
    let mut command = std::process::Command::new("pdftotext");
    command.args(["-enc", "UTF-8", "proof/labels.pdf", "-"]).current_dir(path);
    let output = command.output().expect("pdftotext starts: the Debian package poppler-utils");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    for name in ["音響 1040", "مسرح"] {
        assert!(text.contains(name), "found no {name} in {text}");
    }
}

/// Without a font for it, a cable gets no label, and the problem says which character and what to do.
#[test]
fn a_character_without_a_glyph_is_named_and_a_font_in_the_folder_mends_it() {
    let folder = folder();
    let path = folder.path();
    write_job(path, "");
    let planned = run(path, ["estimate", "job.toml", "--json"]).ended(0).json();
    assert_eq!(planned["labels"], 1);
    let problem = &planned["problems"][0];
    assert_eq!((problem["row"].as_u64(), problem["kind"].as_str()), (Some(3), Some("glyph")));
    let text = problem["text"].as_str().expect("a text");
    for words in
        ["'音' (U+97F3, CJK UNIFIED IDEOGRAPH-97F3)", "Han letters", "fonts = [\"FILE.ttf\"]", "settings folder"]
    {
        assert!(text.contains(words), "found {text}, wanted `{words}` in it");
    }
    let own = path.join("no settings here/fonts");
    std::fs::create_dir_all(&own).expect("a folder");
    std::fs::write(own.join("gothic.ttf"), installed(JAPANESE, "fonts-ipafont-gothic")).expect("a file can be written");
    let planned = run(path, ["estimate", "job.toml", "--json"]).ended(0).json();
    assert_eq!(planned["labels"], 2);
    std::fs::write(own.join("broken.otf"), "OTTO").expect("a file can be written");
    let left_out = run(path, ["estimate", "job.toml"]).ended(0).err;
    assert!(left_out.contains("broken.otf: found no font"), "{left_out}");
}
