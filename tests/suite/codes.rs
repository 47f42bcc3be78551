//! Machine-readable codes against their standards' examples and against decoders that are not ours.

use crate::program::folder;
use crate::python;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use tapewright::bitmap::Bitmap;
use tapewright::code::{Ecc, Facing, Form, Placed, Room, Symbol, Symbology, Wish, encode, fit};
use tapewright::unit::{Dots, Dpi, Micrometres};

/// The picture of a symbol, `#` is dark.
fn art(symbol: &Symbol) -> String {
    let row = |r| (0..symbol.columns()).map(|c| if symbol.dark(c, r) { '#' } else { '.' }).collect::<String>();
    (0..symbol.rows()).map(row).collect::<Vec<_>>().join("\n")
}

/// ISO/IEC 18004, annex I.2: "01234567" as version 1-M; the mask is ours to choose, and the example's.
const QR_EXAMPLE: &str = "\
#######..#.##.#######
#.....#..####.#.....#
#.###.#.#.....#.###.#
#.###.#.##....#.###.#
#.###.#.#.###.#.###.#
#.....#.#...#.#.....#
#######.#.#.#.#######
........#..##........
#.#####..#..#.#####..
...#.#.##.#.#..#.##..
..#...##.#.#.#..#####
....#....#.....####..
...######..#.#..#....
........#.#####..##..
#######..##.#.##.....
#.....#.#.#####...#.#
#.###.#.#...#..#.##..
#.###.#.##..#..#.....
#.###.#.#.##.#..#.#..
#.....#........##.##.
#######.####.#..#.#..";

/// ISO/IEC 18004, annex I.3: "01234567" as M2-L.
const MICRO_EXAMPLE: &str = "\
#######.#.#.#
#.....#.###.#
#.###.#..##.#
#.###.#..####
#.###.#.###..
#.....#.#...#
#######..####
.........##..
##.#....#...#
.##.#.#.#.#.#
###..#######.
...#.#....##.
###.#..##.###";

/// ISO/IEC 23941, the encoding example: "0123456" as R11x27-H.
const RMQR_EXAMPLE: &str = "\
#######.#.#.#.#.#.#.#.#.###
#.....#..##.#....###.#..#.#
#.###.#....#..####.#..#####
#.###.#.####.##.####...##..
#.###.#..#.###.######..#.##
#.....#.###....#..#####..#.
#######.#########...#.#####
........#####.#.##.#..#...#
####......#..#.#..#####.#.#
#.#.#.#..##..#.#..###.#...#
###.#.#.#.#.#.#.#.#.#.#####";

/// ISO/IEC 16022, annex O: "123456" as 10 × 10 (rows from a public source).
const DATA_MATRIX_EXAMPLE: &str = "\
#.#.#.#.#.
##..#.##.#
##.....#..
##...###.#
##....#...
#.....####
###.##....
####.##..#
#..###.#..
##########";

#[test]
fn the_standards_examples_bit_for_bit() {
    let examples = [
        ("01234567", Form::Qr { version: 1, ecc: Ecc::M }, QR_EXAMPLE),
        ("01234567", Form::MicroQr { size: 2, ecc: Ecc::L }, MICRO_EXAMPLE),
        ("0123456", Form::Rmqr { rows: 11, columns: 27, ecc: Ecc::H }, RMQR_EXAMPLE),
        ("123456", Form::DataMatrix { rows: 10, columns: 10 }, DATA_MATRIX_EXAMPLE),
    ];
    for (content, form, wanted) in examples {
        let symbol = encode(content, form).expect("the example fits");
        assert_eq!(art(&symbol), wanted, "{form:?}");
    }
}

