//! What is said of how well labels can be read, and of text that was shortened, at the command line.

use crate::program::{folder, run};
use serde_json::Value;

const LIST: &str = "batch,number,length,od\nOTTER,1040,50 ft,6 mm\nHERON,2001,7m5,6 mm\n";

/// Heights by distance as NUREG-0700 rev 3 11.4.1.5 has them: 20′ is D/172, 16′ is D/215.
#[test]
fn the_estimate_lists_labels_that_fall_short() {
    let folder = folder();
    std::fs::write(folder.path().join("cables.csv"), LIST).expect("the list");
    let estimate = |reading: &str| {
        let flags = ["--stock", "tape-6", "--text", "{batch} {number} {length}", "--reading-mm", reading];
        let json = ["estimate", "cables.csv", "--json"].iter().chain(&flags);
        let said = run(folder.path(), ["estimate", "cables.csv"].iter().chain(&flags)).ended(0).err.clone();
        (run(folder.path(), json).ended(0).json()["legibility"].clone(), said)
    };
    let (fine, said) = estimate("300");
    assert_eq!((fine, said.contains("small text")), (Value::Array(Vec::new()), false));
    // On 6 mm tape capitals are at most as high as the printable zone, 4 mm: good to 0.68 m.
    let (short, said) = estimate("760");
    let short = short.as_array().expect("a list").clone();
    assert_eq!(short.len(), 2, "{short:?}");
    for (its, batch) in short.iter().zip(["HERON", "OTTER"]) {
        assert_eq!((its["batch"].as_str(), its["stock"].as_str()), (Some(batch), Some("tape-6")), "{its}");
        assert_eq!((its["labels"].as_u64(), &its["module_mm"]), (Some(2), &Value::Null), "{its}");
        let mm = |key: &str| its[key].as_f64().expect("a length");
        assert!((mm("asked_mm") - 760.0).abs() < 0.001 && mm("good_to_mm") < 760.0 && mm("readable_to_mm") >= 760.0);
        assert!((mm("good_to_mm") / mm("cap_mm") - 171.9).abs() < 0.2, "{its}");
        assert!((mm("readable_to_mm") / mm("cap_mm") - 214.9).abs() < 0.2, "{its}");
        assert!(its["stroke_dots"].as_u64().is_some_and(|dots| dots >= 2), "{its}");
        assert!(said.contains(its["text"].as_str().expect("a sentence")), "{said}");
    }
}

#[test]
fn what_is_left_out_is_said_and_only_by_leave() {
    let folder = folder();
    let list = "batch,number,length,od\nNIGHTINGALE MONITOR,1040-1041-1042-1043,7 ft 6 in,6 mm\n";
    std::fs::write(folder.path().join("cables.csv"), list).expect("the list");
    let job = "list = 'cables.csv'\nowner = 'TWP'\nstock = 'tape-6'\nends = 'near'\n";
    let estimate = |design: &str| {
        std::fs::write(folder.path().join("job.toml"), format!("{job}{design}")).expect("the job");
        run(folder.path(), ["estimate", "job.toml"])
    };
    let refused = estimate("").ended(2);
    assert!(refused.err.contains("row 2, text: "), "{}", refused.err);
    let shortened = estimate("[design]\nmay_drop = ['length', 'owner']\n").ended(0);
    let note = "note: 1 label on tape-6: length left out: there is no room to read it";
    assert!(shortened.err.contains(note), "{}", shortened.err);
    let wrong = estimate("[design]\nmay_drop = ['shelf']\n").ended(2);
    assert!(wrong.err.contains("may_drop: found `shelf`, wanted columns"), "{}", wrong.err);
}
