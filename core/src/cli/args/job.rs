//! A job, new or again: which cables, on what, how laid out and planned.

use super::ModuleArgs;
use crate::register::Selection;
use crate::settings::Flags;
use clap::Args;
use std::path::PathBuf;
use std::time::Duration;

/// A job: a TOML job file, or a cable list (CSV, TSV, xlsx, ods) with flags for the rest
#[derive(Debug, Args)]
pub(in crate::cli) struct JobArgs {
    /// Job file (.toml) or cable list
    #[arg(required_unless_present_any = ["batch", "find", "due"])]
    pub(in crate::cli) job: Option<PathBuf>,
    /// Take the cables of this batch from the register; may be given several times
    #[arg(long, value_name = "WORD")]
    batch: Vec<String>,
    /// Take cables from the register that have these scraps in what is known of them: --find "otter 1040"
    #[arg(long, value_name = "SCRAPS")]
    find: Vec<String>,
    /// Take the cables of the register whose labels are to be renewed; --due=30d for those that will be
    #[arg(long, value_name = "TIME", num_args = 0..=1, require_equals = true, default_missing_value = "")]
    pub(in crate::cli) due: Option<String>,
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
    /// Plan only up to this label, counted in the same way
    #[arg(long, value_name = "N")]
    to_label: Option<String>,
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
    pub(in crate::cli) fn flags(&self) -> Flags {
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
            to_label: self.to_label.clone(),
            shelf: self.shelf.clone(),
        }
    }

    /// Which cables of the register are wanted; `None` where a list is.
    pub(in crate::cli) fn selection(&self) -> Option<Selection> {
        if self.batch.is_empty() && self.find.is_empty() && self.due.is_none() {
            return None;
        }
        Some(Selection { batches: self.batch.clone(), scraps: self.find.clone(), ..Selection::default() })
    }

    /// What a person calls the job: its file's name, else what is asked of the register.
    pub(in crate::cli) fn name(&self) -> String {
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

    pub(in crate::cli) fn budget(&self) -> Duration {
        Duration::from_secs_f64(self.budget)
    }
}

/// How kept labels are printed again.
#[derive(Debug, Args)]
pub(in crate::cli) struct AgainArgs {
    /// Where the stream goes [default: where the job went]
    #[arg(long, value_name = "LINK")]
    pub(in crate::cli) to: Option<String>,
    /// Another printer profile, of the same resolution
    #[arg(long, value_name = "ID")]
    pub(in crate::cli) printer: Option<String>,
    /// Only the labels on this stock
    #[arg(long, value_name = "STOCK")]
    pub(in crate::cli) only: Option<String>,
    /// Say what would be printed and what it takes, and print nothing
    #[arg(long)]
    pub(in crate::cli) dry_run: bool,
    /// The shelf's file: the cartridges there are [default: shelf.toml in your settings folder, else the register]
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) shelf: Option<PathBuf>,
    /// Leave the shelf as it is even if it goes to a printer
    #[arg(long)]
    pub(in crate::cli) no_take: bool,
    /// Most time in which a device must take at least one byte
    #[arg(long, value_name = "SECONDS", default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=3600))]
    pub(in crate::cli) link_patience: u32,
    /// Most time to look for the best plan
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0, value_parser = budget)]
    budget: f64,
    #[command(flatten)]
    pub(in crate::cli) modules: ModuleArgs,
}

impl AgainArgs {
    pub(in crate::cli) fn budget(&self) -> Duration {
        Duration::from_secs_f64(self.budget)
    }
}
