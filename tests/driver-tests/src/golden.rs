//! Files that say what is wanted.

use std::path::{Path, PathBuf};

/// What is held against a golden file.
#[derive(Debug)]
pub struct Golden {
    /// The file that says what is wanted.
    pub file: PathBuf,
    /// What stands in it before that, and stays.
    pub before: String,
    /// What is wanted.
    pub wanted: String,
    /// What was found.
    pub found: String,
}

/// The folder `tests/cases/<name>` of the project.
pub fn case_folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../cases").join(name)
}

/// Looks at each file of a folder that ends in `.<extension>`, by name and text, and holds what was
/// found against what is wanted. With `BLESS` in the environment the files are rewritten instead:
/// read them before you keep them. `look` may also say at once what is wrong.
///
/// # Panics
///
/// With all that differs; when there are fewer than `least` files; when one cannot be read or
/// written.
pub fn golden(
    folder: &Path,
    extension: &str,
    least: usize,
    mut look: impl FnMut(&Path, &str) -> Result<Golden, String>,
) {
    let shown = folder.display();
    let entries = std::fs::read_dir(folder).unwrap_or_else(|error| panic!("{shown} holds the cases: {error}"));
    let mut paths: Vec<PathBuf> = entries
        .map(|entry| entry.unwrap_or_else(|error| panic!("{shown}: {error}")).path())
        .filter(|path| path.extension().is_some_and(|found| found == extension))
        .collect();
    paths.sort();
    assert!(paths.len() >= least, "{shown}: only {} files .{extension}, wanted at least {least}", paths.len());
    let mut failed = Vec::new();
    for path in &paths {
        let name = path.file_name().unwrap_or_default().display();
        let text = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{name}: {error}"));
        match look(path, &text) {
            Ok(Golden { wanted, found, .. }) if wanted == found => {}
            Ok(Golden { file, before, found, .. }) if std::env::var_os("BLESS").is_some() => {
                std::fs::write(&file, before + &found).unwrap_or_else(|error| panic!("{name}: {error}"));
            }
            Ok(Golden { wanted, found, .. }) => failed.push(format!("{name}: wanted\n{wanted}found\n{found}")),
            Err(text) => failed.push(format!("{name}: {text}")),
        }
    }
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}
