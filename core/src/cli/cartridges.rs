//! The cartridges of a plan as a table, with a bar for each.

use super::answer::{buying, metres, plural};
use crate::job::{CartridgeEstimate, FreerEstimate, ShelfEstimate, StockEstimate};
use std::fmt::Write;

/// Characters of a bar for the longest cartridge.
const BAR: f64 = 30.0;

/// A cartridge as a bar, to scale: `-` load and tail, `#` strips, `x` scrap, `.` what is left.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place on a line of 30 characters")]
fn bar(one: &CartridgeEstimate, longest: f64) -> String {
    let place = |mm: f64| (mm / longest.max(1.0) * BAR + 0.5) as usize;
    let mut bar = String::from("|");
    let (mut mm, mut at) = (0.0, 0);
    let parts = [(one.load_mm, '-'), (one.strips_mm, '#'), (one.tail_mm, '-'), (one.scrap_mm, 'x'), (one.left_mm, '.')];
    for (part, sign) in parts {
        mm += part;
        // What is there is seen, however little it is.
        let to = place(mm).max(at + usize::from(part > 0.0));
        bar.extend(std::iter::repeat_n(sign, to - at));
        at = to;
    }
    bar.push('|');
    bar
}

fn name(one: &CartridgeEstimate, stock: &str) -> String {
    match (&one.cartridge, one.from) {
        (_, "buy") => "to buy".to_owned(),
        (Some(id), _) => id.clone(),
        (None, _) => format!("full {stock}"),
    }
}

/// What a freer order would save, in words.
fn saving(one: &FreerEstimate) -> Option<String> {
    let mut parts = Vec::new();
    let count = |count: i64| usize::try_from(count.unsigned_abs()).unwrap_or(usize::MAX);
    if one.saves_buying > 0 {
        parts.push(format!("buying {}", plural(count(one.saves_buying), "cartridge")));
    }
    if one.saves_swaps > 0 {
        parts.push(plural(count(one.saves_swaps), "change"));
    }
    if one.saves_mm >= 1.0 {
        parts.push(format!("{:.0} mm", one.saves_mm));
    }
    if parts.is_empty() {
        return None;
    }
    let mut text = format!("order `{}` would save {}", one.order, parts.join(" and "));
    if one.saves_mm <= -1.0 {
        let _ = write!(text, ", for {:.0} mm more", -one.saves_mm);
    }
    if one.saves_swaps < 0 {
        let _ = write!(text, ", for {} more", plural(count(one.saves_swaps), "change"));
    }
    if !one.proven {
        text.push_str(", perhaps more");
    }
    Some(text)
}

fn rows(shelf: &ShelfEstimate, stock: &str) -> String {
    let names: Vec<String> = shelf.cartridges.iter().map(|one| name(one, stock)).collect();
    let width = names.iter().map(|name| name.chars().count()).max().unwrap_or(0).max(9);
    let mut text = format!(
        "   {:>3} {:width$} {:>9} {:>6} {:>6} {:>9} {:>9} {:>9}\n",
        "nr", "cartridge", "before", "strips", "labels", "fed", "lost", "left"
    );
    let longest = shelf.cartridges.iter().map(|one| one.length_mm).fold(0.0, f64::max);
    for (one, name) in shelf.cartridges.iter().zip(&names) {
        let lost = one.load_mm + one.tail_mm + one.scrap_mm;
        let _ = writeln!(
            text,
            "   {:>3} {name:width$} {:>9} {:>6} {:>6} {:>9} {:>9} {:>9}  {}",
            one.nth,
            metres(one.length_mm),
            one.strips,
            one.labels,
            metres(one.strips_mm),
            metres(lost),
            metres(one.left_mm),
            bar(one, longest),
        );
    }
    text
}

/// Cartridges beyond this many are told of in a line: a shelf is shown whole, a factory is not.
const MOST_ROWS: usize = 40;

