//! A panel: logo, code and text side by side in the text's own directions, and the marks on them.

use super::fit::{Caps, Fitted, TextBox, fit};
use super::parts::{CodeWish, DrawnCode, DrawnLogo, LogoBox, LogoWish, MOST_CODE};
use super::{Area, Block, CodeFacts, Ink, Misfit, MisfitKind, Request, Turn, middle};
use crate::bitmap::Bitmap;
use crate::code::{Facing, Room};
use crate::font::Fonts;
use crate::mark::{self, Direction, Pattern};
use crate::unit::{Dots, Dpi, Micrometres};
use std::sync::Arc;

/// Blank between two parts of a panel, and between a frame and what it holds (common practice, no
/// source: about a third of the height of the text).
const GAP: Micrometres = Micrometres(1_000);
const INSET: Micrometres = Micrometres(600);
/// Width of the field of a length's pattern.
const PATTERN: Micrometres = Micrometres(3_000);
/// Fewest dots of an arrow each way: a head and a shaft.
const LEAST_ARROW: i64 = 7;
/// Most height of an arrow.
const ARROW: Micrometres = Micrometres(6_000);

/// The space a panel must fit, in the text's own directions.
#[derive(Clone, Copy)]
pub(super) struct Space {
    /// Its dots.
    pub(super) text: TextBox,
    /// Dots up the text on the finished label: more than printed where a sleeve shrinks.
    pub(super) finished: Dpi,
    /// What it lies on.
    pub(super) facing: Facing,
}

impl Space {
    /// A space on something flat that stays as it is.
    pub(super) const fn flat(text: TextBox) -> Self {
        Self { text, finished: text.up, facing: Facing::Flat }
    }
}

/// A panel as arranged, not yet placed.
pub(super) struct Panel {
    /// Box along the text.
    pub(super) width: Dots,
    /// Box up the text.
    pub(super) height: Dots,
    /// The text.
    pub(super) text: Fitted,
    text_at: (Dots, Dots),
    inks: Vec<Ink>,
    /// Which of them is an arrow to the left or the right.
    sideways: Option<usize>,
    rules: Vec<Area>,
    inverse: Vec<Area>,
    /// Thickness of a frame along and up.
    frame: Option<(Dots, Dots)>,
    /// The code, where it has one.
    pub(super) code: Option<CodeFacts>,
    /// What a person should know of its parts.
    pub(super) notes: Vec<String>,
}

impl Panel {
    fn of_text(text: Fitted) -> Self {
        Self {
            width: text.width,
            height: text.height,
            text,
            text_at: (Dots::ZERO, Dots::ZERO),
            inks: Vec::new(),
            sideways: None,
            rules: Vec::new(),
            inverse: Vec::new(),
            frame: None,
            code: None,
            notes: Vec::new(),
        }
    }

    /// Lets a frame take a larger box, the rest in its middle; a panel without a frame stays.
    pub(super) fn fill(&mut self, width: Dots, height: Dots) {
        if self.frame.is_none() {
            return;
        }
        let (width, height) = (width.max(self.width), height.max(self.height));
        self.shift(middle(width, self.width), middle(height, self.height));
        (self.width, self.height) = (width, height);
    }

    /// Sees to it that an arrow shows the same way in the room on both faces of a flag.
    pub(super) fn is_seen_from_behind(&mut self) {
        if let Some(arrow) = self.sideways {
            let ink = &mut self.inks[arrow];
            ink.behind = Some(Arc::new(ink.bits.turned()));
        }
    }

    fn shift(&mut self, right: Dots, up: Dots) {
        self.text_at.0 += right;
        self.text_at.1 += up;
        for ink in &mut self.inks {
            ink.left += right;
            ink.bottom += up;
        }
        for area in self.rules.iter_mut().chain(&mut self.inverse) {
            area.left += right;
            area.bottom += up;
        }
    }

    /// The panel at its places.
    pub(super) fn into_block(self, copies: Vec<(Turn, Dots, Dots)>) -> Block {
        Block {
            width: self.width,
            height: self.height,
            text: self.text,
            text_at: self.text_at,
            inks: self.inks,
            rules: self.rules,
            frame: self.frame,
            inverse: self.inverse,
            copies,
        }
    }
}

