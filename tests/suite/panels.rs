//! Labels with logo, code and marks: from a job file to what a decoder reads off the proof.

use crate::jobs::{demo_files, load};
use crate::program::{folder, needs_modules, run};
use crate::{python, sources};
use std::collections::BTreeMap;
use std::path::Path;
use tapewright::job::Job;

const LIST: &str = "batch,number,length,od,note\nOTTER,1040,15 ft,6.2 mm,\nOTTER,,25 ft,6.2 mm,\n";

fn write(folder: &Path, name: &str, bytes: impl AsRef<[u8]>) {
    std::fs::write(folder.join(name), bytes).unwrap_or_else(|error| panic!("{name}: {error}"));
}

/// The demo's second job in a folder.
fn panels(folder: &Path) -> Job {
    demo_files(folder, &["panels.csv", "panels.toml", "logo.svg", "japanese.ttf"]);
    load(&folder.join("panels.toml"))
}

#[test]
fn the_panels_of_the_demo_can_all_be_made() {
    let folder = folder();
    let job = panels(folder.path());
    let plan = job.plan();
    assert_eq!(plan.problems, []);
    let mut builds = BTreeMap::new();
    for stock in &plan.stocks {
        for &slot in &stock.slots {
            let layout = job.lay_out(stock, slot).expect("a layout");
            assert!(layout.code.is_some() && layout.cap >= job.design.least_cap(), "{:?}", layout.build);
            *builds.entry(layout.build.word()).or_insert(0) += 1;
        }
    }
    let wanted = [("band", 2), ("flag", 8), ("plate", 2), ("sleeve", 2)];
    assert_eq!(builds, BTreeMap::from(wanted), "every build, near and far");
}

/// Off the proof, and off the lines that a driver's stream gives a printer.
/// Source of the contents: the job's template, filled in by hand.
#[test]
fn a_decoder_reads_every_code_off_the_proof_and_off_the_stream() {
    needs_modules();
    let folder = folder();
    let path = folder.path();
    let job = panels(path);
    run(path, ["proof", "panels.toml", "--out", "proof", "--quiet"]).ended(0);
    run(path, ["print", "panels.toml", "--to", "file:out.pwg", "--quiet"]).ended(0);
    let (mut nth, mut read) = (0, 0);
    for stock in &job.plan().stocks {
        let media = job.stock(stock);
        let id = media.id.replace('/', "-");
        run(path, ["readback", &format!("out-{id}.pwg"), "--pbm", &id, "--json"]).ended(0);
        for (of_stock, labels) in (1..).zip(&stock.strips.strips) {
            nth += 1;
            // A mirrored print reads from the other side of the tube.
            if media.mirrored {
                continue;
            }
            let mut wanted: BTreeMap<String, usize> = BTreeMap::new();
            for &slot in &stock.slots[labels.clone()] {
                let copies = job.lay_out(stock, slot).expect("a layout").block.copies.len();
                *wanted.entry(format!("TWP {}", job.name(job.cable(slot)))).or_default() += copies;
            }
            let name = format!("proof/strip-{nth:04}-{id}.png");
            let mut arguments = vec![path.join(name).into_os_string()];
            arguments.extend(wanted.iter().map(|(content, count)| format!("{content}={count}").into()));
            python::check("panel_codes.py", &arguments);
            let proof =
                std::mem::replace(&mut arguments[0], path.join(&id).join(format!("strip-{of_stock:04}.pbm")).into());
            python::check("panel_codes.py", &arguments);
            arguments[0] = proof;
            read += wanted.values().sum::<usize>();
            if let Some(first) = arguments.get_mut(1) {
                *first = "TWP OTTER 9999=2".into();
            }
            python::refuses("panel_codes.py", &arguments, "TWP OTTER 9999");
        }
    }
    assert!(read >= 8, "only {read} codes were looked at");
}

/// One cable of two lacks what its code would say: it gets a problem that names the column.
#[test]
fn a_cable_without_content_for_its_code_is_a_problem() {
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    write(path, "job.toml", "list = 'cables.csv'\n[code]\nkind = 'rmqr'\ncontent = '{number}{note}'\n");
    let answer = run(path, ["estimate", "job.toml", "--json"]).ended(0).json();
    let problems = answer["problems"].as_array().expect("problems");
    assert_eq!((problems.len(), answer["labels"].as_u64()), (1, Some(2)), "{answer}");
    let problem = &problems[0];
    assert_eq!((problem["row"].as_u64(), problem["kind"].as_str()), (Some(3), Some("code")), "{problem}");
    assert_eq!(problem["field"].as_str(), Some("number"), "{problem}");
    assert!(problem["text"].as_str().is_some_and(|text| text.contains("number, note")), "{problem}");
}

/// The flags of a list without a job file; the code says what it says by default.
#[test]
fn flags_give_a_list_codes_and_a_logo() {
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST.lines().take(2).collect::<Vec<_>>().join("\n"));
    write(path, "logo.svg", std::fs::read(sources::root().join("core/data/demo/logo.svg")).expect("the logo"));
    let common = ["proof", "cables.csv", "--quiet", "--owner", "TWP", "--logo", "logo.svg"];
    run(path, common.iter().chain(&["--code", "qr,rmqr", "--out", "usual"])).ended(0);
    let picture = |out: &str| path.join(out).join("strip-0001-tape-12.png").into_os_string();
    python::check("panel_codes.py", [picture("usual"), "TWP OTTER 1040=4".into()]);
    run(path, common.iter().chain(&["--code-content", "see {batch}", "--out", "own"])).ended(0);
    python::check("panel_codes.py", [picture("own"), "see OTTER=4".into()]);
}

#[test]
fn wrong_parts_say_where_and_what_is_wanted() {
    let folder = folder();
    let path = folder.path();
    write(path, "cables.csv", LIST);
    write(path, "empty.png", "");
    for (text, words) in [
        ("[code]\nkind = 'aztec'", "job.toml: code: kind: found `aztec`, wanted code-128, qr, micro-qr, rmqr"),
        ("[code]\nleast_module_mm = 9", "job.toml: code: least_module_mm: found 9, wanted 0.1 to 5"),
        ("[code]\ncontent = '{shelf}'", "job.toml: code: content: text `{shelf}`: found `{shelf}`, wanted a column"),
        (
            "[code]\ncontent = '{to}'",
            "job.toml: code: content: found `{to}`, wanted columns of the list: batch, number",
        ),
        ("[code]\ncolour = 'red'", "unknown field `colour`"),
        ("[logo]\ntone = 'auto'", "job.toml: logo: found no `file`, wanted a picture"),
        ("[logo]\nfile = 'none.svg'", "none.svg: no such file"),
        ("[logo]\nfile = 'empty.png'", "empty.png"),
        (
            "[marks.arrow]\nnear = 'north'",
            "job.toml: marks: arrow: near: found `north`, wanted left, right, up or down",
        ),
        ("[marks]\ninverse = 'note'", "job.toml: marks: inverse: found `note`, wanted a column that the text shows"),
        ("[length_marks]\n'15 ft' = 'red'", "job.toml: length_marks: 15 ft: found `red`, wanted solid, bars-1"),
        ("[length_marks]\n'long' = 'dots'", "job.toml: length_marks: found `long`, wanted a length such as `50 ft`"),
    ] {
        write(path, "job.toml", format!("list = 'cables.csv'\n{text}\n"));
        let ran = run(path, ["estimate", "job.toml"]).ended(2);
        assert!(ran.err.contains(words), "{text}: found {:?}, wanted `{words}` in it", ran.err);
    }
}
