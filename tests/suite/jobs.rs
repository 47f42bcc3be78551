//! Jobs of every build for several printers, as files in a folder.

use crate::sources;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use tapewright::job::Job;
use tapewright::settings::{Flags, Known, load_job};

/// Printers of a person's own: one of odd resolutions, one with a head narrower than its tape.
pub(crate) const OWN_PRINTERS: &str = r#"
[[printer]]
id = "odd"
title = "printer of odd resolutions, stock along the edge, three labels a strip"
dpi_across = 187.3
dpi_along = 211.7
head_dots = 301
widest_mm = 41
alignment = "edge"
lead_mm = 11.3
gap_mm = 2.7
trail_mm = 0.9
min_piece_mm = 58.3
max_strip_mm = 777
max_labels = 3
cutter = "half+full"
load_mm = 9.1
speed_mm_s = 33
driver = "pwg"

[[printer]]
id = "narrow"
title = "printer whose head is narrower than its tape"
dpi_across = 180
dpi_along = 180
head_dots = 61
widest_mm = 24
lead_mm = 25
gap_mm = 3
trail_mm = 1.5
min_piece_mm = 25
max_strip_mm = 600
cutter = "half+full"
load_mm = 25
speed_mm_s = 20
driver = "pwg"
"#;

/// One job: a build on a stock by a printer.
pub(crate) struct Case {
    pub(crate) build: &'static str,
    pub(crate) printer: &'static str,
    pub(crate) stock: &'static str,
    /// Least and greatest diameter of its cables, mm; none for labels that need no cable.
    od: Option<(f64, f64)>,
    /// Further lines of the job file.
    more: &'static str,
}

const fn case(build: &'static str, printer: &'static str, stock: &'static str, od: (f64, f64)) -> Case {
    Case { build, printer, stock, od: Some(od), more: "" }
}

const fn plate(printer: &'static str, stock: &'static str, more: &'static str) -> Case {
    Case { build: "plate", printer, stock, od: None, more }
}

/// Every build on several printers.
pub(crate) const CASES: [Case; 36] = [
    case("flag", "bench-180", "tape-12", (4.5, 11.0)),
    case("flag", "fine-360", "tape-18", (4.5, 11.0)),
    case("flag", "wide-300", "tape-24", (4.5, 11.0)),
    case("flag", "field-203", "tape-9", (4.5, 11.0)),
    case("flag", "odd", "tape-12", (4.5, 11.0)),
    case("flag", "narrow", "tape-12", (4.5, 11.0)),
    Case { more: "design.flag_runs = 'cable'", ..case("flag", "bench-180", "tape-18", (4.5, 11.0)) },
    Case { more: "design.flag_runs = 'cable'", ..case("flag", "fine-360", "tape-24", (4.5, 11.0)) },
    Case { more: "between = 'snip'", ..case("flag", "bench-180", "tape-24", (4.5, 11.0)) },
    Case { more: "between = 'full'", ..case("flag", "bench-180", "tape-9", (4.5, 11.0)) },
    case("wrap", "bench-180", "wrap-24", (5.5, 9.0)),
    case("wrap", "fine-360", "wrap-24", (5.5, 9.0)),
    case("wrap", "wide-300", "wrap-24", (5.5, 9.0)),
    case("wrap", "field-203", "wrap-24", (5.5, 9.0)),
    case("wrap", "odd", "wrap-24", (5.5, 9.0)),
    case("wrap", "wide-300", "wrap-38", (4.5, 6.5)),
    case("wrap", "wide-300", "wrap-64", (6.5, 12.0)),
    case("wrap", "odd", "wrap-38", (4.5, 6.5)),
    case("band", "bench-180", "tape-24", (22.0, 30.0)),
    case("band", "fine-360", "tape-18", (22.0, 30.0)),
    case("band", "wide-300", "tape-24", (22.0, 30.0)),
    case("band", "field-203", "tape-24", (22.0, 30.0)),
    case("band", "odd", "tape-18", (22.0, 30.0)),
    case("band", "narrow", "tape-12", (30.0, 36.0)),
    case("sleeve", "bench-180", "sleeve-1/4", (3.5, 5.2)),
    case("sleeve", "fine-360", "sleeve-3/8", (5.0, 7.5)),
    case("sleeve", "wide-300", "sleeve-1/2", (6.5, 10.0)),
    case("sleeve", "field-203", "sleeve-1/4", (3.5, 5.2)),
    case("sleeve", "odd", "sleeve-3/8", (5.0, 7.5)),
    plate("bench-180", "tape-12", ""),
    plate("bench-180", "tape-6", "between = 'full'"),
    plate("fine-360", "tape-24", ""),
    plate("wide-300", "tape-18", ""),
    plate("field-203", "tape-12", ""),
    plate("odd", "tape-24", "between = 'snip'"),
    plate("narrow", "tape-12", ""),
];

impl Case {
    /// A name for messages and folders.
    pub(crate) fn name(&self) -> String {
        let more: String = self.more.chars().filter(char::is_ascii_alphabetic).collect();
        format!("{}-{}-{}{more}", self.build, self.printer, self.stock.replace('/', "-"))
    }

    /// Twelve cables of the Playhouse; both ends get a label, the far one names another place.
    fn list(&self) -> String {
        let mut list = String::from("owner,batch,number,length,od_mm,to,terminated\n");
        for nth in 0..12_u32 {
            let od = self.od.map_or(String::new(), |(least, most)| {
                format!("{:.2}", least + (most - least) * f64::from(nth) / 11.0)
            });
            let (number, length) = (1040 + nth * 7, [15, 25, 50][nth as usize % 3]);
            let place = ["Pit", "Desk 4", "Fly bar", "Green room"][nth as usize % 4];
            let _ = writeln!(list, "TWP,OTTER,{number},{length} ft,{od},{place},no");
        }
        list
    }

    /// Writes list, job file and printers into a folder; the job file.
    pub(crate) fn write(&self, folder: &Path) -> PathBuf {
        let Self { build, printer, stock, more, .. } = self;
        let job = format!(
            "list = 'cables.csv'\nprinter_files = ['printers.toml']\nprinter = '{printer}'\nstock = '{stock}'\nbuild = '{build}'\n\
             text = ['{{owner}} {{batch}}', '{{number}} {{length}}']\ntext_far = ['{{to}}', '{{number}} {{length}}']\n{more}\n"
        );
        let path = folder.join("job.toml");
        for (file, text) in [("job.toml", job.as_str()), ("cables.csv", &self.list()), ("printers.toml", OWN_PRINTERS)]
        {
            std::fs::write(folder.join(file), text).expect("a file can be written");
        }
        path
    }
}

/// The job of a file as the library sees it, with shipped data only.
pub(crate) fn load(path: &Path) -> Job {
    let known = Known::load(None).expect("the shipped data is right");
    load_job(path, &Flags::default(), known).unwrap_or_else(|error| panic!("{error}"))
}

/// Copies files of the demo, as they are in the tree, into a folder.
pub(crate) fn demo_files(folder: &Path, names: &[&str]) {
    for name in names {
        let from = sources::root().join("core/data/demo").join(name);
        std::fs::copy(&from, folder.join(name)).unwrap_or_else(|error| panic!("{}: {error}", from.display()));
    }
}
