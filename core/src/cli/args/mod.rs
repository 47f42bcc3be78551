//! The flag table: one description feeds parsing and `--help`.

mod job;
mod modules;
mod shelf;

pub(super) use job::{AgainArgs, JobArgs};
pub(super) use modules::{DriversCommand, ModuleArgs};
pub(super) use shelf::{LeftArgs, StockCommand};

use super::cables::args::CablesCommand;
use crate::proof::Paper;
use clap::{Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

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

    /// The register: cables, journal and shelf in one file [default: register.db in your data folder]
    #[arg(long, value_name = "FILE", global = true)]
    pub(super) register: Option<PathBuf>,
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
        after_help = "Examples:\n  tapewright estimate job.toml\n  tapewright estimate cables.csv --stock tape-12 --build flag\n  tapewright estimate cables.xlsx --sheet Audio --build auto --stock tape-12,wrap-24 --json\n\nLabels that fall short are listed by batch: capitals below 20 arc minutes at the reading distance,\nor strokes of one dot where two would do. --json has them as `legibility`, lengths in mm:\n  { \"batch\", \"stock\", \"labels\", \"cap_mm\", \"cap_dots\", \"good_to_mm\", \"readable_to_mm\", \"asked_mm\",\n    \"stroke_dots\", \"module_mm\" (null without a code), \"text\" }; all in order: an empty list."
    )]
    Estimate(JobArgs),
    /// Draw what would be printed: a picture a strip, and one PDF at true size
    #[command(
        after_help = "Examples:\n  tapewright proof job.toml\n  tapewright proof cables.csv --out proofs --paper letter\n  tapewright proof job.toml --on-cable"
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
        /// Also draw labels as they will sit on their cables: one picture for each build, stock and
        /// diameter to a millimetre, of the first such label; at most 50
        #[arg(long)]
        on_cable: bool,
    },
    /// Write the work sheet for the bench: which label goes where, with boxes to tick
    ///
    /// A PDF, strip by strip as the labels are peeled off; which way they read, and what to take care of.
    #[command(
        after_help = "Examples:\n  tapewright sheet job.toml\n  tapewright sheet cables.csv --build flag --out flags.pdf --paper letter"
    )]
    Sheet {
        #[command(flatten)]
        job: JobArgs,
        /// The PDF; default `sheet-` and the name of JOB
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// Paper of the PDF
        #[arg(long, value_enum, default_value_t = PaperArg::A4)]
        paper: PaperArg,
        /// What stands on every page to tell this sheet from others; default a digest of the plan
        #[arg(long, value_name = "TEXT")]
        reference: Option<String>,
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
        /// Print only from this cartridge, by its number in the estimate; the shelf stays as it is, so that
        /// the others can be printed by the same plan
        #[arg(long, value_name = "N", conflicts_with = "from_cartridge")]
        cartridge: Option<usize>,
        /// Print from this cartridge and those after it
        #[arg(long, value_name = "N")]
        from_cartridge: Option<usize>,
        /// Take the tape off the shelf even if it goes to a file
        #[arg(long, conflicts_with = "no_take")]
        take: bool,
        /// Leave the shelf as it is even if it goes to a printer
        #[arg(long)]
        no_take: bool,
        #[command(flatten)]
        modules: ModuleArgs,
    },
    /// Go on where a job broke off: say what has left and what has not, and print the rest
    ///
    /// Prints the bits that were planned, on what is on the shelf now. Labels that may have left
    /// already are printed again and named: where there are two, throw one away.
    #[command(
        after_help = "Examples:\n  tapewright resume --dry-run\n  tapewright resume\n  tapewright resume --last-good \"OTTER 1043 near\"\n  tapewright resume 7 --to usb: --last-good none"
    )]
    Resume {
        /// The job [default: the last one that has labels left]
        job: Option<i64>,
        /// The last label that came out good, by name and end or by number; none if there is none. Those
        /// after it are printed again, whatever the link said
        #[arg(long, value_name = "LABEL")]
        last_good: Option<String>,
        #[command(flatten)]
        again: AgainArgs,
    },
    /// Print labels once more, with the same bits as the first time
    ///
    /// To draw them anew, from a changed list or design, use print.
    #[command(
        after_help = "Examples:\n  tapewright reprint OTTER 1043\n  tapewright reprint OTTER 1043 --end near --to usb:\n  tapewright reprint --batch OTTER --dry-run\n  tapewright reprint --due=30d --to usb:\n  tapewright reprint --strip-of \"OTTER 1043 near\""
    )]
    Reprint {
        /// Batch and number
        #[arg(required_unless_present_any = ["batch", "strip_of", "due"])]
        name: Vec<String>,
        /// Only this end: near or far
        #[arg(long, value_name = "END")]
        end: Option<String>,
        /// Every label of a batch
        #[arg(long, value_name = "WORD", conflicts_with = "name")]
        batch: Option<String>,
        /// Every label that is to be renewed, as it was; --due=30d for those that will be
        #[arg(long, value_name = "TIME", num_args = 0..=1, require_equals = true, default_missing_value = "",
              conflicts_with_all = ["name", "batch"])]
        due: Option<String>,
        /// Every label of the strip on which this one came out last
        #[arg(long, value_name = "LABEL", conflicts_with_all = ["name", "batch", "end", "due"])]
        strip_of: Option<String>,
        #[command(flatten)]
        again: AgainArgs,
    },
    /// List the jobs of the journal, or show one and say what became of its labels
    #[command(
        after_help = "Examples:\n  tapewright jobs\n  tapewright jobs 7\n  tapewright jobs 7 --last-good \"OTTER 1043 near\"\n  tapewright jobs 7 --spoilt \"OTTER 1041 far\"\n  tapewright jobs 7 --sheet sheet.pdf\n  tapewright jobs 7 --write-off"
    )]
    Jobs {
        /// The job
        #[arg(required_if_eq_any = [("write_off", "true")])]
        job: Option<i64>,
        /// The last label that came out good; those after it did not
        #[arg(long, value_name = "LABEL", requires = "job")]
        last_good: Option<String>,
        /// A label that is spoilt or missing: `resume` prints it again
        #[arg(long, value_name = "LABEL", requires = "job")]
        spoilt: Vec<String>,
        /// Nobody wants the labels that are left
        #[arg(long, requires = "job")]
        write_off: bool,
        /// Write its work sheet, a PDF for the bench
        #[arg(long, value_name = "FILE", requires = "job")]
        sheet: Option<PathBuf>,
        /// Paper of the work sheet
        #[arg(long, value_enum, default_value_t = PaperArg::A4, requires = "sheet")]
        paper: PaperArg,
    },
    /// Keep the register of cables: take lists in, find, add, change, write out
    #[command(
        after_help = "Examples:\n  tapewright cables import cables.csv --dry-run\n  tapewright cables find otter 1040\n  tapewright cables show 1040\n  tapewright cables add OTTER --count 12 --length \"50 ft\"\n\nThe register is one file: register.db in your data folder, or --register FILE.\n`tapewright print --batch OTTER …` makes labels for cables of the register."
    )]
    Cables {
        #[command(subcommand)]
        action: CablesCommand,
    },
    /// List the stocks known, and keep the shelf: the cartridges you have
    #[command(
        args_conflicts_with_subcommands = true,
        after_help = "Examples:\n  tapewright stock\n  tapewright stock tape-12\n  tapewright stock add tape-12 --length 3.2m\n  tapewright stock add tape-12 --sealed 2 --price 16\n  tapewright stock set tape-12-a --length 1.4m --estimated 20cm\n  tapewright stock mount tape-12-a --printer bench-180\n\nYour own stocks: stocks.toml in your settings folder, or stock_files in a job file. DEVELOPERS.md shows one.\nThe shelf is in the register; or in shelf.toml of your settings folder, or in shelf_file of a job file, if there is one. A stock it names is planned on the\ncartridges it lists; any other on full cartridges without end."
    )]
    Stock {
        #[command(subcommand)]
        action: Option<StockCommand>,
        /// Show one stock in full
        id: Option<String>,
        /// The shelf's file [default: shelf.toml in your settings folder if there is one, else the register]
        #[arg(long, value_name = "FILE", global = true)]
        shelf: Option<PathBuf>,
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

impl PaperArg {
    pub(super) const fn paper(self) -> Paper {
        match self {
            Self::A4 => Paper::A4,
            Self::Letter => Paper::Letter,
        }
    }
}
