//! The register: one SQLite file that knows every cable, every label ever printed, the shelf, and
//! where a batch stopped.
//!
//! One writer at a time; readers are not kept waiting (write-ahead log). What a call has written when
//! it returns is on the disk. After a write that failed, nothing more is written until the file is
//! opened again.

mod batch;
mod cables;
mod change;
mod fault;
mod find;
mod import;
mod journal;
mod raster;
mod shelf;
mod time;
mod upkeep;

pub use batch::{Added, MOST_ADDED, NewBatch};
pub use cables::{Batch, Entry, Fields, Selection};
pub use find::Found;
pub use import::{Change, Clash, Import, Outcome, Tally, Told};
pub use journal::{KeptLabel, Order, Place, Planned, Printing, Summary};
pub use raster::Kept;
pub use time::{days_of, in_words};
pub use upkeep::{Due, ENDS, Inspection, Renewal, SEEN_GOOD, Upkeep, end_of};

use crate::error::{Doing, Error, Result};
use crate::store::files::make_folder;
use fault::fault;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How a register of version `n` becomes one of version `n + 1`. Those that were in a release are
/// never changed.
const MIGRATIONS: [&str; 3] =
    [include_str!("sql/1-cables.sql"), include_str!("sql/2-journal.sql"), include_str!("sql/3-upkeep.sql")];

/// The version this program writes.
const VERSION: usize = MIGRATIONS.len();

/// `TWRG`, in the header of the file: what tells it from other databases (SQLite file format, offset 68).
const APPLICATION: i32 = 0x5457_5247;

/// How long one try for the writer's place lasts, and how often it is tried: a minute in all.
const TRY: Duration = Duration::from_millis(500);
const TRIES: usize = 120;

/// Its name in the data folder.
const NAME: &str = "register.db";

/// Where the register is kept when nobody names a file: `TAPEWRIGHT_DATA` if set, else `tapewright` in
/// the platform's place for data of programs; `None` where the platform tells none.
pub fn usual_place() -> Option<PathBuf> {
    let var = |name| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    let base = || {
        if cfg!(windows) {
            return var("LOCALAPPDATA");
        }
        var("XDG_DATA_HOME").or_else(|| var("HOME").map(|home| home.join(".local/share")))
    };
    let folder = var("TAPEWRIGHT_DATA").or_else(|| base().map(|base| base.join("tapewright")))?;
    Some(folder.join(NAME))
}

/// An open register.
pub struct Register {
    db: Connection,
    path: PathBuf,
    /// A write has failed.
    failed: bool,
    /// It can only be read: another may not write it either.
    read_only: bool,
    wait: Box<dyn Fn(&str)>,
}

impl Register {
    /// Opens a register, or begins one where no file is. An older one is brought up to date. `wait` is
    /// told once when another program keeps this one waiting.
    ///
    /// On a read-only disk it can be read.
    ///
    /// # Errors
    /// Kind `Input`: not a register, or one of a newer program. Kind `Storage`: it cannot be read,
    /// made or brought up to date, or it is damaged.
    pub fn open(path: &Path, wait: impl Fn(&str) + 'static) -> Result<Self> {
        Self::at_version(path, VERSION, Box::new(wait)).doing(|| format!("register {}", path.display()))
    }

    /// Opens a register that must be there.
    ///
    /// # Errors
    /// As [`Register::open`]; kind `Input` where no file is.
    pub fn existing(path: &Path, wait: impl Fn(&str) + 'static) -> Result<Self> {
        if !path.exists() {
            return Err(Error::input(format!(
                "{}: found no register, wanted one: `tapewright cables import` or `cables add` begins it",
                path.display()
            )));
        }
        Self::open(path, wait)
    }

    /// A register that is nowhere but in memory: what would be, where none is yet.
    ///
    /// # Errors
    /// Kind `Storage`.
    pub fn nowhere() -> Result<Self> {
        Self::at_version(Path::new(":memory:"), VERSION, Box::new(|_| ()))
    }

