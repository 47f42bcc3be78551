//! What the tree holds to beyond the floors: unsafe code, dependencies, names, paths, skipped tests.

use crate::sources::{Keep, Piece, Source, assert_none, code, core, pieces, root, tracked, tracked_texts};
use std::collections::BTreeSet;

/// Drivers' own ground: the only crates that may hold unsafe code.
const UNSAFE: [&str; 3] = ["abi", "kit", "host"];

/// Crates in `drivers/` that are links, not driver modules, and the dependencies they may have.
/// Their roots deny unsafe code; one module of each allows it, named here.
const LINKS: [(&str, &str, &[&str]); 1] = [("usb", "transfer", &["rusb"])];

fn link(name: &str) -> Option<&'static (&'static str, &'static str, &'static [&'static str])> {
    LINKS.iter().find(|(link, ..)| *link == name)
}

/// What the top level may show.
const TOP: [&str; 9] =
    ["Cargo.toml", "Cargo.lock", "README.md", "DEVELOPERS.md", "core", "drivers", "fonts", "tests", "benches"];

/// Folders of `drivers/`.
fn drivers() -> Vec<String> {
    let folders = std::fs::read_dir(root().join("drivers")).expect("drivers/ can be listed");
    let names = folders.map(|entry| entry.expect("drivers/ can be listed"));
    let mut names: Vec<String> = names
        .filter(|entry| entry.path().join("Cargo.toml").is_file())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert!(UNSAFE.iter().all(|name| names.iter().any(|found| found == name)), "found only {names:?} in drivers/");
    names
}

