//! The validator every module must pass.

use crate::support::PWG;

#[test]
fn the_validator_finds_nothing() {
    assert_eq!(PWG.passes_the_validator(), ["memory over a long strip"]);
}
