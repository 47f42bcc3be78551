//! What a label carries beside its text: wishes for logo, code and marks, and the ink of those that
//! were drawn lately.

use super::{Misfit, MisfitKind};
use crate::bitmap::Bitmap;
use crate::code::{self, Room, Symbology};
use crate::logo::{self, Picture, Tone};
use crate::mark::{Direction, Pattern};
use crate::unit::{Dots, Dpi, Micrometres};
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

/// A picture that stands on every label of a job.
#[derive(Clone)]
pub struct LogoWish {
    /// The picture, decoded.
    pub picture: Arc<Picture>,
    /// How its greys become dots.
    pub tone: Tone,
    /// Its height on the finished label; `None` for as high as the label.
    pub height: Option<Micrometres>,
}

impl PartialEq for LogoWish {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.picture, &other.picture) && self.tone == other.tone && self.height == other.height
    }
}

impl fmt::Debug for LogoWish {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("LogoWish").field("tone", &self.tone).field("height", &self.height).finish_non_exhaustive()
    }
}

/// How the codes of a job are made. What they say is each label's own: [`Signs::code`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CodeWish {
    /// Symbologies in order of preference, at least one.
    pub symbologies: Vec<Symbology>,
    /// The least module on the finished label, where not [`code::LEAST_MODULE`]; [`code::LEAST_DOTS`]
    /// are asked for in any case.
    pub least_module: Option<Micrometres>,
    /// Height of the code with its quiet zone; `None` for as high as the label, at most
    /// [`MOST_CODE`].
    pub height: Option<Micrometres>,
}

/// Beyond this a code is not made larger unless asked: it is scanned from a hand's breadth, and holds
/// a few words at most (common practice, no source).
pub const MOST_CODE: Micrometres = Micrometres(16_000);

/// Marks that every label of a job has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MarkWish {
    /// A frame round everything.
    pub frame: bool,
    /// A rule between logo, code and text.
    pub rule: bool,
    /// Guides at the folds of flags.
    pub fold: bool,
}

/// What the labels of a job carry beside text.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PartsWish {
    /// A logo.
    pub logo: Option<LogoWish>,
    /// A code.
    pub code: Option<CodeWish>,
    /// Marks.
    pub marks: MarkWish,
}

/// A text that is printed white on black, by the place it has among its likes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Emphasis {
    /// The words, as they stand in the label's text.
    pub text: String,
    /// How often the same words stand before it.
    pub nth: usize,
}

/// What one label carries beside its lines of text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Signs {
    /// What its code says; needs a [`CodeWish`].
    pub code: Option<String>,
    /// An arrow.
    pub arrow: Option<Direction>,
    /// A pattern that stands for its length.
    pub pattern: Option<Pattern>,
    /// Words printed white on black.
    pub inverse: Option<Emphasis>,
}

/// A code as it will be printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CodeFacts {
    /// Its symbology.
    pub symbology: Symbology,
    /// The smaller side of a module on the finished label (after shrinking).
    pub module: Micrometres,
    /// Dots of a module along the code's rows and up its columns.
    pub dots: (i64, i64),
    /// Modules along and up, without the quiet zone.
    pub modules: (usize, usize),
}

/// A code's ink, quiet zone included, and what is known of it.
#[derive(Clone, Debug)]
pub(super) struct DrawnCode {
    pub(super) ink: Arc<Bitmap>,
    pub(super) facts: CodeFacts,
}

/// A logo's ink, and the detail that was lost, in a sentence.
#[derive(Clone, Debug)]
pub(super) struct DrawnLogo {
    pub(super) ink: Arc<Bitmap>,
    pub(super) lost: Option<String>,
}

/// The box a logo is drawn into.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct LogoBox {
    pub(super) width: Option<Dots>,
    pub(super) height: Dots,
    pub(super) along: Dpi,
    pub(super) up: Dpi,
}

/// The last few results of something costly, newest last.
///
/// A label is laid out when it is planned, again when it is drawn, and its two ends are mostly alike:
/// the few results last asked for serve almost every call, and memory stays flat.
struct Lately<K, V> {
    held: Vec<(K, V)>,
}

