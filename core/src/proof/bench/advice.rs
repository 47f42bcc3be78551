//! What a work sheet says about putting a label on, and about not getting hurt.

use super::BenchRow;
use crate::layout::Build;
use crate::proof::Reads;

/// How far behind the plug's strain relief a label begins: where a hand that holds the plug does not
/// rub it off, and an eye that looks for the plug finds it (common practice, no source).
const BEHIND: &str = "50 to 100 mm behind the plug's strain relief";
const BEHIND_SHORT: &str = "50-100 mm behind plug";

/// Text along a cable begins at the plug; text across it has its top away from the plug, so that it
/// stands upright where a cable hangs with its plug down. One rule for all, so that every end reads
/// the same way (common practice, no source).
const ALONG: (&str, &str) = ("its text begins at the plug's side", "text starts plug side");
const ACROSS: (&str, &str) = ("the top of its text away from the plug", "top away from it");

/// Where labels of a build go and which way they read, at the head of a strip.
pub(super) fn place(build: Build, reads: Option<Reads>) -> String {
    match (build, reads) {
        (Build::Plate, _) => "where it goes: flat where it is seen; tied to a cable, behind its plug".to_owned(),
        (_, Some(Reads::Across)) => format!("where it goes: {BEHIND}, {}", ACROSS.0),
        _ => format!("where it goes: {BEHIND}, {}", ALONG.0),
    }
}

/// Stands at every sleeve.
const SLEEVE_FIRST: &str = "SLEEVE BEFORE PLUG: slide it on first";

/// What stands beside a label: where its end belongs, what it is, where it goes, what to know.
pub(super) fn row(row: &BenchRow<'_>, percent: Option<u32>) -> Vec<String> {
    let mut lines = Vec::new();
    if !row.place.is_empty() {
        lines.push(format!("belongs at: {}", crate::font::bidi::apart(&row.place)));
    }
    let on = row.diameter.map_or(String::new(), |diameter| format!(" on {diameter}"));
    let size = percent.map_or(String::new(), |percent| format!("; drawn at {percent} %"));
    lines.push(format!("{}{on}{size}", row.build));
    if row.build == Build::Sleeve {
        lines.push(SLEEVE_FIRST.to_owned());
    }
    lines.push(match (row.build, row.reads) {
        (Build::Plate, _) => "flat where it is seen, or tied on".to_owned(),
        (_, Some(Reads::Across)) => format!("{BEHIND_SHORT}, {}", ACROSS.1),
        _ => format!("{BEHIND_SHORT}, {}", ALONG.1),
    });
    lines.extend(row.notes.iter().map(|note| format!("note: {note}")));
    lines
}

/// For every sheet.
const ALWAYS: [&str; 3] = [
    "Not a safety sign: a label names a cable. It does not say that the cable is safe, tested or switched off.",
    "Live conductors: never work on a cable that is energised. Unplug both ends or isolate it, see that nobody can switch it on, and check that it is dead.",
    "Follow local codes; licensed work stays with licensed people.",
];

/// For what is stuck on.
const ADHESIVE: &str =
    "Adhesive: wipe the sheath clean of oil and dust and let it dry and cool; on a hot or oily sheath it lets go.";

/// For what is shrunk on.
const SLEEVES: [&str; 3] = [
    "Hot air: nozzle and sleeve burn skin. Gloves, a stand for the gun, moving air against the fumes; never near solvents or anything that burns, never on energised conductors, never a flame.",
    "Soft dielectrics: foam coax deforms under heat and stays so. Short bursts, keep moving, let it cool before you bend it; stop when the sleeve is snug or the sheath shines.",
    "Sleeve before plug: slide it on before the plug goes on, and look which way it reads before you shrink it.",
];

/// The cautions for these builds, each once.
pub(super) fn cautions(builds: &[Build]) -> Vec<&'static str> {
    let mut cautions = ALWAYS.to_vec();
    if builds.iter().any(|build| matches!(build, Build::Flag | Build::Wrap | Build::Band)) {
        cautions.push(ADHESIVE);
    }
    if builds.contains(&Build::Sleeve) {
        cautions.extend(SLEEVES);
    }
    cautions
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_method_has_its_cautions_once() {
        let all = cautions(&Build::ALL);
        for words in ["Hot air", "fumes", "solvents", "foam coax", "energised", "oily", "Not a safety sign"] {
            assert!(all.iter().any(|text| text.contains(words)), "{words}");
        }
        assert!(all.contains(&"Follow local codes; licensed work stays with licensed people."));
        let flags = cautions(&[Build::Flag]);
        assert!(!flags.iter().any(|text| text.contains("Hot air")) && flags.contains(&ADHESIVE));
        assert!(!cautions(&[Build::Plate]).contains(&ADHESIVE));
    }
}