#[test]
fn sizes_and_quiet_zones() {
    // Code 128: 11 modules a character, 13 for the stop, 10 X of quiet zone (ISO/IEC 15417, 4.2 and
    // 4.5.1); QR 4 X, Micro QR 2 X (ISO/IEC 18004, 5.3.8 and 5.4.6); rMQR 2 X (ISO/IEC 23941, from
    // memory); Data Matrix 1 X (ISO/IEC 16022, 5.7.3, as the GS1 guideline has it).
    for (form, columns, rows, quiet) in [
        (Form::Code128, 11 * (1 + 2 + 1) + 13, 1, 10),
        (Form::Qr { version: 3, ecc: Ecc::M }, 29, 29, 4),
        (Form::MicroQr { size: 4, ecc: Ecc::Q }, 17, 17, 2),
        (Form::Rmqr { rows: 7, columns: 139, ecc: Ecc::M }, 139, 7, 2),
        (Form::DataMatrix { rows: 16, columns: 48 }, 48, 16, 1),
    ] {
        let symbol = encode("1040", form).expect("four digits fit");
        assert_eq!((symbol.columns(), symbol.rows(), symbol.quiet()), (columns, rows, quiet), "{form:?}");
        assert_eq!(symbol.linear(), rows == 1);
    }
}

/// A small stream of numbers from a seed (the constants of Knuth's MMIX, from memory).
struct Chance(u64);

impl Chance {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).expect("31 bits") % bound
    }

    fn one_of<'a>(&mut self, words: &[&'a str]) -> &'a str {
        words[self.below(words.len())]
    }
}

const WORDS: [&str; 6] = ["OTTER", "BADGER", "HERON", "LYNX", "WAGTAIL", "NEWT"];

/// Identifiers, URLs and, where the code takes them, characters beyond ASCII.
fn contents(symbology: Symbology, count: usize) -> Vec<String> {
    let mut chance = Chance(4_000 + symbology as u64);
    let mut content = |n: usize| {
        let (word, number) = (chance.one_of(&WORDS), chance.below(9000) + 1000);
        match (symbology, n % 4) {
            (Symbology::MicroQr, 0) => format!("{}", number * 9173),
            (Symbology::MicroQr, 1) => format!("{word} {number}"),
            (Symbology::MicroQr, _) => format!("{}-{number}", word.to_lowercase()),
            (Symbology::Code128, 0) => format!("{number}{}", chance.below(900_000) + 100_000),
            (Symbology::Code128, 3) => format!("twp/{}~{number}", word.to_lowercase()),
            (_, 0) => format!("{word} {number}"),
            (_, 1) => format!("TWP {word} {number} {} ft", chance.below(200)),
            (_, 2) => format!("https://tidewater.example/c/{number}-{}", word.to_lowercase()),
            _ => format!("{}, {number} Ω, {} °C, 漢字", word.to_lowercase(), chance.below(90)),
        }
    };
    (0..count).map(&mut content).collect()
}

/// A code with just so many dots a module, as a strip's head lines would have it.
fn at_dots(content: &str, symbology: Symbology, dpi: Dpi, dots: i64) -> Placed {
    // Bars are as high as the room.
    let height = Dots(if symbology == Symbology::Code128 { 128 } else { 400 });
    let room = Room { width: None, height, along: dpi, up: dpi, facing: Facing::Flat };
    let aim = dpi.length(Dots(dots)) - Micrometres(2);
    let symbologies = [symbology];
    let wish = Wish { least_module: aim, least_dots: dots, aim_module: aim, ..Wish::new(content, &symbologies) };
    let placed = fit(&wish, &room).unwrap_or_else(|unfit| panic!("{content}: {unfit}"));
    assert_eq!(placed.dots_per_module.0, dots, "{content}");
    placed
}

/// Pictures for the decoders and the list that names them.
struct Pictures {
    folder: tempfile::TempDir,
    list: String,
    count: usize,
}

impl Pictures {
    fn new() -> Self {
        Self { folder: folder(), list: String::new(), count: 0 }
    }

