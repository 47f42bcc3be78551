//! Files that are refused: `tests/cases/script/bad-*.toml`, each with its message in
//! `bad-*.toml.expected` (`BLESS=1` rewrites it).

use tapewright_driver_tests::{Golden, Random, case_folder, golden};
use tapewright_host::{HostError, Module};

use crate::support::{folder, put};

#[test]
fn bad_files() {
    golden(&case_folder("script"), "toml", 20, |path, text| {
        let name = path.file_name().unwrap().to_str().unwrap();
        let Err(fault) = tapewright_driver_script::read(name, text) else {
            return Err("was taken, wanted it refused".into());
        };
        assert!(!fault.text.contains("panicked"), "{name}: {}", fault.text);
        assert!(fault.text.len() < 512, "{name}: {} bytes", fault.text.len());
        let file = path.with_extension("toml.expected");
        let wanted = std::fs::read_to_string(&file).unwrap_or_default();
        Ok(Golden { file, before: String::new(), wanted, found: format!("{}\n", fault.text) })
    });
}

/// Files with any damage are taken or refused with a line, and a file without its end is refused.
#[test]
fn damaged_files_do_no_harm() {
    let mut random = Random::new(21);
    for text in [include_str!("../../families/gantry.toml"), include_str!("../../families/footlight.toml")] {
        let told = |text: &str| match tapewright_driver_script::read("damaged.toml", text) {
            Ok(_) => 0,
            Err(fault) => {
                assert!(fault.text.starts_with("line "), "{}", fault.text);
                1
            }
        };
        let mut refused = 0;
        for _ in 0..1500 {
            let mut bytes = text.as_bytes().to_vec();
            for _ in 0..1 + random.below(3) {
                let at = random.count_below(bytes.len());
                match random.below(3) {
                    0 => bytes[at] = b"0129=\"[]{},.-\n#aF"[random.count_below(17)],
                    1 => _ = bytes.remove(at),
                    _ => bytes.insert(at, bytes[random.count_below(bytes.len())]),
                }
            }
            refused += told(str::from_utf8(&bytes).unwrap());
        }
        assert!((300..1500).contains(&refused), "{refused} of 1500 refused");
        // Without its last command, which a whole file may lack, it is a family still.
        let send = text.find("job-end").unwrap();
        assert!((0..send - 20).all(|end| !text.is_char_boundary(end) || told(&text[..end]) == 1));
    }
}

/// Lists beyond what the host takes are refused here, so that one file cannot cost all families.
#[test]
fn long_lists_are_refused() {
    let family = include_str!("../../families/gantry.toml");
    let devices = "[[device]]\nkey = \"CMD\"\nvalue = \"TWP\"\n".repeat(101);
    let Err(fault) = tapewright_driver_script::read("long.toml", &format!("{family}{devices}")) else {
        panic!("101 devices were taken");
    };
    assert!(fault.text.ends_with("key device: found 101 of them, wanted at most 100"), "{}", fault.text);
}

