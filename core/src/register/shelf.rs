//! The shelf as rows of the register.

use super::Register;
use super::fault::fault;
use crate::error::Result;
use crate::media::Catalogue;
use crate::shelf::{Cartridge, Left, Shelf};
use crate::unit::Micrometres;
use rusqlite::{Connection, Row};

fn cartridge(row: &Row<'_>) -> rusqlite::Result<Cartridge> {
    let left = match row.get::<_, Option<i64>>(2)? {
        Some(length) => Left::Open {
            length: Micrometres(length),
            error: Micrometres(row.get::<_, Option<i64>>(3)?.unwrap_or_default()),
        },
        None => Left::Sealed(row.get(4)?),
    };
    Ok(Cartridge { id: row.get(0)?, stock: row.get(1)?, left, price: row.get(5)?, printer: row.get(6)? })
}

fn read(db: &Connection, catalogue: &Catalogue) -> Result<Shelf> {
    let sql = "SELECT id, stock, length_um, error_um, sealed, price, printer FROM cartridge ORDER BY place";
    let mut get = db.prepare_cached(sql).map_err(fault)?;
    let mut shelf = Shelf::default();
    for one in get.query_map([], cartridge).map_err(fault)? {
        shelf.add(&one.map_err(fault)?, catalogue)?;
    }
    Ok(shelf)
}

fn write(db: &Connection, shelf: &Shelf) -> Result<()> {
    db.execute("DELETE FROM cartridge", []).map_err(fault)?;
    let sql = "INSERT INTO cartridge (id, stock, length_um, error_um, sealed, price, printer) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    let mut insert = db.prepare_cached(sql).map_err(fault)?;
    for one in shelf.cartridges() {
        let (length, error, sealed) = match one.left {
            Left::Open { length, error } => (Some(length.0), Some(error.0), None),
            Left::Sealed(count) => (None, None, Some(count)),
        };
        insert.execute((&one.id, &one.stock, length, error, sealed, one.price, &one.printer)).map_err(fault)?;
    }
    Ok(())
}

impl Register {
    /// What is on the shelf.
    ///
    /// # Errors
    /// Kind `Input`: a stock or printer that the catalogue does not have. Kind `Storage`.
    pub fn shelf(&self, catalogue: &Catalogue) -> Result<Shelf> {
        read(self.read(), catalogue)
    }

    /// Changes what is on the shelf, while nobody else does; the shelf after it.
    ///
    /// # Errors
    /// Those of `change`, and of [`Register::shelf`]; then nothing has changed.
    pub fn change_shelf<T>(
        &mut self,
        catalogue: &Catalogue,
        change: impl FnOnce(&mut Shelf, &Catalogue) -> Result<T>,
    ) -> Result<(T, Shelf)> {
        self.write(|db| {
            let mut shelf = read(db, catalogue)?;
            let done = change(&mut shelf, catalogue)?;
            write(db, &shelf)?;
            Ok((done, shelf))
        })
    }
}
