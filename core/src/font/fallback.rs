//! Which face sets which cluster of a line, and characters that stand for others.

use super::Fonts;
use super::shape::{Grade, Way, grade};
use unicode_script::{Script, UnicodeScript as _};

/// Characters a face may set in place of one it lacks.
const fn stands_for(c: char) -> Option<char> {
    match c {
        'µ' => Some('μ'),
        'μ' => Some('µ'),
        '\u{2126}' => Some('Ω'),
        '\u{212A}' => Some('K'),
        '\u{212B}' => Some('Å'),
        '\u{2032}' => Some('\''),
        '\u{2033}' => Some('"'),
        '\u{202F}' | '\u{2009}' => Some(' '),
        '\u{2010}' | '\u{2011}' => Some('-'),
        _ => None,
    }
}

/// The character meant: a blank that must not break is one all the same, and a quotation mark after
/// a figure is a foot or inch mark that a word processor has curled.
const fn meant(c: char, before: Option<char>) -> char {
    match (c, before) {
        ('\u{00A0}', _) => ' ',
        ('\u{2019}' | '\u{2018}', Some('0'..='9' | '¼'..='¾' | '⅐'..='⅞')) => '\u{2032}',
        ('\u{201D}' | '\u{201C}', Some('0'..='9' | '¼'..='¾' | '⅐'..='⅞')) => '\u{2033}',
        _ => c,
    }
}

/// Characters that tell how others are set and have no ink (Default_Ignorable_Code_Point, those
/// that stand alone; the rest belong to the cluster before them).
const fn tells(c: char) -> bool {
    matches!(c,
        '\u{00AD}' | '\u{061C}' | '\u{180E}' | '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}'
        | '\u{2060}'..='\u{206F}' | '\u{FE00}'..='\u{FE0F}' | '\u{FEFF}')
}

/// A cluster and the face for it.
pub(super) struct Cluster {
    /// The character to set, where it is one and another stands for it.
    pub(super) instead: Option<char>,
    pub(super) face: u8,
    pub(super) script: Script,
}

/// What the clusters before have settled.
#[derive(Clone, Copy, Default)]
pub(super) struct Before {
    pub(super) letter: Option<char>,
    pub(super) face: Option<u8>,
    pub(super) script: Option<Script>,
}

/// The script of a cluster: that of its first letter of one, else that of the text before it.
///
/// ASCII figures are Latin in any company: they are never ligated. A line of ASCII is one run.
fn script(cluster: &str, before: Before) -> Script {
    let own = cluster.chars().map(|c| if c.is_ascii_digit() { Script::Latin } else { c.script() });
    let own = own.into_iter().find(|script| !matches!(script, Script::Common | Script::Inherited | Script::Unknown));
    own.or(before.script).unwrap_or(if cluster.is_ascii() { Script::Latin } else { Script::Common })
}

/// Finds the face for a cluster: the first in the order that has all of it, but a sign stays in the
/// face of the letters before it, and a face that has a place for a mark on its letter goes before
/// one that has none. Blanks are those of the first face, so that all are alike. `Ok(None)` for what has no ink.
///
/// # Errors
/// The character no face has; of a cluster whose parts no face has together, the last.
pub(super) fn settle(fonts: &Fonts, cluster: &str, order: &[u8], before: Before) -> Result<Option<Cluster>, char> {
    let mut chars = cluster.chars();
    let (Some(first), rest) = (chars.next(), chars.next()) else { return Ok(None) };
    let alone = rest.is_none();
    if alone && tells(first) {
        return Ok(None);
    }
    let script = script(cluster, before);
    let found = |instead, face| Ok(Some(Cluster { instead, face, script }));
    let neutral = alone && matches!(first.script(), Script::Common);
    let stay = before.face.filter(|_| neutral && !first.is_ascii_digit() && !first.is_whitespace());
    let tried = || stay.into_iter().chain(order.iter().copied());
    if alone {
        let wanted = meant(first, before.letter);
        for face in tried() {
            for candidate in [Some(wanted), stands_for(wanted), Some(first)].into_iter().flatten() {
                if fonts.faces[usize::from(face)].glyph(candidate).is_some() {
                    return found((candidate != first).then_some(candidate), face);
                }
            }
        }
    }
    // More than one character, or one that a face may have in parts: the shaper composes and
    // decomposes, so it is asked.
    let mut loose = None;
    for face in tried() {
        match grade(&fonts.faces[usize::from(face)], cluster, Way::of(script, false)) {
            Grade::Whole => return found(None, face),
            Grade::Loose => loose = loose.or(Some(face)),
            Grade::Lacks => {}
        }
    }
    // Marks of Thai and its kin are drawn where they belong and need no place; a Latin mark would be
    // printed beside its letter: better said than printed wrong.
    if let Some(face) = loose.filter(|_| !Way::of(script, false).plain()) {
        return found(None, face);
    }
    let has = |c: char| order.iter().any(|&face| fonts.faces[usize::from(face)].glyph(c).is_some());
    Err(cluster.chars().find(|&c| !has(c) && !tells(c)).or_else(|| cluster.chars().last()).unwrap_or(first))
}
