//! Plans on cartridges against the planner of lists on full ones, and their ledgers added up again.

use super::*;
use crate::media::Catalogue;
use crate::strip;

/// Numbers of no pattern, the same on every run (a linear congruence, constants of Knuth's MMIX).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self, least: i64, most: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        least + i64::try_from((self.0 >> 33) % u64::try_from(most - least + 1).unwrap()).unwrap()
    }
}

fn rules(printer: &str, between: Between) -> Rules {
    let catalogue = Catalogue::shipped();
    Rules::new(catalogue.printer(printer).unwrap(), catalogue.stock("tape-12").unwrap(), Some(between))
}

fn open(id: &str, length: i64) -> Offer {
    Offer {
        id: id.into(),
        length: Dots(length),
        error: Dots::ZERO,
        count: 1,
        source: Source::Open,
        mounted: false,
        price: None,
    }
}

fn singles(count: usize) -> Vec<Block> {
    (0..count).map(|label| Block { labels: vec![label], batch: None }).collect()
}

fn planned(rules: &Rules, lengths: &[Dots], order: Order, list: Vec<Offer>, taken_out: bool) -> Shelved {
    let blocks = singles(lengths.len());
    let demand = Demand { rules, lengths, blocks: &blocks, order, given: false, swap: Dots(700), keep: Dots(700) };
    let offers = Offers { list, price: None, taken_out };
    let mut turns = 0;
    let found = plan(&demand, &offers, &mut || {
        turns += 1;
        turns < 50
    });
    let found = found.unwrap_or_else(|misfit| panic!("{misfit:?}"));
    checked(rules, lengths, &found);
    found
}

/// Adds a plan up again from its labels: every label once, every strip within the limits, every dot of
/// every cartridge in the ledger.
fn checked(rules: &Rules, lengths: &[Dots], plan: &Shelved) {
    let mut seen: Vec<usize> = plan.labels.clone();
    seen.sort_unstable();
    assert!(seen.into_iter().eq(0..lengths.len()), "every label once");
    let mut used = Dots::ZERO;
    for (mount, one) in plan.strips.mounts.iter().zip(&plan.uses) {
        let mut fed = Dots::ZERO;
        for labels in &plan.strips.strips[mount.strips.clone()] {
            let these: Vec<Dots> = plan.labels[labels.clone()].iter().map(|&label| lengths[label]).collect();
            let strip = Strip::new(rules, &these);
            assert!(strip.length <= rules.max_strip);
            fed += strip.length;
        }
        assert_eq!(fed, one.strips);
        assert_eq!(one.load + one.strips + one.tail + one.scrap + one.left, one.length, "{one:?}");
        assert!(one.length - one.load - one.strips >= rules.reserve, "{one:?}");
        assert_eq!(mount.returned, one.left);
        used += one.length - one.left;
    }
    assert_eq!(used, plan.strips.ledger.tape(), "what the cartridges lost is what the ledger has");
    assert_eq!(plan.strips.ledger.label, lengths.iter().copied().sum());
}

#[test]
fn one_long_cartridge_is_what_the_list_planner_finds() {
    let mut numbers = Numbers(7);
    let (mut proven, mut padded) = (0, 0);
    for printer in ["bench-180", "wide-300", "field-203"] {
        for between in [Between::Half, Between::Full, Between::Snip] {
            let Rules { cartridge, .. } = rules(printer, between);
            let rules = rules(printer, between);
            for _ in 0..12 {
                let count = numbers.next(1, 14);
                let short = numbers.next(0, 1) == 1;
                let (least, most) = if short { (40, 120) } else { (500, 900) };
                let lengths: Vec<Dots> = (0..count).map(|_| Dots(numbers.next(least, most))).collect();
                let ours = planned(&rules, &lengths, Order::List, vec![open("long", cartridge.0)], false);
                let joined = vec![false; lengths.len()];
                let wanted = strip::plan(&rules, &lengths, &joined, false);
                assert_eq!(wanted.mounts.len(), 1);
                let (ours_tape, tape) = (ours.strips.ledger.tape(), wanted.ledger.tape());
                assert!(ours.strips.bound <= tape && tape <= ours_tape, "{printer} {between:?}: {ours_tape}, {tape}");
                if ours.within == Dots::ZERO {
                    assert_eq!(ours_tape, tape, "{printer} {between:?} {lengths:?}");
                    proven += 1;
                }
                if lengths.iter().any(|&length| rules.pads(length).0 != rules.pads(length).1) {
                    padded += 1;
                } else {
                    assert_eq!(ours.within, Dots::ZERO, "{printer} {between:?}: a list is always proven");
                }
            }
        }
    }
    assert!(proven > 60 && padded > 10, "{proven} proven, {padded} with pads that depend on the place");
}

