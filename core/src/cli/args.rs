//! The flag table: one description feeds parsing and `--help`.

use super::cables::args::CablesCommand;
use crate::error::Result;
use crate::proof::Paper;
use crate::register::Selection;
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
        after_help = "Examples:\n  tapewright reprint OTTER 1043\n  tapewright reprint OTTER 1043 --end near --to usb:\n  tapewright reprint --batch OTTER --dry-run\n  tapewright reprint --strip-of \"OTTER 1043 near\""
    )]
    Reprint {
        /// Batch and number
        #[arg(required_unless_present_any = ["batch", "strip_of"])]
        name: Vec<String>,
        /// Only this end: near or far
        #[arg(long, value_name = "END")]
        end: Option<String>,
        /// Every label of a batch
        #[arg(long, value_name = "WORD", conflicts_with = "name")]
        batch: Option<String>,
        /// Every label of the strip on which this one came out last
        #[arg(long, value_name = "LABEL", conflicts_with_all = ["name", "batch", "end"])]
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

/// A job: a TOML job file, or a cable list (CSV, TSV, xlsx, ods) with flags for the rest
#[derive(Debug, Args)]
pub(super) struct JobArgs {
    /// Job file (.toml) or cable list
    #[arg(required_unless_present_any = ["batch", "find", "due"])]
    pub(super) job: Option<PathBuf>,
    /// Take the cables of this batch from the register; may be given several times
    #[arg(long, value_name = "WORD")]
    batch: Vec<String>,
    /// Take cables from the register that have these scraps in what is known of them: --find "otter 1040"
    #[arg(long, value_name = "SCRAPS")]
    find: Vec<String>,
    /// Take the cables of the register whose labels are to be renewed; --due=30d for those that will be
    #[arg(long, value_name = "TIME", num_args = 0..=1, require_equals = true, default_missing_value = "")]
    pub(super) due: Option<String>,
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
    /// A picture beside the text: PNG, JPEG or SVG
    #[arg(long, value_name = "FILE")]
    logo: Option<PathBuf>,
    /// A code beside the text, or several kinds in order of preference: qr, micro-qr, rmqr,
    /// data-matrix, code-128
    #[arg(long, value_name = "KIND", value_delimiter = ',')]
    code: Vec<String>,
    /// What the code says: "{owner} {batch} {number}"
    #[arg(long, value_name = "TEXT")]
    code_content: Option<String>,
    /// Order labels come out in: list, pairs (the two of a cable side by side, cables in any order) or
    /// free (any order, the two of a cable may come apart) [default: list]
    #[arg(long, value_name = "ORDER")]
    order: Option<String>,
    /// The shelf's file: the cartridges there are [default: shelf.toml in your settings folder if there is one,
    /// else the register]
    #[arg(long, value_name = "FILE")]
    shelf: Option<PathBuf>,
    /// Plan only from this label on, counted in list order; STOCK:N in a job on several stocks
    #[arg(long, value_name = "N")]
    from_label: Option<String>,
    /// Most time to look for the best plan; the same again for what another order would save
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0, value_parser = budget)]
    budget: f64,
}

fn budget(text: &str) -> std::result::Result<f64, String> {
    let seconds = text.parse().ok().filter(|seconds| (0.0..=86_400.0).contains(seconds));
    seconds.ok_or_else(|| format!("found `{text}`, wanted 0 to 86400 seconds"))
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
            logo: self.logo.clone(),
            code: self.code.clone(),
            code_content: self.code_content.clone(),
            order: self.order.clone(),
            from_label: self.from_label.clone(),
            shelf: self.shelf.clone(),
        }
    }

    /// Which cables of the register are wanted; `None` where a list is.
    pub(super) fn selection(&self) -> Option<Selection> {
        if self.batch.is_empty() && self.find.is_empty() && self.due.is_none() {
            return None;
        }
        Some(Selection { batches: self.batch.clone(), scraps: self.find.clone(), ..Selection::default() })
    }

    /// What a person calls the job: its file's name, else what is asked of the register.
    pub(super) fn name(&self) -> String {
        match &self.job {
            Some(path) => path.file_stem().unwrap_or_default().to_string_lossy().into_owned(),
            None => {
                let due = self.due.as_ref().map(|_| "due");
                let words = self.batch.iter().chain(&self.find).flat_map(|text| text.split_whitespace()).chain(due);
                let plain = |word: &str| word.chars().filter(|c| c.is_alphanumeric()).collect::<String>();
                words.map(plain).collect::<Vec<_>>().join("-").to_lowercase()
            }
        }
    }

    pub(super) fn budget(&self) -> Duration {
        Duration::from_secs_f64(self.budget)
    }
}

