//! Job files, flags and the user's own folder, settled into one job.

mod fonts;
mod parts;
mod policy;
mod shelf;

pub use shelf::{RegisterPlace, SHELF_NAME, ShelfFile, shelf_of};

use crate::cable::{CableList, Column, Kinds, Plugs};
use crate::error::{Doing, Error, Result};
use crate::job::{Ends, Job, Wishes};
use crate::layout::{Build, Design, Runs};
use crate::media::Catalogue;
use crate::store::files::read_text;
use crate::store::table::{TableOptions, read};
use crate::strip::Between;
use crate::unit::Micrometres;
use parts::{CodeFile, LogoFile, MarksFile};
use policy::PlanFile;
use serde::de::{Deserialize, Deserializer, SeqAccess, Visitor};
use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

/// One word or a list of them.
#[derive(Clone, Debug, PartialEq, Eq)]
enum OneOrMore {
    One(String),
    More(Vec<String>),
}

impl<'de> Deserialize<'de> for OneOrMore {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> std::result::Result<Self, D::Error> {
        struct Words;

        impl<'de> Visitor<'de> for Words {
            type Value = OneOrMore;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a text or a list of texts")
            }

            fn visit_str<E>(self, text: &str) -> std::result::Result<OneOrMore, E> {
                Ok(OneOrMore::One(text.to_owned()))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> std::result::Result<OneOrMore, A::Error> {
                let mut texts = Vec::new();
                while let Some(text) = list.next_element()? {
                    texts.push(text);
                }
                Ok(OneOrMore::More(texts))
            }
        }

        deserializer.deserialize_any(Words)
    }
}

impl OneOrMore {
    fn list(self) -> Vec<String> {
        match self {
            Self::One(one) => vec![one],
            Self::More(more) => more,
        }
    }
}

/// A job file as written. Every field may be left out, and a flag overrides it.
#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
struct JobFile {
    list: Option<PathBuf>,
    sheet: Option<String>,
    printer: Option<String>,
    stock: Option<OneOrMore>,
    build: Option<String>,
    ends: Option<String>,
    owner: Option<String>,
    between: Option<String>,
    text: Option<OneOrMore>,
    text_near: Option<OneOrMore>,
    text_far: Option<OneOrMore>,
    stock_files: Vec<PathBuf>,
    printer_files: Vec<PathBuf>,
    kind_files: Vec<PathBuf>,
    plug_files: Vec<PathBuf>,
    font: Option<String>,
    fonts: Vec<String>,
    columns: BTreeMap<String, String>,
    design: DesignFile,
    logo: Option<LogoFile>,
    code: Option<CodeFile>,
    marks: MarksFile,
    length_marks: BTreeMap<String, String>,
    order: Option<String>,
    shelf_file: Option<PathBuf>,
    plan: PlanFile,
}

#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
struct DesignFile {
    reading_mm: Option<f64>,
    largest_cap_mm: Option<f64>,
    flag_runs: Option<String>,
    flag_face_mm: Option<f64>,
    least_length_mm: Option<f64>,
    largest_length_mm: Option<f64>,
    margin_mm: Option<f64>,
    band_turns: Option<f64>,
    may_drop: Option<OneOrMore>,
}

/// What the command line says about a job; each overrides the job file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Flags {
    /// Printer id.
    pub printer: Option<String>,
    /// Stock ids.
    pub stock: Vec<String>,
    /// Build word or `auto`.
    pub build: Option<String>,
    /// `both`, `near` or `far`.
    pub ends: Option<String>,
    /// Owner mark.
    pub owner: Option<String>,
    /// `half`, `full` or `snip`.
    pub between: Option<String>,
    /// Lines of text for both ends.
    pub text: Vec<String>,
    /// Lines of text for the near end only.
    pub text_near: Vec<String>,
    /// Lines of text for the far end only.
    pub text_far: Vec<String>,
    /// Sheet of a spreadsheet.
    pub sheet: Option<String>,
    /// `ours=theirs` column names.
    pub column: Vec<String>,
    /// Reading distance in millimetres.
    pub reading_mm: Option<f64>,
    /// Which way flags read: `tape` or `cable`.
    pub flag_runs: Option<String>,
    /// A picture for every label.
    pub logo: Option<PathBuf>,
    /// Kinds of code, in order of preference.
    pub code: Vec<String>,
    /// What codes say.
    pub code_content: Option<String>,
    /// `list`, `pairs` or `free`.
    pub order: Option<String>,
    /// The first label that is still wanted: `17` or `STOCK:17`.
    pub from_label: Option<String>,
    /// The last one, in the same way.
    pub to_label: Option<String>,
    /// The shelf's file.
    pub shelf: Option<PathBuf>,
}