    fn at_version(path: &Path, version: usize, wait: Box<dyn Fn(&str)>) -> Result<Self> {
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty() && !path.exists()) {
            make_folder(folder)?;
        }
        let (db, read_only) = connect(path)?;
        let mut register = Self { db, path: path.to_owned(), failed: false, read_only, wait };
        register.db.busy_timeout(TRY).map_err(fault)?;
        register.set("foreign_keys", "ON")?;
        // Every commit waits for the disk: a label that left is never forgotten.
        register.set("synchronous", "FULL")?;
        let found = register.recognise()?;
        if found > version {
            return Err(Error::input(format!(
                "found a register of version {found}, wanted {version} or older: a newer tapewright has written it, use that one"
            )));
        }
        if found < version && read_only {
            return Err(Error::storage(format!(
                "found a register of version {found} on a disk that cannot be written, wanted version {version}: open it once where it can be brought up to date"
            )));
        }
        if found < version {
            // The log's mode is part of the file; it cannot be set inside a transaction.
            register.set("journal_mode", "WAL")?;
            register.write(|db| migrate(db, version))?;
        }
        Ok(register)
    }

    /// Where it is kept.
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn set(&self, name: &str, value: &str) -> Result<()> {
        self.db.pragma_update(None, name, value).map_err(fault)
    }

    /// The version of the file; 0 for a new one.
    fn recognise(&self) -> Result<usize> {
        let (application, version) = header(&self.db)?;
        let empty = || -> Result<bool> {
            let objects: i64 =
                self.db.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).map_err(fault)?;
            Ok(objects == 0)
        };
        match application {
            APPLICATION => Ok(version),
            0 if version == 0 && empty()? => Ok(0),
            _ => Err(Error::input("found a database of another program, wanted a register of tapewright")),
        }
    }

    /// Reads.
    fn read(&self) -> &Connection {
        &self.db
    }

    /// Does all of a change or none of it. Waits until nobody else writes.
    ///
    /// # Errors
    /// Those of `change`. Kind `Storage`: the disk is full or fails, someone else writes for longer than
    /// a minute, or the file can only be read.
    fn write<T>(&mut self, change: impl FnOnce(&Transaction<'_>) -> Result<T>) -> Result<T> {
        if self.read_only {
            return Err(Error::storage(format!(
                "{}: found a register that can only be read, wanted one on a disk that can be written",
                self.path.display()
            )));
        }
        if self.failed {
            return Err(Error::storage("the register took no write before, wanted it opened again"));
        }
        let transaction = begin(&self.db, &self.wait)?;
        let done = change(&transaction).and_then(|done| transaction.commit().map_err(fault).map(|()| done));
        if done.as_ref().is_err_and(|error| error.kind() == crate::error::Kind::Storage) {
            self.failed = true;
        }
        done
    }

    /// Whether SQLite finds the file in order (`PRAGMA integrity_check`).
    ///
    /// # Errors
    /// Kind `Storage`: it cannot be read.
    pub fn is_whole(&self) -> Result<bool> {
        let said: String = self.db.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0)).map_err(fault)?;
        Ok(said == "ok")
    }

    /// Copies the register, whole and as it is at this moment, while others may use it.
    ///
    /// # Errors
    /// Kind `Input`: there is a file already. Kind `Storage`: it cannot be written.
    pub fn back_up(&self, to: &Path) -> Result<()> {
        if to.exists() {
            return Err(Error::input(format!("{}: found a file, wanted a name that is free", to.display())));
        }
        let text = to.to_str().ok_or_else(|| Error::input("the name of the copy is not UTF-8"))?;
        let copied = self.db.execute("VACUUM INTO ?1", [text]).map(|_| ()).map_err(fault);
        if copied.is_err() {
            let _ = std::fs::remove_file(to);
        }
        copied.doing(|| to.display().to_string())
    }
}

/// Opens the file; the second value says that it can only be read.
fn connect(path: &Path) -> Result<(Connection, bool)> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let whole = Connection::open_with_flags(path, flags).and_then(|db| {
        // Opening looks at nothing; the first question does.
        let writable = !db.is_readonly(rusqlite::MAIN_DB)?;
        db.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get::<_, i64>(0))?;
        Ok((db, writable))
    });
    let error = match whole {
        Ok((db, true)) => return Ok((db, false)),
        Ok((_, false)) => None,
        Err(error) => Some(error),
    };
    let may_read = error.as_ref().is_none_or(fault::is_read_only) && path.exists();
    if let (Some(error), false) = (error, may_read) {
        return Err(fault(error));
    }
    // Nobody can write there, so nobody changes what is read: the log needs no file beside it.
    let name = path.to_str().ok_or_else(|| Error::input("the name of the register is not UTF-8"))?;
    let name = name.replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Connection::open_with_flags(format!("file:{name}?immutable=1"), flags).map(|db| (db, true)).map_err(fault)
}

/// The place of the one writer.
fn begin<'d>(db: &'d Connection, wait: &dyn Fn(&str)) -> Result<Transaction<'d>> {
    let mut tried = 0;
    loop {
        tried += 1;
        match Transaction::new_unchecked(db, TransactionBehavior::Immediate) {
            Err(error) if fault::is_busy(&error) && tried < TRIES => {
                if tried == 1 {
                    wait("waiting for another program that writes the register");
                }
            }
            begun => return begun.map_err(fault),
        }
    }
}

/// What the header of the file says: the program it is of, and its version.
fn header(db: &Connection) -> Result<(i32, usize)> {
    let one = |name: &str| db.pragma_query_value(None, name, |row| row.get::<_, i32>(0)).map_err(fault);
    Ok((one("application_id")?, usize::try_from(one("user_version")?).unwrap_or(usize::MAX)))
}

/// Brings a register up to a version.
fn migrate(db: &Transaction<'_>, version: usize) -> Result<()> {
    // Another program may have done it while this one waited.
    let (_, found) = header(db)?;
    for (nth, sql) in MIGRATIONS.iter().enumerate().take(version).skip(found) {
        db.execute_batch(sql).map_err(fault).doing(|| format!("bringing it to version {}", nth + 1))?;
    }
    if found < version {
        db.pragma_update(None, "application_id", APPLICATION).map_err(fault)?;
        db.pragma_update(None, "user_version", i64::try_from(version).unwrap_or(i64::MAX)).map_err(fault)?;
    }
    Ok(())
}

#[cfg(test)]
mod cable_tests;
#[cfg(test)]
mod tests;
