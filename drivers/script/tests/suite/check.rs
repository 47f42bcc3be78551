//! The validator every family must pass, those of the golden cases too. Memory is looked at where
//! the module has a process of its own: `tapewright drivers check` does.

use tapewright_host::{Driver, Outcome, check};

use crate::support::module;

#[test]
fn the_validator_finds_nothing() {
    let driver = Driver::from(module());
    // Not those made for the round trip, which take heads no validator tries, such as of one dot.
    let families: Vec<String> =
        driver.families().iter().map(|family| family.id.clone()).filter(|id| !id.starts_with("made-")).collect();
    assert!(families.len() > 2, "{families:?}");
    for family in families {
        let checks = check(&driver, &family).unwrap();
        assert!(checks.len() > 10, "{family}: {checks:?}");
        for check in &checks {
            assert!(!matches!(check.outcome, Outcome::Failed(_)), "{family}: {check:?}");
        }
    }
}
