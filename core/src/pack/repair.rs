//! A plan improved in parts: some cartridges are emptied again, with the kept ones, and filled in
//! another manner.

use super::kinds::{Load, Work};
use super::realise::{Left, Manner, rest};
use super::sums::{Prefer, mixed};

/// The loads with the kept ones and one or two others made anew; `None` if that does not fit.
pub(super) fn again(work: &Work, loads: &[Load], strip: i64, seed: u32) -> Option<Vec<Load>> {
    let is_kept = |load: &Load| work.tape(&load.strips) <= work.classes[load.class].keeps;
    let full: Vec<usize> = (0..loads.len()).filter(|&at| !is_kept(&loads[at])).collect();
    let mut freed: Vec<usize> = Vec::new();
    for turn in 0..(1 + seed % 3).min(full.len() as u32) {
        let at = full[mixed(seed, turn) as usize % full.len()];
        if !freed.contains(&at) {
            freed.push(at);
        }
    }
    let mut counts = vec![0; work.kinds.len()];
    let mut kept = vec![0; work.classes.len()];
    let mut anew = Vec::new();
    for (at, load) in loads.iter().enumerate() {
        if is_kept(load) {
            kept[load.class] += 1;
        } else if !freed.contains(&at) {
            anew.push(load.clone());
            continue;
        }
        for &(kind, count) in load.strips.iter().flatten() {
            counts[kind] += count;
        }
    }
    let mut left = Left::new(work, counts);
    let prefer = match seed % 4 {
        0 => Prefer::Large,
        _ => Prefer::Mixed(seed),
    };
    let manner = Manner { prefer, long_first: false, finish: seed.is_multiple_of(2), searched: 32 };
    for at in freed {
        let class = loads[at].class;
        let strips = left.load(work.classes[class].usable, strip, manner);
        anew.push(Load { class, strips });
    }
    rest(work, &mut left, &kept, strip, manner, &mut anew)?;
    Some(anew)
}