    /// Writes head lines: what goes to the printer, on a head that is wider than the code.
    fn add(&mut self, symbology: Symbology, dots: i64, dpi: Dpi, ink: &Bitmap, content: &str) {
        let head = ink.dots() + 29;
        let mut rows = Vec::new();
        ink.append_head_lines(head, 13, &mut rows);
        let mut bytes = format!("P4\n{head} {}\n", ink.lines()).into_bytes();
        bytes.extend(rows);
        let path: PathBuf = self.folder.path().join(format!("{}.pbm", self.count));
        std::fs::write(&path, bytes).expect("a picture can be written");
        let hex: String = content.bytes().map(|byte| format!("{byte:02x}")).collect();
        let dpi = f64::from(dpi.milli()) / 1000.0;
        self.list += &format!("{}\t{dots}\t{dpi}\t{}\t{hex}\n", symbology.word(), path.display());
        self.count += 1;
    }

    fn write_list(&self) -> PathBuf {
        let path = self.folder.path().join("list");
        std::fs::write(&path, &self.list).expect("a list can be written");
        path
    }

    /// Every reader that knows a kind reads every picture of it; how many that were.
    fn all_are_read(&self) -> BTreeMap<String, usize> {
        let said = python::check("codes_read.py", ["clean".as_ref(), self.write_list().as_os_str()]);
        println!("{said}");
        let line = |line: &str| {
            let (name, count) = line.rsplit_once(' ').expect("a count");
            let (good, all) = count.split_once('/').expect("good and all");
            assert_eq!(good, all, "{line}");
            (name.to_owned(), all.parse().expect("a number"))
        };
        said.lines().map(line).collect()
    }
}

const DPI: u32 = 180_000;
/// Contents of each kind.
const CONTENTS: usize = 24;

/// Every kind at two, three and four dots a module.
fn all_kinds() -> Pictures {
    let dpi = Dpi::from_milli(DPI).expect("180 dpi");
    let mut pictures = Pictures::new();
    for symbology in Symbology::ALL {
        for dots in 2..=4 {
            for content in contents(symbology, CONTENTS) {
                pictures.add(symbology, dots, dpi, &at_dots(&content, symbology, dpi, dots).ink, &content);
            }
        }
    }
    pictures
}

#[test]
fn decoders_read_every_kind_at_two_three_and_four_dots() {
    let pictures = all_kinds();
    let read = pictures.all_are_read();
    for symbology in Symbology::ALL {
        assert_eq!(read[&format!("{} zxing-cpp", symbology.word())], 3 * CONTENTS);
    }
    // A quarter of the contents go beyond ASCII in QR and Data Matrix.
    assert_eq!(read["qr zbar"], 3 * CONTENTS * 3 / 4);
    assert_eq!(read["code-128 zbar"], 3 * CONTENTS);
    assert_eq!(read["data-matrix libdmtx"], 3 * CONTENTS * 3 / 4);
}

/// The symbol at three dots a module, its quiet zone blank: drawn here, not by the library.
fn drawn(symbol: &Symbol) -> Bitmap {
    let side = |modules: usize| (modules + 2 * symbol.quiet()) * 3;
    let high = if symbol.linear() { 60 } else { 3 };
    let mut ink = Bitmap::new(side(symbol.rows()) + high - 3, side(symbol.columns()));
    for column in 0..symbol.columns() {
        for row in (0..symbol.rows()).filter(|&row| symbol.dark(column, row)) {
            let dot = (symbol.quiet() + symbol.rows() - 1 - row) * 3;
            ink.fill((symbol.quiet() + column) * 3, 3, dot, high);
        }
    }
    ink
}