/// Thickness of frames, rules and the border of inverse fields.
fn thickness(dpi: Dpi) -> Dots {
    Dots(i64::try_from(mark::thickness(dpi)).unwrap_or(2))
}

fn count(dots: Dots) -> usize {
    usize::try_from(dots.0).unwrap_or(0)
}

/// Dots of a bitmap drawn for a panel: (along, up).
fn size_of(ink: &Bitmap) -> (Dots, Dots) {
    let (up, along) = ink.size();
    (along, up)
}

/// What stands beside the text, before anything is placed.
struct Beside {
    logo: Option<DrawnLogo>,
    code: Option<DrawnCode>,
}

/// Arranges logo, code and text of a label in a space.
///
/// The logo takes its height, the code what it needs, the text what is left. A code that leaves too
/// little for legible text is made smaller while it can still be scanned.
///
/// # Errors
/// The part that does not fit, what it asked for and what there is.
pub(super) fn arrange(request: &Request<'_>, fonts: &Fonts, space: Space, caps: Caps) -> Result<Panel, Misfit> {
    let (parts, signs) = (request.parts, request.signs);
    if parts.is_text_only(signs) {
        return fit(fonts, request.lines, space.text, caps).map(Panel::of_text);
    }
    let builder = Builder::new(request, fonts, space, caps);
    builder.marks_fit()?;
    let logo = parts.wish.logo.as_ref().map(|wish| builder.logo(wish)).transpose()?;
    match (&parts.wish.code, &signs.code) {
        (Some(wish), Some(content)) => builder.with_code(wish, content, logo),
        _ => builder.settle(Beside { logo, code: None }),
    }
}

struct Builder<'a> {
    request: &'a Request<'a>,
    fonts: &'a Fonts,
    space: Space,
    caps: Caps,
    /// Thickness of lines along and up.
    line: (Dots, Dots),
    /// From the panel's edge to what it holds, along and up.
    inset: (Dots, Dots),
    gap: Dots,
    /// Room for the field of an inverse round its words, each side.
    halo: Dots,
}

impl<'a> Builder<'a> {
    fn new(request: &'a Request<'a>, fonts: &'a Fonts, space: Space, caps: Caps) -> Self {
        let TextBox { along, up, .. } = space.text;
        let least = |dots: Dots, least: i64| dots.max(Dots(least));
        let line = (thickness(along), thickness(up));
        let marks = request.parts.wish.marks;
        let inset = if marks.frame {
            (line.0 + along.dots_covering(INSET), line.1 + up.dots_covering(INSET))
        } else {
            (Dots::ZERO, Dots::ZERO)
        };
        let gap = least(along.dots_covering(GAP), 3);
        // White strokes at the border of their field would run into the paper.
        let halo = if request.signs.inverse.is_some() { along.dots_covering(INSET).max(line.0) } else { Dots::ZERO };
        Self { request, fonts, space, caps, line, inset, gap, halo }
    }

    /// Width and height inside the frame.
    fn inside(&self) -> (Option<Dots>, Dots) {
        (self.space.text.width.map(|width| width - self.inset.0 * 2), self.space.text.height - self.inset.1 * 2)
    }

    /// Blank, and the rule where there is one, between two parts.
    fn between(&self) -> Dots {
        if self.request.parts.wish.marks.rule { self.gap * 2 + self.line.0 } else { self.gap }
    }

    /// The least height of an arrow that has its fewest dots both ways.
    fn least_arrow(&self) -> Dots {
        let (along, up) = (self.space.text.along, self.space.finished);
        up.dots_covering(along.length(Dots(LEAST_ARROW))).max(Dots(LEAST_ARROW))
    }

    /// An arrow's box: as wide as it is high on the finished label.
    fn arrow_box(&self) -> (Dots, Dots) {
        let (along, up) = (self.space.text.along, self.space.finished);
        let (width, height) = self.inside();
        let height = height.min(up.dots_within(ARROW));
        // Where the width is bounded the text needs it more.
        let share = width.map_or(height, |width| up.dots_within(along.length(Dots(width.0 / 6))));
        let height = height.min(share.max(self.least_arrow()));
        (along.dots_nearest(up.length(height)), height)
    }

