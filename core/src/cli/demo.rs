//! The demo: Tidewater Playhouse's store, from its cable list to streams read back.

use super::args::PaperArg;
use super::streams::Way;
use super::{Done, PATIENCE, Talk, answer, answer_json, proofs, sheets, streams, warn_problems};
use crate::error::{Error, Result};
use crate::job::{Job, Plan};
use crate::run::{Batch, Rows, apart, module_for};
use crate::settings::{Flags, Known, load_job};
use crate::store::files::{make_folder, write_whole};
use crate::transport::Link;
use crate::unit::Dots;
use serde_json::json;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

const LIST: &str = include_str!("../../data/demo/cables.csv");
const JOB: &str = include_str!("../../data/demo/job.toml");

/// A second job, with what labels may carry beside plain words, and the files it names.
const PANELS: [(&str, &[u8]); 5] = [
    ("panels.csv", include_bytes!("../../data/demo/panels.csv")),
    ("panels.toml", include_bytes!("../../data/demo/panels.toml")),
    ("logo.svg", include_bytes!("../../data/demo/logo.svg")),
    ("japanese.ttf", include_bytes!("../../data/demo/japanese.ttf")),
    ("japanese-ofl.txt", include_bytes!("../../data/demo/japanese-ofl.txt")),
];

/// A stream that was printed, read back and compared with the plan.
struct Checked {
    path: PathBuf,
    feed_mm: f64,
}

pub(super) fn run(out: &Path, json: bool, talk: &Talk) -> Done {
    make_folder(out)?;
    write_whole(&out.join("cables.csv"), LIST.as_bytes())?;
    write_whole(&out.join("job.toml"), JOB.as_bytes())?;
    // The demo is the same everywhere: the user's own settings stay out of it.
    let job = load_job(&out.join("job.toml"), &Flags::default(), Known::load(None)?)?;
    let plan = job.plan();
    talk.say("Tidewater Playhouse: 24 cables of three batches");
    let proofs = proofs::write(&job, &plan, &out.join("proof"), (PaperArg::A4, true), "Tidewater Playhouse", talk)?;
    let bench = sheets::To {
        out: out.join("sheet.pdf"),
        paper: PaperArg::A4,
        title: "Tidewater Playhouse".to_owned(),
        reference: None,
    };
    sheets::write(&job, &plan, &bench, talk)?;
    let streams = print_and_read_back(&job, &plan, out, talk)?;
    for (name, bytes) in PANELS {
        write_whole(&out.join(name), bytes)?;
    }
    let panels = load_job(&out.join("panels.toml"), &Flags::default(), Known::load(None)?)?;
    let panels_plan = panels.plan();
    if let Some(problem) = panels_plan.problems.first() {
        return Err(Error::bug(format!("panels.toml: {}", super::answer::problem(problem))).into());
    }
    let folder = out.join("proof-panels");
    let more =
        proofs::write(&panels, &panels_plan, &folder, (PaperArg::A4, false), "Logos, codes, other scripts", talk)?;
    let estimate = plan.estimate(&job);
    let mut summary = super::answer::estimate(&estimate);
    summary.push('\n');
    for line in super::answer::problems(&plan.problems) {
        let _ = writeln!(summary, "{line}");
    }
    summary.push('\n');
    let answers = [super::answer::reasons(&job, &plan), super::answer::short(&plan), super::answer::notes(&job, &plan)];
    for sentence in answers.concat() {
        let _ = writeln!(summary, "{sentence}");
    }
    summary.push('\n');
    for stream in &streams {
        let _ = writeln!(
            summary,
            "{}: read back, feeds {:.1} mm of tape as planned, every cut in its place",
            stream.path.display(),
            stream.feed_mm
        );
    }
    write_whole(&out.join("summary.txt"), summary.as_bytes())?;
    if json {
        let path = |path: &PathBuf| path.display().to_string();
        return answer_json(&json!({
            "estimate": estimate,
            "strips": proofs.strips.iter().map(path).collect::<Vec<_>>(),
            "sheet": path(&proofs.sheet),
            "on_cable": proofs.on_cable.iter().map(path).collect::<Vec<_>>(),
            "work_sheet": path(&bench.out),
            "panels": json!({ "strips": more.strips.iter().map(path).collect::<Vec<_>>(), "sheet": path(&more.sheet) }),
            "streams": streams.iter().map(|stream| path(&stream.path)).collect::<Vec<_>>(),
        }));
    }
    answer(&super::answer::estimate(&estimate))?;
    warn_problems(&plan, talk);
    let first = proofs.strips.first().map_or(String::new(), |path| path.display().to_string());
    let on_cable = proofs.on_cable.first().map_or(String::new(), |path| path.display().to_string());
    answer(&format!(
        "\nLook at:\n  {}  every label at true size: print it at 100 % and check the bar\n  {first}  the first strip: dots, cuts and waste\n  {}  the work sheet: what goes where, with boxes to tick\n  {on_cable}  a label on its cable\n  {}  labels with logo, code, marks, Arabic and Japanese: job panels.toml\n  {}  this, in full\n  {}  the job: change it and run `tapewright estimate` on it\n",
        proofs.sheet.display(),
        bench.out.display(),
        more.sheet.display(),
        out.join("summary.txt").display(),
        out.join("job.toml").display(),
    ))
}

/// Prints every stock to a file, reads it back, and holds it against the plan.
fn print_and_read_back(job: &Job, plan: &Plan, out: &Path, talk: &Talk) -> Result<Vec<Checked>> {
    let place = apart(PATIENCE)?;
    let (found, folders) = streams::found_modules(&place, talk);
    let module = module_for(&found, &job.printer.driver, &folders)?;
    let base = Link::File(out.join("demo.pwg"));
    let mut checked = Vec::new();
    for stock in &plan.stocks {
        let Link::File(path) = base.numbered(&job.stock(stock).id) else { continue };
        let way = Way { module, link: &Link::File(path.clone()), patience: PATIENCE };
        let sent = streams::send(
            &Batch::of(job, stock),
            &mut Rows::new(job, stock)?,
            "demo",
            &way,
            &mut streams::Reach::default(),
            None,
            talk,
        )?;
        let read = streams::measure(&path, None, None, &place, talk)?;
        let feed: u64 = read.iter().map(|strip| strip.lines).sum();
        let cuts: u64 = read.iter().map(|strip| (strip.half_cuts.len() + strip.full_cuts.len()) as u64).sum();
        let wanted = u64::try_from(sent.feed.0).unwrap_or(0);
        if feed != wanted || cuts != stock.strips.cuts {
            return Err(Error::bug(format!(
                "{}: reads back {feed} lines and {cuts} cuts, planned were {wanted} and {}",
                path.display(),
                stock.strips.cuts
            )));
        }
        let feed = job.printer.along.length(Dots(i64::try_from(feed).unwrap_or(0)));
        checked.push(Checked { path, feed_mm: feed.mm() });
    }
    Ok(checked)
}
