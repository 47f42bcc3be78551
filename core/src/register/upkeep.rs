//! Upkeep: how long labels last, when someone looked at them, and which are to be renewed.

use super::cables::{Entry, Selection};
use super::fault::fault;
use super::find::fold;
use super::time::{days_of, later};
use super::{Register, in_words};
use crate::cable::Column;
use crate::error::{Error, Result};
use crate::journal::{Fate, day};
use crate::layout::Build;
use std::collections::HashMap;

/// After how long labels are renewed where nobody says otherwise: flags creep and catch, bands and wraps
/// hold longer, sleeves and plates last as long as the cable. Common practice, no source; a guess.
const USUAL: [(Build, Option<&str>); 5] = [
    (Build::Flag, Some("24 months")),
    (Build::Band, Some("36 months")),
    (Build::Wrap, Some("60 months")),
    (Build::Sleeve, None),
    (Build::Plate, None),
];

/// The word of an inspection that a label passes.
pub const SEEN_GOOD: &str = "seen good";

/// The ends of a cable and the columns that say where they are.
pub const ENDS: [(&str, Column); 2] = [("near", Column::From), ("far", Column::To)];

/// How long labels of a build last.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Renewal {
    /// The build's word.
    pub build: String,
    /// Only on this stock; blank for all others.
    pub stock: String,
    /// After so many days; `None`: never.
    pub days: Option<i64>,
    /// A person has said so.
    pub own: bool,
}

/// Someone looked at the labels of a cable.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Inspection {
    /// When, seconds since 1970, UTC.
    pub at: i64,
    /// `near` or `far`; `None` for both.
    pub end: Option<String>,
    /// What was seen.
    pub word: String,
}

impl Inspection {
    /// Whether the label needs nothing.
    pub fn is_good(&self) -> bool {
        let word = fold(&self.word);
        word == SEEN_GOOD || word == "good"
    }
}

/// A label and when it is to be renewed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Due {
    /// Its cable.
    pub cable: Entry,
    /// `near` or `far`.
    pub end: &'static str,
    /// Where that end is.
    pub place: String,
    /// From when on, seconds since 1970, UTC.
    pub at: i64,
    /// Why, in words.
    pub why: String,
}

/// What is to be done.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Upkeep {
    /// Labels to be renewed: by place, then by date.
    pub due: Vec<Due>,
    /// Cables in use without a label: none was printed, or none that left for certain, and nobody has seen
    /// one.
    pub bare: Vec<Entry>,
}

/// The last label that left for certain.
struct Printed {
    at: i64,
    build: String,
    stock: String,
}

type Ends<T> = HashMap<(i64, &'static str), T>;

/// The end of this word.
fn end_named(word: &str) -> Option<&'static str> {
    ENDS.iter().map(|(end, _)| *end).find(|end| *end == word)
}

