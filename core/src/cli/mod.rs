//! The command line: arguments in, answers on standard output, talk on standard error.

mod again;
mod answer;
mod args;
mod cables;
mod cartridges;
mod demo;
mod finding;
mod jobs;
mod keeping;
mod listing;
mod log;
mod pieces;
mod printing;
mod proofs;
mod sheets;
mod shelf;
mod streams;

use crate::cable::CableList;
use crate::error::{Error, Kind, Result};
use crate::job::{Job, Plan};
use crate::journal::day;
use crate::register::{Register, Selection, usual_place};
use crate::run::SERVE;
use crate::settings::{Known, RegisterPlace, ShelfFile, load_job_and_shelf, user_folder};
use crate::shelf::Freer;
use args::{Cli, Command, DriversCommand, JobArgs};
use clap::Parser;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant, SystemTime};

/// Most time a driver module may take for an answer where nobody says otherwise.
const PATIENCE: Duration = Duration::from_secs(10);

/// Runs the program with the process's arguments.
pub fn main() -> ExitCode {
    let mut arguments = std::env::args_os().skip(1);
    if let (Some(first), Some(path)) = (arguments.next(), arguments.next())
        && first == SERVE
    {
        let folders: Vec<PathBuf> = arguments.map(PathBuf::from).collect();
        return serve_module(Path::new(&path), &folders);
    }
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            let asked = !error.use_stderr();
            let _ = error.print();
            return if asked { ExitCode::SUCCESS } else { ExitCode::from(Kind::Input.exit_code()) };
        }
    };
    let talk = Talk { quiet: cli.quiet };
    match run(&cli, &talk) {
        Ok(()) => ExitCode::SUCCESS,
        Err(Stop::Closed) => ExitCode::SUCCESS,
        Err(Stop::Failed(error)) => {
            let mut stderr = io::stderr();
            let _ = writeln!(stderr, "tapewright: {error}");
            ExitCode::from(error.kind().exit_code())
        }
    }
}

/// The whole life of a process that was started for one driver module. Whoever started it reads
/// the answers, and is the only one who cares when they cannot be written.
fn serve_module(path: &Path, folders: &[PathBuf]) -> ExitCode {
    // Ctrl-C reaches the whole group; the program decides, and ends this process.
    let _ = ctrlc::set_handler(|| ());
    match tapewright_host::serve(path, folders, io::stdin().lock(), io::stdout()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::from(Kind::Device.exit_code()),
    }
}

/// Ctrl-C was pressed.
static STOP: AtomicBool = AtomicBool::new(false);

/// From now on Ctrl-C asks for an end: at the next label the job is given up in order. Pressed again
/// it ends the program at once, as without this.
fn heed_ctrl_c() {
    let asked = || {
        if STOP.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
        let _ = writeln!(io::stderr(), "stopping at the next label; again to stop at once");
    };
    // Where the system does not offer it, Ctrl-C ends the program as ever.
    let _ = ctrlc::set_handler(asked);
}

/// An error once Ctrl-C was pressed.
fn stopped() -> Result<()> {
    if STOP.load(Ordering::Relaxed) { Err(Error::new(Kind::Device, "stopped by Ctrl-C")) } else { Ok(()) }
}

/// Why a command ends early.
enum Stop {
    /// Whoever reads our standard output has seen enough; that is no error.
    Closed,
    Failed(Error),
}

impl From<Error> for Stop {
    fn from(error: Error) -> Self {
        Self::Failed(error)
    }
}

type Done = std::result::Result<(), Stop>;

/// Standard output as the place of answers.
fn answer(text: &str) -> Done {
    let mut stdout = io::stdout().lock();
    match stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Err(Stop::Closed),
        Err(error) => Err(Error::storage(format!("standard output: {error}")).into()),
    }
}

/// An answer as one line of JSON.
fn answer_json<T: serde::Serialize>(value: &T) -> Done {
    let text = serde_json::to_string(value).map_err(|error| Error::bug(format!("JSON: {error}")))?;
    answer(&format!("{text}\n"))
}

/// Standard error as the place of talk.
struct Talk {
    quiet: bool,
}

impl Talk {
    /// Something to know.
    fn say(&self, text: &str) {
        if !self.quiet {
            let _ = writeln!(io::stderr(), "{text}");
        }
    }

