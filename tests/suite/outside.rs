//! Checks against code that is not ours: libcupsimage reads the streams, poppler measures the PDF,
//! FreeType measures the letters; and against a second reader of PCL. `tests/outside/` holds the checkers.

use crate::jobs::{demo_files, load};
use crate::pbm::Pbm;
use crate::program::{files, folder, needs_modules, run};
use crate::streams::all;
use crate::{python, sources};
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use tapewright::bitmap::Bitmap;
use tapewright::font::{Pen, Style};
use tapewright::job::Job;
use tapewright::layout::Turn;
use tapewright::raster::Raster;
use tapewright::unit::Dpi;

#[test]
fn libcupsimage_reads_what_readback_reads() {
    for printed in all() {
        let said = python::check("pwg_libcups.py", [&printed.stream, &printed.lines]);
        let strips = printed.strips().len();
        assert!(said.contains(&format!("{strips} page")), "{}: {said}", printed.name);
    }
}

/// The checker itself: one dot of difference, one line too few, a run that is off.
#[test]
fn the_stream_checker_finds_what_is_wrong() {
    let printed = &all()[0];
    let folder = folder();
    let lines = folder.path().join("lines");
    std::fs::create_dir(&lines).expect("a folder");
    for name in files(&printed.lines) {
        std::fs::copy(printed.lines.join(&name), lines.join(&name)).expect("a picture can be copied");
    }
    python::check("pwg_libcups.py", [&printed.stream, &lines]);
    let first = lines.join("strip-0001.pbm");
    let good = std::fs::read(&first).expect("a picture");
    let mut bad = good.clone();
    let middle = bad.len() / 2;
    bad[middle] ^= 0x10;
    std::fs::write(&first, &bad).expect("a picture can be written");
    python::refuses("pwg_libcups.py", [&printed.stream, &lines], "differ");
    std::fs::write(&first, &good).expect("a picture can be written");
    let stream = folder.path().join("short.pwg");
    let bytes = std::fs::read(&printed.stream).expect("the stream");
    std::fs::write(&stream, &bytes[..bytes.len() - 1]).expect("a file can be written");
    python::refuses("pwg_libcups.py", [&stream, &lines], "pwg_libcups");
}

/// Printers of one resolution with a full cutter, as PCL wants them.
fn pcl_printer(dpi: u32, head_dots: u32) -> String {
    format!(
        "[[printer]]\nid = 'page'\ntitle = 'wide page printer'\ndpi_across = {dpi}\ndpi_along = {dpi}\n\
         head_dots = {head_dots}\nwidest_mm = 50\nlead_mm = 20\ngap_mm = 2\ntrail_mm = 1\nmin_piece_mm = 10\n\
         max_strip_mm = 1200\ncutter = 'full'\nload_mm = 40\nspeed_mm_s = 100\ndriver = 'pcl'\n"
    )
}

