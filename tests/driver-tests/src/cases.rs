//! Golden streams: `tests/cases/<module>/*.case` at the root of the project.
//!
//! A case is a job, then `---`, then what was sent, as the module's tests put it into text.
//! `BLESS=1` rewrites what follows `---`. A case named `bad-…` ends in an error instead.
//!
//! ```text
//! # the question
//! family gantry
//! job dots=16 dpi=180x180 web=0+16 kind=tape strips=1
//! option heat=7
//! says 3D 00 0C 01
//! strip lead=2 cuts=half@2,full@4
//! ..####.......... *4
//! ```
//!
//! `family` and `says`, what the printer answers, are left out where the module has one family and
//! asks nothing. `title` has `_` for a space. Without `web` the tape is as wide as the head.

use tapewright_host::{Cut, CutKind, HostError, JobSpec};

use crate::{Golden, Piece, case_folder, golden};

/// What a case says: a job and its circumstances.
#[derive(Debug, Default)]
pub struct Case {
    /// Name of the file without `.case`.
    pub name: String,
    /// The family; empty when the case does not say.
    pub family: String,
    /// The job.
    pub job: JobSpec,
    /// What the printer answers, one after the other.
    pub says: Vec<Vec<u8>>,
    /// The strips.
    pub pieces: Vec<Piece>,
}

impl Case {
    /// The text of a job that was refused, to end a golden stream.
    ///
    /// # Panics
    ///
    /// When the error is no fault that the driver told of.
    pub fn refusal(&self, error: &HostError) -> String {
        match error {
            HostError::Fault(fault) => format!("{:?}: {}\n", fault.kind, fault.text),
            other => panic!("{}: {other}", self.name),
        }
    }
}

/// Runs the cases of a folder of `tests/cases`. `print` returns the text of what was sent, as an
/// error if the job was refused.
///
/// # Panics
///
/// When a text differs from the golden one, a case is not refused that should be or the other way
/// round, a case cannot be read, or there are fewer than ten.
pub fn cases(folder: &str, mut print: impl FnMut(&Case) -> Result<String, String>) {
    golden(&case_folder(folder), "case", 10, |path, text| {
        let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let (input, wanted) = text.split_once("---\n").ok_or("found no line ---, wanted one after the job")?;
        let mut case = parse(input)?;
        case.name = name;
        let printed = print(&case);
        if case.name.starts_with("bad-") != printed.is_err() {
            return Err(format!("wanted only cases named bad-… to be refused, found {printed:?}"));
        }
        let found = printed.unwrap_or_else(|refused| refused);
        Ok(Golden { file: path.to_owned(), before: format!("{input}---\n"), wanted: wanted.to_owned(), found })
    });
}

fn parse(input: &str) -> Result<Case, String> {
    let mut case = Case::default();
    for line in input.lines().filter(|line| !line.starts_with("# ") && !line.is_empty()) {
        read(&mut case, line).ok_or_else(|| format!("found the line `{line}`, wanted a job, strip or row"))?;
    }
    Ok(case)
}

fn read(case: &mut Case, line: &str) -> Option<()> {
    let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
    match word {
        "family" => case.family = rest.into(),
        "job" => rest.split(' ').try_for_each(|pair| setting(&mut case.job, pair))?,
        "option" => {
            let (key, value) = rest.split_once('=')?;
            case.job.options.push((key.into(), value.into()));
        }
        "says" => {
            let bytes = rest.split_ascii_whitespace().map(|byte| u8::from_str_radix(byte, 16).ok());
            case.says.push(bytes.collect::<Option<_>>()?);
        }
        "strip" => {
            let mut piece = Piece { dots: case.job.dots, ..Piece::default() };
            for pair in rest.split_ascii_whitespace() {
                match pair.split_once('=')? {
                    ("lead", lines) => piece.lead = lines.parse().ok()?,
                    ("cuts", list) => piece.cuts = list.split(',').map(cut).collect::<Option<_>>()?,
                    _ => return None,
                }
            }
            case.pieces.push(piece);
        }
        art => {
            let times = if rest.is_empty() { 1 } else { rest.strip_prefix('*')?.parse().ok()? };
            let row = row(art, case.job.dots)?;
            case.pieces.last_mut()?.rows.extend(std::iter::repeat_n(row, times));
        }
    }
    Some(())
}

