//! Answers in words: the estimate as a table, problems as sentences.

use crate::digest::Digest;
use crate::job::{Estimate, Job, Plan, Problem, Short, Slot, StockPlan};
use crate::strip::Strip;
use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write;

/// Metres with two decimals.
pub(super) fn metres(mm: f64) -> String {
    format!("{:.2} m", mm / 1000.0)
}

/// Minutes, or seconds below two minutes.
pub(super) fn time(seconds: f64) -> String {
    if seconds < 120.0 { format!("{seconds:.0} s") } else { format!("{:.0} min", seconds / 60.0) }
}

pub(super) fn plural(count: usize, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// The estimate for a person.
pub(super) fn estimate(estimate: &Estimate) -> String {
    let mut text = format!(
        "{}: {} on {} of tape ({} less than cut one by one)\n",
        plural(estimate.cables, "cable"),
        plural(estimate.labels, "label"),
        metres(estimate.tape_mm),
        metres(estimate.singly_mm - estimate.tape_mm),
    );
    let width = estimate.stocks.iter().map(|stock| stock.stock.len()).max().unwrap_or(5).max(5);
    let _ = writeln!(
        text,
        "\n  {:width$} {:>6} {:>6} {:>9} {:>9} {:>9} {:>10} {:>10} {:>8} {:>7}",
        "stock", "labels", "strips", "tape", "label", "waste", "one by one", "cartridges", "cost", "time"
    );
    for stock in &estimate.stocks {
        let cost = stock.cost.map_or("-".to_owned(), |cost| format!("{cost:.2}"));
        let _ = writeln!(
            text,
            "  {:width$} {:>6} {:>6} {:>9} {:>9} {:>9} {:>10} {:>10} {:>8} {:>7}",
            stock.stock,
            stock.labels,
            stock.strips,
            metres(stock.tape_mm),
            metres(stock.label_mm),
            metres(stock.waste_mm.total),
            metres(stock.singly_mm),
            stock.cartridges,
            cost,
            time(stock.seconds),
        );
        let waste = &stock.waste_mm;
        let parts = [
            ("lead", waste.lead),
            ("gaps", waste.gap),
            ("trail", waste.trail),
            ("pad", waste.pad),
            ("load", waste.load),
            ("tail", waste.tail),
            ("scrap", waste.scrap),
        ];
        let parts: Vec<String> =
            parts.iter().filter(|(_, mm)| *mm > 0.0).map(|(name, mm)| format!("{name} {mm:.0} mm")).collect();
        let proof = if let Some(shelf) = &stock.shelf {
            format!("{} below", plural(shelf.cartridges.len(), "cartridge"))
        } else if stock.optimal {
            "least tape in list order, proven".to_owned()
        } else {
            format!("within {:.0} mm of the bound", stock.tape_mm - stock.bound_mm)
        };
        let _ = writeln!(text, "  {:width$}   waste: {}; {proof}", "", parts.join(", "));
    }
    for stock in &estimate.stocks {
        text.push_str(&super::cartridges::table(stock));
    }
    if estimate.stocks.iter().any(|stock| stock.shelf.is_some()) {
        text.push_str("\n  bars: # strips  - load and tail  x too short to keep  . left\n");
    }
    if !estimate.problems.is_empty() {
        let rows: BTreeSet<u32> = estimate.problems.iter().filter_map(|problem| problem.row).collect();
        let count = rows.len() + estimate.problems.iter().filter(|problem| problem.row.is_none()).count();
        let _ = writeln!(text, "\n{} cannot be labelled as asked; the rest goes on.", plural(count, "cable"));
    }
    text
}

/// What must be bought for a stock, if anything.
pub(super) fn to_buy(job: &Job, plan: &StockPlan) -> Option<String> {
    let cartridges = plan.cartridges.as_ref()?;
    let short = job.printer.along.length(cartridges.short);
    (cartridges.to_buy() > 0).then(|| buying(cartridges.to_buy(), &job.stock(plan).id, short.mm()))
}

pub(super) fn buying(count: usize, stock: &str, short_mm: f64) -> String {
    format!("buy {} of {stock}, {} short", plural(count, "cartridge"), metres(short_mm))
}

/// A problem as one line.
pub(super) fn problem(problem: &Problem) -> String {
    let row = problem.row.map_or(String::new(), |row| format!("row {row}, "));
    let field = problem.field.as_ref().map_or(String::new(), |field| format!("{field}: "));
    format!("{row}{field}{}", problem.text)
}

/// Rows that want the same are told together from so many on.
const ALIKE: usize = 4;
/// Ranges of rows named.
const RANGES: usize = 8;

/// Problems as lines. What many rows want in the same words, such as a column without units, is told once with
/// its rows.
pub(super) fn problems(problems: &[Problem]) -> Vec<String> {
    let wanted =
        |one: &Problem| one.text.split_once(", wanted ").map(|(_, wanted)| (one.field.clone(), wanted.to_owned()));
    let mut alike: HashMap<(Option<String>, String), Vec<&Problem>> = HashMap::new();
    for one in problems {
        if let Some(wanted) = wanted(one) {
            alike.entry(wanted).or_default().push(one);
        }
    }
    let mut lines = Vec::new();
    for one in problems {
        let others = wanted(one).and_then(|wanted| alike.get(&wanted)).filter(|others| others.len() >= ALIKE);
        match others {
            None => lines.push(problem(one)),
            Some(others) if std::ptr::eq(others[0], one) => {
                lines.push(problem(one));
                let rows: Vec<u32> = others[1..].iter().filter_map(|other| other.row).collect();
                lines.push(format!("  the same in {}: {}", plural(rows.len(), "more row"), ranges(&rows)));
            }
            Some(_) => {}
        }
    }
    lines
}

/// `3 to 6, 9, 12 to 20`, of rows that rise.
fn ranges(rows: &[u32]) -> String {
    let mut ranges: Vec<(u32, u32)> = Vec::new();
    for &row in rows {
        match ranges.last_mut() {
            Some((_, last)) if *last == row || *last + 1 == row => *last = row,
            _ => ranges.push((row, row)),
        }
    }
    let named = ranges.iter().take(RANGES).map(|&(first, last)| match last - first {
        0 => first.to_string(),
        1 => format!("{first}, {last}"),
        _ => format!("{first} to {last}"),
    });
    let mut named: Vec<String> = named.collect();
    if ranges.len() > RANGES {
        named.push("…".to_owned());
    }
    named.join(", ")
}

/// Why labels have the builds they have: one sentence for each reason, with its count.
pub(super) fn reasons(job: &Job, plan: &Plan) -> Vec<String> {
    let told = plan.stocks.iter().flat_map(|stock| {
        job.reasons(stock)
            .into_iter()
            .map(|(count, sentence)| format!("{} on {}: {sentence}", plural(count, "label"), job.stock(stock).id))
    });
    told.collect()
}

/// Labels that fall short of the reading distance, in groups.
pub(super) fn short(plan: &Plan) -> Vec<String> {
    let what = |short: &Short| if short.legibility.small() { "small text" } else { "thin strokes" };
    plan.short.iter().map(|short| format!("{}: {short}", what(short))).collect()
}

/// What a person should know of labels that can be made: one sentence for each note, with its count,
/// and numbers that stand twice in the list.
pub(super) fn notes(job: &Job, plan: &Plan) -> Vec<String> {
    let mut sentences = Vec::new();
    for stock in &plan.stocks {
        let mut notes: BTreeMap<String, usize> = BTreeMap::new();
        for &slot in &stock.slots {
            for note in job.lay_out(stock, slot).map(|layout| layout.notes).unwrap_or_default() {
                *notes.entry(note).or_default() += 1;
            }
        }
        // A half cut parts the lead from the first label; nothing else does.
        let first = stock.strips.strips.first().map(|labels| job.strip(stock, labels));
        if let Some(lead) = first.filter(|strip| strip.ledger.lead.0 > 0 && !cut_before_the_first(strip)) {
            sentences.push(format!(
                "note: the first label of each strip on {} comes with {:.0} mm of blank tape before it: cut that off",
                job.stock(stock).id,
                job.printer.along.length(lead.ledger.lead).mm()
            ));
        }
        for (note, count) in notes {
            sentences.push(format!("note: {} on {}: {note}", plural(count, "label"), job.stock(stock).id));
        }
    }
    sentences.extend(same_text(job, plan));
    for (earlier, row, name) in job.twice() {
        sentences.push(format!("note: rows {earlier} and {row} are both {name}: is one of them wrong?"));
    }
    sentences
}

/// Labels of different cables that say the same: whoever reads one does not know which it is.
fn same_text(job: &Job, plan: &Plan) -> Option<String> {
    let mut first: HashMap<u64, Slot> = HashMap::new();
    let (mut count, mut example) = (0, None);
    for stock in &plan.stocks {
        for &slot in &stock.slots {
            let Some(text) = job.says(slot) else { continue };
            match first.entry(Digest::of(text.as_bytes())) {
                Entry::Vacant(free) => {
                    free.insert(slot);
                }
                Entry::Occupied(other) if job.name(job.cable(*other.get())) != job.name(job.cable(slot)) => {
                    count += 1;
                    example.get_or_insert((text, *other.get(), slot));
                }
                Entry::Occupied(_) => {}
            }
        }
    }
    let (text, one, other) = example?;
    let name = |slot: Slot| format!("{} {}", job.name(job.cable(slot)), slot.end.word());
    Some(format!(
        "note: {} say the same as one of another cable: `{text}` is on {} and on {}; is the number missing from the text?",
        plural(count, "label"),
        name(one),
        name(other)
    ))
}

fn cut_before_the_first(strip: &Strip) -> bool {
    strip.cuts.first().zip(strip.starts.first()).is_some_and(|(cut, start)| cut.0 <= *start)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn problems_read_as_one_line() {
        let problem =
            Problem { row: Some(7), field: Some("od".into()), kind: "no-diameter", text: "OTTER 7: found x".into() };
        assert_eq!(super::problem(&problem), "row 7, od: OTTER 7: found x");
    }

    #[test]
    fn what_many_rows_want_is_told_once() {
        let one = |row: u32, field: &str, text: &str| Problem {
            row: Some(row),
            field: Some(field.into()),
            kind: "cell",
            text: format!("OTTER {row}: {text}"),
        };
        let bare = "found `6.5`, wanted a diameter with its unit";
        let mut all: Vec<Problem> = [2, 3, 4, 5, 9, 11, 12].map(|row| one(row, "od", bare)).to_vec();
        all.insert(3, one(5, "length", "found `x`, wanted a length"));
        all.push(one(13, "length", "found `y`, wanted a length"));
        all.push(one(14, "kind", "the row has fewer fields than the header"));
        let lines = [
            format!("row 2, od: OTTER 2: {bare}"),
            "  the same in 6 more rows: 3 to 5, 9, 11, 12".to_owned(),
            "row 5, length: OTTER 5: found `x`, wanted a length".to_owned(),
            "row 13, length: OTTER 13: found `y`, wanted a length".to_owned(),
            "row 14, kind: OTTER 14: the row has fewer fields than the header".to_owned(),
        ];
        assert_eq!(problems(&all), lines);
        assert_eq!(problems(&all[..3]).len(), 3, "three rows are told each");
        let odd: Vec<u32> = (0..20).map(|row| row * 2 + 1).collect();
        assert_eq!(ranges(&odd), "1, 3, 5, 7, 9, 11, 13, 15, …");
    }
}
