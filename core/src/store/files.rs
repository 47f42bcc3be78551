//! Small files read whole, and files that are whole or not there.

use crate::error::{Error, Kind, Result};
use std::fs::{File, TryLockError};
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};

/// Most bytes of a settings file: far beyond any sensible one.
pub const MAX_SETTINGS_BYTES: u64 = 4 << 20;

/// An I/O error as ours, naming the path: who asked for what is not there must act, else the disk's owner.
pub(crate) fn io_error(path: &Path, error: &io::Error) -> Error {
    let kind = match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::IsADirectory | io::ErrorKind::NotADirectory => Kind::Input,
        _ => Kind::Storage,
    };
    Error::new(kind, format!("{}: {}", path.display(), plain(error)))
}

/// The system's sentence without its number.
fn plain(error: &io::Error) -> String {
    let text = error.to_string();
    text.split(" (os error").next().unwrap_or(&text).to_lowercase()
}

/// Reads a file of at most so many bytes; `what` says what it should be.
///
/// # Errors
/// Kind `Input`: not there, a folder, too large. Kind `Storage`: it cannot be read.
pub fn read_bytes(path: &Path, most: u64, what: &str) -> Result<Vec<u8>> {
    let file = File::open(path).map_err(|error| io_error(path, &error))?;
    if file.metadata().map_err(|error| io_error(path, &error))?.is_dir() {
        return Err(Error::input(format!("{}: found a folder, wanted a file", path.display())));
    }
    let mut bytes = Vec::new();
    file.take(most + 1).read_to_end(&mut bytes).map_err(|error| io_error(path, &error))?;
    if bytes.len() as u64 > most {
        let limit = most >> 20;
        return Err(Error::input(format!("{}: found more than {limit} MiB, wanted {what}", path.display())));
    }
    Ok(bytes)
}

/// What is in a folder, in the order of the names' bytes.
///
/// # Errors
/// Kind `Storage`: it cannot be read.
pub fn list_folder(path: &Path) -> Result<Vec<PathBuf>> {
    let entries = std::fs::read_dir(path).map_err(|error| io_error(path, &error))?;
    let paths = entries.map(|entry| entry.map(|entry| entry.path()).map_err(|error| io_error(path, &error)));
    let mut paths: Vec<PathBuf> = paths.collect::<Result<_>>()?;
    paths.sort();
    Ok(paths)
}

/// Reads a settings file.
///
/// # Errors
/// Kind `Input`: not there, a folder, too large, not UTF-8. Kind `Storage`: it cannot be read.
pub fn read_text(path: &Path) -> Result<String> {
    String::from_utf8(read_bytes(path, MAX_SETTINGS_BYTES, "a settings file")?).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..at].iter().filter(|&&byte| byte == b'\n').count() + 1;
        Error::input(format!("{}: line {line}: found bytes that are not UTF-8, wanted UTF-8 text", path.display()))
    })
}

/// Most bytes of a picture's file: a photo straight from a camera.
pub const MAX_PICTURE_BYTES: u64 = 32 << 20;

/// Reads a picture's file.
///
/// # Errors
/// Kind `Input`: not there, a folder, too large. Kind `Storage`: it cannot be read.
pub fn read_picture(path: &Path) -> Result<Vec<u8>> {
    read_bytes(path, MAX_PICTURE_BYTES, "a smaller picture")
}

/// Waits until nobody else holds the lock of a file, and holds it until it is dropped. The lock is a
/// hidden file beside the file.
///
/// # Errors
/// Kind `Storage`: the lock cannot be made or taken.
pub fn lock(path: &Path) -> Result<File> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let beside = path.with_file_name(format!(".{name}.lock"));
    let file = File::options().create(true).append(true).open(&beside).map_err(|error| io_error(&beside, &error))?;
    file.lock().map_err(|error| io_error(&beside, &error))?;
    Ok(file)
}

/// Holds a name beside a file, for as long as this is kept. Nobody else can hold it meanwhile; a program
/// that ends without letting it go holds it no longer.
#[derive(Debug)]
pub struct Held {
    beside: PathBuf,
    _file: File,
}

impl Drop for Held {
    fn drop(&mut self) {
        // Whoever finds the file finds it free: that it is gone is only tidier.
        let _ = std::fs::remove_file(&self.beside);
    }
}

/// Takes hold of a name beside a file, at once; `None` where somebody else holds it. It is a hidden file.
///
/// # Errors
/// Kind `Storage`: it cannot be made or taken.
pub fn hold(path: &Path, name: &str) -> Result<Option<Held>> {
    let file_name = path.file_name().unwrap_or_default().to_string_lossy();
    let beside = path.with_file_name(format!(".{file_name}.{name}"));
    let file = File::options().create(true).append(true).open(&beside).map_err(|error| io_error(&beside, &error))?;
    match file.try_lock() {
        Ok(()) => Ok(Some(Held { beside, _file: file })),
        Err(TryLockError::WouldBlock) => Ok(None),
        Err(TryLockError::Error(error)) => Err(io_error(&beside, &error)),
    }
}