fn read(path: &str) -> String {
    std::fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// A crate root must refuse unsafe code.
fn forbids(path: &str, text: &str) -> Vec<String> {
    let plain: String = code(text, Keep::Code).split_whitespace().collect();
    if plain.contains("#![forbid(unsafe_code)]") {
        return Vec::new();
    }
    vec![format!(
        "{path}:1: found no #![forbid(unsafe_code)], wanted it: only drivers/{} hold unsafe code",
        UNSAFE.join(", drivers/")
    )]
}

#[test]
fn unsafe_code_is_forbidden_outside_the_fence() {
    let mut roots: Vec<String> = [
        "core/src/lib.rs",
        "core/src/main.rs",
        "tests/suite.rs",
        "tests/driver-tests/src/lib.rs",
        "tests/usb-printer/src/lib.rs",
        "tests/usb-printer/src/bin/usb-printer.rs",
        "tests/usb-printer/src/bin/usb-scenario.rs",
    ]
    .map(str::to_owned)
    .into();
    let fenced = drivers().into_iter().filter(|name| !UNSAFE.contains(&name.as_str()) && link(name).is_none());
    roots.extend(fenced.map(|name| format!("drivers/{name}/src/lib.rs")));
    let wrong: Vec<String> = roots.iter().flat_map(|path| forbids(path, &read(path))).collect();
    assert_none(&wrong);
    assert!(
        forbids("a.rs", "// #![forbid(unsafe_code)]\n#![deny(unsafe_code)]")[0]
            .starts_with("a.rs:1: found no #![forbid")
    );
    assert_none(&forbids("a.rs", "//! A.\n#![forbid(unsafe_code)]"));
}

/// Names of standards that begin like a driver's: a media type and attributes of print queues.
const STANDARDS: [&str; 1] = ["pwg-raster"];

/// Where a driver's name is a word of the trade: letters belong to a script.
const WORDS: [(&str, &str); 1] = [("core/src/font/", "script")];

/// A link must deny unsafe code at its root, and allow it in its one module only.
fn allows_once(path: &str, root: &str, name: &str, module: &str, text: &str) -> Vec<String> {
    let plain: String = code(text, Keep::Code).split_whitespace().collect();
    let mut wrong = Vec::new();
    if name == root && !plain.contains("#![deny(unsafe_code)]") {
        wrong.push(format!("{path}:1: found no #![deny(unsafe_code)], wanted it: only `{module}` holds unsafe code"));
    }
    // The other ways to allow it name the lint as well.
    let denied = if name == root { plain.replacen("#![deny(unsafe_code)]", "", 1) } else { plain };
    if name != module && denied.contains("unsafe_code") {
        wrong.push(format!("{path}:1: names the lint unsafe_code, wanted unsafe code in `{module}` only"));
    }
    wrong
}

#[test]
fn a_link_holds_unsafe_code_in_one_module() {
    let files = tracked_texts();
    for (link, module, _) in LINKS {
        let folder = format!("drivers/{link}/src/");
        let sources: Vec<&Source> = files.iter().filter(|file| file.path.starts_with(&folder)).collect();
        assert!(sources.iter().any(|file| file.path == format!("{folder}{module}.rs")), "{folder}: no {module}.rs");
        let wrong: Vec<String> = sources
            .iter()
            .flat_map(|file| {
                let name = file.path[folder.len()..].trim_end_matches(".rs");
                allows_once(&file.path, "lib", name, module, &file.text)
            })
            .collect();
        assert_none(&wrong);
    }
    assert_eq!(allows_once("a.rs", "lib", "lib", "m", "// #![deny(unsafe_code)]").len(), 1);
    assert_eq!(allows_once("a.rs", "lib", "lib", "m", "#![deny(unsafe_code)] #[allow(unsafe_code)] mod x {}").len(), 1);
    assert_eq!(allows_once("a.rs", "lib", "other", "m", "#[expect(unsafe_code)] fn f() {}").len(), 1);
    assert_none(&allows_once("a.rs", "lib", "m", "m", "#![allow(unsafe_code)]"));
    assert_none(&allows_once("a.rs", "lib", "other", "m", "// unsafe_code"));
}

/// A driver's name may stand in core only as a file extension (`.pwg`) in help, and in the demo,
/// which shows one printer; inside the name of a standard it is none. Comments may give examples.
fn names_a_driver(path: &str, text: &str, drivers: &[String]) -> Vec<String> {
    if path == "core/src/cli/demo.rs" {
        return Vec::new();
    }
    let mut wrong = Vec::new();
    for (line, text) in (1..).zip(code(text, Keep::Strings).lines()) {
        let words = |name: &str| WORDS.iter().any(|&(folder, word)| path.starts_with(folder) && name == word);
        for name in drivers.iter().filter(|name| !words(name)) {
            for (at, _) in text.match_indices(name.as_str()) {
                let before = text[..at].chars().next_back().unwrap_or(' ');
                let after = text[at + name.len()..].chars().next().unwrap_or(' ');
                let standard = STANDARDS.iter().any(|standard| text[at..].starts_with(standard));
                if !standard && before != '.' && !before.is_alphanumeric() && !after.is_alphanumeric() {
                    wrong.push(format!("{path}:{line}: found the driver's name `{name}`, wanted core to know no driver; take it from the printer profile"));
                }
            }
        }
    }
    wrong
}

#[test]
fn core_knows_no_driver_by_name() {
    let ours = |name: &String| !UNSAFE.contains(&name.as_str()) && link(name).is_none();
    let names: Vec<String> = drivers().into_iter().filter(ours).collect();
    assert!(names.contains(&"pwg".to_owned()), "found the drivers {names:?}");
    let wrong: Vec<String> = core().iter().flat_map(|file| names_a_driver(&file.path, &file.text, &names)).collect();
    assert_none(&wrong);
    let found = names_a_driver("core/src/run.rs", "\nlet x = \"pwg\";", &names);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("core/src/run.rs:2: found the driver's name `pwg`"));
    assert_eq!(names_a_driver("core/src/run.rs", "let script = 1;", &names).len(), 1);
    assert_none(&names_a_driver("core/src/font/shape.rs", "let script = 1;", &names));
    assert_none(&names_a_driver(
        "core/src/run.rs",
        "// pwg\n\"file:job.pwg\"; pwgraster; \"image/pwg-raster\"",
        &names,
    ));
}

/// Names of the dependency tables of a manifest that count for what a crate is built from.
fn depends_on(manifest: &str, with_dev: bool) -> BTreeSet<String> {
    let manifest: toml::Table = manifest.parse().unwrap_or_else(|error| panic!("{error}"));
    let mut names = BTreeSet::new();
    let mut take = |table: &toml::Table| {
        for kind in ["dependencies", "build-dependencies", "dev-dependencies"] {
            if (with_dev || kind != "dev-dependencies")
                && let Some(list) = table.get(kind).and_then(toml::Value::as_table)
            {
                // A renamed dependency counts under its own name.
                names.extend(list.iter().map(|(name, value)| {
                    value.get("package").and_then(toml::Value::as_str).unwrap_or(name).to_owned()
                }));
            }
        }
    };
    take(&manifest);
    for target in manifest.get("target").and_then(toml::Value::as_table).into_iter().flat_map(|all| all.values()) {
        target.as_table().into_iter().for_each(&mut take);
    }
    names
}

fn only(path: &str, manifest: &str, allowed: &[&str]) -> Vec<String> {
    complain(path, depends_on(manifest, false), allowed)
}

fn complain(path: &str, found: BTreeSet<String>, allowed: &[&str]) -> Vec<String> {
    let wrong = found.into_iter().filter(|name| !allowed.contains(&name.as_str()));
    wrong.map(|name| format!("{path}:1: depends on `{name}`, wanted only {}", allowed.join(" and "))).collect()
}