/// Results held: the stocks and builds tried for one cable, and some.
const HELD: usize = 24;

impl<K: PartialEq, V: Clone> Lately<K, V> {
    const fn new() -> Self {
        Self { held: Vec::new() }
    }

    fn get(&mut self, is: impl Fn(&K) -> bool, make: impl FnOnce() -> (K, V)) -> V {
        if let Some(at) = self.held.iter().rposition(|(key, _)| is(key)) {
            return self.held[at].1.clone();
        }
        if self.held.len() == HELD {
            self.held.remove(0);
        }
        let (key, value) = make();
        self.held.push((key, value.clone()));
        value
    }
}

type CodeKey = (String, Room);

/// What the labels of a job carry beside text, with the ink of what was drawn lately.
pub struct Parts {
    /// The job's wishes.
    pub wish: PartsWish,
    logos: Mutex<Lately<LogoBox, DrawnLogo>>,
    codes: Mutex<Lately<CodeKey, Result<DrawnCode, Misfit>>>,
}

impl Parts {
    /// Nothing drawn yet.
    pub const fn new(wish: PartsWish) -> Self {
        Self { wish, logos: Mutex::new(Lately::new()), codes: Mutex::new(Lately::new()) }
    }

    /// Whether labels with these signs are text and nothing else.
    pub(super) fn is_text_only(&self, signs: &Signs) -> bool {
        let marks = self.wish.marks;
        self.wish.logo.is_none() && *signs == Signs::default() && !marks.frame
    }

    /// The logo in a box, drawn once a size.
    pub(super) fn logo(&self, wish: &LogoWish, space: LogoBox) -> DrawnLogo {
        let mut logos = self.logos.lock().unwrap_or_else(PoisonError::into_inner);
        logos.get(
            |held| *held == space,
            || {
                let LogoBox { width, height, along, up } = space;
                let drawn = wish.picture.draw(logo::Box { width, height, along, up }, wish.tone);
                let lost = drawn.lost.map(|lost| lost.to_string());
                (space, DrawnLogo { ink: Arc::new(drawn.ink), lost })
            },
        )
    }

    /// A code in a room, made once a content and room.
    pub(super) fn code(&self, wish: &CodeWish, content: &str, room: Room) -> Result<DrawnCode, Misfit> {
        let mut codes = self.codes.lock().unwrap_or_else(PoisonError::into_inner);
        codes.get(
            |(held, its)| *its == room && held == content,
            || ((content.to_owned(), room), draw_code(wish, content, &room)),
        )
    }
}

fn draw_code(wish: &CodeWish, content: &str, room: &Room) -> Result<DrawnCode, Misfit> {
    let usual = code::Wish::new(content, &wish.symbologies);
    let wish = code::Wish { least_module: wish.least_module.unwrap_or(usual.least_module), ..usual };
    let placed = code::fit(&wish, room).map_err(|unfit| Misfit {
        kind: MisfitKind::Code,
        field: "code",
        found: unfit.found,
        wanted: unfit.wanted,
    })?;
    let facts = CodeFacts {
        symbology: placed.symbology,
        module: placed.module,
        dots: placed.dots_per_module,
        modules: (placed.columns, placed.rows),
    };
    Ok(DrawnCode { ink: Arc::new(placed.ink), facts })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_asked_for_lately_is_not_made_again_and_the_rest_is_forgotten() {
        let mut made = 0;
        let mut lately = Lately::new();
        let mut ask = |key: usize| {
            lately.get(
                |held| *held == key,
                || {
                    made += 1;
                    (key, key * 2)
                },
            )
        };
        for key in [7, 7, 8, 7] {
            assert_eq!(ask(key), key * 2);
        }
        for key in 100..100 + HELD {
            ask(key);
        }
        assert_eq!(ask(7), 14);
        assert_eq!(made, 2 + HELD + 1);
        assert_eq!(lately.held.len(), HELD);
    }
}
