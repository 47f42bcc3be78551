//! Which build on which stock: asked for, or chosen by diameter, plug and what is there.

use super::Job;
use super::wording::Wording;
use crate::cable::{Diameter, Plug};
use crate::layout::{Build, Layout, Misfit, MisfitKind, Request, lay_out};
use crate::media::{Form, Stock};
use crate::unit::Micrometres;

/// From this diameter on a band is chosen before a flag: text fits round the cable and nothing sticks out.
const THICK: Micrometres = Micrometres(12_000);

/// Why a build was chosen. [`Why::sentence`] spells it out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The job or the row asked for it.
    Asked,
    /// Sleeve: no plug on yet.
    NoPlugYet,
    /// Wrap: in the range of the stock.
    InRange,
    /// Band: thick cable.
    Thick,
    /// Flag: nothing that lies closer fits.
    NothingCloser,
    /// Flag: on what lies closer the text could not be read.
    NothingReadable,
}

impl Why {
    /// One sentence, without a full stop, for cables from one diameter to another.
    pub fn sentence(self, build: Build, stock: &Stock, diameters: Option<(Micrometres, Micrometres)>) -> String {
        let od = match diameters {
            None => "unknown diameter".to_owned(),
            Some((low, high)) if low == high => low.to_string(),
            Some((low, high)) => format!("{} to {high}", low.to_string().trim_end_matches(" mm")),
        };
        match self {
            Self::Asked => format!("{build} as asked, on {}", stock.title),
            Self::NoPlugYet => {
                format!("sleeve: no plug is on yet; {} passes over {od} and shrinks tight", stock.id)
            }
            Self::InRange => format!("wrap: {od} is in the range of {}, and no plug has to come off", stock.id),
            Self::Thick => format!("band: at {od} text can be read round the cable"),
            Self::NothingReadable => {
                format!("flag: what it says cannot be read on a sleeve, wrap or band of this job at {od}")
            }
            Self::NothingCloser => format!("flag: no sleeve or wrap of this job fits {od} as it is"),
        }
    }
}

/// A label that works: on which stock (index in the job), and why.
pub(super) struct Choice {
    pub(super) stock: usize,
    pub(super) why: Why,
    pub(super) layout: Layout,
    /// How many of what may be left out are.
    pub(super) dropped: usize,
}

/// What is known of a cable's end when the label is chosen.
pub(super) struct Subject<'a> {
    pub(super) diameter: Option<&'a Diameter>,
    pub(super) plug: &'a Plug,
    /// What it says; then the same with more and more of what may be left out left out.
    pub(super) wordings: &'a [Shortened],
}

/// What a label says, and how many of what may be left out are.
#[derive(Debug, PartialEq)]
pub(super) struct Shortened {
    pub(super) wording: Wording,
    pub(super) dropped: usize,
}

const fn suits(build: Build, form: &Form) -> bool {
    matches!(
        (build, form),
        (Build::Flag | Build::Band | Build::Plate, Form::Tape)
            | (Build::Wrap, Form::Wrap { .. })
            | (Build::Sleeve, Form::Sleeve(_))
    )
}

/// Of several reasons, the one that helps most: it is nearest to a label that works.
const fn rank(misfit: &Misfit) -> u8 {
    match misfit.kind {
        MisfitKind::Glyph | MisfitKind::NoText => 0,
        MisfitKind::NoDiameter => 1,
        MisfitKind::Legibility | MisfitKind::Code | MisfitKind::Logo | MisfitKind::Mark => 2,
        MisfitKind::TooLong => 3,
        MisfitKind::DoesNotPass => 4,
        MisfitKind::Diameter => 5,
        MisfitKind::DoesNotGrip => 6,
        MisfitKind::Stock => 7,
    }
}

impl Job {
    /// Lays one label out on one stock of the job.
    fn attempt(&self, build: Build, stock: usize, subject: &Subject<'_>, wording: &Wording) -> Result<Layout, Misfit> {
        let request = Request {
            build,
            stock: &self.stocks[stock],
            printer: &self.printer,
            diameter: subject.diameter,
            plug: subject.plug,
            lines: &wording.text,
            signs: &wording.signs,
            parts: &self.parts,
            design: &self.design,
        };
        let layout = lay_out(&request, &self.fonts)?;
        let rules = &self.rules[stock];
        if rules.holds(layout.along) {
            return Ok(layout);
        }
        let dpi = self.printer.along;
        Err(Misfit {
            kind: MisfitKind::TooLong,
            field: "text",
            found: format!("a label of {}", dpi.length(layout.along)),
            wanted: format!("at most {} on {}", dpi.length(rules.longest_label()), self.stocks[stock].id),
        })
    }

    /// The first of these stocks on which the build works, or the most helpful reason why none does.
    fn first_that_works(
        &self,
        build: Build,
        stocks: &[usize],
        subject: &Subject<'_>,
        wording: &Wording,
    ) -> Result<(usize, Layout), Option<Misfit>> {
        let mut worst: Option<Misfit> = None;
        for &stock in stocks.iter().filter(|&&stock| suits(build, &self.stocks[stock].form)) {
            match self.attempt(build, stock, subject, wording) {
                Ok(layout) => return Ok((stock, layout)),
                Err(misfit) if worst.as_ref().is_none_or(|old| rank(&misfit) < rank(old)) => worst = Some(misfit),
                Err(_) => {}
            }
        }
        Err(worst)
    }

