//! The journal: orders to print, their labels, and what became of them.

use super::Register;
use super::fault::fault;
use super::raster::Kept;
use crate::error::{Error, Result};
use crate::journal::{Fate, Note, What, fates};
use crate::strip::Between;
use crate::unit::{Dpi, Micrometres};
use rusqlite::{Connection, Row, params};
use std::ops::RangeInclusive;

/// An order to print.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Order {
    /// `print`, `resume` or `reprint`.
    pub kind: &'static str,
    /// What a person calls it.
    pub name: String,
    /// Printer profile.
    pub printer: String,
    /// Its resolution across.
    pub across: Dpi,
    /// And along.
    pub along: Dpi,
    /// Where it goes.
    pub link: String,
    /// What is asked to part labels; nothing for the best there is.
    pub between: Option<Between>,
    /// Longest strip asked for.
    pub longest_strip: Option<Micrometres>,
    /// Most labels on a strip asked for.
    pub labels_a_strip: Option<u32>,
}

/// What an order is for.
const KINDS: [&str; 3] = ["print", "resume", "reprint"];

/// Which label of which job.
pub type Place = (i64, usize);

/// A label that is to be printed.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    /// Whose it is, and what is on it.
    pub label: KeptLabel,
    /// Strip of the order, from 1.
    pub strip: usize,
    /// Its bits.
    pub bits: Kept,
    /// The label that it prints again.
    pub again: Option<Place>,
    /// That one may have been printed, too.
    pub perhaps_twice: bool,
}

/// A label as the journal knows it.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs, reason = "the words of a cable list")]
pub struct KeptLabel {
    /// The cable's number in the register, where it was known there.
    pub cable: Option<i64>,
    pub owner: String,
    pub batch: String,
    pub number: String,
    /// `near` or `far`.
    pub end: String,
    pub build: String,
    pub stock: String,
    /// Its lines of text.
    pub text: String,
    /// Diameter of the cable, where it was known.
    pub diameter: Option<Micrometres>,
    /// The next label is the other end of the same cable.
    pub joined: bool,
}

impl KeptLabel {
    /// What a person calls it: batch, number, end.
    pub fn name(&self) -> String {
        let name = format!("{} {}", self.batch, self.number);
        match name.trim() {
            "" => format!("`{}` {}", self.text.replace('\n', " / "), self.end),
            name => format!("{name} {}", self.end),
        }
    }
}

/// A label read back: where it stands, what it is, its bits' number, whether its printing was a repetition.
#[derive(Clone, Debug, PartialEq)]
pub struct Printing {
    /// Job and number in it.
    pub place: Place,
    /// When its job was begun.
    pub at: i64,
    /// Strip of the job, from 1.
    pub strip: usize,
    /// What it is.
    pub label: KeptLabel,
    /// The label that it prints again.
    pub again: Option<Place>,
    /// That one may have been printed, too.
    pub perhaps_twice: bool,
    /// Dots of its bits across.
    pub dots: u32,
    /// And head lines along.
    pub lines: u32,
    raster: i64,
}

/// A job in short.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Its number.
    pub job: i64,
    /// When it was begun, seconds since 1970, UTC.
    pub at: i64,
    /// What was asked.
    pub order: Order,
    /// How many labels.
    pub labels: usize,
}

fn count(value: i64) -> usize {
    usize::try_from(value).unwrap_or(0)
}

fn number(value: usize) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

const LABEL: &str = "label.job, label.nth, job.at, cable, owner, batch, number, \"end\", build, stock, text, od_um, \
                     joined, of_job, of_nth, perhaps_twice, raster, strip, raster.dots, raster.lines FROM label \
                     JOIN job ON job.id = label.job JOIN raster ON raster.id = label.raster";

fn printing(row: &Row<'_>) -> rusqlite::Result<Printing> {
    let again = row.get::<_, Option<i64>>(13)?.zip(row.get::<_, Option<i64>>(14)?);
    Ok(Printing {
        place: (row.get(0)?, count(row.get(1)?)),
        at: row.get(2)?,
        label: KeptLabel {
            cable: row.get(3)?,
            owner: row.get(4)?,
            batch: row.get(5)?,
            number: row.get(6)?,
            end: row.get(7)?,
            build: row.get(8)?,
            stock: row.get(9)?,
            text: row.get(10)?,
            diameter: row.get::<_, Option<i64>>(11)?.map(Micrometres),
            joined: row.get(12)?,
        },
        again: again.map(|(job, nth)| (job, count(nth))),
        perhaps_twice: row.get(15)?,
        raster: row.get(16)?,
        strip: count(row.get(17)?),
        dots: row.get(18)?,
        lines: row.get(19)?,
    })
}