/// Makes a folder, and those above it.
///
/// # Errors
/// Kind `Storage`, naming the path.
pub fn make_folder(path: &Path) -> Result<()> {
    std::fs::create_dir_all(path).map_err(|error| Error::storage(format!("{}: {}", path.display(), plain(&error))))
}

/// A file that appears under its name only when it is whole.
///
/// It is written as `NAME.<number of this process>.part` beside its place; [`WholeFile::finish`]
/// moves it there. Dropped before that, the part is removed and what stood there before is
/// untouched. Behind a symbolic link the file it points to is replaced, not the link.
pub struct WholeFile {
    path: PathBuf,
    part: PathBuf,
    file: Option<BufWriter<File>>,
}

impl WholeFile {
    /// Begins a file.
    ///
    /// # Errors
    /// Kind `Storage`, naming the path.
    pub fn create(path: &Path) -> Result<Self> {
        let storage = |error: &io::Error| Error::storage(format!("{}: {}", path.display(), plain(error)));
        if path.is_dir() {
            return Err(Error::storage(format!("{}: found a folder, wanted a place for a file", path.display())));
        }
        if std::fs::metadata(path).is_ok_and(|there| !there.is_file()) {
            return Err(Error::input(format!(
                "{}: found a device or a pipe, wanted a place for a file; write to it with `--to - > {}`",
                path.display(),
                path.display()
            )));
        }
        let place = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let mut name = place.file_name().unwrap_or_default().to_owned();
        name.push(format!(".{}.part", std::process::id()));
        let part = place.with_file_name(name);
        let file = File::create(&part).map_err(|error| storage(&error))?;
        Ok(Self { path: place, part, file: Some(BufWriter::with_capacity(1 << 16, file)) })
    }

    /// Puts the file in its place.
    ///
    /// # Errors
    /// Kind `Storage`, naming the path; then nothing has changed.
    pub fn finish(mut self) -> Result<()> {
        let storage = |error: &io::Error| Error::storage(format!("{}: {}", self.path.display(), plain(error)));
        if let Some(file) = self.file.take() {
            let done = file.into_inner().map_err(io::IntoInnerError::into_error).and_then(|file| file.sync_all());
            if let Err(error) = done.and_then(|()| std::fs::rename(&self.part, &self.path)) {
                let _ = std::fs::remove_file(&self.part);
                return Err(storage(&error));
            }
        }
        Ok(())
    }
}

impl Write for WholeFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.as_mut().map_or(Ok(0), |file| file.write(bytes))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.as_mut().map_or(Ok(()), Write::flush)
    }
}

impl Drop for WholeFile {
    fn drop(&mut self) {
        if self.file.take().is_some() {
            let _ = std::fs::remove_file(&self.part);
        }
    }
}

/// Writes a file whole.
///
/// # Errors
/// Kind `Storage`, naming the path; then nothing has changed.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    let mut file = WholeFile::create(path)?;
    file.write_all(bytes).map_err(|error| Error::storage(format!("{}: {}", path.display(), plain(&error))))?;
    file.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_whole_or_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("stream.pwg");
        write_whole(&path, b"first").unwrap();
        let mut half = WholeFile::create(&path).unwrap();
        half.write_all(b"second, but").unwrap();
        half.flush().unwrap();
        drop(half);
        assert_eq!(std::fs::read(&path).unwrap(), b"first");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "no part is left");
        write_whole(&path, b"third").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"third");
    }

    #[cfg(unix)]
    #[test]
    fn a_device_is_not_replaced_and_a_link_is_followed() {
        let refused = WholeFile::create(Path::new("/dev/null")).err().unwrap();
        assert!(refused.to_string().contains("/dev/null: found a device or a pipe"), "{refused}");
        let folder = tempfile::tempdir().unwrap();
        let (path, link) = (folder.path().join("stream"), folder.path().join("link"));
        std::fs::write(&path, "first").unwrap();
        std::os::unix::fs::symlink(&path, &link).unwrap();
        write_whole(&link, b"second").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"second");
        assert!(link.is_symlink());
    }

    #[test]
    fn what_is_wrong_is_said_with_the_path() {
        let folder = tempfile::tempdir().unwrap();
        let missing = read_text(&folder.path().join("job.toml")).unwrap_err();
        assert_eq!(missing.kind(), Kind::Input);
        assert!(missing.to_string().ends_with("job.toml: no such file or directory"), "{missing}");
        std::fs::write(folder.path().join("latin.toml"), b"a = 1\nb = '\xE9'\n").unwrap();
        let error = read_text(&folder.path().join("latin.toml")).unwrap_err().to_string();
        assert!(error.contains("line 2: found bytes that are not UTF-8"), "{error}");
        assert_eq!(WholeFile::create(&folder.path().join("no/such/file")).err().unwrap().kind(), Kind::Storage);
    }
}