impl Register {
    /// How long labels last, the usual builds first, then what a person has said of stocks.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn renewals(&self) -> Result<Vec<Renewal>> {
        let usual = |(build, time): (Build, Option<&str>)| Renewal {
            build: build.word().to_owned(),
            stock: String::new(),
            days: time.and_then(days_of),
            own: false,
        };
        let mut all: Vec<Renewal> = USUAL.into_iter().map(usual).collect();
        let mut get = self
            .read()
            .prepare_cached("SELECT build, stock, days FROM renewal ORDER BY build, stock")
            .map_err(fault)?;
        let rows = get
            .query_map([], |row| Ok(Renewal { build: row.get(0)?, stock: row.get(1)?, days: row.get(2)?, own: true }));
        for own in rows.map_err(fault)? {
            let own = own.map_err(fault)?;
            match all.iter_mut().find(|one| one.build == own.build && one.stock == own.stock) {
                Some(one) => *one = own,
                None => all.push(own),
            }
        }
        Ok(all)
    }

    /// Says how long labels of a build last, on one stock where one is given; `None`: as usual again.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn set_renewal(&mut self, build: Build, stock: &str, days: Option<Option<i64>>) -> Result<()> {
        self.write(|db| {
            match days {
                Some(days) => db.execute(
                    "INSERT INTO renewal (build, stock, days) VALUES (?1, ?2, ?3) \
                     ON CONFLICT (build, stock) DO UPDATE SET days = excluded.days",
                    (build.word(), stock, days),
                ),
                None => db.execute("DELETE FROM renewal WHERE build = ?1 AND stock = ?2", (build.word(), stock)),
            }
            .map(|_| ())
            .map_err(fault)
        })
    }

    /// Notes that someone looked at labels of cables; each with its end, or `None` for both.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn inspect(&mut self, at: i64, cables: &[(i64, Option<&str>)], word: &str) -> Result<()> {
        self.write(|db| {
            let mut insert = db
                .prepare_cached("INSERT INTO inspection (at, cable, \"end\", word) VALUES (?1, ?2, ?3, ?4)")
                .map_err(fault)?;
            for (cable, end) in cables {
                insert.execute((at, cable, end, word)).map_err(fault)?;
            }
            Ok(())
        })
    }

    /// Who looked at the labels of a cable, the newest first.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn inspections(&self, cable: i64) -> Result<Vec<Inspection>> {
        let mut get = self
            .read()
            .prepare_cached("SELECT at, \"end\", word FROM inspection WHERE cable = ?1 ORDER BY id DESC")
            .map_err(fault)?;
        let rows =
            get.query_map([cable], |row| Ok(Inspection { at: row.get(0)?, end: row.get(1)?, word: row.get(2)? }));
        rows.map_err(fault)?.collect::<rusqlite::Result<_>>().map_err(fault)
    }

    /// The last good label of every end of every cable.
    fn printed(&self) -> Result<Ends<Printed>> {
        let sql = "SELECT label.job, nth, coalesce(label.cable, cable.id), label.\"end\", label.build, label.stock, job.at \
                   FROM label JOIN job ON job.id = label.job LEFT JOIN batch ON batch.word = label.batch \
                   LEFT JOIN cable ON cable.batch = batch.id AND cable.number = label.number ORDER BY label.job, nth";
        let mut get = self.read().prepare_cached(sql).map_err(fault)?;
        let mut rows = get.query([]).map_err(fault)?;
        let mut printed = HashMap::new();
        let mut of_job: (i64, Vec<Fate>) = (0, Vec::new());
        while let Some(row) = rows.next().map_err(fault)? {
            let job: i64 = row.get(0).map_err(fault)?;
            if of_job.0 != job {
                of_job = (job, self.fates(job, self.job(job)?.labels)?);
            }
            let nth = usize::try_from(row.get::<_, i64>(1).map_err(fault)?).unwrap_or(0);
            let good = of_job.1.get(nth.wrapping_sub(1)).is_some_and(|fate| matches!(fate, Fate::Left | Fate::Good));
            let cable: Option<i64> = row.get(2).map_err(fault)?;
            let end = end_named(row.get_ref(3).map_err(fault)?.as_str().unwrap_or_default());
            if let (true, Some(cable), Some(end)) = (good, cable, end) {
                let one = Printed {
                    at: row.get(6).map_err(fault)?,
                    build: row.get(4).map_err(fault)?,
                    stock: row.get(5).map_err(fault)?,
                };
                printed.insert((cable, end), one);
            }
        }
        Ok(printed)
    }

    /// The last inspection of every end of every cable.
    fn inspected(&self) -> Result<Ends<Inspection>> {
        let sql = "SELECT cable, at, \"end\", word FROM inspection ORDER BY id";
        let mut get = self.read().prepare_cached(sql).map_err(fault)?;
        let mut rows = get.query([]).map_err(fault)?;
        let mut inspected = HashMap::new();
        while let Some(row) = rows.next().map_err(fault)? {
            let one = Inspection {
                at: row.get(1).map_err(fault)?,
                end: row.get(2).map_err(fault)?,
                word: row.get(3).map_err(fault)?,
            };
            let cable: i64 = row.get(0).map_err(fault)?;
            for (end, _) in ENDS {
                if one.end.as_deref().is_none_or(|of| of == end) {
                    inspected.insert((cable, end), one.clone());
                }
            }
        }
        Ok(inspected)
    }

    /// The labels that are to be renewed until a moment, seconds since 1970 in UTC, and the cables
    /// without any; only at places with this in their name, where one is given.
    ///
    /// A label's time runs from its last printing that left for certain, or from when it was last seen
    /// good. One that was seen otherwise is due from then on.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn due(&self, until: i64, place: Option<&str>) -> Result<Upkeep> {
        let (printed, inspected) = (self.printed()?, self.inspected()?);
        let renewals = self.renewals()?;
        let wanted = place.map(fold);
        let mut upkeep = Upkeep::default();
        self.each(&Selection::default(), |cable| {
            let at_place =
                |column| wanted.as_ref().is_none_or(|wanted| fold(cable.fields.text(column)).contains(wanted));
            let mut bare = true;
            for (end, column) in ENDS {
                let (printed, seen) = (printed.get(&(cable.id, end)), inspected.get(&(cable.id, end)));
                bare &= printed.is_none() && seen.is_none();
                if let Some((at, why)) = falls_due(cable, printed, seen, &renewals).filter(|_| at_place(column))
                    && at <= until
                {
                    let place = cable.fields.text(column).to_owned();
                    upkeep.due.push(Due { cable: cable.clone(), end, place, at, why });
                }
            }
            if bare && ENDS.iter().any(|(_, column)| at_place(*column)) {
                upkeep.bare.push(cable.clone());
            }
            Ok(())
        })?;
        // Stable: cables stay in their order within a place and a day.
        upkeep.due.sort_by_cached_key(|due| (fold(&due.place), day(due.at)));
        Ok(upkeep)
    }

    /// When the labels of one cable are to be renewed, however late that is.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn due_of(&self, cable: &Entry) -> Result<Vec<Due>> {
        let (word, number) = (cable.fields.text(Column::Batch), cable.fields.text(Column::Number));
        let mut printed: Ends<Printed> = HashMap::new();
        // The newest comes first.
        for one in self.printings(word, number)? {
            let (job, nth) = one.place;
            let Some(end) = end_named(&one.label.end).filter(|end| !printed.contains_key(&(cable.id, *end))) else {
                continue;
            };
            let fates = self.fates(job, self.job(job)?.labels)?;
            if fates.get(nth.wrapping_sub(1)).is_some_and(|fate| matches!(fate, Fate::Left | Fate::Good)) {
                let label = Printed { at: one.at, build: one.label.build, stock: one.label.stock };
                printed.insert((cable.id, end), label);
            }
        }
        let (seen, renewals) = (self.inspections(cable.id)?, self.renewals()?);
        let due = ENDS.into_iter().filter_map(|(end, column)| {
            let seen = seen.iter().find(|seen| seen.end.as_deref().is_none_or(|of| of == end));
            let (at, why) = falls_due(cable, printed.get(&(cable.id, end)), seen, &renewals)?;
            Some(Due { cable: cable.clone(), end, place: cable.fields.text(column).to_owned(), at, why })
        });
        Ok(due.filter(|_| cable.retired.is_none()).collect())
    }

    /// The cables of a name, each with the end that was named after it.
    ///
    /// # Errors
    /// As [`Register::named`].
    pub fn named_ends(&self, words: &[String]) -> Result<Vec<(Entry, Option<&'static str>)>> {
        self.names(words).map(|all| all.into_iter().map(|(one, end)| (one, end.and_then(end_named))).collect())
    }
}