/// A decoder of PCL that shares nothing with the driver module sees the lines that readback sees,
/// and the pages are as long as the plan says. `drivers/pcl` holds that decoder on other streams.
#[test]
fn a_pcl_job_is_what_was_planned() {
    needs_modules();
    for (dpi, head_dots, build, stock) in
        [(300, 591, "flag", "tape-24"), (600, 1181, "wrap", "wrap-24"), (200, 301, "plate", "tape-18")]
    {
        let folder = folder();
        let path = folder.path();
        let list = "owner,batch,number,length,od_mm\nTWP,OTTER,1040,15 ft,6\nTWP,OTTER,1047,25 ft,7.2\n\
                    TWP,OTTER,1054,50 ft,8.5\n";
        let job = format!(
            "list = 'cables.csv'\nprinter_files = ['printers.toml']\nprinter = 'page'\nstock = '{stock}'\n\
             build = '{build}'\ntext = ['{{owner}} {{batch}}', '{{number}} {{length}}']\n"
        );
        let files = [("cables.csv", list), ("job.toml", &job), ("printers.toml", &pcl_printer(dpi, head_dots))];
        for (name, text) in files {
            std::fs::write(path.join(name), text).expect("a file can be written");
        }
        let planned = run(path, ["estimate", "job.toml", "--json"]).ended(0).json();
        run(path, ["print", "job.toml", "--to", "file:out.pcl"]).ended(0);
        let read = run(path, ["readback", "out.pcl", "--json", "--pbm", "lines"]).ended(0).json();
        let said = python::check("pcl_decode.py", [path.join("out.pcl"), path.join("lines")]);
        let strips = read["strips"].as_array().expect("strips");
        assert!(strips.len() > 3 && said.starts_with(&format!("{} pages equal", strips.len())), "{said}");
        assert!(strips.iter().filter(|strip| strip["ink_dots"].as_u64() > Some(500)).count() >= 3, "{read}");
        let number = |value: &serde_json::Value| value.as_f64().expect("a number");
        let fed = number(&planned["tape_mm"]) - number(&planned["stocks"][0]["waste_mm"]["load"]);
        assert!((number(&read["feed_mm"]) - fed).abs() < 0.002, "fed {}, planned {fed}", read["feed_mm"]);
    }
}

/// A ruler on the sheet: poppler draws it, the scale bar is 100 mm and the first label as long as planned.
#[test]
fn the_sheet_is_at_true_size() {
    let folder = folder();
    let path = folder.path();
    demo_files(path, &["cables.csv", "job.toml"]);
    let job = load(&path.join("job.toml"));
    let first = job.plan().stocks[0].lengths[0];
    let millimetres = job.printer.along.length(first).mm();
    for paper in ["a4", "letter"] {
        run(path, ["proof", "job.toml", "--out", paper, "--paper", paper, "--quiet"]).ended(0);
        let pdf = path.join(paper).join("labels.pdf");
        let arguments = |mm: f64| [pdf.clone().into_os_string(), "--label-mm".into(), format!("{mm:.3}").into()];
        python::check("proof_pdf.py", arguments(millimetres));
        for off in [-0.1, 0.1] {
            python::refuses("proof_pdf.py", arguments(millimetres + off), "the first label is");
        }
    }
}

/// The demo's labels as files for the checker of the sheet: rasters as they read, and `labels.txt`.
fn rasters(job: &Job, to: &Path) -> Vec<PathBuf> {
    let mut raster = Raster::new(Pen::new(job.fonts()));
    let (mut paths, mut list) = (Vec::new(), String::new());
    let printer = &job.printer;
    for stock in &job.plan().stocks {
        let media = job.stock(stock);
        let (first, zone) = printer.zone(media).expect("a zone");
        let up = printer.across.length(first - printer.stock_edge(media) + zone);
        for &slot in &stock.slots {
            let mut bitmap = Bitmap::new(0, 0);
            raster.draw(&job.lay_out(stock, slot).expect("a layout"), false, &mut bitmap);
            let mut picture = Pbm::blank(bitmap.dots(), bitmap.lines());
            for line in 0..bitmap.lines() {
                (0..bitmap.dots()).filter(|&dot| bitmap.get(line, dot)).for_each(|dot| picture.set(line, dot));
            }
            let path = to.join(format!("label-{:04}.pbm", paths.len() + 1));
            picture.write(&path);
            paths.push(path);
            let dpi = |dpi: Dpi| f64::from(dpi.milli()) / 1000.0;
            let above = (media.width - up).mm();
            list += &format!("{} {} {} {above}\n", dpi(printer.along), dpi(printer.across), media.width.mm());
        }
    }
    std::fs::write(to.join("labels.txt"), list).expect("a file can be written");
    paths
}