/// A bad file is told of, and the families around it work.
#[test]
fn the_host_tells_and_goes_on() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder("some-bad");
    let good = include_str!("../../families/gantry.toml");
    put(&folder, "a-bad.toml", "family = \"x\"\n\nwidth = 3\n");
    put(&folder, "b-open.toml", &good.replace("\"gantry\"", "\"refused-open\""));
    std::fs::set_permissions(folder.join("b-open.toml"), std::fs::Permissions::from_mode(0o666)).unwrap();
    put(&folder, "c-good.toml", &good.replace("\"gantry\"", "\"refused-good\""));
    put(&folder, "d-again.toml", &good.replace("\"gantry\"", "\"refused-good\""));
    put(&folder, "e-built-in.toml", good);
    put(&folder, "f-nul.toml", "family = \"a\0b\"\n");
    std::fs::write(folder.join("g-latin.toml"), b"title = \"\xE9\"\n").unwrap();
    std::fs::set_permissions(folder.join("g-latin.toml"), std::fs::Permissions::from_mode(0o644)).unwrap();
    put(&folder, "h-long.toml", &"#".repeat((1 << 20) + 1));
    put(&folder, "other.txt", "not looked at");
    let entry = tapewright_driver_script::linked_entry();
    let (module, refused) = Module::from_entry_with_files("script", entry, std::slice::from_ref(&folder)).unwrap();
    let told: Vec<String> = refused
        .iter()
        .map(|error| match error {
            HostError::FamilyFile { path, problem } => {
                assert_eq!(error.to_string(), format!("family file {}: {problem}", path.display()));
                format!("{}: {problem}", path.file_name().unwrap().to_str().unwrap())
            }
            other => panic!("{other}"),
        })
        .collect();
    assert_eq!(
        told,
        [
            "a-bad.toml: line 3, key width: found a key that is not known, wanted one of: family, title, description, \
             version, readback, head, line, cuts, send, option, device, pace, status",
            "b-open.toml: may be written by anybody (mode 666); run chmod o-w on it",
            "d-again.toml: key family: found refused-good, which is there already, wanted a new name",
            "e-built-in.toml: key family: found gantry, which is there already, wanted a new name",
            "f-nul.toml: has a NUL at byte 11, wanted a text file",
            "g-latin.toml: is not UTF-8 from byte 9, wanted a text file",
            "h-long.toml: has 1048577 bytes, wanted at most 1048576",
        ]
    );
    assert!(module.family("refused-good").is_some() && module.family("refused-open").is_none());
    assert!(module.family("gantry").is_some() && module.family("footlight").is_some());
    module.open("refused-good").unwrap();
}

/// The shared library itself, as a program finds it beside its binary, with a family in a folder
/// of the user's.
#[test]
fn the_loaded_module_learns() {
    let binary = std::env::current_exe().unwrap();
    let user = folder("user");
    let good = include_str!("../../families/gantry.toml");
    put(&user, "mine.toml", &good.replace("\"gantry\"", "\"mine\""));
    put(&user, "wrong.toml", "family = 3\n");
    let found = tapewright_host::find(&[binary.parent().unwrap().to_owned(), user.clone()]);
    let told: Vec<String> = found.refused.iter().map(HostError::to_string).collect();
    let wrong = format!("family file {}: line 1, key family: found 3, wanted ", user.join("wrong.toml").display());
    assert!(matches!(&told[..], [told] if told.starts_with(&wrong)), "{told:?}");
    let loaded = found.modules.iter().find(|module| module.name() == "script").expect("the module lies in the folder");
    let ids: Vec<&str> = loaded.families().iter().map(|family| family.id.as_str()).collect();
    assert_eq!(ids, ["gantry", "footlight", "mine"]);
    let mut streams = Vec::new();
    for family in ["gantry", "mine"] {
        let mut session = loaded.open(family).unwrap();
        let mut sink = tapewright_host::ToWriter(Vec::new());
        session.begin_job(&crate::round_trip::job(96, 0)).unwrap();
        session.drain(&mut sink).unwrap();
        streams.push(sink.0);
    }
    assert_eq!(streams[0], [0xC7, 0x91, 0x6A, 0x01, 0, 0, 180, 0, 5]);
    assert_eq!(streams[0], streams[1]);
}

/// The example in the README is taken, and its keys are all explained there.
#[test]
fn the_readme_holds() {
    let readme = include_str!("../../README.md");
    let example = readme.split("<<'END'\n").nth(1).and_then(|rest| rest.split("END\n").next()).unwrap();
    assert!(example.starts_with("family = \"prompt-desk\""), "{example}");
    let family = tapewright_driver_script::read("prompt-desk.toml", example).unwrap_or_else(|fault| panic!("{fault}"));
    assert!(family.reads_back() && family.recognises(&[0xBE, 0x01]) > 0);
    for text in [include_str!("../../families/gantry.toml"), include_str!("../../families/footlight.toml"), example] {
        for key in text.lines().filter_map(|line| line.split_once(" = ")).map(|(key, _)| key.trim()) {
            assert!(
                readme.contains(&format!("`{key}`")) || readme.contains(&format!("`{key} =")),
                "{key} is not explained"
            );
        }
    }
}
