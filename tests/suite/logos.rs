//! Logos and pictures: what is drawn bit for bit, what is refused in which words, and what others
//! decode and draw of the same files. The cases are in `cases/logo`.

use crate::pbm::Pbm;
use crate::program::folder;
use crate::{python, sources};
use std::path::{Path, PathBuf};
use tapewright::bitmap::Bitmap;
use tapewright::error::Kind;
use tapewright::logo::{Box as Room, Drawn, Picture, Tone};
use tapewright::unit::{Dots, Dpi};

fn cases() -> PathBuf {
    sources::root().join("tests/cases/logo")
}

/// The files of the cases whose name says yes, in order.
fn named(wanted: impl Fn(&str) -> bool) -> Vec<String> {
    let entries = std::fs::read_dir(cases()).expect("the cases can be listed");
    let names = entries.map(|entry| entry.expect("the cases can be listed").file_name().to_string_lossy().into_owned());
    let mut names: Vec<String> = names.filter(|name| wanted(name)).collect();
    names.sort();
    names
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(cases().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn picture(name: &str) -> Picture {
    Picture::read(name, &bytes(name)).unwrap_or_else(|error| panic!("{error}"))
}

fn dpi(dpi: u32) -> Dpi {
    Dpi::from_milli(dpi * 1000).expect("a resolution")
}

fn room(width: Option<i64>, height: i64, along: u32, up: u32) -> Room {
    Room { width: width.map(Dots), height: Dots(height), along: dpi(along), up: dpi(up) }
}

/// What is found against `NAME.expected`, or written there.
fn compare(name: &str, found: &str, wrong: &mut Vec<String>) {
    let path = cases().join(format!("{name}.expected"));
    if std::env::var_os("BLESS").is_some() {
        std::fs::write(&path, found).expect("a case can be written");
    }
    let wanted = std::fs::read_to_string(&path).unwrap_or_default();
    if wanted != found {
        wrong.push(format!("{name}: found\n{found}\nwanted\n{wanted}"));
    }
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    picture: String,
    tone: String,
    width: Option<i64>,
    height: i64,
    along: u32,
    up: u32,
}

#[test]
fn every_case_is_drawn_as_expected() {
    let (names, mut wrong) = (named(|name| name.ends_with(".toml")), Vec::new());
    assert!(names.len() >= 16, "{names:?}");
    for name in names {
        let text = std::fs::read_to_string(cases().join(&name)).expect("a case");
        let case: Case = toml::from_str(&text).unwrap_or_else(|error| panic!("{name}: {error}"));
        let tone = Tone::named(&case.tone).unwrap_or_else(|| panic!("{name}: no tone `{}`", case.tone));
        let Drawn { ink, lost } = picture(&case.picture).draw(room(case.width, case.height, case.along, case.up), tone);
        let lost = lost.map_or_else(|| "nothing".to_owned(), |lost| lost.to_string());
        compare(&name, &format!("lost: {lost}\n{ink}"), &mut wrong);
    }
    assert!(wrong.is_empty(), "{}\n(BLESS=1 writes what was found; read it)", wrong.join("\n"));
}

#[test]
fn what_is_no_picture_is_refused_in_words() {
    let (names, mut wrong) = (named(|name| name.starts_with("bad-") && !name.ends_with(".expected")), Vec::new());
    assert!(names.len() >= 24, "{names:?}");
    for name in names {
        let error = Picture::read(&name, &bytes(&name)).err().unwrap_or_else(|| panic!("{name} was read"));
        assert_eq!(error.kind(), Kind::Input, "{name}: {error}");
        let text = error.to_string();
        assert!(text.starts_with(&format!("{name}: found ")) && text.contains("wanted "), "{text}");
        compare(&name, &format!("{text}\n"), &mut wrong);
    }
    assert!(wrong.is_empty(), "{}\n(BLESS=1 writes what was found; read it)", wrong.join("\n"));
}

#[test]
fn a_file_cut_anywhere_is_refused_or_drawn_and_never_panics() {
    let mut seed = 0x9E37_79B9_7F4A_7C15_u64;
    for name in ["ring-alpha.png", "ring-palette.png", "scene.jpg", "scene-progressive.jpg", "third-dots.svg"] {
        let whole = bytes(name);
        let read = |bytes: &[u8]| {
            if let Ok(picture) = Picture::read(name, bytes) {
                assert!(picture.draw(room(Some(40), 24, 180, 180), Tone::Auto).ink.dots() > 0);
            }
        };
        // An SVG is drawn whole while it is read, which an unoptimised build takes long for.
        for _ in 0..if name.ends_with(".svg") { 10 } else { 60 } {
            let mut next = || {
                seed ^= seed << 13;
                seed ^= seed >> 7;
                seed ^= seed << 17;
                usize::try_from(seed >> 32).expect("32 bits")
            };
            read(&whole[..next() % whole.len()]);
            let mut damaged = whole.clone();
            damaged[next() % whole.len()] ^= 1 << (next() % 8);
            read(&damaged);
        }
    }
}

#[test]
fn the_same_picture_in_another_file_is_the_same_ink() {
    let draw = |name: &str| picture(name).draw(room(None, 20, 180, 180), Tone::Auto);
    let ring = draw("ring.png");
    assert_eq!(ring, draw("ring-palette.png"), "a palette");
    assert_eq!(ring.ink, draw("ring-alpha.png").ink, "alpha over white, another margin");
    // The only tone there is, is ink. Smoothed borders of a colour have other means: a dot here and
    // there may differ.
    let mut yellow = draw("ring-yellow.png").ink;
    let ink = yellow.ink();
    yellow.blit(&ring.ink, 0, 0);
    assert!(ink.abs_diff(ring.ink.ink()) <= 12 && yellow.ink() - ink <= 12, "{}", yellow);
    assert_eq!(draw("scene.jpg").ink.size(), draw("scene.png").ink.size());
}

#[test]
fn a_camera_picture_stands_upright() {
    let draw = |name: &str| picture(name).draw(room(None, 24, 180, 180), Tone::Threshold(128)).ink;
    let mirrored = |bitmap: &Bitmap| {
        let mut mirrored = bitmap.clone();
        mirrored.mirror();
        mirrored
    };
    let upright = draw("turned-3.jpg").turned();
    let across = |turn: u32| {
        let picture = picture(&format!("turned-{turn}.jpg"));
        picture.draw(room(None, 36, 180, 180), Tone::Threshold(128)).ink
    };
    // Exif 2.3, 4.6.4: which corner of the stored picture is at the top left of what is seen. The
    // pixels stored are the same in all seven; so each turns or mirrors them.
    assert_eq!(draw("turned-4.jpg"), mirrored(&upright), "4: rows from the bottom");
    assert_eq!(draw("turned-2.jpg"), mirrored(&upright).turned(), "2: columns from the right");
    let clockwise = upright.quarter_turned().turned();
    assert_eq!(across(6), clockwise, "6: a quarter clockwise");
    assert_eq!(across(8), clockwise.turned(), "8: a quarter the other way");
    assert_eq!(across(5), mirrored(&clockwise).turned(), "5: the rows become columns");
    assert_eq!(across(7), mirrored(&clockwise), "7");
}

/// Writes what we draw for the checker.
fn write(ink: &Bitmap, path: &Path) {
    let mut picture = Pbm::blank(ink.dots(), ink.lines());
    for line in 0..ink.lines() {
        (0..ink.dots()).filter(|&dot| ink.get(line, dot)).for_each(|dot| picture.set(line, dot));
    }
    picture.write(path);
}

/// Pillow decodes PNG and JPEG, rsvg-convert draws SVG; the checker averages areas in its own way.
/// A dot may differ only where its mean lies so near to the level, in grey values of 255.
#[test]
fn pillow_and_librsvg_see_the_same_dots() {
    let folder = folder();
    let path = folder.path().join("dots.pbm");
    // JPEG: decoders differ in how they round and how they smooth halved colour (ISO/IEC 10918-2
    // allows for it). SVG: renderers count coverage in steps, ours in 255ths at 8 by 8 pixels.
    let pixels = [("ring.png", 1), ("ring-alpha.png", 1), ("ring-palette.png", 1), ("scene.png", 1), ("ramp.png", 1)];
    let photos = [("scene.jpg", 2), ("scene-grey.jpg", 2), ("scene-progressive.jpg", 6), ("scene-cmyk.jpg", 3)];
    let drawings = [
        ("../../../core/data/demo/logo.svg", 8),
        ("unequal.svg", 8),
        ("third-dots.svg", 8),
        ("hairlines.svg", 8),
        ("narrow-gaps.svg", 8),
        ("shaded.svg", 8),
    ];
    for (name, tolerance) in pixels.into_iter().chain(photos).chain(drawings) {
        for (height, along, up, level) in [(64, 180, 180, 128), (40, 180, 360, 160)] {
            let drawn = picture(name).draw(room(None, height, along, up), Tone::Threshold(level)).ink;
            write(&drawn, &path);
            let arguments = [
                cases().join(name).into_os_string(),
                path.clone().into_os_string(),
                level.to_string().into(),
                tolerance.to_string().into(),
            ];
            let said = python::check("picture_dots.py", &arguments);
            assert!(said.contains("dots"), "{said}");
            // The checker itself: a dot in the middle of ink that is not there.
            let middle = (0..drawn.lines()).flat_map(|line| (0..drawn.dots()).map(move |dot| (line, dot)));
            let around = |(line, dot): (usize, usize)| {
                line > 0
                    && dot > 0
                    && (line - 1..line + 2).all(|line| (dot - 1..dot + 2).all(|dot| drawn.get(line, dot)))
            };
            if let Some((line, dot)) = middle.into_iter().find(|&at| around(at))
                && height == 64
                && ["ring.png", "scene.jpg", "hairlines.svg"].contains(&name)
            {
                let mut wrong = drawn.clone();
                wrong.invert(line, 1, dot, 1);
                write(&wrong, &path);
                python::refuses("picture_dots.py", &arguments, "differ");
            }
        }
    }
}
