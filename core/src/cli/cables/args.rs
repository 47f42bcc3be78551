//! The flags of `tapewright cables`.

use clap::builder::TypedValueParser as _;
use clap::{Args, Subcommand};
use std::path::PathBuf;

#[derive(Debug, Subcommand)]
pub(in crate::cli) enum CablesCommand {
    /// Take a cable list in: all of it, or nothing where a row clashes
    ///
    /// Shows row by row what is added, what changes, and what clashes: a cable twice in the list, the
    /// number of a retired cable, another owner, a field that is wrong. A column the list does not have
    /// stays as it is in the register.
    #[command(
        after_help = "Examples:\n  tapewright cables import cables.csv --dry-run\n  tapewright cables import cables.xlsx --sheet Audio --column od_mm=\"Outside dia\"\n  tapewright cables import cables.csv --retire-missing"
    )]
    Import {
        /// The list: CSV, TSV, xlsx or ods
        list: PathBuf,
        /// Sheet of a spreadsheet
        #[arg(long, value_name = "NAME")]
        sheet: Option<String>,
        /// Take a column from another header: od_mm="Outside dia"
        #[arg(long, value_name = "OURS=THEIRS")]
        column: Vec<String>,
        /// Owner mark of new cables whose row has none
        #[arg(long, value_name = "MARK", default_value = "", hide_default_value = true)]
        owner: String,
        /// Show what would happen, and write nothing
        #[arg(long)]
        dry_run: bool,
        /// Retire cables of the list's batches that the list does not have
        #[arg(long)]
        retire_missing: bool,
    },
    /// Write cables as a list: FILE.csv, FILE.tsv, or - for CSV on standard output
    ///
    /// Retired cables are left out: a list that is imported again would clash with them.
    #[command(
        after_help = "Examples:\n  tapewright cables export cables.csv\n  tapewright cables export - --batch OTTER\n  tapewright cables export mics.tsv mic 50ft"
    )]
    Export {
        /// Where to
        file: PathBuf,
        #[command(flatten)]
        which: WhichArgs,
    },
    /// Find cables by any scraps of what their labels say
    ///
    /// Every scrap must be in what is known of the cable; whole words rank before parts. #17 is the
    /// cable's number in the register, as codes on labels say it.
    #[command(
        after_help = "Examples:\n  tapewright cables find otter 1040\n  tapewright cables find 50 ft mic\n  tapewright cables find \"TWP OTTER 1040 #17\""
    )]
    Find {
        /// Scraps
        #[arg(required = true)]
        scraps: Vec<String>,
        /// Show retired ones, too
        #[arg(long)]
        retired: bool,
        /// Show all, not only the best 50
        #[arg(long)]
        all: bool,
    },
    /// List cables
    List {
        #[command(flatten)]
        which: WhichArgs,
        /// Show retired ones, too
        #[arg(long)]
        retired: bool,
    },
    /// Propose words for new batches: short, known to everyone, and not easily heard as one in use
    Words {
        /// How many
        #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u16).range(1..=500).map(usize::from))]
        count: usize,
    },
    /// List batches: words, how many cables, which numbers
    Batches,
    /// Show whose label it is: fields, both ends, what is printed on them, history
    #[command(
        after_help = "Examples:\n  tapewright cables show otter 1040\n  tapewright cables show 1040\n  tapewright cables show \"#17\""
    )]
    Show {
        /// Batch and number, the number alone where only one cable has it, or #ID
        #[arg(required = true)]
        name: Vec<String>,
    },
    /// Add a batch of cables, or go on with one
    ///
    /// Numbers go on after the largest of the word; a new word begins after the largest number any cable
    /// has ever had, so that a number alone tells cables apart. No number is given twice.
    #[command(
        after_help = "Examples:\n  tapewright cables add OTTER --count 12 --length \"50 ft\" --kind \"microphone cable\"\n  tapewright cables add --propose --count 12 --length \"25 ft\"\n  tapewright cables add HERON --count 4 --start 2001 --step 10 --owner TWP"
    )]
    Add(Box<AddArgs>),
    /// Change fields of one cable
    #[command(
        after_help = "Examples:\n  tapewright cables change otter 1040 length=\"25 ft\" note=\n  tapewright cables change \"#17\" owner=TWP"
    )]
    Change {
        /// The cable's name, then FIELD=VALUE; nothing after = clears the field
        #[arg(required = true, value_name = "NAME FIELD=VALUE")]
        words: Vec<String>,
    },
    /// Retire cables: they are gone, and keep their numbers
    #[command(
        after_help = "Examples:\n  tapewright cables retire otter 1040 otter 1041\n  tapewright cables retire --batch OTTER"
    )]
    Retire {
        /// Cables
        #[arg(required_unless_present = "batch")]
        names: Vec<String>,
        /// All cables of this batch
        #[arg(long, value_name = "WORD", conflicts_with = "names")]
        batch: Option<String>,
    },
    /// List the labels that are to be renewed, by place and date, and cables that have none
    ///
    /// A label's time runs from its last printing, or from when it was last seen good.
    #[command(
        after_help = "Examples:\n  tapewright cables due\n  tapewright cables due --within 60d --place \"stage left\"\n  tapewright print job.toml --due --to usb:"
    )]
    Due {
        /// And those that will be within this time: 30d, 6 weeks, 2 months
        #[arg(long, value_name = "TIME")]
        within: Option<String>,
        /// Only at places with this in their name
        #[arg(long, value_name = "PLACE")]
        place: Option<String>,
    },
    /// Note that someone looked at labels
    ///
    /// Seen good, a label's time begins anew. Any other word makes it due.
    #[command(
        after_help = "Examples:\n  tapewright cables seen otter 1040 otter 1041\n  tapewright cables seen otter 1040 far --word \"flag torn\""
    )]
    Seen {
        /// Cables; near or far after a name for one end
        #[arg(required = true)]
        names: Vec<String>,
        /// Which ends: near, far or both
        #[arg(long, value_name = "END", default_value = "both")]
        end: String,
        /// What was seen
        #[arg(long, value_name = "WORD", default_value = crate::register::SEEN_GOOD)]
        word: String,
    },
    /// Say how long labels of a build last, or list what is said
    #[command(
        after_help = "Examples:\n  tapewright cables renewal\n  tapewright cables renewal flag 18months\n  tapewright cables renewal flag 1year --stock tape-12\n  tapewright cables renewal band never"
    )]
    Renewal {
        /// flag, wrap, band, sleeve or plate
        #[arg(requires = "time")]
        build: Option<String>,
        /// How long: 18months, 2years, 90d; never; or usual
        time: Option<String>,
        /// Only on this stock
        #[arg(long, value_name = "ID", requires = "build")]
        stock: Option<String>,
    },
    /// Copy the register, whole, while others may use it
    Backup {
        /// The copy; a file that is not there yet
        file: PathBuf,
    },
}

