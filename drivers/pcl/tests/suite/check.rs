//! The validator every module must pass.

use crate::support::PCL;

#[test]
fn the_validator_finds_nothing() {
    assert_eq!(PCL.passes_the_validator(), ["memory over a long strip"]);
}