/// When a label is to be renewed, and why; `None` where it never is.
fn falls_due(
    cable: &Entry,
    printed: Option<&Printed>,
    seen: Option<&Inspection>,
    renewals: &[Renewal],
) -> Option<(i64, String)> {
    let seen = seen.filter(|seen| printed.is_none_or(|printed| printed.at <= seen.at));
    if let Some(seen) = seen.filter(|seen| !seen.is_good()) {
        return Some((seen.at, format!("seen on {}: {}", day(seen.at), seen.word)));
    }
    // A label that the journal does not know is of the build that the cable asks for.
    let own = |column| cable.fields.text(column).to_lowercase();
    let (build, stock) = match printed {
        Some(printed) => (printed.build.clone(), printed.stock.clone()),
        None => (own(Column::Build), own(Column::Stock)),
    };
    let of_stock = |stock: &str| renewals.iter().find(|one| one.build == build && one.stock == stock);
    let days = of_stock(&stock).or_else(|| of_stock("")).and_then(|one| one.days)?;
    let (from, what) = match (seen, printed) {
        (Some(seen), _) => (seen.at, "seen good"),
        (None, Some(printed)) => (printed.at, "printed"),
        (None, None) => return None,
    };
    let on = if stock.is_empty() { String::new() } else { format!(" on {stock}") };
    Some((later(from, days), format!("{build}{on}, {what} {}, lasts {}", day(from), in_words(days))))
}

/// An end by its word.
///
/// # Errors
/// Kind `Input`: another word.
pub fn end_of(word: &str) -> Result<Option<&'static str>> {
    match word.trim() {
        "both" => Ok(None),
        word => end_named(word)
            .map(Some)
            .ok_or_else(|| Error::input(format!("--end: found `{word}`, wanted near, far or both"))),
    }
}
