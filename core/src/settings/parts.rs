//! Logo, code and marks of a job file and of flags.

use super::{Flags, JobFile, OneOrMore, millimetres, word};
use crate::code::Symbology;
use crate::error::{Doing, Error, Result};
use crate::job::{LengthMark, SignWishes};
use crate::layout::{CodeWish, LogoWish, MarkWish, PartsWish};
use crate::logo::{Picture, Tone};
use crate::mark::Direction;
use crate::store::files::read_picture;
use std::path::{Path, PathBuf};
use std::sync::Arc;

#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct LogoFile {
    file: Option<PathBuf>,
    tone: Option<String>,
    height_mm: Option<f64>,
}

#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct CodeFile {
    kind: Option<OneOrMore>,
    content: Option<String>,
    least_module_mm: Option<f64>,
    height_mm: Option<f64>,
}

#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct MarksFile {
    frame: bool,
    rule: bool,
    fold: bool,
    inverse: Option<String>,
    arrow: ArrowFile,
}

/// One word for both ends, or a word for each.
#[derive(Clone, Debug, PartialEq, serde::Deserialize)]
#[serde(untagged, expecting = "wanted a word, or a table with near and far: left, right, up or down")]
enum ArrowFile {
    Both(String),
    Each(ArrowEnds),
}

#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
struct ArrowEnds {
    near: Option<String>,
    far: Option<String>,
}

impl Default for ArrowFile {
    fn default() -> Self {
        Self::Each(ArrowEnds::default())
    }
}

impl ArrowFile {
    fn ends(&self) -> ArrowEnds {
        match self {
            Self::Both(word) => ArrowEnds { near: Some(word.clone()), far: Some(word.clone()) },
            Self::Each(ends) => ends.clone(),
        }
    }
}

/// What a code says where nobody says otherwise.
const USUAL_CONTENT: &str = "{owner} {batch} {number}";

/// And for cables of the register: their number in it, too.
pub(super) const NUMBERED_CONTENT: &str = "{owner} {batch} {number} #{id}";

impl CodeFile {
    /// Whether it says what codes say.
    pub(super) const fn says(&self) -> bool {
        self.content.is_some()
    }
}

/// What is tried where nobody names a kind: first what every phone reads, then what fits narrow tape.
const USUAL_KINDS: [Symbology; 4] = [Symbology::Qr, Symbology::DataMatrix, Symbology::MicroQr, Symbology::Rmqr];

/// The parts and signs of file and flags, flags first; a file named in the job file is looked for in
/// `place`.
///
/// # Errors
/// Kind `Input`: a word, a length or a picture is wrong. Kind `Storage`: a picture cannot be read.
pub(super) fn settle(file: &JobFile, flags: &Flags, place: &Path) -> Result<(PartsWish, SignWishes)> {
    let code = code(file.code.as_ref(), flags)?;
    let (code, content) = code.map_or((None, None), |(code, content)| (Some(code), Some(content)));
    let marks = &file.marks;
    let parts = PartsWish {
        logo: logo(file.logo.as_ref(), flags, place)?,
        code,
        marks: MarkWish { frame: marks.frame, rule: marks.rule, fold: marks.fold },
    };
    let arrow = |text: &Option<String>, field| match text {
        None => Ok(None),
        Some(text) => word(field, text, "left, right, up or down", Direction::named).map(Some),
    };
    let ends = marks.arrow.ends();
    let arrows = [arrow(&ends.near, "marks: arrow: near")?, arrow(&ends.far, "marks: arrow: far")?];
    let lengths = file.length_marks.iter().map(|(length, mark)| {
        let mark = LengthMark::named(mark).doing(|| format!("length_marks: {length}"))?;
        Ok((length.clone(), mark))
    });
    let signs =
        SignWishes { code: content, arrows, inverse: marks.inverse.clone(), lengths: lengths.collect::<Result<_>>()? };
    Ok((parts, signs))
}

fn logo(file: Option<&LogoFile>, flags: &Flags, place: &Path) -> Result<Option<LogoWish>> {
    let path = match (&flags.logo, file) {
        (Some(path), _) => path.clone(),
        (None, Some(LogoFile { file: Some(path), .. })) => place.join(path),
        (None, Some(_)) => return Err(Error::input("logo: found no `file`, wanted a picture (file = \"logo.svg\")")),
        (None, None) => return Ok(None),
    };
    let file = file.cloned().unwrap_or_default();
    let bytes = read_picture(&path).doing(|| "logo: file".into())?;
    let picture = Picture::read(&path.display().to_string(), &bytes).doing(|| "logo: file".into())?;
    let tone = match &file.tone {
        None => Tone::Auto,
        Some(text) => word("logo: tone", text, "auto, line, threshold, ordered or diffused", Tone::named)?,
    };
    let height = file.height_mm.map(|mm| millimetres("logo: height_mm", mm, 1.0, 100.0)).transpose()?;
    Ok(Some(LogoWish { picture: Arc::new(picture), tone, height }))
}

fn code(file: Option<&CodeFile>, flags: &Flags) -> Result<Option<(CodeWish, String)>> {
    if file.is_none() && flags.code.is_empty() && flags.code_content.is_none() {
        return Ok(None);
    }
    let file = file.cloned().unwrap_or_default();
    let listed = file.kind.is_some();
    let (field, kinds) = match (flags.code.is_empty(), file.kind) {
        (false, _) => ("--code", flags.code.clone()),
        (true, Some(kinds)) => ("code: kind", kinds.list()),
        (true, None) => ("code: kind", Vec::new()),
    };
    if kinds.is_empty() && field == "code: kind" && listed {
        return Err(Error::input(
            "code: kind: found an empty list, wanted kinds of code; leave it out for the usual ones",
        ));
    }
    let words = Symbology::ALL.map(Symbology::word).join(", ");
    let named = |kind: &String| word(field, kind, &words, Symbology::named);
    let mut symbologies = kinds.iter().map(named).collect::<Result<Vec<_>>>()?;
    if symbologies.is_empty() {
        symbologies = USUAL_KINDS.to_vec();
    }
    let content = flags.code_content.clone().or(file.content).unwrap_or_else(|| USUAL_CONTENT.to_owned());
    if content.trim().is_empty() {
        return Err(Error::input(format!(
            "code: content: found nothing, wanted what the code says, such as `{USUAL_CONTENT}`"
        )));
    }
    let least = file.least_module_mm.map(|mm| millimetres("code: least_module_mm", mm, 0.1, 5.0)).transpose()?;
    let height = file.height_mm.map(|mm| millimetres("code: height_mm", mm, 2.0, 100.0)).transpose()?;
    Ok(Some((CodeWish { symbologies, least_module: least, height }, content)))
}