/// What the crate that the modules' tests share takes, its own tests included. Two modules in one
/// binary would share one exported symbol: it must link none.
fn shared_takes(manifest: &str) -> Vec<String> {
    complain("tests/driver-tests/Cargo.toml", depends_on(manifest, true), &["tapewright-host"])
}

/// What core takes from the drivers' tree, tests and benches included.
fn core_takes(manifest: &str, drivers: &[String]) -> Vec<String> {
    // A bench measures what modules are made of; the program itself never takes the kit.
    let (program, _) = manifest.split_once("[dev-dependencies]").unwrap_or((manifest, ""));
    let takes_kit = depends_on(program, true).iter().any(|name| name == "tapewright-kit");
    let all = depends_on(manifest, true).into_iter().filter(|name| takes_kit || name != "tapewright-kit");
    let theirs = all.filter(|name| {
        let short = name.strip_prefix("tapewright-").map(|name| name.strip_prefix("driver-").unwrap_or(name));
        short.is_some_and(|short| {
            let is_driver = link(short).is_none() && drivers.iter().any(|driver| driver == short);
            short == "tests" || short != "host" && is_driver
        })
    });
    theirs
        .map(|name| {
            format!(
                "core/Cargo.toml:1: depends on `{name}`, wanted only tapewright-host and links of the drivers' tree"
            )
        })
        .collect()
}

#[test]
fn dependencies_between_core_host_kit_and_drivers_go_one_way() {
    let all = drivers();
    let mut wrong = Vec::new();
    for name in &all {
        let path = format!("drivers/{name}/Cargo.toml");
        let allowed: &[&str] = match name.as_str() {
            "abi" => &[],
            "kit" => &["tapewright-abi"],
            // On Linux it asks for wider pipes to the processes of modules.
            "host" => &["tapewright-abi", "libloading", "rustix"],
            // Its families are files in TOML, and it must say where in them a mistake stands.
            "script" => &["tapewright-kit", "toml"],
            name => link(name).map_or(&["tapewright-kit"], |(_, _, allowed)| allowed),
        };
        wrong.extend(only(&path, &read(&path), allowed));
    }
    wrong.extend(core_takes(&read("core/Cargo.toml"), &all));
    wrong.extend(shared_takes(&read("tests/driver-tests/Cargo.toml")));
    assert_none(&wrong);
    for bad in [
        "[dependencies]\nserde = '1'",
        "[build-dependencies]\nserde = '1'",
        "[target.'cfg(unix)'.dependencies]\nserde = '1'",
        "[dependencies]\ntapewright-kit = { package = 'serde', version = '1' }",
    ] {
        assert_eq!(
            only("x/Cargo.toml", bad, &["tapewright-kit"]),
            ["x/Cargo.toml:1: depends on `serde`, wanted only tapewright-kit"]
        );
    }
    assert_none(&only("x/Cargo.toml", "[dev-dependencies]\nserde = '1'", &[]));
    assert_eq!(core_takes("[dev-dependencies]\ntapewright-driver-pwg = '0'", &all).len(), 1);
    assert_eq!(core_takes("[dependencies]\ntapewright-kit.workspace = true", &all).len(), 1);
    assert_eq!(core_takes("[dev-dependencies]\ntapewright-driver-tests.workspace = true", &all).len(), 1);
    assert_eq!(shared_takes("[dev-dependencies]\ntapewright-driver-pwg = { path = 'x' }").len(), 1);
    assert_eq!(
        only("x/Cargo.toml", "[dependencies]\ntapewright-driver-tests.workspace = true", &["tapewright-kit"]).len(),
        1
    );
}

fn top(names: &[String]) -> Vec<String> {
    let first: BTreeSet<&str> = names.iter().map(|name| name.split('/').next().unwrap_or(name)).collect();
    let shows = |name: &&&str| !name.starts_with('.') && !TOP.contains(*name) && !name.starts_with("LICENSE");
    first
        .iter()
        .filter(shows)
        .map(|name| format!("{name}:1: stands at the top of the tree, wanted only {}", TOP.join(", ")))
        .collect()
}

#[test]
fn the_top_of_the_tree_shows_only_what_it_should() {
    assert_none(&top(&tracked()));
    let wrong = top(&["core/a".into(), ".ci/run".into(), "LICENSE-MIT".into(), "notes.md".into(), "tools/x".into()]);
    assert_eq!(wrong.len(), 2, "{wrong:?}");
    assert!(wrong[0].starts_with("notes.md:1: stands at the top"));
}