    /// Chooses build and stock among `stocks`; `build` is `None` where the tool is to choose.
    ///
    /// Nothing is left out of the text while any of them takes all of it; the reason why none does
    /// is that of the whole text.
    pub(super) fn choose(
        &self,
        build: Option<Build>,
        stocks: &[usize],
        subject: &Subject<'_>,
    ) -> Result<Choice, Misfit> {
        let mut first: Option<Misfit> = None;
        for Shortened { wording, dropped } in subject.wordings {
            match self.choose_for(build, stocks, subject, wording) {
                Ok(choice) => return Ok(Choice { dropped: *dropped, ..choice }),
                Err(misfit) if matches!(misfit.kind, MisfitKind::Legibility | MisfitKind::TooLong) => {
                    first.get_or_insert(misfit);
                }
                Err(misfit) => return Err(first.unwrap_or(misfit)),
            }
        }
        Err(first.unwrap_or_else(|| Misfit {
            kind: MisfitKind::NoText,
            field: "text",
            found: "no text".into(),
            wanted: "at least one line".into(),
        }))
    }

    fn choose_for(
        &self,
        build: Option<Build>,
        stocks: &[usize],
        subject: &Subject<'_>,
        wording: &Wording,
    ) -> Result<Choice, Misfit> {
        let no_stock = |build: &str| Misfit {
            kind: MisfitKind::Stock,
            field: "stock",
            found: stocks.iter().map(|&stock| self.stocks[stock].id.as_str()).collect::<Vec<_>>().join(", "),
            wanted: format!("stock for a {build}"),
        };
        if let Some(build) = build {
            return match self.first_that_works(build, stocks, subject, wording) {
                Ok((stock, layout)) => Ok(Choice { stock, why: Why::Asked, layout, dropped: 0 }),
                Err(misfit) => Err(misfit.unwrap_or_else(|| no_stock(build.word()))),
            };
        }
        let thick = subject.diameter.is_some_and(|diameter| diameter.typical >= THICK);
        let order = [
            (matches!(subject.plug, Plug::Bare), Build::Sleeve, Why::NoPlugYet),
            (true, Build::Wrap, Why::InRange),
            (thick, Build::Band, Why::Thick),
            (true, Build::Flag, Why::NothingCloser),
        ];
        let mut worst: Option<Misfit> = None;
        let mut unreadable = false;
        for (_, build, why) in order.into_iter().filter(|(may, ..)| *may) {
            match self.first_that_works(build, stocks, subject, wording) {
                Ok((stock, layout)) => {
                    let why = if unreadable && build == Build::Flag { Why::NothingReadable } else { why };
                    return Ok(Choice { stock, why, layout, dropped: 0 });
                }
                // The flag, tried last, is the label of last resort: its reason is the one to tell.
                Err(misfit) => {
                    unreadable |= misfit.as_ref().is_some_and(|misfit| {
                        matches!(
                            misfit.kind,
                            MisfitKind::Legibility | MisfitKind::TooLong | MisfitKind::Code | MisfitKind::Logo
                        )
                    });
                    worst = misfit.or(worst);
                }
            }
        }
        Err(worst.unwrap_or_else(|| no_stock("cable label")))
    }

    /// An offer that would work, in words: with what the job has, else with any stock known.
    ///
    /// Where only the stock was wrong, the build stays and another stock is offered first.
    pub(super) fn offer(&self, tried: Option<Build>, misfit: &Misfit, subject: &Subject<'_>) -> Option<String> {
        let in_job: Vec<usize> = (0..self.in_job).collect();
        let known: Vec<usize> = (0..self.stocks.len()).collect();
        let same: Vec<Build> = tried.into_iter().collect();
        let may = |build: Build| build != Build::Sleeve || !matches!(subject.plug, Plug::Unsaid);
        let order = [Build::Wrap, Build::Flag, Build::Band, Build::Sleeve];
        let any: Vec<Build> = tried.into_iter().chain(order.into_iter().filter(|&build| may(build))).collect();
        let searches = match misfit.kind {
            MisfitKind::Stock => [(&same, &known), (&any, &in_job), (&any, &known)],
            _ => [(&any, &in_job), (&same, &known), (&any, &known)],
        };
        for (builds, stocks) in searches {
            for &build in builds {
                let whole = subject.wordings.first().map(|shortened| &shortened.wording)?;
                if let Ok((stock, _)) = self.first_that_works(build, stocks, subject, whole) {
                    let from = if stock < self.in_job { "" } else { ", which is not in this job's stock" };
                    return Some(format!("a {build} on {} would work{from}", self.stocks[stock].id));
                }
            }
        }
        subject
            .diameter
            .is_none()
            .then(|| "measure the cable and fill in od, or ask for a plate (a tie-on tag)".to_owned())
    }
}
