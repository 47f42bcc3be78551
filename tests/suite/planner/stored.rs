//! Stored tasks with the best plan known to others; `tests/cases/planning/README.md` says what a line
//! holds.

use super::{Cartridge, CartridgeOrder, Item, Medium, Order, Task};
use std::path::Path;

/// A stored task and what is known of it.
pub(super) struct Case {
    #[allow(dead_code, reason = "the bench does not read it")]
    pub(super) id: String,
    pub(super) task: Task,
    /// Cost of the best plan known when it was stored, and a bound.
    pub(super) cost: i64,
    #[allow(dead_code, reason = "the bench does not read it")]
    pub(super) bound: i64,
}

/// The tasks of the families whose name begins so.
pub(super) fn cases(folder: &Path, family: &str) -> Vec<Case> {
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files.retain(|file| file.file_name().unwrap().to_str().unwrap().starts_with(family));
    files.retain(|file| file.extension().is_some_and(|extension| extension == "jsonl"));
    let texts = files.iter().map(|file| std::fs::read_to_string(file).unwrap());
    texts.flat_map(|text| text.lines().map(case).collect::<Vec<_>>()).collect()
}

fn case(line: &str) -> Case {
    let value: serde_json::Value = serde_json::from_str(line).unwrap();
    let numbers = |name: &str| -> Vec<Vec<i64>> {
        let rows = value[name].as_array().unwrap().iter();
        rows.map(|row| row.as_array().unwrap().iter().map(|number| number.as_i64().unwrap()).collect()).collect()
    };
    let small = |number: i64| u32::try_from(number).unwrap();
    let medium: Vec<i64> = value["medium"].as_array().unwrap().iter().map(|number| number.as_i64().unwrap()).collect();
    let [lead, gap, trail, min_piece, max_strip, max_labels, load, tail, reserve, min_remnant, keep_cost] = medium[..]
    else {
        panic!("eleven numbers")
    };
    let cartridges = numbers("cartridges").into_iter().map(|row| Cartridge {
        length: row[0],
        count: small(row[1]),
        fixed: row[2],
        sealed: row[3] == 1,
        mounted: false,
    });
    let items = numbers("items").into_iter().flat_map(|row| {
        let item = Item { length: row[1], labels: small(row[2]), batch: row.get(3).map(|&batch| small(batch)) };
        std::iter::repeat_n(item, usize::try_from(row[0]).unwrap())
    });
    Case {
        id: value["id"].as_str().unwrap().to_owned(),
        task: Task {
            medium: Medium {
                lead,
                gap,
                trail,
                min_piece,
                max_strip,
                max_labels: small(max_labels),
                load,
                tail,
                reserve,
                min_remnant,
                keep_cost,
            },
            items: items.collect(),
            cartridges: cartridges.collect(),
            order: match value["order"].as_str().unwrap() {
                "free" => Order::Free,
                "list-given" => Order::List { cartridges: CartridgeOrder::Given },
                "list-free" => Order::List { cartridges: CartridgeOrder::Free },
                other => panic!("order {other}"),
            },
        },
        cost: value["cost"].as_i64().unwrap(),
        bound: value["bound"].as_i64().unwrap(),
    }
}