/// How kept labels are printed again.
#[derive(Debug, Args)]
pub(super) struct AgainArgs {
    /// Where the stream goes [default: where the job went]
    #[arg(long, value_name = "LINK")]
    pub(super) to: Option<String>,
    /// Another printer profile, of the same resolution
    #[arg(long, value_name = "ID")]
    pub(super) printer: Option<String>,
    /// Only the labels on this stock
    #[arg(long, value_name = "STOCK")]
    pub(super) only: Option<String>,
    /// Say what would be printed and what it takes, and print nothing
    #[arg(long)]
    pub(super) dry_run: bool,
    /// The shelf's file: the cartridges there are [default: shelf.toml in your settings folder, else the register]
    #[arg(long, value_name = "FILE")]
    pub(super) shelf: Option<PathBuf>,
    /// Leave the shelf as it is even if it goes to a printer
    #[arg(long)]
    pub(super) no_take: bool,
    /// Most time in which a device must take at least one byte
    #[arg(long, value_name = "SECONDS", default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=3600))]
    pub(super) link_patience: u32,
    /// Most time to look for the best plan
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0, value_parser = budget)]
    budget: f64,
    #[command(flatten)]
    pub(super) modules: ModuleArgs,
}

impl AgainArgs {
    pub(super) fn budget(&self) -> Duration {
        Duration::from_secs_f64(self.budget)
    }
}

/// What is left, on a cartridge that is open or in a pile that is sealed.
#[derive(Debug, Args)]
pub(super) struct LeftArgs {
    /// What is left on an open cartridge: 3.2m, 320cm, 10ft
    #[arg(long, value_name = "LENGTH", conflicts_with = "sealed")]
    pub(super) length: Option<String>,
    /// The length is a guess, right to so much; without a value to a tenth, at least 10 cm
    #[arg(long, value_name = "ERROR", num_args = 0..=1, default_missing_value = "", requires = "length")]
    pub(super) estimated: Option<String>,
    /// How many are sealed
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(0..=1000))]
    pub(super) sealed: Option<u32>,
    /// Price of a full one, where it differs from the stock's
    #[arg(long, value_name = "MONEY")]
    pub(super) price: Option<f64>,
}

#[derive(Debug, Subcommand)]
pub(super) enum StockCommand {
    /// Put cartridges on the shelf
    #[command(
        after_help = "Examples:\n  tapewright stock add tape-12 --length 3.2m\n  tapewright stock add tape-12 --length 2m --estimated 30cm\n  tapewright stock add sleeve-3/8 --sealed 2\n  tapewright stock add tape-24 --sealed 0    (there is none: buying is planned)"
    )]
    Add {
        /// The stock
        stock: String,
        #[command(flatten)]
        left: LeftArgs,
        /// What you write on it; without this the next free one
        #[arg(long, value_name = "ID")]
        id: Option<String>,
    },
    /// Say what is left on a cartridge, or how many are sealed
    #[command(
        after_help = "Examples:\n  tapewright stock set tape-12-a --length 1.4m\n  tapewright stock set tape-12-sealed --sealed 3"
    )]
    Set {
        /// The cartridge
        id: String,
        #[command(flatten)]
        left: LeftArgs,
    },
    /// Take a cartridge off the shelf: it is empty or gone
    Remove {
        /// The cartridge
        id: String,
    },
    /// Say that a cartridge is in a printer: it needs no change and no loading
    ///
    /// What the printer feeds at mounting is taken off its length. A sealed one is opened.
    Mount {
        /// The cartridge
        id: String,
        /// The printer
        #[arg(long, value_name = "ID")]
        printer: String,
    },
    /// Say that a cartridge is back on the shelf
    ///
    /// What the printer feeds out when it is taken out is taken off its length.
    Unmount {
        /// The cartridge
        id: String,
    },
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
