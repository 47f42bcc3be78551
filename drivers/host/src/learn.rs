//! Families described in files: the host reads, the module learns.

use std::ffi::CString;
use std::path::{Path, PathBuf};

use tapewright_abi::raw;

use crate::foreign::{self, fault};
use crate::{HostError, library, search};

/// No description of a family is longer; a greater file is something else.
const LONGEST_FILE: u64 = 1 << 20;

/// Hands the files of `folders` to a module. Gives the files refused; an error means that the
/// module itself is not in order.
///
/// # Safety
///
/// The record was filled by a module, so that its pointers are as driver.h says.
pub(crate) unsafe fn add_families(
    module: &str,
    files: &raw::tw_family_files,
    folders: &[PathBuf],
) -> Result<Vec<HostError>, String> {
    // SAFETY: driver.h: a string, NUL-terminated, valid for the module.
    let suffix = unsafe { foreign::text(files.suffix, "the suffix of its family-files") }?;
    if suffix.is_empty() || !suffix.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit()) {
        return Err(format!(
            "the suffix of its family-files is {suffix:?}, wanted lower case letters and digits without the dot"
        ));
    }
    let add = files.add.ok_or("its family-files have no add")?;
    let mut refused = Vec::new();
    for path in search::family_files(folders, &suffix) {
        let refuse = |problem: String| HostError::FamilyFile { path: path.clone(), problem };
        let (name, text) = match read(&path) {
            Ok(found) => found,
            Err(problem) => {
                refused.push(refuse(problem));
                continue;
            }
        };
        let mut record = raw::tw_fault::empty();
        // SAFETY: [any-thread]; both strings and the record live through the call.
        let status = unsafe { add(name.as_ptr(), text.as_ptr(), &mut record) };
        if status == raw::TW_OK {
            continue;
        }
        refused.push(refuse(match fault(module, "add", status, &record) {
            HostError::Fault(fault) => fault.text,
            other => other.to_string(),
        }));
    }
    Ok(refused)
}

/// Name and text of a file, as a module takes them.
fn read(path: &Path) -> Result<(CString, CString), String> {
    library::check_permissions(path)?;
    let length = std::fs::metadata(path).map_err(|error| error.to_string())?.len();
    if length > LONGEST_FILE {
        return Err(format!("has {length} bytes, wanted at most {LONGEST_FILE}"));
    }
    let bytes = std::fs::read(path).map_err(|error| error.to_string())?;
    let text = String::from_utf8(bytes)
        .map_err(|error| format!("is not UTF-8 from byte {}, wanted a text file", error.utf8_error().valid_up_to()))?;
    let text = CString::new(text)
        .map_err(|error| format!("has a NUL at byte {}, wanted a text file", error.nul_position()))?;
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let name = CString::new(name).map_err(|_| "has a NUL in its name".to_owned())?;
    Ok((name, text))
}