/// The user's own folder: stocks, printers, kinds, plugs and driver modules of theirs.
///
/// `TAPEWRIGHT_CONFIG` if set, else `tapewright` in the platform's place for settings; `None` where
/// the platform tells none.
pub fn user_folder() -> Option<PathBuf> {
    let var = |name| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    if let Some(folder) = var("TAPEWRIGHT_CONFIG") {
        return Some(folder);
    }
    let base = if cfg!(windows) {
        var("APPDATA")
    } else {
        var("XDG_CONFIG_HOME").or_else(|| var("HOME").map(|home| home.join(".config")))
    };
    base.map(|base| base.join("tapewright"))
}

/// Everything known before a job is read: shipped data and the user's folder.
pub struct Known {
    /// Stocks and printers.
    pub catalogue: Catalogue,
    /// Cable kinds.
    pub kinds: Kinds,
    /// Plugs.
    pub plugs: Plugs,
    /// The user's shelf, if there is a file of it.
    pub shelf: Option<PathBuf>,
    /// The register, where one is used: it has a shelf, too.
    pub register: Option<RegisterPlace>,
    /// Font files in `fonts` of the user's folder, in name order.
    pub fonts: Vec<PathBuf>,
}

impl Known {
    /// The shipped data, and `stocks.toml`, `printers.toml`, `kinds.toml`, `plugs.toml` and `fonts`
    /// of the user's folder where they exist.
    ///
    /// # Errors
    /// Kind `Input`: one of those files is wrong. Kind `Storage`: it cannot be read.
    pub fn load(folder: Option<&Path>) -> Result<Self> {
        let mut known = Self {
            catalogue: Catalogue::shipped(),
            kinds: Kinds::shipped(),
            plugs: Plugs::shipped(),
            shelf: None,
            register: None,
            fonts: Vec::new(),
        };
        if let Some(folder) = folder {
            for (name, add) in ADDERS {
                let path = folder.join(name);
                if path.is_file() {
                    add(&mut known, &path)?;
                }
            }
            known.shelf = Some(folder.join(SHELF_NAME)).filter(|path| path.is_file());
            known.fonts = fonts::in_folder(&folder.join("fonts"))?;
        }
        Ok(known)
    }
}

type Add = fn(&mut Known, &Path) -> Result<()>;

const ADDERS: [(&str, Add); 4] = [
    ("stocks.toml", add_stocks),
    ("printers.toml", add_printers),
    ("kinds.toml", add_kinds),
    ("plugs.toml", add_plugs),
];

fn add_stocks(known: &mut Known, path: &Path) -> Result<()> {
    known.catalogue.add_stocks(&read_text(path)?).doing(|| path.display().to_string())
}

fn add_printers(known: &mut Known, path: &Path) -> Result<()> {
    known.catalogue.add_printers(&read_text(path)?).doing(|| path.display().to_string())
}

fn add_kinds(known: &mut Known, path: &Path) -> Result<()> {
    known.kinds.add_toml(&read_text(path)?, &path.display().to_string())
}

fn add_plugs(known: &mut Known, path: &Path) -> Result<()> {
    known.plugs.add_toml(&read_text(path)?, &path.display().to_string())
}

/// One of a few words.
fn word<T>(field: &str, text: &str, wanted: &str, read: impl Fn(&str) -> Option<T>) -> Result<T> {
    read(text.trim()).ok_or_else(|| Error::input(format!("{field}: found `{text}`, wanted {wanted}")))
}