    /// Something wrong that does not stop the work.
    fn warn(&self, text: &str) {
        let _ = writeln!(io::stderr(), "{text}");
    }

    /// A progress bar for so many labels; hidden when short, quiet or not on a terminal.
    fn bar(&self, labels: usize, what: &'static str) -> indicatif::ProgressBar {
        if self.quiet || labels < 200 || !io::stderr().is_terminal() {
            return indicatif::ProgressBar::hidden();
        }
        let style = indicatif::ProgressStyle::with_template("{msg} [{bar:30}] {pos} of {len} labels, {eta} left");
        let bar = indicatif::ProgressBar::new(labels as u64).with_message(what);
        match style {
            Ok(style) => bar.with_style(style.progress_chars("=> ")),
            Err(_) => bar,
        }
    }
}

fn run(cli: &Cli, talk: &Talk) -> Done {
    match &cli.command {
        Command::Demo { out } => demo::run(out, cli.json, talk),
        Command::Estimate(args) => {
            let (job, shelf) = load(cli, args, talk)?;
            let plan = planned(&job, args)?;
            let mut go_on = within(args.budget());
            let freer: Vec<_> = plan.stocks.iter().map(|stock| job.freer(stock, &mut go_on)).collect();
            show_estimate(&job, &plan, &freer, shelf.as_ref(), cli.json, talk)?;
            if !cli.json {
                streams::note_half_cuts(&job, &plan, talk)?;
            }
            any_label(&plan)
        }
        Command::Proof { job: args, out, paper, on_cable } => {
            let (job, _) = load(cli, args, talk)?;
            let plan = planned(&job, args)?;
            let out = out.clone().unwrap_or_else(|| format!("proof-{}", args.name()).into());
            warn_problems(&plan, talk);
            any_label(&plan)?;
            proofs::run(&job, &plan, &out, (*paper, *on_cable), cli.json, talk)
        }
        Command::Sheet { job: args, out, paper, reference } => {
            let (job, _) = load(cli, args, talk)?;
            let plan = planned(&job, args)?;
            let name = args.name();
            let out = out.clone().unwrap_or_else(|| format!("sheet-{name}.pdf").into());
            warn_problems(&plan, talk);
            any_label(&plan)?;
            sheets::run(
                &job,
                &plan,
                &sheets::To { out, paper: *paper, title: name, reference: reference.clone() },
                cli.json,
                talk,
            )
        }
        Command::Print { job: args, to, only, link_patience, cartridge, from_cartridge, take, no_take, modules } => {
            heed_ctrl_c();
            let (job, mut shelf) = load(cli, args, talk)?;
            let plan = planned(&job, args)?;
            warn_problems(&plan, talk);
            any_label(&plan)?;
            // Where the platform tells no place for data, there is no journal.
            let register = register_path(cli).ok();
            let whereto = printing::Where {
                to,
                only: only.as_deref(),
                cartridges: cartridge.map(|nth| (nth, nth)).or(from_cartridge.map(|nth| (nth, usize::MAX))),
                take: if *take { Some(true) } else { no_take.then_some(false) },
                patience: Duration::from_secs((*link_patience).into()),
                place: modules.place()?,
                register: register.as_deref(),
                named: cli.register.is_some(),
            };
            printing::print(&job, &plan, &args.name(), &whereto, shelf.as_mut(), cli.json, talk)
        }
        Command::Cables { action } => {
            let cables = cables::Cables { path: register_path(cli)?, now: now(), json: cli.json, talk };
            cables.run(action)
        }
        Command::Resume { job, last_good, again } => {
            heed_ctrl_c();
            again::resume(&register_path(cli)?, *job, last_good.as_deref(), again, cli.json, talk)
        }
        Command::Reprint { name, end, batch, due, strip_of, again } => {
            heed_ctrl_c();
            let asked = again::Asked {
                name,
                due: due.as_deref(),
                end: end.as_deref(),
                batch: batch.as_deref(),
                strip_of: strip_of.as_deref(),
            };
            again::reprint(&register_path(cli)?, &asked, again, cli.json, talk)
        }
        Command::Jobs { job, last_good, spoilt, write_off, sheet, paper } => {
            let mut register = Register::existing(&register_path(cli)?, waiting(talk))?;
            let said = jobs::Said { last_good: last_good.as_deref(), spoilt, write_off: *write_off };
            let sheet = sheet.as_deref().map(|out| (out, *paper));
            jobs::run(&mut register, *job, &said, sheet, cli.json, talk)
        }
        Command::Stock { action: Some(action), shelf, .. } => {
            shelf::change(&known_with(cli)?, shelf.as_deref(), action, cli.json, talk)
        }
        Command::Stock { action: None, id, shelf } => {
            let known = known_with(cli)?;
            let shelf = shelf::shown(shelf.as_deref(), &known)?;
            listing::stocks(&known, shelf.as_ref(), id.as_deref(), cli.json)
        }
        Command::Printers { ask: Some(uri), .. } => finding::ask(uri, cli.json),
        Command::Printers { attached: true, .. } => finding::attached(cli.json, talk),
        Command::Printers { id, .. } => listing::printers(&known()?, id.as_deref(), cli.json),
        Command::Drivers { action: None, modules } => listing::drivers(&modules.place()?, cli.json, talk),
        Command::Drivers { action: Some(DriversCommand::Check { file, family, modules }), .. } => {
            listing::check(file, family.as_deref(), &modules.place()?, cli.json, talk)
        }
        Command::Readback { stream, pbm, driver, dpi, modules } => {
            let place = modules.place()?;
            streams::readback(stream, pbm.as_deref(), driver.as_deref(), *dpi, &place, cli.json, talk)
        }
    }
}

