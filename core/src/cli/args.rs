//! The flag table: one description feeds parsing and `--help`.

use crate::error::Result;
use crate::run::apart;
use crate::settings::Flags;
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;
use std::time::Duration;
use tapewright_host::Place;

const EXIT_CODES: &str = "\
Exit codes:
  0 done              4 device or link
  1 our fault         5 driver module
  2 the input is wrong  6 storage
  3 supply: tape out, wrong stock  7 a stated limit

A label names a cable. It does not say that the cable is safe, tested or switched off.";

/// Cable labels from a list of cables to printed strips
#[derive(Debug, Parser)]
#[command(name = "tapewright", version, about, max_term_width = 100, after_help = EXIT_CODES, subcommand_required = true, arg_required_else_help = true)]
pub(super) struct Cli {
    #[command(subcommand)]
    pub(super) command: Command,

    /// Answer as JSON on standard output
    #[arg(long, global = true)]
    pub(super) json: bool,

    /// Say less on standard error: only what is wrong
    #[arg(short, long, global = true)]
    pub(super) quiet: bool,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Run the whole job on the shipped demo, with no printer attached
    ///
    /// Writes the demo's cable list and job file, proofs, streams and a summary into a folder.
    #[command(after_help = "Example:\n  tapewright demo\n  tapewright demo --out /tmp/demo")]
    Demo {
        /// Folder to write into
        #[arg(long, value_name = "DIR", default_value = "tapewright-demo")]
        out: PathBuf,
    },
    /// Say how much tape a job uses, what it costs and how long it takes
    #[command(
        after_help = "Examples:\n  tapewright estimate job.toml\n  tapewright estimate cables.csv --stock tape-12 --build flag\n  tapewright estimate cables.xlsx --sheet Audio --build auto --stock tape-12,wrap-24 --json"
    )]
    Estimate(JobArgs),
    /// Draw what would be printed: a picture a strip, and one PDF at true size
    #[command(
        after_help = "Examples:\n  tapewright proof job.toml\n  tapewright proof cables.csv --out proofs --paper letter"
    )]
    Proof {
        #[command(flatten)]
        job: JobArgs,
        /// Folder to write into; default `proof-` and the name of JOB
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Paper of the PDF
        #[arg(long, value_enum, default_value_t = PaperArg::A4)]
        paper: PaperArg,
    },
    /// Print a job
    #[command(
        after_help = "Examples:\n  tapewright print job.toml --to file:job.pwg\n  tapewright print job.toml --only tape-12 --to usb:\n  tapewright print job.toml --only tape-12 --to tcp:192.0.2.7\n  tapewright print job.toml --only tape-12 --to ipp://printer.local/ipp/print\n  tapewright print job.toml --only sleeve-1/4 --to - | send-to-my-printer\n\nA job on several stocks makes one stream for each: the stock's name goes before the file's extension.\nA printer takes one stock at a time: name the one that is loaded with --only."
    )]
    Print {
        #[command(flatten)]
        job: JobArgs,
        /// Where the stream goes: file:PATH, tcp:HOST:PORT, usb:, ipp://HOST/PATH, or - for standard output
        #[arg(long, value_name = "LINK")]
        to: String,
        /// Print only the labels on this stock
        #[arg(long, value_name = "STOCK")]
        only: Option<String>,
        /// Most time in which a device must take at least one byte; a printer that says it is out of
        /// tape, and one behind ipp: that answers, is waited for
        #[arg(long, value_name = "SECONDS", default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=3600))]
        link_patience: u32,
        #[command(flatten)]
        modules: ModuleArgs,
    },
    /// List the stocks known, shipped and your own
    #[command(
        after_help = "Examples:\n  tapewright stock\n  tapewright stock tape-12\n\nYour own stocks: stocks.toml in your settings folder, or stock_files in a job file. DEVELOPERS.md shows one."
    )]
    Stock {
        /// Show one stock in full
        id: Option<String>,
    },
    /// List the printer profiles known, or look for printers
    #[command(
        after_help = "Examples:\n  tapewright printers\n  tapewright printers bench-180\n  tapewright printers --attached\n  tapewright printers --ask ipp://printer.local/ipp/print\n\nYour own profiles: printers.toml in your settings folder, or printer_files in a job file."
    )]
    Printers {
        /// Show one profile in full
        id: Option<String>,
        /// Look for printers on the USB: their links, their drivers, and how to allow access
        #[arg(long, conflicts_with = "id")]
        attached: bool,
        /// Ask a print queue what it can do: the profile to put into printers.toml
        #[arg(long, value_name = "URI", conflicts_with_all = ["id", "attached"])]
        ask: Option<String>,
    },
    /// List the driver modules found and what they speak, or check one
    #[command(
        args_conflicts_with_subcommands = true,
        after_help = "Examples:\n  tapewright drivers\n  tapewright drivers check libtapewright_driver_ours.so\n\nModules are looked for beside the program and in `drivers` of your settings folder."
    )]
    Drivers {
        #[command(subcommand)]
        action: Option<DriversCommand>,
        #[command(flatten)]
        modules: ModuleArgs,
    },
    /// Read a stream back: strips, cuts and the tape it feeds
    #[command(
        after_help = "Examples:\n  tapewright readback job.pwg\n  tapewright readback job.pwg --json --pbm lines/"
    )]
    Readback {
        /// The stream; - for standard input
        stream: PathBuf,
        /// Write one raw PBM a strip into this folder (a row a head line, 1 = ink)
        #[arg(long, value_name = "DIR")]
        pbm: Option<PathBuf>,
        /// Driver family of the stream, where it cannot be recognised
        #[arg(long, value_name = "FAMILY")]
        driver: Option<String>,
        /// Dots per inch along, where the stream does not say
        #[arg(long, value_name = "DPI")]
        dpi: Option<f64>,
        #[command(flatten)]
        modules: ModuleArgs,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum PaperArg {
    /// 210 × 297 mm
    A4,
    /// 8.5 × 11 in
    Letter,
}

/// A job: a TOML job file, or a cable list (CSV, TSV, xlsx, ods) with flags for the rest
#[derive(Debug, Args)]
pub(super) struct JobArgs {
    /// Job file (.toml) or cable list
    pub(super) job: PathBuf,
    /// Printer profile
    #[arg(long, value_name = "ID")]
    printer: Option<String>,
    /// Stock, or several with commas in order of preference
    #[arg(long, value_name = "ID", value_delimiter = ',')]
    stock: Vec<String>,
    /// flag, wrap, band, sleeve, plate, or auto to choose by diameter, plug and stock
    #[arg(long, value_name = "BUILD")]
    build: Option<String>,
    /// Which ends get a label: both, near or far
    #[arg(long, value_name = "ENDS")]
    ends: Option<String>,
    /// A line of text, once for each line: "{owner} {batch}"
    #[arg(long, value_name = "LINE")]
    text: Vec<String>,
    /// A line of text for the near end, where it differs
    #[arg(long, value_name = "LINE")]
    text_near: Vec<String>,
    /// A line of text for the far end, where it differs
    #[arg(long, value_name = "LINE")]
    text_far: Vec<String>,
    /// Owner mark where the list has none
    #[arg(long, value_name = "MARK")]
    owner: Option<String>,
    /// What parts labels: half, full (cuts) or snip (printed guides); default the best there is
    #[arg(long, value_name = "HOW")]
    between: Option<String>,
    /// Sheet of a spreadsheet
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// Take a column from another header: od_mm="Outside dia"
    #[arg(long, value_name = "OURS=THEIRS")]
    column: Vec<String>,
    /// Distance labels are read from, in millimetres [default: 500, arm's length]
    #[arg(long, value_name = "MM")]
    reading_mm: Option<f64>,
    /// Which way flags read: along the tape (hanging cables) or along the cable (level cables)
    #[arg(long, value_name = "tape|cable")]
    flag_runs: Option<String>,
}

impl JobArgs {
    /// The flags as settings see them.
    pub(super) fn flags(&self) -> Flags {
        Flags {
            printer: self.printer.clone(),
            stock: self.stock.clone(),
            build: self.build.clone(),
            ends: self.ends.clone(),
            owner: self.owner.clone(),
            between: self.between.clone(),
            text: self.text.clone(),
            text_near: self.text_near.clone(),
            text_far: self.text_far.clone(),
            sheet: self.sheet.clone(),
            column: self.column.clone(),
            reading_mm: self.reading_mm,
            flag_runs: self.flag_runs.clone(),
        }
    }
}

#[derive(Debug, Subcommand)]
pub(super) enum DriversCommand {
    /// Check a driver module: contract, same bytes, cuts, replies, cancelling, memory, reading back
    ///
    /// Prints what was looked at. Ends with exit code 5 if anything is not in order.
    #[command(after_help = "Examples:\n  tapewright drivers check libtapewright_driver_ours.so")]
    Check {
        /// The module's file, or a family that `tapewright drivers` lists
        file: PathBuf,
        /// Only this family of it
        #[arg(long, value_name = "ID")]
        family: Option<String>,
        #[command(flatten)]
        modules: ModuleArgs,
    },
}

/// Where driver modules run.
#[derive(Debug, Args)]
pub(super) struct ModuleArgs {
    /// Run driver modules inside this process, where a crash of theirs is ours
    #[arg(long)]
    in_process: bool,
    /// Most time a driver module may take for an answer
    #[arg(long, value_name = "SECONDS", default_value_t = 10, value_parser = clap::value_parser!(u32).range(1..=3600))]
    patience: u32,
}

impl ModuleArgs {
    pub(super) fn place(&self) -> Result<Place> {
        if self.in_process { Ok(Place::Here) } else { apart(Duration::from_secs(self.patience.into())) }
    }
}