fn millimetres(field: &str, mm: f64, least: f64, most: f64) -> Result<Micrometres> {
    if mm.is_finite() && (least..=most).contains(&mm) {
        Ok(Micrometres::from_mm(mm))
    } else {
        Err(Error::input(format!("{field}: found {mm}, wanted {least} to {most}")))
    }
}

fn flag_runs(text: &str) -> Result<Runs> {
    word("flag_runs", text, "tape or cable", |text| match text {
        "tape" => Some(Runs::Tape),
        "cable" => Some(Runs::Cable),
        _ => None,
    })
}

impl DesignFile {
    fn settle(&self) -> Result<Design> {
        let mut design = Design::default();
        let set = |to: &mut Micrometres, field, value: Option<f64>, least, most| -> Result<()> {
            if let Some(mm) = value {
                *to = millimetres(field, mm, least, most)?;
            }
            Ok(())
        };
        set(&mut design.reading, "design: reading_mm", self.reading_mm, 100.0, 20_000.0)?;
        set(&mut design.flag_face, "design: flag_face_mm", self.flag_face_mm, 5.0, 80.0)?;
        set(&mut design.least_length, "design: least_length_mm", self.least_length_mm, 2.0, 500.0)?;
        set(&mut design.largest_length, "design: largest_length_mm", self.largest_length_mm, 10.0, 2000.0)?;
        if self.largest_length_mm.is_none() {
            design.largest_length = design.largest_length.max(design.least_length);
        } else if design.largest_length < design.least_length {
            return Err(Error::input(format!(
                "design: found largest_length_mm of {}, wanted at least least_length_mm, which is {}",
                design.largest_length, design.least_length
            )));
        }
        set(&mut design.margin, "design: margin_mm", self.margin_mm, 0.0, 50.0)?;
        if let Some(mm) = self.largest_cap_mm {
            design.largest_cap = Some(millimetres("design: largest_cap_mm", mm, 0.5, 200.0)?);
        }
        if let Some(runs) = &self.flag_runs {
            design.flag_runs = flag_runs(runs).doing(|| "design".into())?;
        }
        if let Some(turns) = self.band_turns {
            let field = "design: band_turns";
            design.band_turns_percent = millimetres(field, turns, 1.1, 5.0)?.0 / 10;
        }
        Ok(design)
    }
}

/// Builds and ends and text of file and flags, flags first. A logo's file is looked for in `place`.
fn wishes(file: &JobFile, flags: &Flags, place: &Path) -> Result<Wishes> {
    let usual = Wishes::default();
    let build_words = "flag, wrap, band, sleeve, plate or auto";
    let build = match flags.build.as_ref().or(file.build.as_ref()) {
        None => usual.build,
        Some(text) if text.trim().eq_ignore_ascii_case("auto") => None,
        Some(text) => Some(word("build", text, build_words, Build::named)?),
    };
    let mut design = file.design.settle()?;
    if let Some(mm) = flags.reading_mm {
        design.reading = millimetres("--reading-mm", mm, 100.0, 20_000.0)?;
    }
    if let Some(runs) = &flags.flag_runs {
        design.flag_runs = flag_runs(runs)?;
    }
    let stocks = if flags.stock.is_empty() {
        file.stock.clone().map_or(usual.stocks, OneOrMore::list)
    } else {
        flags.stock.clone()
    };
    let list = |lines: &Option<OneOrMore>| lines.clone().map(OneOrMore::list);
    let both = if flags.text.is_empty() { list(&file.text) } else { Some(flags.text.clone()) };
    let both = both.unwrap_or(usual.near);
    let near = match (flags.text_near.is_empty(), flags.text.is_empty()) {
        (false, _) => Some(flags.text_near.clone()),
        (true, true) => list(&file.text_near),
        (true, false) => None,
    };
    let far = match (flags.text_far.is_empty(), flags.text.is_empty()) {
        (false, _) => Some(flags.text_far.clone()),
        (true, true) => list(&file.text_far),
        (true, false) => None,
    };
    let (parts, signs) = parts::settle(file, flags, place)?;
    Ok(Wishes {
        printer: flags.printer.clone().or_else(|| file.printer.clone()).unwrap_or(usual.printer),
        stocks,
        build,
        ends: match flags.ends.as_ref().or(file.ends.as_ref()) {
            None => usual.ends,
            Some(text) => word("ends", text, "both, near or far", Ends::named)?,
        },
        near: near.unwrap_or_else(|| both.clone()),
        far: far.unwrap_or(both),
        owner: flags.owner.clone().or_else(|| file.owner.clone()).unwrap_or(usual.owner),
        between: match flags.between.as_ref().or(file.between.as_ref()) {
            None => None,
            Some(text) => Some(word("between", text, "half, full or snip", Between::named)?),
        },
        policy: file.plan.settle(file.order.as_deref(), flags)?,
        design,
        parts,
        signs,
        may_drop: file.design.may_drop.clone().map(OneOrMore::list).unwrap_or_default(),
    })
}