    /// The least field of a pattern: along and up.
    fn least_pattern(&self) -> (Dots, Dots) {
        let (along, up) = Pattern::least(self.space.text.along, self.space.finished);
        (along.max(self.space.text.along.dots_covering(PATTERN)), up)
    }

    /// Refuses marks that would be unreadable in this space.
    fn marks_fit(&self) -> Result<(), Misfit> {
        let (up, there) = (self.space.finished, self.inside().1.max(Dots::ZERO));
        let least = |what: &str, least: Dots| {
            if there >= least {
                return Ok(());
            }
            Err(Misfit {
                kind: MisfitKind::Mark,
                field: "marks",
                found: format!("{what} in {} of height", up.length(there)),
                wanted: format!("{} for it ({least})", up.length(least)),
            })
        };
        let signs = self.request.signs;
        if signs.arrow.is_some() {
            least("an arrow", self.least_arrow())?;
        }
        if let Some(pattern) = signs.pattern {
            least(&format!("the pattern {}", pattern.word()), self.least_pattern().1)?;
        }
        Ok(())
    }

    /// Dots along that marks beside the text take, with their gaps.
    fn marks_width(&self) -> Dots {
        let signs = self.request.signs;
        let arrow = signs.arrow.map_or(Dots::ZERO, |_| self.arrow_box().0 + self.gap);
        arrow + signs.pattern.map_or(Dots::ZERO, |_| self.least_pattern().0 + self.between())
    }

    fn logo(&self, wish: &LogoWish) -> Result<DrawnLogo, Misfit> {
        let (width, height) = self.inside();
        let TextBox { along, .. } = self.space.text;
        let up = self.space.finished;
        let asked = wish.height.map(|height| up.dots_within(height));
        if let (Some(millimetres), Some(dots)) = (wish.height, asked)
            && dots > height
        {
            return Err(Misfit {
                kind: MisfitKind::Logo,
                field: "logo",
                found: format!("a logo of {millimetres}"),
                wanted: format!("at most {} high, which is what there is", up.length(height.max(Dots::ZERO))),
            });
        }
        // A logo that nobody gave a height leaves the larger part of a bounded box to the rest.
        let share = if self.request.signs.code.is_some() { 4 } else { 3 };
        let most = if asked.is_some() { width } else { width.map(|width| Dots(width.0 / share)) };
        let height = asked.unwrap_or(height).max(Dots(1));
        let drawn = self.request.parts.logo(wish, LogoBox { width: most, height, along, up });
        if drawn.ink.ink() == 0 {
            return Err(Misfit {
                kind: MisfitKind::Logo,
                field: "logo",
                found: format!("a logo of which nothing is left at {} of height", up.length(height)),
                wanted: drawn.lost.unwrap_or_else(|| "a picture with strokes of a dot or more".into()),
            });
        }
        let (its, _) = size_of(&drawn.ink);
        match width.filter(|width| its + self.between() + self.marks_width() >= *width) {
            Some(width) => Err(Misfit {
                kind: MisfitKind::Logo,
                field: "logo",
                found: format!("a logo {} wide and marks", along.length(its)),
                wanted: format!("room for text beside it in {}", along.length(width.max(Dots::ZERO))),
            }),
            None => Ok(drawn),
        }
    }

    /// What the text's lines need along at the least legible size.
    fn least_text(&self) -> Dots {
        let up = self.space.text.up;
        // Whole dots of it, and not one less for rounding.
        let most = up.length(up.dots_covering(self.caps.least)) + Micrometres(1);
        let least = Caps { least: self.caps.least, aim: self.caps.least, most };
        let free = TextBox { width: None, ..self.space.text };
        fit(self.fonts, self.request.lines, free, least).map_or(Dots::ZERO, |text| text.width)
    }

