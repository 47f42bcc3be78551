//! The shelf's file: found, read, and changed as a whole.

use crate::error::{Doing, Error, Result};
use crate::media::Catalogue;
use crate::shelf::Shelf;
use crate::store::files::{lock, make_folder, read_text, write_whole};
use std::path::{Path, PathBuf};

/// Its name in the user's folder.
pub const SHELF_NAME: &str = "shelf.toml";

/// A shelf and where it is kept.
#[derive(Clone, Debug)]
pub struct ShelfFile {
    path: PathBuf,
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
        Ok(Self { path: path.to_owned(), shelf, catalogue: catalogue.clone() })
    }

    /// The shelf in a file; an empty one where there is none yet.
    ///
    /// # Errors
    /// As [`ShelfFile::open`], but for the file that is not there.
    pub fn open_or_new(path: &Path, catalogue: &Catalogue) -> Result<Self> {
        if path.exists() {
            return Self::open(path, catalogue);
        }
        Ok(Self { path: path.to_owned(), shelf: Shelf::default(), catalogue: catalogue.clone() })
    }

    /// Where it is kept.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What is on it.
    pub const fn shelf(&self) -> &Shelf {
        &self.shelf
    }

    /// Reads the file again, changes what it says and writes it whole: what another program changed
    /// since is not lost, nor what it changes now: a lock beside the file lets one at a time. The file
    /// appears with the change or stays as it was.
    ///
    /// # Errors
    /// Those of `change`; kind `Input`: the file has become wrong; kind `Storage`: it cannot be
    /// written.
    pub fn change<T>(&mut self, change: impl FnOnce(&mut Shelf, &Catalogue) -> Result<T>) -> Result<T> {
        if let Some(folder) = self.path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            make_folder(folder)?;
        }
        let _alone = lock(&self.path)?;
        let mut fresh = Self::open_or_new(&self.path, &self.catalogue)?;
        let done = change(&mut fresh.shelf, &self.catalogue)?;
        write_whole(&self.path, fresh.shelf.text().as_bytes())?;
        self.shelf = fresh.shelf;
        Ok(done)
    }
}

/// Where the shelf is kept when nobody names a file.
///
/// # Errors
/// Kind `Input`: the platform tells no place for settings.
pub fn usual_place(folder: Option<&Path>) -> Result<PathBuf> {
    folder
        .map(|folder| folder.join(SHELF_NAME))
        .ok_or_else(|| Error::input("found no folder for settings, wanted --shelf FILE or TAPEWRIGHT_CONFIG"))
}