/// Tests that would be skipped and look green.
fn skipped(path: &str, text: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    let pieces = pieces(text);
    let mut attribute = None;
    for (i, (line, piece)) in pieces.iter().enumerate() {
        match (piece, attribute) {
            (Piece::Sign('#'), None) if matches!(pieces.get(i + 1), Some((_, Piece::Sign('[' | '!')))) => {
                attribute = Some(0)
            }
            (Piece::Sign('['), Some(depth)) => attribute = Some(depth + 1),
            (Piece::Sign(']'), Some(depth)) => attribute = if depth > 1 { Some(depth - 1) } else { None },
            (Piece::Word(word), Some(_)) if word == "ignore" => {
                wrong.push(format!(
                    "{path}:{line}: found an ignored test, wanted it run: a missing part makes it fail with a sentence"
                ));
            }
            _ => {}
        }
    }
    for (line, text) in (1..).zip(text.lines()) {
        let doc = text.trim_start().strip_prefix("//").unwrap_or("").trim_start_matches(['/', '!']).trim_start();
        if doc.strip_prefix("```").is_some_and(|kind| kind.split(',').any(|word| word.trim() == "ignore")) {
            wrong.push(format!(
                "{path}:{line}: found an ignored example, wanted one that is compiled at the least (no_run)"
            ));
        }
    }
    wrong
}

#[test]
fn no_test_is_skipped() {
    let files = tracked_texts();
    let rust = files.iter().filter(|file| file.path.ends_with(".rs"));
    let wrong: Vec<String> = rust.flat_map(|file| skipped(&file.path, &file.text)).collect();
    assert_none(&wrong);
    for bad in [
        "\n#[ignore]",
        "\n#[ignore = \"slow\"]",
        "\n#[cfg_attr(windows, ignore)]",
        "\n/// ```ignore",
        "\n//! ```rust,ignore",
    ] {
        let found = skipped("a.rs", bad);
        assert!(found.len() == 1 && found[0].starts_with("a.rs:2: found an ignored"), "{bad}: {found:?}");
    }
    assert_none(&skipped(
        "a.rs",
        "// #[ignore]\nlet ignore = [\"#[ignore]\"]; a[ignore]; #[test] fn ignore() {}\n/// ```no_run",
    ));
}

/// Paths of one machine. Each is put together here, so that this file does not hold what it seeks.
const PATHS: [&str; 7] = [
    concat!("/ho", "me/"),
    concat!("/ro", "ot/"),
    concat!("/wo", "rk/"),
    concat!("/Us", "ers/"),
    concat!("C:", "\\Users"),
    concat!("/tmp/", "target"),
    concat!("../", "shared"),
];

/// Hosts of package registries.
const HOSTS: [&str; 8] = [
    concat!("crates", ".io"),
    concat!("pypi", ".org"),
    concat!("pythonhosted", ".org"),
    concat!("npmjs", ".org"),
    concat!("npmjs", ".com"),
    concat!("deb.debian", ".org"),
    concat!("proxy.golang", ".org"),
    concat!("conda.anaconda", ".org"),
];

fn foreign(path: &str, text: &str) -> Vec<String> {
    // The lock file names the registry by design.
    if path == "Cargo.lock" {
        return Vec::new();
    }
    let mut wrong = Vec::new();
    for (line, text) in (1..).zip(text.lines()) {
        for seek in PATHS {
            // The same words inside a longer path are no machine's path.
            let starts = |at: usize| !text[..at].ends_with(|c: char| c.is_alphanumeric() || "_.}$".contains(c));
            if text.match_indices(seek).any(|(at, _)| starts(at)) {
                wrong
                    .push(format!("{path}:{line}: found `{seek}`, a path of one machine; the tree must work anywhere"));
            }
        }
        for seek in HOSTS.iter().filter(|seek| text.contains(**seek)) {
            wrong.push(format!(
                "{path}:{line}: found `{seek}`, the host of a registry; name the package and its version"
            ));
        }
    }
    wrong
}

#[test]
fn no_file_holds_a_path_of_one_machine_or_the_host_of_a_registry() {
    let wrong: Vec<String> = tracked_texts().iter().flat_map(|Source { path, text }| foreign(path, text)).collect();
    assert_none(&wrong);
    for seek in PATHS.iter().chain(&HOSTS) {
        let found = foreign("a.md", &format!("fine\nsee {seek}x"));
        assert!(found.len() == 1 && found[0].starts_with("a.md:2: found `"), "{seek}: {found:?}");
    }
    assert_none(&foreign("Cargo.lock", HOSTS[0]));
    assert_none(&foreign("a.md", "tests/suite, target/venv, framework/, a/framework/b, /tmp/demo, crate::io"));
}
