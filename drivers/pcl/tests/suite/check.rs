//! The validator every module must pass. Memory is looked at where the module has a process of its
//! own: `tapewright drivers check` does.

use tapewright_host::{Driver, Outcome, check};

use crate::support::module;

#[test]
fn the_validator_finds_nothing() {
    let checks = check(&Driver::from(module()), "pcl").unwrap();
    assert!(checks.len() > 10, "{checks:?}");
    for check in &checks {
        assert!(!matches!(check.outcome, Outcome::Failed(_)), "{check:?}");
    }
    let skipped = checks.iter().filter(|check| matches!(check.outcome, Outcome::NotChecked(_)));
    assert_eq!(skipped.map(|check| check.name).collect::<Vec<_>>(), ["memory over a long strip"]);
}
