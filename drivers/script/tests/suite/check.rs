//! The validator every family must pass, those of the golden cases too.

use crate::support::{family, module};

#[test]
fn the_validator_finds_nothing() {
    let module = module();
    // Not those made for the round trip, which take heads no validator tries, such as of one dot.
    let families: Vec<&str> =
        module.families().iter().map(|family| family.id.as_str()).filter(|id| !id.starts_with("made-")).collect();
    assert!(families.len() > 2, "{families:?}");
    for name in families {
        let mut left_out = vec!["memory over a long strip"];
        if module.readback(name).unwrap().is_none() {
            left_out.push("read back, it is the same");
        }
        assert_eq!(family(name).passes_the_validator(), left_out, "{name}");
    }
}