/// The register's file: that of the flag, else the usual one.
fn register_path(cli: &Cli) -> Result<PathBuf> {
    cli.register.clone().or_else(usual_place).ok_or_else(|| {
        Error::input("found no folder for data, wanted --register FILE, or TAPEWRIGHT_DATA set to a folder")
    })
}

/// What the register says while it keeps the program waiting.
fn waiting(talk: &Talk) -> impl Fn(&str) + 'static {
    let talk = Talk { quiet: talk.quiet };
    move |text| talk.say(text)
}

/// Seconds since 1970, UTC.
#[allow(clippy::disallowed_methods, reason = "the clock is read here and handed down")]
fn now() -> i64 {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
    since.map_or(0, |time| i64::try_from(time.as_secs()).unwrap_or(i64::MAX))
}

fn known() -> Result<Known> {
    Known::load(user_folder().as_deref())
}

/// What is known, and where the register is.
fn known_with(cli: &Cli) -> Result<Known> {
    known_at(register_path(cli).ok(), cli.quiet)
}

/// What is known, with the register in this file.
fn known_at(register: Option<PathBuf>, quiet: bool) -> Result<Known> {
    let say: fn(&str) = |text| Talk { quiet: false }.say(text);
    let wait = if quiet { |_: &str| () } else { say };
    Ok(Known { register: register.map(|path| RegisterPlace { path, wait }), ..known()? })
}

/// The cables of the register that the flags of a job name; `None` where they name a list.
fn from_register(cli: &Cli, args: &JobArgs, talk: &Talk) -> Result<Option<CableList>> {
    let Some(mut which) = args.selection() else { return Ok(None) };
    let register = Register::existing(&register_path(cli)?, waiting(talk))?;
    if let Some(within) = &args.due {
        let until = cables::until(now(), "--due", Some(within))?;
        let mut ids: Vec<i64> = register.due(until, None)?.due.iter().map(|due| due.cable.id).collect();
        ids.dedup();
        if ids.is_empty() {
            return Err(Error::input(format!(
                "found no label that is due until {}, wanted one: `tapewright cables due --within 90d` looks ahead",
                day(until)
            )));
        }
        which.ids = Some(ids);
    }
    // A cable's own name means that cable, whatever else has these words in it.
    if let ([scraps], [], None) = (&which.scraps[..], &which.batches[..], &which.ids)
        && scraps.split_whitespace().count() > 1
        && let Ok(named) = register.named(std::slice::from_ref(scraps))
        && let [one] = &named[..]
    {
        which = Selection { ids: Some(vec![one.id]), ..Selection::default() };
    }
    register.list(&which).map(Some)
}

