//! The shelf: in a file of its own or in the register; found, read, and changed as a whole.

use crate::error::{Doing, Error, Result};
use crate::media::Catalogue;
use crate::register::Register;
use crate::shelf::Shelf;
use crate::store::files::{lock, make_folder, read_text, write_whole};
use std::path::{Path, PathBuf};

/// Its name in the user's folder.
pub const SHELF_NAME: &str = "shelf.toml";

/// The register, and whom to tell when another program keeps this one waiting for it.
#[derive(Clone, Debug)]
pub struct RegisterPlace {
    /// Its file.
    pub path: PathBuf,
    /// Is told once.
    pub wait: fn(&str),
}

#[derive(Clone, Debug)]
enum Kept {
    /// A text of its own.
    Text(PathBuf),
    /// Rows of the register.
    Rows(RegisterPlace),
}

/// A shelf and the file it is kept in: a text of its own, which a person may write, or the register.
#[derive(Clone, Debug)]
pub struct ShelfFile {
    kept: Kept,
    shelf: Shelf,
    catalogue: Catalogue,
}

impl ShelfFile {
    /// The shelf in a file that must be there.
    ///
    /// # Errors
    /// Kind `Input`: no such file, or it is wrong. Kind `Storage`: it cannot be read.
    pub fn open(path: &Path, catalogue: &Catalogue) -> Result<Self> {
        let text = read_text(path)?;
        let shelf = Shelf::read(&text, catalogue).doing(|| path.display().to_string())?;
        Ok(Self { kept: Kept::Text(path.to_owned()), shelf, catalogue: catalogue.clone() })
    }

    /// The shelf in a file; an empty one where there is none yet.
    ///
    /// # Errors
    /// As [`ShelfFile::open`], but for the file that is not there.
    pub fn open_or_new(path: &Path, catalogue: &Catalogue) -> Result<Self> {
        if path.exists() {
            return Self::open(path, catalogue);
        }
        Ok(Self { kept: Kept::Text(path.to_owned()), shelf: Shelf::default(), catalogue: catalogue.clone() })
    }

    /// The shelf in the register; an empty one where there is no register yet.
    ///
    /// # Errors
    /// Kind `Input`: it is no register, or its shelf has a stock that is not known. Kind `Storage`.
    pub fn in_register(place: &RegisterPlace, catalogue: &Catalogue) -> Result<Self> {
        let shelf = if place.path.exists() {
            let register = Register::open(&place.path, place.wait)?;
            register.shelf(catalogue).doing(|| format!("the shelf in {}", place.path.display()))?
        } else {
            Shelf::default()
        };
        Ok(Self { kept: Kept::Rows(place.clone()), shelf, catalogue: catalogue.clone() })
    }

    /// Where it is kept.
    pub fn path(&self) -> &Path {
        match &self.kept {
            Kept::Text(path) => path,
            Kept::Rows(place) => &place.path,
        }
    }

    /// What is on it.
    pub const fn shelf(&self) -> &Shelf {
        &self.shelf
    }

    /// Reads the file again, changes what it says and writes it whole: what another program changed
    /// since is not lost, nor what it changes now: a lock beside the file, or the register, lets one at a
    /// time. The change appears whole or not at all.
    ///
    /// # Errors
    /// Those of `change`; kind `Input`: the file has become wrong; kind `Storage`: it cannot be
    /// written.
    pub fn change<T>(&mut self, change: impl FnOnce(&mut Shelf, &Catalogue) -> Result<T>) -> Result<T> {
        match &self.kept {
            Kept::Text(path) => {
                if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
                    make_folder(folder)?;
                }
                let _alone = lock(path)?;
                let mut fresh = Self::open_or_new(path, &self.catalogue)?;
                let done = change(&mut fresh.shelf, &self.catalogue)?;
                write_whole(path, fresh.shelf.text().as_bytes())?;
                self.shelf = fresh.shelf;
                Ok(done)
            }
            Kept::Rows(place) => {
                let mut register = Register::open(&place.path, place.wait)?;
                let (done, shelf) = register.change_shelf(&self.catalogue, change)?;
                self.shelf = shelf;
                Ok(done)
            }
        }
    }
}

/// The shelf that is meant: that of a file somebody names, which must be there if `must_be`, else of
/// `shelf.toml` in the user's folder if there is one, else of the register.
///
/// # Errors
/// As [`ShelfFile::open`] and [`ShelfFile::in_register`]; kind `Input` where the platform tells no place
/// for either.
pub fn shelf_of(named: Option<&Path>, known: &super::Known, must_be: bool) -> Result<ShelfFile> {
    match (named, &known.shelf, &known.register) {
        (Some(path), ..) if must_be => ShelfFile::open(path, &known.catalogue),
        (Some(path), ..) => ShelfFile::open_or_new(path, &known.catalogue),
        (None, Some(path), _) => ShelfFile::open(path, &known.catalogue),
        (None, None, Some(place)) => ShelfFile::in_register(place, &known.catalogue),
        (None, None, None) => Err(Error::input(
            "found no folder for settings or data, wanted --shelf FILE, TAPEWRIGHT_CONFIG or TAPEWRIGHT_DATA",
        )),
    }
}
