//! The work sheet and the picture of a label on its cable: rendered, measured and read back by
//! programs that share nothing with ours.

use crate::jobs::{OWN_PRINTERS, demo_files, load};
use crate::pbm::Pbm;
use crate::program::{folder, run};
use crate::python;
use std::ffi::OsString;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use tapewright::bitmap::Bitmap;
use tapewright::font::Pen;
use tapewright::job::Job;
use tapewright::layout::{Build, Layout, Turn, height_scale};
use tapewright::media::{Form, WrapAxis, sleeve_wall};
use tapewright::raster::Raster;

/// The labels of a job as the checker of the sheet reads them.
fn labels(job: &Job, to: &Path) -> PathBuf {
    let mut list = String::new();
    for stock in &job.plan().stocks {
        for &slot in &stock.slots {
            let block = job.lay_out(stock, slot).expect("a layout").block;
            let words: Vec<&str> = block.text.lines.iter().map(|line| line.text.as_str()).collect();
            let turn = if block.copies[0].0 == Turn::Up { 90 } else { 0 };
            let name = job.name(job.cable(slot));
            let _ = writeln!(list, "{name} {}\t{}\t{turn}", slot.end.word(), words.join(" "));
        }
    }
    let path = to.join("labels.tsv");
    std::fs::write(&path, list).expect("a file can be written");
    path
}