fn load(cli: &Cli, args: &JobArgs, talk: &Talk) -> Result<(Job, Option<ShelfFile>)> {
    let list = from_register(cli, args, talk)?;
    let (job, shelf) = load_job_and_shelf(args.job.as_deref(), &args.flags(), known_with(cli)?, list)?;
    for (header, column) in job.list().near_misses() {
        talk.warn(&format!("note: column `{header}` is not used; did you mean `{}`?", column.name()));
    }
    for remark in job.remarks() {
        talk.say(&format!("note: {remark}"));
    }
    Ok((job, shelf))
}

/// Says "go on" until the time is up.
#[allow(clippy::disallowed_methods, reason = "the clock is read here and handed down; a plan says when it ran out")]
fn within(time: Duration) -> impl FnMut() -> bool {
    let begun = Instant::now();
    move || begun.elapsed() < time
}

/// Thinks a job through in the time there is.
fn planned(job: &Job, args: &JobArgs) -> Result<Plan> {
    let plan = job.plan_within(&mut within(args.budget()));
    label_is_there("--from-label", job.policy.from_label.as_ref(), job, &plan)?;
    label_is_there("--to-label", job.policy.to_label.as_ref(), job, &plan)?;
    Ok(plan)
}

/// A label to begin from, or to end with, must be one of the job.
fn label_is_there(flag: &str, label: Option<&(Option<String>, usize)>, job: &Job, plan: &Plan) -> Result<()> {
    let Some((stock, first)) = label else { return Ok(()) };
    let used: Vec<&str> = plan.stocks.iter().map(|stock| job.stock(stock).id.as_str()).collect();
    let wrong = |text: String| Err(Error::input(format!("{flag}: {text}")));
    match stock {
        _ if used.is_empty() => wrong(format!("found {first}, the job has fewer labels")),
        None if used.len() > 1 => wrong(format!("found {first} in a job on {}, wanted STOCK:{first}", used.join(", "))),
        Some(stock) if !used.contains(&stock.as_str()) => wrong(format!(
            "found no label on `{stock}` {} {first}, the job's others are on {}",
            if flag == "--to-label" { "up to label" } else { "from label" },
            used.join(", ")
        )),
        _ => Ok(()),
    }
}

/// A job in which nothing can be printed has the wrong input.
fn any_label(plan: &Plan) -> Done {
    if plan.stocks.is_empty() {
        let why = plan
            .problems
            .first()
            .map_or("the list has no cables".to_owned(), |first| format!("the first problem: {}", first.text));
        return Err(
            Error::input(format!("no label can be made from {}; {why}", answer::plural(plan.cables, "cable"))).into()
        );
    }
    Ok(())
}

/// Problems spelled out on standard error, at most so many.
const MOST_SHOWN: usize = 50;

fn warn_problems(plan: &Plan, talk: &Talk) {
    let lines = answer::problems(&plan.problems);
    for line in lines.iter().take(MOST_SHOWN) {
        talk.warn(line);
    }
    if lines.len() > MOST_SHOWN {
        talk.warn(&format!("… and {} more; --json lists them all", lines.len() - MOST_SHOWN));
    }
}

fn show_estimate(
    job: &Job,
    plan: &Plan,
    freer: &[Vec<Freer>],
    shelf: Option<&ShelfFile>,
    json: bool,
    talk: &Talk,
) -> Done {
    let estimate = plan.estimate_with(job, freer);
    if json {
        return answer_json(&estimate);
    }
    answer(&answer::estimate(&estimate))?;
    if let Some(file) = shelf {
        for stock in plan.stocks.iter().filter(|stock| stock.cartridges.as_ref().is_none_or(|one| !one.on_shelf)) {
            let id = &job.stock(stock).id;
            talk.say(&format!(
                "note: the shelf ({}) does not name {id}: planned on full cartridges; `tapewright stock add {id} --sealed 0` says that there is none",
                file.path().display()
            ));
        }
    }
    for sentence in answer::reasons(job, plan) {
        talk.say(&sentence);
    }
    for sentence in answer::short(plan).iter().take(MOST_SHOWN) {
        talk.say(sentence);
    }
    for sentence in answer::notes(job, plan).iter().take(MOST_SHOWN) {
        talk.say(sentence);
    }
    warn_problems(plan, talk);
    Ok(())
}