/// The pairs of `--column OURS=THEIRS`.
///
/// # Errors
/// Kind `Input`: no `=`.
pub fn remapped(pairs: &[String]) -> Result<BTreeMap<String, String>> {
    let pair = |pair: &String| match pair.split_once('=') {
        Some((ours, theirs)) => Ok((ours.trim().to_owned(), theirs.trim().to_owned())),
        None => {
            Err(Error::input(format!("--column: found `{pair}`, wanted OURS=THEIRS such as od_mm=\"Outside dia\"")))
        }
    };
    pairs.iter().map(pair).collect()
}

/// Whether every cable of a list has its number in the register.
fn numbered(list: &CableList) -> bool {
    let number = |text: &str| text.parse::<u32>().is_ok_and(|id| id > 0);
    list.column("id").is_some_and(|id| list.iter().all(|cable| number(cable.field(id))))
}

fn read_job_file(path: &Path) -> Result<JobFile> {
    let text = read_text(path)?;
    toml::from_str(&text).map_err(|error| Error::toml(&text, &error).doing(path.display().to_string()))
}

/// Reads a job: a TOML job file, or a cable list directly, with flags for the rest.
///
/// Paths in a job file are relative to the file.
///
/// # Errors
/// Kind `Input`: a file or flag is wrong. Kind `Storage`: a file cannot be read. Kind `Limit`: a
/// list is larger than stated.
pub fn load_job(path: &Path, flags: &Flags, known: Known) -> Result<Job> {
    load_job_and_shelf(Some(path), flags, known, None).map(|(job, _)| job)
}