/// The cartridges of one stock, as lines; nothing where none were planned one by one.
pub(super) fn table(stock: &StockEstimate) -> String {
    let Some(shelf) = &stock.shelf else { return String::new() };
    let order = match shelf.order {
        "list" => "in list order",
        "pairs" => "cables in any order",
        _ => "labels in any order",
    };
    let mut text = format!("\n  {} from {}, {order}:\n", stock.stock, plural(shelf.cartridges.len(), "cartridge"));
    if shelf.cartridges.len() > MOST_ROWS {
        let shown = ShelfEstimate { cartridges: shelf.cartridges[..MOST_ROWS].to_vec(), ..shelf.clone() };
        text.push_str(&rows(&shown, &stock.stock));
        let _ = writeln!(text, "       … and {} more; --json lists them all", shelf.cartridges.len() - MOST_ROWS);
    } else {
        text.push_str(&rows(shelf, &stock.stock));
    }
    for one in shelf.cartridges.iter().take(MOST_ROWS) {
        let mut about = match (one.from, one.mounted) {
            (_, true) => vec!["is in the printer".to_owned()],
            ("buy", _) => vec!["must be bought".to_owned()],
            ("sealed", _) => vec!["sealed".to_owned()],
            _ => Vec::new(),
        };
        if one.error_mm > 0.0 {
            about.push(format!("{} of a guess not counted on", metres(one.error_mm)));
        }
        about.push(format!("{} to {}", one.first, one.last));
        let _ = writeln!(text, "   {:>3} {}", one.nth, about.join(", "));
    }
    if let Some(one) = &shelf.taken_out {
        let _ = writeln!(
            text,
            "   {} is taken out of the printer unused: {:.0} mm fed out, {} left",
            one.cartridge,
            one.tail_mm,
            metres(one.left_mm)
        );
    }
    let mut facts = vec![match shelf.swaps {
        0 => "no change of cartridge".to_owned(),
        swaps => plural(swaps, "cartridge") + " to put in",
    }];
    facts.push(if shelf.proven {
        "proven the best in this order".to_owned()
    } else {
        format!("within {:.0} mm of the bound", shelf.within_mm)
    });
    if shelf.ran_out {
        facts.push("the time ran out, --budget gives more".to_owned());
    }
    let _ = writeln!(text, "   {}", facts.join("; "));
    if shelf.buy > 0 {
        let _ = writeln!(text, "   not enough: {}", buying(shelf.buy, &stock.stock, shelf.short_mm));
        if let Some(label) = shelf.holds_to_label {
            let _ = writeln!(text, "   as it is, the shelf holds them up to label {label}: --to-label {label}");
        }
    }
    let savings: Vec<String> = shelf.freer.iter().filter_map(saving).collect();
    if savings.is_empty() && !shelf.freer.is_empty() {
        text.push_str("   no other order was found to save anything\n");
    }
    for saving in savings {
        let _ = writeln!(text, "   {saving}");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(parts: [f64; 5]) -> CartridgeEstimate {
        CartridgeEstimate {
            nth: 1,
            cartridge: Some("tape-12-a".into()),
            from: "open",
            mounted: false,
            labels: 2,
            first: "OTTER 1040 near".into(),
            last: "OTTER 1040 far".into(),
            strips: 1,
            length_mm: parts.iter().sum(),
            error_mm: 0.0,
            load_mm: parts[0],
            strips_mm: parts[1],
            tail_mm: parts[2],
            scrap_mm: parts[3],
            left_mm: parts[4],
        }
    }

    #[test]
    fn bars_are_to_scale_and_hide_nothing() {
        assert_eq!(bar(&one([0.0, 1000.0, 0.0, 0.0, 2000.0]), 3000.0), "|##########....................|");
        assert_eq!(bar(&one([25.0, 475.0, 0.0, 100.0, 0.0]), 3000.0), "|-####x|");
        assert_eq!(bar(&one([1.0, 1.0, 1.0, 0.0, 1.0]), 8000.0), "|-#-.|");
    }

    #[test]
    fn savings_are_named_with_their_price() {
        let one = |mm, swaps, buying, proven| FreerEstimate {
            order: "pairs",
            saves_mm: mm,
            saves_swaps: swaps,
            saves_buying: buying,
            proven,
        };
        assert_eq!(saving(&one(0.4, 0, 0, true)), None);
        assert_eq!(saving(&one(120.0, 1, 0, true)).unwrap(), "order `pairs` would save 1 change and 120 mm");
        assert_eq!(saving(&one(-30.0, 2, 0, true)).unwrap(), "order `pairs` would save 2 changes, for 30 mm more");
        assert_eq!(
            saving(&one(500.0, -1, 1, false)).unwrap(),
            "order `pairs` would save buying 1 cartridge and 500 mm, for 1 change more, perhaps more"
        );
    }
}