/// Which cables.
#[derive(Debug, Args)]
pub(in crate::cli) struct WhichArgs {
    /// Only with these scraps in what is known of them
    pub(super) scraps: Vec<String>,
    /// Only this batch; may be given several times
    #[arg(long, value_name = "WORD")]
    pub(super) batch: Vec<String>,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct AddArgs {
    /// The batch's word; `tapewright cables words` proposes some
    #[arg(required_unless_present = "propose", conflicts_with = "propose")]
    pub(super) word: Option<String>,
    /// Take the word that is hardest to mishear among those in use
    #[arg(long)]
    pub(super) propose: bool,
    /// How many cables
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=i64::from(crate::register::MOST_ADDED)))]
    pub(super) count: u32,
    /// The first number; zeros in front are kept
    #[arg(long, value_name = "NUMBER")]
    pub(super) start: Option<String>,
    /// From one number to the next
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(i64).range(1..=1_000_000))]
    pub(super) step: i64,
    /// Owner mark
    #[arg(long, value_name = "MARK")]
    pub(super) owner: Option<String>,
    /// Length with its unit
    #[arg(long, value_name = "LENGTH")]
    pub(super) length: Option<String>,
    /// Kind of cable
    #[arg(long, value_name = "KIND")]
    pub(super) kind: Option<String>,
    /// Measured diameter with its unit
    #[arg(long, value_name = "DIAMETER")]
    pub(super) od: Option<String>,
    /// Where the near end is
    #[arg(long, value_name = "PLACE")]
    pub(super) from: Option<String>,
    /// Where the far end is
    #[arg(long, value_name = "PLACE")]
    pub(super) to: Option<String>,
    /// What plugs are on, or no
    #[arg(long, value_name = "PLUG")]
    pub(super) terminated: Option<String>,
    /// Build of their labels
    #[arg(long, value_name = "BUILD")]
    pub(super) build: Option<String>,
    /// Stock of their labels
    #[arg(long, value_name = "ID")]
    pub(super) stock: Option<String>,
    /// A note
    #[arg(long, value_name = "TEXT")]
    pub(super) note: Option<String>,
}