    /// The code in a height and the width that is left: the shortest with modules that read well, or
    /// else the best there is.
    fn code(&self, wish: &CodeWish, content: &str, height: Dots, width: Option<Dots>) -> Result<DrawnCode, Misfit> {
        let room = |width| Room {
            width,
            height,
            along: self.space.text.along,
            up: self.space.finished,
            facing: self.space.facing,
        };
        let open = self.request.parts.code(wish, content, room(None));
        match (&open, width) {
            (Ok(code), Some(width)) if size_of(&code.ink).0 > width => {
                self.request.parts.code(wish, content, room(Some(width)))
            }
            _ => open,
        }
    }

    fn with_code(&self, wish: &CodeWish, content: &str, logo: Option<DrawnLogo>) -> Result<Panel, Misfit> {
        let (width, inside) = self.inside();
        let up = self.space.finished;
        let height = match wish.height {
            Some(asked) if up.dots_within(asked) > inside => {
                return Err(Misfit {
                    kind: MisfitKind::Code,
                    field: "code",
                    found: format!("a code of {asked}"),
                    wanted: format!("at most {} high, which is what there is", up.length(inside.max(Dots::ZERO))),
                });
            }
            Some(asked) => up.dots_within(asked),
            None => inside.min(up.dots_within(MOST_CODE)),
        };
        let logo_width = logo.as_ref().map_or(Dots::ZERO, |logo| size_of(&logo.ink).0 + self.between());
        let rest = width.map(|width| width - logo_width - self.marks_width() - self.between());
        let text = rest.map_or(Dots::ZERO, |_| self.least_text());
        let aim = self.space.text.up.dots_covering(self.caps.aim).min(self.space.text.up.dots_within(self.caps.most));
        let (mut best, mut worst): (Option<Panel>, Option<Misfit>) = (None, None);
        // Of several reasons the first about the text is told: it comes nearest to a label.
        let told = |worst: &Option<Misfit>| worst.as_ref().is_some_and(|misfit| misfit.kind != MisfitKind::Code);
        // Text may be broken into narrower lines, so less than its width is tried too; and where
        // it stays small beside the code, a smaller code is.
        // At last it may have all there is, for the reason that is told.
        for of_text in [10, 6, 4, 0] {
            let room = rest.map(|rest| (rest - Dots(text.0 * of_text / 10)).max(Dots::ZERO));
            for of_height in [6, 4, 3, 2] {
                let height = Dots(height.0 * of_height / 6);
                let code = match self.code(wish, content, height, room) {
                    Ok(code) => code,
                    Err(misfit) => {
                        if of_height == 6 && !told(&worst) {
                            worst = Some(misfit);
                        }
                        break;
                    }
                };
                match self.settle(Beside { logo: logo.clone(), code: Some(code) }) {
                    Ok(panel) if panel.text.cap >= aim || rest.is_none() => return Ok(panel),
                    Ok(panel) if best.as_ref().is_none_or(|best| panel.text.cap > best.text.cap) => best = Some(panel),
                    Ok(_) => {}
                    Err(misfit) if !told(&worst) => worst = Some(misfit),
                    Err(_) => {}
                }
            }
            if rest.is_none() {
                break;
            }
        }
        match (best, worst) {
            (Some(panel), _) => Ok(panel),
            (None, Some(misfit)) => Err(misfit),
            (None, None) => self.settle(Beside { logo, code: None }),
        }
    }