fn summary(row: &Row<'_>) -> rusqlite::Result<Summary> {
    let dpi = |column: usize| -> rusqlite::Result<Dpi> {
        let milli: u32 = row.get(column)?;
        Dpi::from_milli(milli).ok_or(rusqlite::Error::IntegralValueOutOfRange(column, milli.into()))
    };
    let (kind, between): (String, String) = (row.get(2)?, row.get(8)?);
    Ok(Summary {
        job: row.get(0)?,
        at: row.get(1)?,
        order: Order {
            kind: KINDS.into_iter().find(|known| *known == kind).unwrap_or_default(),
            name: row.get(3)?,
            printer: row.get(4)?,
            across: dpi(5)?,
            along: dpi(6)?,
            link: row.get(7)?,
            between: Between::named(&between),
            longest_strip: row.get::<_, Option<i64>>(9)?.map(Micrometres),
            labels_a_strip: row.get(10)?,
        },
        labels: count(row.get(11)?),
    })
}

const SUMMARY: &str = "SELECT id, at, kind, name, printer, across_milli, along_milli, link, \
                       parting, longest_um, labels_a_strip, (SELECT count(*) FROM label WHERE label.job = job.id) FROM job";

fn add_note(db: &Connection, job: i64, note: &Note) -> Result<()> {
    db.prepare_cached("INSERT INTO event (at, job, kind, first, last, word) VALUES (?1, ?2, ?3, ?4, ?5, ?6)")
        .and_then(|mut insert| {
            let (first, last) = (number(*note.labels.start()), number(*note.labels.end()));
            insert.execute(params![note.at, job, note.what.word(), first, last, note.word])
        })
        .map(|_| ())
        .map_err(fault)
}

impl Register {
    /// Writes an order down with all its labels, before anything of it leaves; its number. Labels that
    /// it prints again and that were still waited for are from now on its own.
    ///
    /// # Errors
    /// Those of `labels`. Kind `Storage`: as [`Register::open`]; then nothing is written.
    pub fn plan(&mut self, at: i64, order: &Order, labels: impl IntoIterator<Item = Result<Planned>>) -> Result<i64> {
        self.write(|db| {
            let (across, along) = (order.across.milli(), order.along.milli());
            db.execute(
                "INSERT INTO job (at, kind, name, printer, across_milli, along_milli, link, parting, longest_um, labels_a_strip) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
                params![
                    at,
                    order.kind,
                    order.name,
                    order.printer,
                    across,
                    along,
                    order.link,
                    order.between.map_or("", Between::word),
                    order.longest_strip.map(|length| length.0),
                    order.labels_a_strip,
                ],
            )
            .map_err(fault)?;
            let job = db.last_insert_rowid();
            let mut insert = db
                .prepare_cached(
                    "INSERT INTO label (job, nth, cable, owner, batch, number, \"end\", build, stock, text, od_um, joined, \
                     raster, of_job, of_nth, perhaps_twice, strip) VALUES (?1, ?2, \
                     coalesce(?3, (SELECT cable.id FROM cable JOIN batch ON batch.id = cable.batch WHERE word = ?5 AND number = ?6)), \
                     ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)",
                )
                .map_err(fault)?;
            let mut last: Option<(Kept, i64)> = None;
            let mut again = Vec::new();
            for (nth, planned) in labels.into_iter().enumerate() {
                let Planned { label, strip, bits, again: of, perhaps_twice } = planned?;
                let raster = match &last {
                    Some((same, raster)) if *same == bits => *raster,
                    _ => bits.put(db)?,
                };
                last = Some((bits, raster));
                insert
                    .execute(params![
                        job,
                        number(nth + 1),
                        label.cable,
                        label.owner,
                        label.batch,
                        label.number,
                        label.end,
                        label.build,
                        label.stock,
                        label.text,
                        label.diameter.map(|diameter| diameter.0),
                        label.joined,
                        raster,
                        of.map(|(job, _)| job),
                        of.map(|(_, nth)| number(nth)),
                        perhaps_twice,
                        number(strip),
                    ])
                    .map_err(fault)?;
                again.extend(of);
            }
            drop(insert);
            moved(db, at, job, &again)?;
            Ok(job)
        })
    }

