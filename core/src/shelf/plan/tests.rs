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
    if let Some(aside) = &plan.aside {
        assert!(plan.uses.iter().all(|one| one.id != aside.id), "{aside:?} is used");
        used += aside.tail;
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

/// What a plan costs, added up from what a person does: changes, remnants, and what was in the printer
/// and has to be put in again.
fn cost(rules: &Rules, plan: &Shelved) -> i64 {
    let kept = plan.uses.iter().filter(|one| one.left > Dots::ZERO).count();
    let again = plan.aside.as_ref().map_or(0, |_| 700 + rules.load.0);
    plan.strips.ledger.waste().0 + 700 * (plan.swaps() + i64::try_from(kept).unwrap()) + again
}

#[test]
fn what_is_in_the_printer_is_left_unused_only_where_that_costs_less() {
    let rules = rules("bench-180", Between::Half);
    let mut numbers = Numbers(23);
    let (mut stubs, mut first, mut aside) = (0, 0, 0);
    for _ in 0..150 {
        let length = numbers.next(200, 1500);
        let lengths = vec![Dots(length); usize::try_from(numbers.next(2, 16)).unwrap()];
        let mut here = open("here", numbers.next(300, 5000));
        here.mounted = true;
        let others = [open("other", numbers.next(9_000, 40_000)), open("third", numbers.next(4_000, 9_000))];
        let all: Vec<Offer> = [vec![here.clone()], others.to_vec()].concat();
        for order in [Order::List, Order::Free] {
            let plan = planned(&rules, &lengths, order, all.clone(), true);
            assert_eq!(plan.within, Dots::ZERO, "few labels, all alike");
            let one_fits = here.length >= rules.reserve + rules.lead + Dots(length) + rules.trail;
            if plan.uses[0].id == "here" {
                first += 1;
                stubs += u32::from(here.length < Dots(2 * length));
                continue;
            }
            aside += u32::from(one_fits);
            let out = plan.aside.as_ref().expect("what was in the printer had to come out");
            assert_eq!((out.id.as_str(), out.tail + out.left), ("here", here.length));
            assert_eq!(out.tail, rules.tail.min(here.length));
            // As many labels as it takes, from it, and the rest from the others: none is cheaper.
            let fit = (1..=lengths.len())
                .filter(|&count| Strip::new(&rules, &lengths[..count]).length + rules.reserve <= here.length);
            for count in fit.filter(|&count| count < lengths.len()) {
                let rest = planned(&rules, &lengths[count..], order, others.to_vec(), true);
                let strip = Strip::new(&rules, &lengths[..count]);
                let mut out = Ledger::default();
                let kept = take_out(
                    &Rules { min_remnant: rules.min_remnant.max(Dots(700)), ..rules },
                    here.length - strip.length,
                    &mut out,
                );
                let with = cost(&rules, &rest)
                    + strip.ledger.waste().0
                    + out.waste().0
                    + if kept > Dots::ZERO { 700 } else { 0 };
                assert!(cost(&rules, &plan) < with, "{count} labels from it cost {with}: {plan:?}");
            }
        }
    }
    assert!(
        first > 150 && stubs > 5 && aside > 5,
        "{first} first, {stubs} of them with one label, {aside} left unused"
    );
}

#[test]
fn what_comes_out_may_come_again_later() {
    // Labels in list order: the long one fits nothing but the full cartridge, and that holds no more.
    let rules = rules("bench-180", Between::Half);
    let lengths = [Dots(6000), Dots(700), Dots(700), Dots(700)];
    let mut here = open("here", 4000);
    here.mounted = true;
    let long = (rules.load + rules.lead + lengths[0] + rules.trail + rules.reserve).0;
    let plan = planned(&rules, &lengths, Order::List, vec![here, open("long", long)], true);
    let ids: Vec<&str> = plan.uses.iter().map(|one| one.id.as_str()).collect();
    assert_eq!((ids, &plan.aside, plan.swaps()), (vec!["long", "here"], &None, 2));
    let here = &plan.uses[1];
    assert_eq!((here.load, here.mounted), (rules.load, false));
    assert_eq!(here.tail, rules.tail + rules.tail, "fed out twice");
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