/// As [`load_job`], with the shelf the job is planned on: that of the flag, else of the job file, else
/// the user's, if there is one, else the register's, if anything is on it. A list that is given stands
/// for that of the job file; then there need be no file at all.
///
/// # Errors
/// As [`load_job`]; kind `Input` also for a wrong shelf, and for two lists.
pub fn load_job_and_shelf(
    path: Option<&Path>,
    flags: &Flags,
    mut known: Known,
    given: Option<CableList>,
) -> Result<(Job, Option<ShelfFile>)> {
    let path = path.unwrap_or(Path::new(""));
    let is_job_file = path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("toml"));
    let file = if is_job_file { read_job_file(path)? } else { JobFile::default() };
    let place = path.parent().unwrap_or(Path::new(""));
    let of_job = |error: Error| if is_job_file { error.doing(path.display().to_string()) } else { error };
    for (files, add) in [
        (&file.stock_files, add_stocks as Add),
        (&file.printer_files, add_printers),
        (&file.kind_files, add_kinds),
        (&file.plug_files, add_plugs),
    ] {
        for file in files {
            add(&mut known, &place.join(file)).map_err(of_job)?;
        }
    }
    let mut wishes = wishes(&file, flags, place).map_err(of_job)?;
    let usual_code = flags.code_content.is_none() && file.code.as_ref().is_none_or(|code| !code.says());
    let list = match (given, &file.list) {
        (Some(_), _) if !is_job_file && !path.as_os_str().is_empty() => {
            return Err(Error::input(format!(
                "found the list {} and cables of the register, wanted one of them; a job file may stand beside the register",
                path.display()
            )));
        }
        (Some(list), _) => list,
        (None, None) if is_job_file => {
            return Err(of_job(Error::input("found no `list`, wanted the cable list (list = \"cables.csv\")")));
        }
        (None, name) => {
            let list_path = name.as_ref().map_or_else(|| path.to_owned(), |name| place.join(name));
            let mut columns = file.columns;
            columns.extend(remapped(&flags.column)?);
            let options = TableOptions { sheet: flags.sheet.clone().or(file.sheet), columns, delimiter: None };
            read(&list_path, &options).map_err(of_job)?
        }
    };
    if usual_code && numbered(&list) {
        // Whoever reads the code finds the cable, whatever its name is by then.
        wishes.signs.code = wishes.signs.code.map(|_| parts::NUMBERED_CONTENT.to_owned());
    }
    let named = flags.shelf.clone().or_else(|| file.shelf_file.as_ref().map(|name| place.join(name)));
    let shelf = if named.is_some() || known.shelf.is_some() || known.register.is_some() {
        // A register without cartridges says nothing of the shelf.
        let found = shelf_of(named.as_deref(), &known, true)?;
        Some(found).filter(|found| named.is_some() || known.shelf.is_some() || !found.shelf().cartridges().is_empty())
    } else {
        None
    };
    let (fonts, mut remarks) = fonts::load(place, file.font.as_ref(), &file.fonts, &known.fonts).map_err(of_job)?;
    remarks.extend(overruled(flags, &list));
    let job = Job::new(list, wishes, known.catalogue, known.kinds, known.plugs).map_err(of_job)?;
    let job = job.with_fonts(fonts).with_remarks(remarks);
    Ok(match shelf {
        Some(shelf) => (job.on_shelf(shelf.shelf().clone()), Some(shelf)),
        None => (job, None),
    })
}

