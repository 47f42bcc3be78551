//! Labels whose bits were kept, put on strips and cartridges once more.

use crate::error::{Error, Result};
use crate::media::{Printer, Stock};
use crate::shelf::{self, Block, Demand, Offers, Policy, Shelf, Use, offers};
use crate::strip::{self, Between, Rules, Strip};
use crate::unit::Dots;
use std::ops::Range;

/// Kept labels of one stock on strips.
#[derive(Clone, Debug)]
pub struct Again {
    /// The rules strips keep.
    pub rules: Rules,
    /// Which label comes out at each place, counted from 0 in the order they were given.
    pub order: Vec<usize>,
    /// Lengths, in the order they come out.
    pub lengths: Vec<Dots>,
    /// Strips and cartridges.
    pub strips: strip::Plan,
    /// One for each mount, where a shelf names the stock.
    pub uses: Vec<Use>,
    /// Tape of strips that the cartridges at hand had no room for.
    pub short: Dots,
}

impl Again {
    /// Plans labels of these lengths. `joined[i]` says that label `i + 1` is the other end of label `i`'s
    /// cable. Labels are parted as `between` asks where that can be. The planner asks `go_on` as in [`super::Job::plan_within`].
    ///
    /// # Errors
    /// Kind `Input`: a label is longer than this printer's longest strip.
    pub fn plan(
        printer: &Printer,
        stock: &Stock,
        (lengths, joined): (&[Dots], &[bool]),
        shelf: Option<&Shelf>,
        (between, policy): (Option<Between>, &Policy),
        go_on: &mut dyn FnMut() -> bool,
    ) -> Result<Self> {
        let rules = super::rules(printer, stock, between, policy);
        if let Some(long) = lengths.iter().find(|&&length| !rules.holds(length)) {
            return Err(Error::input(format!(
                "found a label {} long, wanted up to {}: that is what `{}` can do with `{}`",
                printer.along.length(*long),
                printer.along.length(rules.longest_label()),
                printer.id,
                stock.id
            )));
        }
        let Some(list) = shelf.and_then(|shelf| offers(shelf, printer, stock, rules.cartridge)) else {
            let strips = strip::plan(&rules, lengths, joined, false);
            let order = (0..lengths.len()).collect();
            return Ok(Self { rules, order, lengths: lengths.to_vec(), strips, uses: Vec::new(), short: Dots::ZERO });
        };
        let blocks = blocks(&rules, lengths, joined);
        let demand = Demand::new(&rules, lengths, &blocks, policy, printer.along);
        let offers = Offers { taken_out: true, price: stock.price, list };
        let shelved = shelf::plan(&demand, &offers, go_on)
            .map_err(|misfit| Error::bug(format!("the planner refuses labels that fit: {misfit:?}")))?;
        Ok(Self {
            rules,
            lengths: shelved.labels.iter().map(|&label| lengths[label]).collect(),
            order: shelved.labels,
            strips: shelved.strips,
            uses: shelved.uses,
            short: shelved.short,
        })
    }

    /// Tape the strips of a range feed.
    pub fn feed(&self, strips: Range<usize>) -> Dots {
        self.strips.strips[strips]
            .iter()
            .map(|labels| Strip::new(&self.rules, &self.lengths[labels.clone()]).length)
            .sum()
    }
}

/// Pairs stay together where a strip holds both.
fn blocks(rules: &Rules, lengths: &[Dots], joined: &[bool]) -> Vec<Block> {
    let mut blocks = Vec::with_capacity(lengths.len());
    let mut at = 0;
    while at < lengths.len() {
        let pair = joined[at] && at + 1 < lengths.len() && rules.holds_all(&lengths[at..at + 2]);
        let labels: Vec<usize> = (at..=at + usize::from(pair)).collect();
        at += labels.len();
        blocks.push(Block { labels, batch: None });
    }
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::media::Catalogue;

    #[test]
    fn kept_labels_go_on_what_is_left() {
        let catalogue = Catalogue::shipped();
        let (printer, stock) = (catalogue.printer("bench-180").unwrap(), catalogue.stock("tape-12").unwrap());
        let lengths = vec![Dots(300); 6];
        let joined = [true, false, true, false, true, false];
        let plan = |shelf: Option<&Shelf>| {
            Again::plan(printer, stock, (&lengths, &joined), shelf, (None, &Policy::default()), &mut || true).unwrap()
        };
        let full = plan(None);
        assert_eq!((full.strips.strips.len(), full.uses.len(), full.short), (1, 0, Dots::ZERO));
        assert_eq!(full.feed(0..1), Strip::new(&full.rules, &lengths).length);
        let on = |metres: f64| {
            let text = format!(
                "[[cartridge]]\nid = 'a'\nstock = 'tape-12'\nlength_m = {metres}\nprinter = 'bench-180'\n[[cartridge]]\nstock = 'tape-12'\nsealed = 1\n"
            );
            let rest = plan(Some(&Shelf::read(&text, &catalogue).unwrap()));
            // Pairs stay together.
            assert_eq!(rest.strips.strips.iter().map(|labels| labels.len() % 2).sum::<usize>(), 0);
            rest.uses.into_iter().map(|one| one.id).collect::<Vec<_>>()
        };
        // Six labels of 42 mm, with lead and gaps, are 0.3 m; what is mounted has them or has not.
        assert_eq!((on(0.5), on(0.1)), (vec!["a".to_owned()], vec!["tape-12-sealed".to_owned()]));
        // Some of them: to take it out and put it in again would cost more than its end is worth.
        assert_eq!(on(0.25), ["a".to_owned(), "tape-12-sealed".to_owned()]);
        let long =
            Again::plan(printer, stock, (&[Dots(90_000_000)], &[false]), None, (None, &Policy::default()), &mut || {
                true
            });
        assert!(long.unwrap_err().to_string().contains("wanted up to"));
    }
}
