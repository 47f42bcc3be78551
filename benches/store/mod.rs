//! The work all benches share: Tidewater Playhouse's store, as many cables as asked for.
#![allow(dead_code, reason = "each bench uses its part")]

use std::collections::BTreeMap;
use tapewright::cable::{CableList, Kinds, Plugs};
use tapewright::job::{Job, Wishes};
use tapewright::media::Catalogue;
use tapewright::unit::Dots;

const WORDS: [&str; 8] = ["OTTER", "HERON", "BADGER", "MARTEN", "PLOVER", "WALRUS", "CURLEW", "BEAVER"];

/// A list of so many cables, eight words, numbers that never repeat.
pub(crate) fn list(cables: usize) -> CableList {
    let headers = ["owner", "batch", "number", "length", "od"].map(str::to_owned).to_vec();
    let mut builder = CableList::builder(headers, &BTreeMap::new()).expect("the headers are ours");
    for index in 0..cables {
        let (number, od) = ((1000 + index).to_string(), format!("{}.{} mm", 5 + index % 5, index % 10));
        let length = ["15 ft", "25 ft", "50 ft", "100 ft"][index / 7 % 4];
        let row = ["TWP", WORDS[index / 50 % 8], &number, length, &od];
        builder.push(u32::try_from(index + 2).expect("a small list"), row);
    }
    builder.finish()
}

/// Two flags a cable on 12 mm tape at 180 dpi: two faces of two lines each, 3 mm gaps.
pub(crate) fn job(cables: usize) -> Job {
    Job::new(list(cables), Wishes::default(), Catalogue::shipped(), Kinds::shipped(), Plugs::shipped())
        .expect("the shipped data fit together")
}

/// Label lengths of such a job without thinking it through.
pub(crate) fn lengths(labels: usize) -> (Vec<Dots>, Vec<bool>) {
    let lengths = (0..labels).map(|index| Dots(600 + i64::try_from(index / 2 % 97).unwrap_or(0) * 3));
    (lengths.collect(), (0..labels).map(|index| index % 2 == 0).collect())
}