fn text_of(pdf: &Path) -> String {
    let output = Command::new("pdftotext").arg("-layout").arg(pdf).arg("-").output();
    let output = output.expect("pdftotext is missing: install the Debian package poppler-utils");
    assert!(output.status.success(), "{}: {}", pdf.display(), String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text is UTF-8")
}

/// Text without the breaks of lines.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Scale bar, pages, order, boxes and the labels themselves, on both papers.
#[test]
fn the_work_sheet_is_read_back() {
    let folder = folder();
    let path = folder.path();
    demo_files(path, &["cables.csv", "job.toml"]);
    let list = labels(&load(&path.join("job.toml")), path);
    for paper in ["a4", "letter"] {
        let pdf = path.join(format!("{paper}.pdf"));
        let ran = run(path, ["sheet", "job.toml", "--out", &format!("{paper}.pdf"), "--paper", paper, "--quiet"]);
        assert_eq!(ran.ended(0).text(), format!("{paper}.pdf\n"));
        let arguments =
            |paper: &str| [pdf.clone().into_os_string(), list.clone().into(), "--paper".into(), paper.into()].to_vec();
        let said = python::check("work_sheet.py", arguments(paper));
        assert!(said.contains("44 labels"), "{said}");
        let other = if paper == "a4" { "letter" } else { "a4" };
        python::refuses("work_sheet.py", arguments(other), "mm, wanted");
    }
    // The checker itself: two labels changed for one another, one too few, one that says something else.
    let good = std::fs::read_to_string(&list).expect("the list");
    let lines: Vec<&str> = good.lines().collect();
    let refused = |lines: &[String], words: &str| {
        let bad = path.join("bad.tsv");
        std::fs::write(&bad, lines.join("\n")).expect("a file can be written");
        let arguments: [OsString; 4] = [path.join("a4.pdf").into(), bad.into(), "--paper".into(), "a4".into()];
        python::refuses("work_sheet.py", arguments, words);
    };
    let mut swapped: Vec<String> = lines.iter().map(ToString::to_string).collect();
    swapped.swap(3, 9);
    refused(&swapped, "does not stand where it should");
    refused(&swapped[..3], "found 44 labels on");
    let other = good.replace("TWP HERON", "TWP GANNET");
    refused(&other.lines().map(str::to_owned).collect::<Vec<_>>(), "are misread");
}

/// What each label needs beside its picture, and what every method is cautioned about, once.
#[test]
fn the_work_sheet_says_where_labels_go() {
    let folder = folder();
    let path = folder.path();
    demo_files(path, &["cables.csv", "job.toml"]);
    let job = load(&path.join("job.toml"));
    let plan = job.plan();
    let answer = run(path, ["sheet", "job.toml", "--json", "--reference", "TWP sheet 12"]).ended(0).json();
    assert_eq!(answer["sheet"].as_str(), Some("sheet-job.pdf"));
    assert_eq!((answer["labels"].as_u64(), answer["strips"].as_u64()), (Some(44), Some(5)));
    let pages = text_of(&path.join("sheet-job.pdf"));
    let text = flat(&pages);
    let count = pages.matches('\u{c}').count();
    assert!(count > 1 && pages.matches("TWP sheet 12").count() == count + 1, "on every page, and in the head");
    let slots = || plan.stocks.iter().flat_map(|stock| &stock.slots);
    let sleeves = slots().filter(|slot| slot.build == Build::Sleeve).count();
    assert!(sleeves > 0);
    assert_eq!(text.matches("SLEEVE BEFORE PLUG").count(), sleeves);
    assert_eq!(text.matches("50-100 mm behind plug").count(), 44, "every label says how far from the plug");
    assert_eq!(text.matches("top away from it").count(), slots().filter(|slot| slot.build == Build::Flag).count());
    for (words, times) in [
        ("Not a safety sign", 1),
        ("Live conductors", 1),
        ("Follow local codes; licensed work stays with licensed people.", 1),
        ("Adhesive: ", 1),
        ("Hot air: ", 1),
        ("Soft dielectrics: ", 1),
        ("belongs at: Stage left box", 3),
        ("Strip 1 of 5 · ", 1),
        ("flag on a cable of", 1),
        ("wrap on a cable of", 1),
        ("sleeve on a cable of", 1),
    ] {
        assert_eq!(text.matches(words).count(), times, "{words}: {text}");
    }
    // No heat, no words of it.
    run(path, ["sheet", "job.toml", "--stock", "tape-12", "--build", "flag", "--out", "flags.pdf", "-q"]).ended(0);
    let flags = flat(&text_of(&path.join("flags.pdf")));
    assert!(!flags.contains("Hot air") && !flags.contains("SLEEVE") && flags.contains("Live conductors"));
}

/// The digest in its foot is the plan's: the same for the same plan on any paper, another for another.
#[test]
fn a_work_sheet_names_its_plan() {
    let folder = folder();
    let path = folder.path();
    demo_files(path, &["cables.csv", "job.toml"]);
    let reference = |arguments: &[&str]| {
        let all = ["sheet", "job.toml", "--json", "-q"].iter().chain(arguments);
        let answer = run(path, all).ended(0).json();
        answer["reference"].as_str().expect("a reference").to_owned()
    };
    let first = reference(&["--out", "a.pdf"]);
    let bytes = std::fs::read(path.join("a.pdf")).expect("the sheet");
    assert_eq!(reference(&["--out", "a.pdf"]), first);
    assert!(bytes == std::fs::read(path.join("a.pdf")).expect("the sheet"), "the same bytes again");
    assert!(text_of(&path.join("a.pdf")).contains(&first));
    assert_eq!(reference(&["--out", "b.pdf", "--paper", "letter"]), first);
    assert_ne!(reference(&["--out", "b.pdf", "--owner", "TWQ"]), first);
    assert_ne!(reference(&["--out", "b.pdf", "--ends", "near"]), first);
}

/// Names in any script can be searched for.
#[test]
fn names_of_any_script_are_text() {
    let folder = folder();
    let path = folder.path();
    demo_files(path, &["panels.csv", "panels.toml", "logo.svg", "japanese.ttf"]);
    run(path, ["sheet", "panels.toml", "--paper", "letter", "-q"]).ended(0);
    let text = text_of(&path.join("sheet-panels.pdf"));
    for name in ["カワウソ", "صقر", "GANNET 2003"] {
        assert!(text.contains(name), "{name}: {text}");
    }
}

/// A thousand labels: a row each, every label whole on a page, and labels that look alike stored once.
#[test]
fn a_long_list_is_small() {
    let folder = folder();
    let path = folder.path();
    let mut list = String::from("owner,batch,number,length,od_mm,from,to\n");
    for number in 0..500 {
        let _ = writeln!(list, "TWP,OTTER,{},25 ft,6.2,Pit,Desk {}", 1040 + number, number % 40);
    }
    std::fs::write(path.join("cables.csv"), list).expect("a file can be written");
    let write = |name: &str, far: &str| {
        let job = format!("list = 'cables.csv'\nprinter = 'bench-180'\nstock = 'tape-12'\nbuild = 'flag'\n{far}");
        std::fs::write(path.join(format!("{name}.toml")), job).expect("a file can be written");
        run(path, ["sheet", &format!("{name}.toml"), "-q"]).ended(0);
        let pdf = path.join(format!("sheet-{name}.pdf"));
        (text_of(&pdf), std::fs::metadata(&pdf).expect("the sheet").len())
    };
    let (text, alike) = write("alike", "");
    let (_, apart) = write("apart", "text_far = ['{owner} {batch}', '{number} {length}.']\n");
    let pages = text.matches('\u{c}').count();
    assert!((50..=85).contains(&pages), "{pages} pages");
    assert_eq!(text.matches("belongs at: ").count(), 1000);
    println!("1000 labels: {alike} bytes; with ends that differ {apart}; {pages} pages");
    assert!(alike < 2_500_000, "{alike} bytes");
    assert!(apart > alike + 300_000, "both ends are stored once: {alike} and {apart} bytes");
}

/// A label and how it lies on its cable, for the checker of the picture.
struct Lay {
    build: &'static str,
    stock: &'static str,
    printer: &'static str,
    od_mm: f64,
}

const LAYS: [Lay; 5] = [
    Lay { build: "wrap", stock: "wrap-24", printer: "bench-180", od_mm: 7.3 },
    Lay { build: "wrap", stock: "wrap-38", printer: "odd", od_mm: 5.5 },
    Lay { build: "band", stock: "tape-24", printer: "bench-180", od_mm: 26.0 },
    Lay { build: "sleeve", stock: "sleeve-3/8", printer: "bench-180", od_mm: 6.2 },
    Lay { build: "sleeve", stock: "sleeve-1/2", printer: "odd", od_mm: 9.1 },
];

/// Writes a raster as the checkers read it.
fn pbm(bitmap: &Bitmap, path: &Path) {
    let mut picture = Pbm::blank(bitmap.dots(), bitmap.lines());
    for line in 0..bitmap.lines() {
        (0..bitmap.dots()).filter(|&dot| bitmap.get(line, dot)).for_each(|dot| picture.set(line, dot));
    }
    picture.write(path);
}

/// What the checker is told of a label, from the layout and the stock.
fn told(job: &Job, layout: &Layout, od_mm: f64, stock: &tapewright::media::Stock) -> Vec<(&'static str, f64)> {
    let (along, across) = (job.printer.along.per_mm(), job.printer.across.per_mm());
    let (zone, _) = job.printer.zone(stock).expect("a zone");
    let first = job.printer.across.length(zone - job.printer.stock_edge(stock)).mm();
    let copies = &layout.block.copies;
    let (turn, line, dot) = copies[copies.len() / 2];
    #[allow(clippy::cast_precision_loss)]
    let dots = |dots: tapewright::unit::Dots| dots.0 as f64;
    let (width, height) = (dots(layout.block.width), dots(layout.block.height));
    let (long, high) = if turn == Turn::Along { (width, height) } else { (height, width) };
    let by_lines = (dots(line) + long / 2.0) / along;
    let by_dots = first + (dots(dot) + high / 2.0) / across;
    let mut told = vec![("--cable", od_mm), ("--along", along * 25.4), ("--across", across * 25.4), ("--first", first)];
    let thickness = stock.thickness.mm();
    match stock.form {
        Form::Sleeve(sleeve) => {
            let od = tapewright::unit::Micrometres::from_mm(od_mm);
            told.push(("--diameter", od_mm + 2.0 * sleeve_wall(&sleeve, od).mm()));
            told.push(("--scale", height_scale(&sleeve, od)));
            #[allow(clippy::cast_precision_loss)]
            told.push(("--stretch", 1.0 + sleeve.along_permille as f64 / 1000.0));
            told.push(("--centre", by_dots));
        }
        Form::Wrap { axis: WrapAxis::Across, .. } => {
            told.extend([("--diameter", od_mm + thickness), ("--centre", by_dots)]);
        }
        _ => told.extend([("--diameter", od_mm + thickness), ("--centre", by_lines)]),
    }
    if layout.build == Build::Band {
        told.push(("--period", (od_mm + thickness) * std::f64::consts::PI));
        told.push(("--end", dots(layout.along) / along));
    }
    told
}

/// Every dot that is seen lies where x = (D / 2) sin θ has it.
#[test]
fn a_label_on_its_cable_is_foreshortened() {
    for Lay { build, stock, printer, od_mm } in LAYS {
        let folder = folder();
        let path = folder.path();
        let job = format!(
            "list = 'cables.csv'\nprinter_files = ['printers.toml']\nprinter = '{printer}'\nstock = '{stock}'\n\
             build = '{build}'\nends = 'near'\ntext = ['{{owner}} {{batch}}', '{{number}} {{length}}']\n"
        );
        let list = format!("owner,batch,number,length,od_mm,terminated\nTWP,OTTER,1040,25 ft,{od_mm},no\n");
        for (name, text) in [("job.toml", job.as_str()), ("cables.csv", &list), ("printers.toml", OWN_PRINTERS)] {
            std::fs::write(path.join(name), text).expect("a file can be written");
        }
        let answer = run(path, ["proof", "job.toml", "--on-cable", "--out", "p", "--json", "-q"]).ended(0).json();
        let drawn = answer["on_cable"].as_array().expect("pictures");
        assert_eq!(drawn.len(), 1, "{answer}");
        let picture = path.join(drawn[0].as_str().expect("a path"));
        let job = load(&path.join("job.toml"));
        let plan = job.plan();
        let layout = job.lay_out(&plan.stocks[0], plan.stocks[0].slots[0]).expect("a layout");
        let mut bitmap = Bitmap::new(0, 0);
        Raster::new(Pen::new(job.fonts())).draw(&layout, false, &mut bitmap);
        pbm(&bitmap, &path.join("label.pbm"));
        let told = told(&job, &layout, od_mm, job.stock(&plan.stocks[0]));
        let by_dots = told.iter().any(|(name, _)| *name == "--scale")
            || matches!(job.stock(&plan.stocks[0]).form, Form::Wrap { axis: WrapAxis::Across, .. });
        let arguments = |name: &str, off: f64| {
            let mut all: Vec<OsString> = vec![picture.clone().into(), path.join("label.pbm").into()];
            all.extend(["--round", if by_dots { "dots" } else { "lines" }].map(Into::into));
            if by_dots {
                all.push("--reversed".into());
            }
            if build == "band" && layout.block.copies[0].0 == Turn::Along {
                all.push("--turn".into());
            }
            for &(told, value) in &told {
                let value = if told == name { value + off } else { value };
                all.extend([told.into(), value.to_string().into()]);
            }
            all
        };
        let said = python::check("oncable_dots.py", arguments("", 0.0));
        println!("{build} on {stock} by {printer}: {}", said.trim());
        // The checker itself: another cable, print on another diameter, a label turned on its cable.
        for (name, off, words) in [
            ("--cable", 0.3, "mm wide, wanted"),
            ("--diameter", 1.5, "are not where the formula has them"),
            ("--centre", 0.2, "are not where the formula has them"),
        ] {
            python::refuses("oncable_dots.py", arguments(name, off), words);
        }
    }
}

/// One picture for each build, stock and diameter to a millimetre; a proof without them takes them away.
#[test]
fn pictures_on_cables_are_one_of_each_kind() {
    let folder = folder();
    let path = folder.path();
    demo_files(path, &["cables.csv", "job.toml"]);
    let proof = |more: &[&str]| {
        let arguments = ["proof", "job.toml", "--out", "p", "--json", "-q"].iter().chain(more);
        let answer = run(path, arguments).ended(0).json();
        answer["on_cable"].as_array().expect("pictures").iter().map(|one| one.as_str().unwrap().to_owned()).collect()
    };
    let drawn: Vec<String> = proof(&["--on-cable"]);
    assert_eq!(
        drawn,
        [
            "p/oncable-0001-flag-tape-12-11mm.png",
            "p/oncable-0002-flag-tape-12-12mm.png",
            "p/oncable-0003-wrap-wrap-24-6mm.png",
            "p/oncable-0004-sleeve-sleeve-3-8-6mm.png",
        ]
    );
    assert!(drawn.iter().all(|one| path.join(one).is_file()));
    assert_eq!(proof(&[]), Vec::<String>::new());
    assert!(drawn.iter().all(|one| !path.join(one).exists()), "an earlier proof's pictures are gone");
}