/// Poppler draws the sheet, and every dot of every label lies where its raster has it, in list order.
#[test]
fn the_sheet_has_every_dot_in_its_place() {
    let folder = folder();
    let path = folder.path();
    demo_files(path, &["cables.csv", "job.toml"]);
    let job = load(&path.join("job.toml"));
    let labels = path.join("labels");
    std::fs::create_dir(&labels).expect("a folder");
    let rasters = rasters(&job, &labels);
    for paper in ["a4", "letter"] {
        run(path, ["proof", "job.toml", "--out", paper, "--paper", paper, "--quiet"]).ended(0);
        let said = python::check("proof_labels.py", [path.join(paper).join("labels.pdf"), labels.clone()]);
        assert!(said.starts_with("44 labels, ") && rasters.len() == 44, "{said}");
    }
    let check = || [path.join("a4").join("labels.pdf"), labels.clone()];
    // The checker itself: one dot that is not there, and two ends changed for one another.
    let bytes = std::fs::read(&rasters[20]).expect("a picture");
    let mut bad = bytes.clone();
    let middle = bad.len() / 2;
    bad[middle] ^= 0x10;
    std::fs::write(&rasters[20], &bad).expect("a picture can be written");
    python::refuses("proof_labels.py", check(), "label 21: 1 dots differ");
    std::fs::write(&rasters[20], &bytes).expect("a picture can be written");
    let (one, other) = (std::fs::read(&rasters[1]).expect("a picture"), std::fs::read(&rasters[2]).expect("a picture"));
    std::fs::write(&rasters[1], other).expect("a picture can be written");
    std::fs::write(&rasters[2], one).expect("a picture can be written");
    python::refuses("proof_labels.py", check(), "label 2: ");
}

/// Text set once on one label, printed and measured by FreeType.
struct Sample {
    printer: &'static str,
    build: &'static str,
    stock: &'static str,
    text: &'static str,
    largest_cap_mm: f64,
    font: &'static str,
    style: Style,
}

const NORMAL: &str = "fonts/atkinson-hyperlegible-next-semibold.ttf";
const CONDENSED: &str = "fonts/iosevka-charon-mono-bold-subset.ttf";
const FALLBACK: &str = "fonts/dejavu-sans-mono-bold.ttf";

const fn plate(printer: &'static str, text: &'static str, largest_cap_mm: f64, font: &'static str) -> Sample {
    Sample { printer, build: "plate", stock: "tape-24", text, largest_cap_mm, font, style: Style::Normal }
}

/// A wrap along the tape bounds the width of its text, so long text is set condensed.
const fn wrap(printer: &'static str, text: &'static str) -> Sample {
    Sample {
        printer,
        build: "wrap",
        stock: "wrap-24",
        text,
        largest_cap_mm: 9.0,
        font: CONDENSED,
        style: Style::Condensed,
    }
}

const SAMPLES: [Sample; 24] = [
    plate("bench-180", "H", 2.4, NORMAL),
    plate("bench-180", "H", 4.0, NORMAL),
    plate("bench-180", "H", 9.3, NORMAL),
    plate("bench-180", "g", 5.0, NORMAL),
    plate("bench-180", "8", 3.1, NORMAL),
    plate("bench-180", "W", 7.7, NORMAL),
    plate("bench-180", "OTTER1040", 3.3, NORMAL),
    plate("bench-180", "HHHHHHHHHH", 5.0, NORMAL),
    plate("fine-360", "H", 3.0, NORMAL),
    plate("fine-360", "R", 6.0, NORMAL),
    plate("fine-360", "BADGER307", 4.0, NORMAL),
    plate("wide-300", "H", 2.5, NORMAL),
    plate("wide-300", "Q", 11.0, NORMAL),
    plate("wide-300", "Tidewater", 4.2, NORMAL),
    plate("field-203", "H", 4.4, NORMAL),
    plate("field-203", "HERON2001", 2.6, NORMAL),
    plate("odd", "H", 5.0, NORMAL),
    plate("odd", "Bx5", 5.0, NORMAL),
    plate("bench-180", "Ж", 5.0, FALLBACK),
    plate("fine-360", "ЖЖЖЖ", 3.0, FALLBACK),
    plate("wide-300", "Д", 6.0, FALLBACK),
    wrap("bench-180", "HOTTER1040"),
    wrap("fine-360", "HOTTER1040"),
    wrap("odd", "HOTTER1040"),
];