/// Where rows of the list say something else than a flag: a row knows its cable, so it wins.
fn overruled(flags: &Flags, list: &CableList) -> Vec<String> {
    let asked = [
        (Column::Build, "--build", flags.build.iter().collect::<Vec<_>>()),
        (Column::Stock, "--stock", flags.stock.iter().collect()),
    ];
    let mut said = Vec::new();
    for (column, flag, wanted) in asked.into_iter().filter(|(.., wanted)| !wanted.is_empty()) {
        let other = |text: &str| !text.is_empty() && !wanted.iter().any(|one| one.trim().eq_ignore_ascii_case(text));
        let rows = list.iter().filter(|cable| other(cable.text(column))).count();
        if rows > 0 {
            let (rows, have, keep) = match rows {
                1 => ("1 row".to_owned(), "has", "keeps"),
                _ => (format!("{rows} rows"), "have", "keep"),
            };
            let column = column.name();
            said.push(format!(
                "{rows} of the list {have} another `{column}` than {flag} and {keep} it: {flag} is for the rest"
            ));
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shelf::Order;

    fn wishes_of(text: &str, flags: &Flags) -> Result<Wishes> {
        let file: JobFile = toml::from_str(text).map_err(|error| Error::input(error.message()))?;
        wishes(&file, flags, Path::new(""))
    }

    #[test]
    fn flags_override_the_file_and_the_file_the_usual() {
        let file =
            "stock = ['tape-9', 'wrap-24']\nbuild = 'auto'\ntext = ['{batch}']\ntext_far = '{to}'\nbetween = 'snip'";
        let wishes = wishes_of(file, &Flags::default()).unwrap();
        assert_eq!((wishes.stocks.len(), wishes.build, wishes.near.len()), (2, None, 1));
        assert_eq!((wishes.far[0].as_str(), wishes.printer.as_str()), ("{to}", "bench-180"));
        assert_eq!(wishes.between, Some(Between::Snip));
        let flags = Flags {
            stock: vec!["tape-6".into()],
            build: Some("band".into()),
            text: vec!["{number}".into()],
            text_near: vec!["{from}".into()],
            ..Flags::default()
        };
        let wishes = wishes_of(file, &flags).unwrap();
        assert_eq!((wishes.stocks[0].as_str(), wishes.build), ("tape-6", Some(Build::Band)));
        assert_eq!((wishes.near[0].as_str(), wishes.far[0].as_str()), ("{from}", "{number}"));
    }

    #[test]
    fn the_order_of_labels_and_cartridges_is_read() {
        let file = "order = 'pairs'\n[plan]\ntogether = 'batch'\ncartridge_order = 'given'\none_batch_a_strip = true\nlongest_strip_mm = 600\nlabels_a_strip = 4\nswap_mm = 30\nkeep_mm = 0";
        let policy = wishes_of(file, &Flags::default()).unwrap().policy;
        assert_eq!((policy.order, policy.given, policy.one_batch), (Order::Pairs, true, true));
        assert_eq!((policy.longest_strip, policy.labels_a_strip), (Some(Micrometres(600_000)), Some(4)));
        assert_eq!((policy.swap, policy.keep, policy.from_label), (Micrometres(30_000), Micrometres(0), None));
        let from = |text: &str, order: &str| Flags {
            from_label: Some(text.into()),
            order: Some(order.into()),
            ..Flags::default()
        };
        let policy = wishes_of(file, &from("sleeve-3/8:17", "list")).unwrap().policy;
        assert_eq!(policy.from_label, Some((Some("sleeve-3/8".into()), 17)));
        let to = |text: &str| Flags { to_label: Some(text.into()), ..from("17", "list") };
        assert_eq!(wishes_of("", &to("20")).unwrap().policy.to_label, Some((None, 20)));
        for (flags, wanted) in [
            (from("0", "list"), "--from-label: found `0`, wanted a label's number"),
            (from("17", "free"), "--from-label: found it with order `free`, wanted `list`"),
            (to("x"), "--to-label: found `x`, wanted a label's number"),
            (to("16"), "--to-label: found 16, wanted 17 or more: --from-label begins there"),
        ] {
            let found = wishes_of("", &flags).unwrap_err().to_string();
            assert!(found.contains(wanted), "found {found}, wanted {wanted}");
        }
    }

    #[test]
    fn a_wrong_word_says_what_there_is() {
        for (text, wanted) in [
            ("build = 'ring'", "build: found `ring`, wanted flag, wrap, band, sleeve, plate or auto"),
            ("ends = 'left'", "ends: found `left`, wanted both, near or far"),
            ("between = 'tear'", "between: found `tear`, wanted half, full or snip"),
            ("[design]\nreading_mm = 5", "design: reading_mm: found 5, wanted 100 to 20000"),
            ("[design]\nflag_runs = 'up'", "design: flag_runs: found `up`, wanted tape or cable"),
            (
                "[design]\nleast_length_mm = 40\nlargest_length_mm = 30",
                "found largest_length_mm of 30 mm, wanted at least least_length_mm, which is 40 mm",
            ),
            ("colour = 'red'", "unknown field `colour`"),
            ("order = 'any'", "order: found `any`, wanted list, pairs or free"),
            ("[plan]\ncartridge_order = 'best'", "plan: cartridge_order: found `best`, wanted free or given"),
            ("[plan]\nlabels_a_strip = 0", "plan: labels_a_strip: found 0, wanted 1 or more"),
            ("[plan]\nlongest_strip_mm = 2", "plan: longest_strip_mm: found 2, wanted 10 to 1000000"),
            ("[plan]\nswap_mm = -1", "plan: swap_mm: found -1, wanted 0 to 1000000"),
            ("[plan]\ntogeter = 'batch'", "unknown field `togeter`"),
        ] {
            let found = wishes_of(text, &Flags::default()).unwrap_err().to_string();
            assert!(found.contains(wanted), "found {found}, wanted {wanted}");
        }
    }
}