#[test]
fn decoders_read_every_form() {
    let dpi = Dpi::from_milli(DPI).expect("180 dpi");
    let mut pictures = Pictures::new();
    let mut forms = 0;
    for symbology in Symbology::ALL.into_iter().filter(|&symbology| symbology != Symbology::Code128) {
        for form in Form::all(symbology) {
            // The longest of these that fits: digits only in the smallest.
            let long = "https://tidewater.example/c/OTTER-1040?length=50ft";
            let content = [long, "twp otter 1040", "otter", "OTTER", "1040", "7"]
                .into_iter()
                .find_map(|content| encode(content, form).map(|symbol| (content, symbol)));
            let (content, symbol) = content.unwrap_or_else(|| panic!("{form:?} holds a digit"));
            pictures.add(symbology, 3, dpi, &drawn(&symbol), content);
            forms += 1;
        }
    }
    // Every value of the three sets of Code 128.
    let mut texts: Vec<String> = (0..8_u8).map(|n| (n * 16..n * 16 + 16).map(char::from).collect()).collect();
    texts.extend((0..10).map(|tens| (0..10).map(|ones| format!("{tens}{ones}")).collect()));
    for text in &texts {
        let symbol = encode(text, Form::Code128).expect("ASCII");
        pictures.add(Symbology::Code128, 3, dpi, &drawn(&symbol), text);
    }
    let read = pictures.all_are_read();
    let matrix = ["qr", "micro-qr", "rmqr", "data-matrix"];
    assert_eq!(matrix.map(|word| read[&format!("{word} zxing-cpp")]).iter().sum::<usize>(), forms);
    assert_eq!(read["rmqr zxing-cpp"], 64);
}

/// The reader can fail: another content, and nothing printed.
#[test]
fn the_reader_of_codes_finds_what_is_wrong() {
    let dpi = Dpi::from_milli(DPI).expect("180 dpi");
    let ink = at_dots("TWP OTTER 1040", Symbology::Rmqr, dpi, 3).ink;
    let blank = Bitmap::new(ink.dots(), ink.lines());
    for (ink, content, words) in
        [(&ink, "TWP OTTER 1041", "wanted b'TWP OTTER 1041'"), (&blank, "TWP OTTER 1040", "read None")]
    {
        let mut pictures = Pictures::new();
        pictures.add(Symbology::Rmqr, 3, dpi, ink, content);
        python::refuses("codes_read.py", ["clean".as_ref(), pictures.write_list().as_os_str()], words);
    }
}

/// Reads by a simulated camera (blur, noise, uneven light) by kind, dots a module and pixels a
/// millimetre: the worse of a label turned by 1° and by 8°.
fn camera(list: &Path) -> BTreeMap<(String, i64, i64), i64> {
    let said = python::check("codes_read.py", ["camera".as_ref(), list.as_os_str()]);
    println!("{said}");
    let mut read = BTreeMap::new();
    for line in said.lines() {
        let words: Vec<&str> = line.split(' ').collect();
        let number = |k: usize| words[k].parse::<i64>().expect("a number");
        assert_eq!(number(5), i64::try_from(CONTENTS).expect("few"), "{line}");
        let worst = read.entry((words[0].to_owned(), number(1), number(2))).or_insert(number(4));
        *worst = number(4).min(*worst);
    }
    read
}

/// What was read of 24 when this was written, less what another version of a decoder may lose: by
/// kind and pixels a millimetre, at three and four dots a module. The seeds are fixed, so the pictures
/// are the same on each machine. rMQR is known to one decoder only, which finds few of them unless a
/// module has some ten pixels, whatever its dots; the others are read from further off. Bars here are
/// 18 mm high and up to 130 mm long: turned by 8°, no straight line crosses all of the long ones.
const FLOORS: [(Symbology, i64, [i64; 2]); 6] = [
    (Symbology::Code128, 12, [12, 9]),
    (Symbology::Qr, 12, [20, 20]),
    (Symbology::MicroQr, 12, [20, 20]),
    (Symbology::Rmqr, 12, [2, 2]),
    (Symbology::Rmqr, 24, [8, 9]),
    (Symbology::DataMatrix, 12, [20, 20]),
];

#[test]
fn a_camera_reads_modules_of_three_dots() {
    let pictures = all_kinds();
    let read = camera(&pictures.write_list());
    for (symbology, pixels, floors) in FLOORS {
        for (dots, floor) in (3..).zip(floors) {
            let word = symbology.word();
            let worst = read[&(word.to_owned(), dots, pixels)];
            assert!(
                worst >= floor,
                "{word}, {dots} dots, {pixels} pixels/mm: read {worst} of {CONTENTS}, wanted {floor}"
            );
        }
    }
}