fn setting(job: &mut JobSpec, pair: &str) -> Option<()> {
    let (key, value) = pair.split_once('=')?;
    match key {
        "dots" => {
            job.dots = value.parse().ok()?;
            job.web_dots = job.dots;
        }
        "strips" => job.strips = value.parse().ok()?,
        "width" => job.width_um = value.parse().ok()?,
        "kind" => job.stock_kind = value.into(),
        "title" => job.stock_title = value.replace('_', " "),
        "dpi" => {
            let (across, along) = value.split_once('x')?;
            job.dpi_across_milli = milli(across)?;
            job.dpi_along_milli = milli(along)?;
        }
        "web" => {
            let (first, dots) = value.split_once('+')?;
            job.web_first_dot = first.parse().ok()?;
            job.web_dots = dots.parse().ok()?;
        }
        _ => return None,
    }
    Some(())
}

/// `203.2` → 203200.
fn milli(dpi: &str) -> Option<u32> {
    let (whole, part) = dpi.split_once('.').unwrap_or((dpi, ""));
    if part.len() > 3 {
        return None;
    }
    format!("{whole}{part:0<3}").parse().ok()
}

fn cut(text: &str) -> Option<Cut> {
    let (kind, line) = text.split_once('@')?;
    let kind = match kind {
        "half" => CutKind::Half,
        "full" => CutKind::Full,
        _ => return None,
    };
    Some(Cut { line: line.parse().ok()?, kind })
}

fn row(art: &str, dots: u32) -> Option<Vec<u8>> {
    if art.len() != dots as usize {
        return None;
    }
    let byte = |dots: &[u8]| {
        (0..).zip(dots).try_fold(0, |byte, (at, dot)| match dot {
            b'#' => Some(byte | (0x80_u8 >> at)),
            b'.' => Some(byte),
            _ => None,
        })
    };
    art.as_bytes().chunks(8).map(byte).collect()
}

/// Bytes as `0A FF`.
pub fn hex(bytes: &[u8]) -> String {
    let bytes: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
    bytes.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_case_says_all_of_a_job() {
        let text = "# why\nfamily gantry\njob dots=9 web=-1+12 dpi=203.2x180 width=12000 title=a_b strips=2\n\
                    option heat=7\nsays 3D 0C\nstrip lead=2 cuts=half@1,full@4\n.#.....##\n######### *3\nstrip\n";
        let case = parse(text).unwrap();
        assert_eq!((case.family.as_str(), &case.says[..]), ("gantry", &[vec![0x3D, 0x0C]][..]));
        let JobSpec { dots, web_first_dot, web_dots, width_um, strips, .. } = case.job;
        assert_eq!((dots, web_first_dot, web_dots, width_um, strips), (9, -1, 12, 12_000, 2));
        assert_eq!((case.job.dpi_across_milli, case.job.dpi_along_milli), (203_200, 180_000));
        assert_eq!((case.job.stock_title.as_str(), &case.job.options[..]), ("a b", &[("heat".into(), "7".into())][..]));
        let cuts = vec![Cut { line: 1, kind: CutKind::Half }, Cut { line: 4, kind: CutKind::Full }];
        let inked = vec![0xFF, 0x80];
        let rows = vec![vec![0x41, 0x80], inked.clone(), inked.clone(), inked];
        assert_eq!(case.pieces, [Piece { dots: 9, lead: 2, rows, cuts }, Piece { dots: 9, ..Piece::default() }]);
    }

    #[test]
    fn what_a_case_cannot_say_is_told() {
        for bad in [
            "job dots=x",
            "job colour=1",
            "job dots=8 dpi=203.2",
            "job dots=8 dpi=1.2345x1",
            "option heat",
            "says 3G",
            "strip cuts=deep@1",
            "strip 3",
            "........",
            "job dots=8\nstrip\n.......",
            "job dots=8\nstrip\n.......o",
            "job dots=8\nstrip\n........ x3",
        ] {
            let last = bad.lines().last().unwrap();
            let told = parse(bad).unwrap_err();
            assert!(told.starts_with(&format!("found the line `{last}`")), "{bad}: {told}");
        }
    }
}
