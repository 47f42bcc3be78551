//! The files of the tree as text, and Rust code without its comments and strings.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The folder of the workspace.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("core stands in the workspace").to_owned()
}

/// A file, its path relative to the workspace and with `/` between the names.
pub(crate) struct Source {
    pub(crate) path: String,
    pub(crate) text: String,
}

/// The files git knows, and those it would take: what is new is judged before it is committed.
pub(crate) fn tracked() -> Vec<String> {
    // `safe.directory`: the tree may belong to another user than the one who runs the tests.
    let output = Command::new("git")
        .args(["-c", "safe.directory=*", "ls-files", "-z", "--cached", "--others", "--exclude-standard"])
        .current_dir(root())
        .output()
        .expect("git cannot be started: install git, and run the tests in a checkout");
    assert!(output.status.success(), "git ls-files failed: {}", String::from_utf8_lossy(&output.stderr));
    let names = String::from_utf8(output.stdout).expect("file names are UTF-8");
    let mut names: Vec<String> = names.split_terminator('\0').map(str::to_owned).collect();
    names.retain(|name| root().join(name).is_file());
    assert!(names.iter().any(|name| name == "Cargo.toml"), "git does not list Cargo.toml: {names:?}");
    names
}

/// The files git knows that are text.
pub(crate) fn tracked_texts() -> Vec<Source> {
    let read = |path: String| {
        let bytes = std::fs::read(root().join(&path)).unwrap_or_else(|error| panic!("{path}: {error}"));
        let text = String::from_utf8(bytes).ok().filter(|text| !text.contains('\0'))?;
        Some(Source { path, text })
    };
    tracked().into_iter().filter_map(read).collect()
}

/// Every Rust file of `core/src`.
pub(crate) fn core() -> Vec<Source> {
    let mut files = Vec::new();
    let mut folders = vec![root().join("core/src")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("core/src can be listed") {
            let path = entry.expect("core/src can be listed").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let name = path.strip_prefix(root()).expect("below the root").to_string_lossy().replace('\\', "/");
                let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{name}: {error}"));
                files.push(Source { path: name, text });
            }
        }
    }
    files.sort_by(|a, b| a.path.cmp(&b.path));
    assert!(files.len() > 20, "found only {} files in core/src", files.len());
    files
}

/// What is left of a source text.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Keep {
    /// Code alone: strings and characters become blanks.
    Code,
    /// Code and strings.
    Strings,
}

/// Rust code with its comments blanked, and its strings unless they are kept; lines stay in place.
pub(crate) fn code(text: &str, keep: Keep) -> String {
    let chars: Vec<char> = text.chars().collect();
    let at = |i: usize| chars.get(i).copied().unwrap_or('\0');
    let mut code = String::with_capacity(text.len());
    let mut i = 0;
    let mut copy = |from: usize, to: usize, keep: bool| {
        for &c in &chars[from..to.min(chars.len())] {
            code.push(if keep || c == '\n' { c } else { ' ' });
        }
    };
    while i < chars.len() {
        let in_word = i > 0 && (at(i - 1).is_alphanumeric() || at(i - 1) == '_');
        let (end, kept) = if at(i) == '/' && at(i + 1) == '/' {
            ((i..chars.len()).find(|&i| at(i) == '\n').unwrap_or(chars.len()), false)
        } else if at(i) == '/' && at(i + 1) == '*' {
            (comment_end(&chars, i), false)
        } else if let Some(end) = (!in_word).then(|| raw_string_end(&chars, i)).flatten() {
            (end, keep == Keep::Strings)
        } else if at(i) == '"' || (at(i) == '\'' && (at(i + 1) == '\\' || at(i + 2) == '\'')) {
            (quoted_end(&chars, i), keep == Keep::Strings)
        } else {
            (i + 1, true)
        };
        copy(i, end, kept);
        i = end;
    }
    code
}

fn comment_end(chars: &[char], from: usize) -> usize {
    let (mut depth, mut i) = (0, from);
    while i + 1 < chars.len() {
        match (chars[i], chars[i + 1]) {
            ('/', '*') => (depth, i) = (depth + 1, i + 2),
            ('*', '/') => (depth, i) = (depth - 1, i + 2),
            _ => i += 1,
        }
        if depth == 0 {
            return i;
        }
    }
    chars.len()
}