    /// Fits the text beside the rest and gives everything its place.
    fn settle(&self, beside: Beside) -> Result<Panel, Misfit> {
        let Beside { logo, code } = beside;
        let signs = self.request.signs;
        let (width, height) = self.inside();
        let inks = logo.iter().map(|logo| &logo.ink).chain(code.iter().map(|code| &code.ink));
        let used = inks.map(|ink| size_of(ink).0 + self.between()).sum::<Dots>() + self.marks_width();
        let space = TextBox {
            width: width.map(|width| width - used - self.halo * 2),
            height: height - self.halo * 2,
            ..self.space.text
        };
        let text = fit(self.fonts, self.request.lines, space, self.caps)
            .map_err(|misfit| self.beside(misfit, &logo, &code))?;
        let arrow = signs.arrow.map(|direction| {
            let (width, height) = self.arrow_box();
            (direction, Arc::new(mark::arrow(direction, count(width), count(height))))
        });
        let pattern_height = signs.pattern.map_or(Dots::ZERO, |_| self.least_pattern().1);
        let text_height = (text.height + self.halo * 2).max(pattern_height);
        let heights = logo.iter().map(|logo| &logo.ink).chain(code.iter().map(|code| &code.ink));
        let heights = heights.chain(arrow.iter().map(|(_, ink)| ink)).map(|ink| size_of(ink).1);
        let height = heights.fold(text_height, Dots::max);
        let mut panel = Panel::of_text(text);
        panel.frame = (self.inset.0 > Dots::ZERO).then_some(self.line);
        // Whatever has its place so far ends here.
        let mut end = Dots::ZERO;
        let put = |panel: &mut Panel, bits: Arc<Bitmap>, left: Dots| {
            let (wide, high) = size_of(&bits);
            panel.inks.push(Ink { left, bottom: middle(height, high), bits, behind: None });
            left + wide
        };
        let rule = |panel: &mut Panel, end: Dots| {
            if self.request.parts.wish.marks.rule {
                panel.rules.push(Area { left: end + self.gap, bottom: Dots::ZERO, width: self.line.0, height });
            }
            end + self.between()
        };
        let first = |direction| direction == Direction::Left;
        if let Some((_, ink)) = arrow.as_ref().filter(|(direction, _)| first(*direction)) {
            end = put(&mut panel, ink.clone(), end) + self.gap;
            panel.sideways = Some(panel.inks.len() - 1);
        }
        if let Some(logo) = logo {
            end = put(&mut panel, logo.ink, end);
            end = rule(&mut panel, end);
            panel.notes.extend(logo.lost.map(|lost| format!("logo: {lost}")));
        }
        if let Some(code) = code {
            end = put(&mut panel, code.ink, end);
            end = rule(&mut panel, end);
            panel.code = Some(code.facts);
        }
        panel.text_at = (end + self.halo, middle(height, panel.text.height));
        end += panel.text.width + self.halo * 2;
        if let Some(pattern) = signs.pattern {
            end = rule(&mut panel, end);
            let (along, up) = (self.space.text.along, self.space.finished);
            let field = pattern.draw(count(self.least_pattern().0), count(height), along, up);
            end = put(&mut panel, Arc::new(field), end);
        }
        if let Some((direction, ink)) = arrow.filter(|(direction, _)| !first(*direction)) {
            end = put(&mut panel, ink, end + self.gap);
            panel.sideways = (direction == Direction::Right).then(|| panel.inks.len() - 1);
        }
        (panel.width, panel.height) = (end, height);
        if let Some(emphasis) = &signs.inverse {
            panel.inverse = super::emphasis::fields(self.fonts, &panel.text, emphasis, self.halo)
                .into_iter()
                .map(|area| Area { left: area.left + panel.text_at.0, bottom: area.bottom + panel.text_at.1, ..area })
                .collect();
        }
        panel.shift(self.inset.0, self.inset.1);
        panel.width += self.inset.0 * 2;
        panel.height += self.inset.1 * 2;
        Ok(panel)
    }

    /// A text's misfit with what stands beside it: one of them must give way.
    fn beside(&self, misfit: Misfit, logo: &Option<DrawnLogo>, code: &Option<DrawnCode>) -> Misfit {
        if misfit.kind != MisfitKind::Legibility {
            return misfit;
        }
        let along = self.space.text.along;
        let mut parts = Vec::new();
        if let Some(logo) = logo {
            parts.push(format!("a logo {} wide", along.length(size_of(&logo.ink).0)));
        }
        if let Some(DrawnCode { ink, facts }) = code {
            let (columns, rows) = facts.modules;
            let wide = along.length(size_of(ink).0);
            parts.push(format!("a {} of {rows} × {columns} modules, {wide} wide", facts.symbology.word()));
        }
        if self.inset.0 > Dots::ZERO {
            parts.push("a frame".into());
        }
        if parts.is_empty() {
            return misfit;
        }
        Misfit { found: format!("{} beside {}", misfit.found, parts.join(" and ")), ..misfit }
    }
}