#[test]
fn every_order_adds_up_and_a_freer_one_costs_no_more() {
    let rules = rules("bench-180", Between::Half);
    let mut numbers = Numbers(11);
    for _ in 0..25 {
        let sizes = [numbers.next(400, 900), numbers.next(400, 900), numbers.next(400, 900)];
        let lengths: Vec<Dots> =
            (0..numbers.next(4, 24)).map(|_| Dots(sizes[usize::try_from(numbers.next(0, 2)).unwrap()])).collect();
        let total: i64 = lengths.iter().map(|length| length.0 + 22).sum();
        let offers: Vec<Offer> =
            ["a", "b", "c"].iter().map(|id| open(id, total / 3 + numbers.next(1500, 4000))).collect();
        let cost = |plan: &Shelved| {
            let kept = plan.uses.iter().filter(|one| one.left > Dots::ZERO).count();
            plan.strips.ledger.waste().0 + 700 * i64::try_from(plan.uses.len() + kept).unwrap()
        };
        let list = planned(&rules, &lengths, Order::List, offers.clone(), true);
        assert!(list.labels.is_sorted());
        let free = planned(&rules, &lengths, Order::Free, offers, true);
        assert_eq!(list.within, Dots::ZERO);
        if free.within == Dots::ZERO && list.to_buy() == 0 {
            assert!(cost(&free) <= cost(&list), "{lengths:?}: {} and {}", cost(&free), cost(&list));
        }
    }
}

#[test]
fn what_is_in_the_printer_needs_no_load_and_too_little_is_bought() {
    let rules = rules("bench-180", Between::Half);
    let lengths = vec![Dots(700); 12];
    let mut here = open("here", 8000);
    here.mounted = true;
    let plan = planned(&rules, &lengths, Order::List, vec![open("other", 6000), here], true);
    assert_eq!((plan.uses[0].id.as_str(), plan.uses[0].load, plan.uses[0].mounted), ("here", Dots::ZERO, true));
    assert_eq!((plan.swaps(), plan.to_buy(), plan.short), (1, 0, Dots::ZERO));
    let plan = planned(&rules, &lengths, Order::List, vec![open("short", 5000)], true);
    assert_eq!(plan.to_buy(), 1);
    // 12 labels of 700 dots, and 5000 dots there: half of them at least have no room.
    assert!(plan.short > Dots(3500) && plan.short < Dots(12 * 730), "{}", plan.short);
    // A label longer than what is there, and an empty shelf.
    for offers in [vec![open("stub", 300)], Vec::new()] {
        let plan = planned(&rules, &lengths[..1], Order::Free, offers, true);
        assert_eq!((plan.to_buy(), plan.uses.len()), (1, 1));
    }
}

#[test]
fn a_block_that_fits_no_strip_is_named() {
    let rules = rules("bench-180", Between::Half);
    let lengths = vec![Dots(700); 12];
    let blocks = [Block { labels: vec![0], batch: None }, Block { labels: (1..12).collect(), batch: None }];
    let demand = Demand {
        rules: &rules,
        lengths: &lengths,
        blocks: &blocks,
        order: Order::Pairs,
        given: false,
        swap: Dots(0),
        keep: Dots(0),
    };
    let offers = Offers { list: vec![open("a", 50_000)], price: None, taken_out: true };
    assert_eq!(plan(&demand, &offers, &mut || true), Err(Misfit::Block(1)));
}
