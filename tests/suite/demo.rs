//! `tapewright demo`: what it makes, and that its saving follows from the printer's figures.

use crate::jobs::load;
use crate::program::{files, folder, needs_modules, run};
use crate::sources;
use serde_json::Value;
use std::path::Path;

/// The files of the second job, and what it needs.
const PANELS: [&str; 5] = ["panels.csv", "panels.toml", "logo.svg", "japanese.ttf", "japanese-ofl.txt"];

fn demo(folder: &Path) -> Value {
    needs_modules();
    run(folder, ["demo", "--out", "demo", "--json"]).ended(0).json()
}

#[test]
fn the_demo_makes_what_it_says() {
    let folder = folder();
    let answer = demo(folder.path());
    let estimate = &answer["estimate"];
    assert_eq!((estimate["cables"].as_u64(), estimate["labels"].as_u64()), (Some(24), Some(44)));
    let problems: Vec<(u64, &str)> = estimate["problems"]
        .as_array()
        .expect("problems")
        .iter()
        .map(|problem| (problem["row"].as_u64().expect("a row"), problem["kind"].as_str().expect("a kind")))
        .collect();
    assert_eq!(problems, [(8, "does-not-pass"), (9, "no-diameter")]);

    let named = |key: &str| -> Vec<String> {
        answer[key].as_array().expect("paths").iter().map(|path| path.as_str().expect("a path").to_owned()).collect()
    };
    let (strips, streams, on_cable) = (named("strips"), named("streams"), named("on_cable"));
    assert_eq!(on_cable.len(), 4, "flags on two diameters, wraps, sleeves: {on_cable:?}");
    let sheet = answer["sheet"].as_str().expect("a path").to_owned();
    let counted: u64 =
        estimate["stocks"].as_array().expect("stocks").iter().filter_map(|stock| stock["strips"].as_u64()).sum();
    assert_eq!(strips.len() as u64, counted, "a picture a strip");
    assert_eq!(streams.len(), 3, "a stream a stock");
    let mut wanted: Vec<String> = strips.iter().chain(&streams).chain(&on_cable).chain([&sheet]).cloned().collect();
    let panels = &answer["panels"];
    let more = panels["strips"].as_array().expect("paths").iter().chain([&panels["sheet"]]);
    wanted.extend(more.map(|path| path.as_str().expect("a path").to_owned()));
    let left = ["cables.csv", "job.toml", "sheet.pdf", "summary.txt"].into_iter().chain(PANELS);
    wanted.extend(left.map(|name| format!("demo/{name}")));
    wanted.extend(["demo/", "demo/proof/", "demo/proof-panels/"].map(str::to_owned));
    wanted.sort();
    assert_eq!(files(folder.path()), wanted, "all files, and no other");

    for path in strips.iter().chain(&on_cable) {
        let file = std::fs::File::open(folder.path().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"));
        let mut reader = png::Decoder::new(std::io::BufReader::new(file))
            .read_info()
            .unwrap_or_else(|error| panic!("{path}: {error}"));
        let mut pixels = vec![0; reader.output_buffer_size().expect("a picture that fits memory")];
        let info = reader.next_frame(&mut pixels).unwrap_or_else(|error| panic!("{path}: {error}"));
        assert!(info.width > 100 && info.height > 50, "{path}: {} × {}", info.width, info.height);
        assert!(pixels.iter().any(|&pixel| pixel != pixels[0]), "{path}: all of one colour");
    }
    assert_eq!(answer["work_sheet"].as_str(), Some("demo/sheet.pdf"));
    for sheet in [sheet.as_str(), "demo/sheet.pdf"] {
        let pdf = std::fs::read(folder.path().join(sheet)).unwrap_or_else(|error| panic!("{sheet}: {error}"));
        assert!(pdf.starts_with(b"%PDF-") && pdf.len() > 5000, "{sheet}: {} bytes", pdf.len());
        assert!(String::from_utf8_lossy(&pdf[pdf.len() - 20..]).contains("%%EOF"), "{sheet}: cut short");
    }
    let summary = std::fs::read_to_string(folder.path().join("demo/summary.txt")).expect("the summary");
    for words in ["24 cables: 44 labels", "row 8, terminated:", "row 9, od:", "read back"] {
        assert!(summary.contains(words), "summary.txt does not say `{words}`: {summary}");
    }
    assert_eq!(summary.matches("read back, feeds").count(), 3, "every stream was read back: {summary}");
}

/// The picture in the README is the one that the demo draws, to the byte.
#[test]
fn the_picture_in_the_readme_is_what_the_demo_draws() {
    let folder = folder();
    demo(folder.path());
    let shown = "core/data/demo/strip.png";
    let readme = std::fs::read_to_string(sources::root().join("README.md")).expect("the README");
    assert!(readme.contains(&format!("]({shown})")), "README.md does not show {shown}");
    let drawn = "demo/proof/strip-0004-wrap-24.png";
    let read = |path: &Path| std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let same = read(&sources::root().join(shown)) == read(&folder.path().join(drawn));
    assert!(same, "{shown} is not what the demo draws: copy {drawn} there, and look at it");
}

/// The job it leaves gives the same estimate again, and the same demo gives the same bytes.
#[test]
fn the_demo_can_be_repeated() {
    let folder = folder();
    let first = demo(folder.path());
    let again = run(folder.path(), ["estimate", "demo/job.toml", "--json"]).ended(0).json();
    assert_eq!(again, first["estimate"]);
    let read = || -> Vec<(String, Vec<u8>)> {
        let names = files(folder.path()).into_iter().filter(|name| !name.ends_with('/'));
        names.map(|name| (name.clone(), std::fs::read(folder.path().join(&name)).expect("a file"))).collect()
    };
    let before = read();
    demo(folder.path());
    for ((name, before), (_, after)) in before.iter().zip(&read()) {
        assert!(before == after, "{name} differs from run to run");
    }
}

/// Without `--json` it talks to a person, and names the files to look at.
#[test]
fn the_demo_says_where_to_look() {
    needs_modules();
    let folder = folder();
    let ran = run(folder.path(), ["demo"]).ended(0);
    for name in [
        "tapewright-demo/proof/labels.pdf",
        "tapewright-demo/sheet.pdf",
        "tapewright-demo/summary.txt",
        "tapewright-demo/job.toml",
    ] {
        assert!(ran.text().contains(name), "{}", ran.text());
        assert!(folder.path().join(name).is_file(), "{name}");
    }
}

/// Dots of feed that cover a length in tenths of a millimetre, at 180 dpi.
const fn dots(tenths: i64) -> i64 {
    // d dots are d × 254 / 180 tenths of a millimetre.
    (tenths * 180 + 253) / 254
}

fn thousandths(value: &Value) -> i64 {
    #[allow(clippy::cast_possible_truncation)]
    let rounded = (value.as_f64().expect("a number") * 1000.0).round() as i64;
    rounded
}

/// About 25 mm are lost per separately cut label without retraction, about 3 mm between half-cut
/// labels (both common practice, no source); the printer's profile has these, and a trail of 1.5 mm.
///
/// Cut one by one, each of the n labels has a lead and a trail; in s strips there are s of each and
/// n − s gaps. Pad, tail and scrap are 0 and the load is one a stock, either way; so the saving is
/// (lead + trail − gap)·(n − s), exactly, in dots.
#[test]
fn the_saving_follows_from_lead_trail_and_gap() {
    let folder = folder();
    let answer = demo(folder.path());
    let (lead, gap, trail) = (dots(250), dots(30), dots(15));
    assert_eq!((lead, gap, trail), (178, 22, 11));
    let job = load(&folder.path().join("demo/job.toml"));
    let plan = job.plan();
    let mut saved = 0;
    for (stock, estimate) in plan.stocks.iter().zip(answer["estimate"]["stocks"].as_array().expect("stocks")) {
        let id = estimate["stock"].as_str().expect("an id");
        let labels = i64::try_from(stock.slots.len()).expect("a count");
        let strips = i64::try_from(stock.strips.strips.len()).expect("a count");
        assert_eq!((estimate["labels"].as_i64(), estimate["strips"].as_i64()), (Some(labels), Some(strips)), "{id}");
        let ledger = stock.strips.ledger;
        assert_eq!(
            (ledger.pad.0, ledger.tail.0, ledger.scrap.0, ledger.load.0),
            (0, 0, 0, dots(250)),
            "{id}: pad, tail, scrap, load"
        );
        let label: i64 = stock.lengths.iter().map(|length| length.0).sum();
        // The plan itself, from the printer's figures alone.
        let tape = label + (lead + trail) * strips + gap * (labels - strips) + dots(250);
        assert_eq!(ledger.tape().0, tape, "{id}: tape");
        assert_eq!(stock.singly.0, label + (lead + trail) * labels + dots(250), "{id}: one by one");
        let saving = (lead + trail - gap) * (labels - strips);
        assert_eq!(stock.singly.0 - ledger.tape().0, saving, "{id}: saving");
        saved += saving;
    }
    assert_eq!(saved, (178 + 11 - 22) * (44 - 5), "44 labels in 5 strips");
    // The same in the answer: five figures, each rounded to a micrometre.
    let found = thousandths(&answer["estimate"]["singly_mm"]) - thousandths(&answer["estimate"]["tape_mm"]);
    assert!((found - saved * 25_400 / 180).abs() <= 5, "saved {found} µm, wanted {saved} dots of 25400/180 µm");
}