/// The end of `r"…"`, `br##"…"##` and the like, if one begins here.
fn raw_string_end(chars: &[char], from: usize) -> Option<usize> {
    let mut i = from;
    while matches!(chars.get(i), Some('b' | 'c')) {
        i += 1;
    }
    if chars.get(i) != Some(&'r') {
        return None;
    }
    i += 1;
    let hashes = chars[i..].iter().take_while(|&&c| c == '#').count();
    i += hashes;
    if chars.get(i) != Some(&'"') {
        return None;
    }
    let closes =
        |at: usize| chars[at] == '"' && chars[at + 1..].iter().take(hashes).filter(|&&c| c == '#').count() == hashes;
    Some((i + 1..chars.len()).find(|&at| closes(at)).map_or(chars.len(), |at| at + 1 + hashes))
}

fn quoted_end(chars: &[char], from: usize) -> usize {
    let mut i = from + 1;
    while i < chars.len() && chars[i] != chars[from] {
        i += if chars[i] == '\\' { 2 } else { 1 };
    }
    i + 1
}

/// The piece of code a rule looks at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Piece {
    Word(String),
    /// `::`
    Path,
    Sign(char),
}

/// Code cut into words, `::` and signs, each with its line.
pub(crate) fn pieces(text: &str) -> Vec<(usize, Piece)> {
    let code: Vec<char> = code(text, Keep::Code).chars().collect();
    let (mut pieces, mut line, mut i) = (Vec::new(), 1, 0);
    while i < code.len() {
        let c = code[i];
        if c.is_alphanumeric() || c == '_' {
            let end = (i..code.len()).find(|&i| !(code[i].is_alphanumeric() || code[i] == '_')).unwrap_or(code.len());
            pieces.push((line, Piece::Word(code[i..end].iter().collect())));
            i = end;
            continue;
        }
        if c == ':' && code.get(i + 1) == Some(&':') {
            pieces.push((line, Piece::Path));
            i += 2;
            continue;
        }
        line += usize::from(c == '\n');
        if !c.is_whitespace() {
            pieces.push((line, Piece::Sign(c)));
        }
        i += 1;
    }
    pieces
}

/// The first names after a `::` that ends at piece `from`: one, or those of a group.
pub(crate) fn names_after(pieces: &[(usize, Piece)], from: usize) -> Vec<(usize, String)> {
    let name = |(line, piece): &(usize, Piece)| match piece {
        Piece::Word(word) => Some((*line, word.clone())),
        Piece::Sign('*') => Some((*line, "*".to_owned())),
        _ => None,
    };
    match pieces.get(from) {
        Some((_, Piece::Sign('{'))) => {
            let (mut names, mut depth, mut first) = (Vec::new(), 0, true);
            for piece in &pieces[from..] {
                match piece.1 {
                    Piece::Sign('{') => depth += 1,
                    Piece::Sign('}') => depth -= 1,
                    Piece::Sign(',') if depth == 1 => first = true,
                    _ if depth == 1 && first => {
                        names.extend(name(piece));
                        first = false;
                    }
                    _ => {}
                }
                if depth == 0 {
                    break;
                }
            }
            names
        }
        Some(piece) => name(piece).into_iter().collect(),
        None => Vec::new(),
    }
}

/// All that is wrong, as one failure.
#[track_caller]
pub(crate) fn assert_none(wrong: &[String]) {
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn comments_and_strings_are_blanked_and_lines_stay() {
    let text = "let a = \"x // \\\" y\"; // crate::b\n/* crate::c /* \n */ */ let d = r#\"crate::e \" \"#;\nlet f: &'static str = b\"\\\\\"; let g = '\"'; let h = '\\'';crate::i";
    let left = code(text, Keep::Code);
    assert_eq!(left.lines().count(), text.lines().count());
    let words: Vec<&str> = left.split_whitespace().collect();
    assert_eq!(
        words.join(" "),
        "let a = ; let d = ; let f: &'static str = b ; let g = ; let h = ;crate::i",
        "found {left}"
    );
    assert!(code(text, Keep::Strings).contains("x // \\\" y") && !code(text, Keep::Strings).contains("crate::b"));
}

#[test]
fn groups_give_the_first_name_of_each_member() {
    let pieces = pieces("use crate::{\n  media::*, strip::{self, Strip},\n bitmap::Bitmap as B};");
    let at = pieces.iter().position(|(_, piece)| *piece == Piece::Path).unwrap();
    let names = names_after(&pieces, at + 1);
    assert_eq!(names, [(2, "media".to_owned()), (2, "strip".to_owned()), (3, "bitmap".to_owned())]);
}