    /// Writes a note down. It is on the disk when this returns.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn note(&mut self, job: i64, note: &Note) -> Result<()> {
        self.write(|db| add_note(db, job, note))
    }

    /// Writes several notes down, all or none.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn note_all(&mut self, job: i64, notes: &[Note]) -> Result<()> {
        if notes.is_empty() {
            return Ok(());
        }
        self.write(|db| notes.iter().try_for_each(|note| add_note(db, job, note)))
    }

    /// A job.
    ///
    /// # Errors
    /// Kind `Input`: no such job.
    pub fn job(&self, job: i64) -> Result<Summary> {
        let found = self
            .read()
            .prepare_cached(&format!("{SUMMARY} WHERE id = ?1"))
            .and_then(|mut get| get.query_row([job], summary));
        match found {
            Err(rusqlite::Error::QueryReturnedNoRows) => Err(Error::input(format!(
                "found no job {job}, wanted one of the journal: `tapewright jobs` lists them"
            ))),
            found => found.map_err(fault),
        }
    }

    /// The last jobs, the newest first.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn jobs(&self, most: usize) -> Result<Vec<Summary>> {
        let mut get = self.read().prepare_cached(&format!("{SUMMARY} ORDER BY id DESC LIMIT ?1")).map_err(fault)?;
        let jobs = get.query_map([number(most)], summary).map_err(fault)?;
        jobs.collect::<rusqlite::Result<_>>().map_err(fault)
    }

    /// The jobs that have labels somebody still waits for, the newest first.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn open_jobs(&self) -> Result<Vec<(Summary, Vec<Fate>)>> {
        let mut open = Vec::new();
        for job in self.jobs(usize::MAX)? {
            let fates = self.fates(job.job, job.labels)?;
            if fates.iter().any(|fate| fate.is_open()) {
                open.push((job, fates));
            }
        }
        Ok(open)
    }

    /// Everything written down about a job, in order.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn notes(&self, job: i64) -> Result<Vec<Note>> {
        notes(self.read(), job)
    }

    /// What became of the labels of a job.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn fates(&self, job: i64, labels: usize) -> Result<Vec<Fate>> {
        Ok(fates(labels, &self.notes(job)?))
    }

    /// The labels of a job, in order.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn labels(&self, job: i64) -> Result<Vec<Printing>> {
        let mut get =
            self.read().prepare_cached(&format!("SELECT {LABEL} WHERE label.job = ?1 ORDER BY nth")).map_err(fault)?;
        let labels = get.query_map([job], printing).map_err(fault)?;
        labels.collect::<rusqlite::Result<_>>().map_err(fault)
    }

    /// All printings of labels with this batch and number, the newest first. Case does not count.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn printings(&self, batch: &str, cable: &str) -> Result<Vec<Printing>> {
        self.printings_where("batch = ?1 COLLATE NOCASE AND number = ?2 COLLATE NOCASE", &[batch, cable])
    }

    /// All printings of labels of a batch, the newest first.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn printings_of(&self, batch: &str) -> Result<Vec<Printing>> {
        self.printings_where("batch = ?1 COLLATE NOCASE", &[batch])
    }

    /// All printings of labels that a person calls so, `OTTER 1043` or `OTTER 1043 near`, the newest first.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn printings_named(&self, name: &str) -> Result<Vec<Printing>> {
        let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
        let called = "trim(batch || ' ' || number)";
        self.printings_where(
            &format!("{called} = ?1 COLLATE NOCASE OR {called} || ' ' || \"end\" = ?1 COLLATE NOCASE"),
            &[&name],
        )
    }

    fn printings_where(&self, which: &str, values: &[&str]) -> Result<Vec<Printing>> {
        let mut get = self
            .read()
            .prepare_cached(&format!("SELECT {LABEL} WHERE {which} ORDER BY label.job DESC, nth"))
            .map_err(fault)?;
        let labels = get.query_map(rusqlite::params_from_iter(values), printing).map_err(fault)?;
        labels.collect::<rusqlite::Result<_>>().map_err(fault)
    }

    /// The bits of a label.
    ///
    /// # Errors
    /// Kind `Storage`: they are damaged.
    pub fn bits(&self, printing: &Printing) -> Result<Kept> {
        Kept::get(self.read(), printing.raster)
    }
}

fn notes(db: &Connection, job: i64) -> Result<Vec<Note>> {
    let mut get =
        db.prepare_cached("SELECT at, kind, first, last, word FROM event WHERE job = ?1 ORDER BY id").map_err(fault)?;
    let rows = get.query_map([job], |row| {
        let labels: RangeInclusive<usize> = count(row.get(2)?)..=count(row.get(3)?);
        Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?, labels, row.get::<_, String>(4)?))
    });
    let rows = rows.map_err(fault)?.collect::<rusqlite::Result<Vec<_>>>().map_err(fault)?;
    rows.into_iter()
        .map(|(at, word, labels, text)| {
            let what = What::named(&word).ok_or_else(|| Error::bug(format!("the journal has a note `{word}`")))?;
            Ok(Note { at, what, labels, word: text })
        })
        .collect()
}

/// Says of labels that are printed again, and were still waited for, who prints them now.
fn moved(db: &Connection, at: i64, to: i64, again: &[Place]) -> Result<()> {
    let mut from: Vec<i64> = again.iter().map(|&(job, _)| job).collect();
    from.sort_unstable();
    from.dedup();
    for job in from {
        let mut labels: Vec<usize> = again.iter().filter(|&&(of, _)| of == job).map(|&(_, nth)| nth).collect();
        labels.sort_unstable();
        let known = fates(labels.last().copied().unwrap_or(0), &notes(db, job)?);
        labels.retain(|&nth| nth > 0 && known[nth - 1].is_open());
        let mut at_label = 0;
        while at_label < labels.len() {
            let first = labels[at_label];
            let mut last = first;
            while labels.get(at_label + 1) == Some(&(last + 1)) {
                at_label += 1;
                last += 1;
            }
            at_label += 1;
            add_note(db, job, &Note { at, what: What::Moved, labels: first..=last, word: format!("job {to}") })?;
        }
    }
    Ok(())
}
