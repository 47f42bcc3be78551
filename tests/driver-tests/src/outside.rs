//! Other people's eyes on a stream: the scripts of `tests/outside`, and pictures for them.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::Piece;

/// An empty folder `name` in the folder for a test's own files, `env!("CARGO_TARGET_TMPDIR")`.
///
/// # Panics
///
/// When it cannot be made.
pub fn empty_folder(temporary: &str, name: &str) -> PathBuf {
    let folder = Path::new(temporary).join(name);
    let shown = folder.display();
    if folder.exists() {
        std::fs::remove_dir_all(&folder).unwrap_or_else(|error| panic!("{shown}: {error}"));
    }
    std::fs::create_dir_all(&folder).unwrap_or_else(|error| panic!("{shown}: {error}"));
    folder
}

/// Writes pages as pictures `strip-0001.pbm` and so on (PBM, raw). Makes the folder.
///
/// # Panics
///
/// When it cannot.
pub fn write_pbm(folder: &Path, pages: &[Piece]) {
    std::fs::create_dir_all(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    for (page, number) in pages.iter().zip(1..) {
        let mut file = format!("P4\n{} {}\n", page.dots, page.rows.len()).into_bytes();
        file.extend(page.rows.concat());
        let path = folder.join(format!("strip-{number:04}.pbm"));
        std::fs::write(&path, file).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    }
}

/// A script of `tests/outside`, called with a stream and a folder of pictures of its pages.
#[derive(Debug, Clone, Copy)]
pub struct Script(pub &'static str);

impl Script {
    fn run(self, stream: &Path, pbm: &Path) -> Output {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../outside").join(self.0);
        let mut command = Command::new("python3");
        command.arg("-B").arg(script).args([stream, pbm]);
        command.output().expect("this test needs Python: install the Debian package python3")
    }

    /// What the script says when all is in order.
    ///
    /// # Panics
    ///
    /// When it is not, or without Python.
    pub fn agrees(self, stream: &Path, pbm: &Path) -> String {
        let output = self.run(stream, pbm);
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{}: {said}", stream.display());
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    /// The script ends with 1 and says `what`.
    ///
    /// # Panics
    ///
    /// When it does not, or without Python.
    pub fn refuses(self, stream: &Path, pbm: &Path, what: &str) {
        let output = self.run(stream, pbm);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{what}: {said}");
        assert!(said.contains(what), "wanted {what}, found {said}");
    }

    /// The script notices a dot that differs, saying `differs`, and a picture too many, saying
    /// `too_many`. The pictures are then as they were.
    ///
    /// # Panics
    ///
    /// When it does not, or without Python.
    pub fn notices_other_pictures(self, stream: &Path, pbm: &Path, differs: &str, too_many: &str) {
        let done = |result: std::io::Result<()>| result.unwrap_or_else(|error| panic!("{}: {error}", pbm.display()));
        let (first, spare) = (pbm.join("strip-0001.pbm"), pbm.join("strip-0099.pbm"));
        let picture = std::fs::read(&first).unwrap_or_else(|error| panic!("{}: {error}", first.display()));
        let mut other = picture.clone();
        *other.last_mut().expect("a picture is not empty") ^= 0x80;
        done(std::fs::write(&first, other));
        self.refuses(stream, pbm, differs);
        done(std::fs::write(&first, &picture));
        done(std::fs::write(&spare, &picture));
        self.refuses(stream, pbm, too_many);
        done(std::fs::remove_file(&spare));
    }
}