/// Prints the sample and has it measured; what the checker says.
fn measure(sample: &Sample, folder: &Path) -> String {
    let Sample { printer, build, stock, text, largest_cap_mm, .. } = sample;
    let write = |name: &str, text: &str| std::fs::write(folder.join(name), text).expect("a file can be written");
    write("printers.toml", crate::jobs::OWN_PRINTERS);
    write("cables.csv", &format!("batch,od\n{text},7 mm\n"));
    write(
        "job.toml",
        &format!(
            "list = 'cables.csv'\nprinter_files = ['printers.toml']\nprinter = '{printer}'\nstock = '{stock}'\nbuild = '{build}'\n\
             ends = 'near'\ntext = '{{batch}}'\n[design]\nreading_mm = 400\nlargest_cap_mm = {largest_cap_mm}\n"
        ),
    );
    let job = load(&folder.join("job.toml"));
    let plan = job.plan();
    assert!(plan.problems.is_empty(), "{text}: {:?}", plan.problems);
    let layout = job.lay_out(&plan.stocks[0], plan.stocks[0].slots[0]).unwrap_or_else(|error| panic!("{error}"));
    let fitted = &layout.block.text;
    assert_eq!((fitted.lines.len(), layout.block.copies.len()), (1, 1), "{text}: one line, once");
    assert_eq!((fitted.lines[0].text.as_str(), fitted.style), (*text, sample.style), "{text} by {printer}");
    let turn = layout.block.copies[0].0;
    let (along, up) = if turn == Turn::Along {
        (job.printer.along, job.printer.across)
    } else {
        (job.printer.across, job.printer.along)
    };
    // A plate has room: its cap height is the one asked for, to the dot below.
    if *build == "plate" {
        let asked = largest_cap_mm * f64::from(up.milli()) / 25_400.0;
        #[allow(clippy::cast_precision_loss)]
        let cap = fitted.cap.0 as f64;
        assert!((cap - asked.floor()).abs() < 0.5, "{text} by {printer}: cap {cap} dots, asked for {asked}");
    }
    run(folder, ["print", "job.toml", "--to", "file:out.pwg"]).ended(0);
    run(folder, ["readback", "out.pwg", "--pbm", "lines"]).ended(0);
    let ratio = f64::from(along.milli()) / f64::from(up.milli());
    let turn = if turn == Turn::Along { "along" } else { "up" };
    let font = sources::root().join(sample.font);
    let strip = folder.join("lines/strip-0001.pbm");
    // The label's own lines: a printer without a cutter prints guides beside it.
    let strip_plan = job.strip(&plan.stocks[0], &(0..1));
    let (from, to) = (strip_plan.starts[0].0, (strip_plan.starts[0] + layout.along).0);
    let arguments = |cap: i64| {
        let files = [&font, &strip].map(|path| path.as_os_str().to_owned());
        let words = [(*text).to_owned(), cap.to_string(), ratio.to_string(), "--turn".into(), turn.into()];
        let lines = ["--lines".to_owned(), from.to_string(), to.to_string()];
        files.into_iter().chain(words.into_iter().chain(lines).map(OsString::from)).collect::<Vec<_>>()
    };
    // The checker can fail: a size that is two dots off is refused.
    for off in [-2, 2] {
        python::refuses("font_metrics.py", arguments(fitted.cap.0 + off), "dots");
    }
    python::check("font_metrics.py", arguments(fitted.cap.0))
}

#[test]
fn letters_are_as_high_and_wide_as_freetype_says() {
    needs_modules();
    for sample in &SAMPLES {
        let folder = folder();
        let said = measure(sample, folder.path());
        println!(
            "{} `{}` at {} mm by {}: {}",
            sample.build,
            sample.text,
            sample.largest_cap_mm,
            sample.printer,
            said.trim()
        );
    }
}
