//! What is told of a row, what is left out of a text, and which labels fall short.

use super::*;
use crate::unit::Micrometres;
use std::collections::BTreeMap as Map;

const HEADERS: [&str; 7] = ["batch", "number", "length", "od", "terminated", "build", "stock"];

fn job(rows: &[[&str; 7]], change: impl Fn(&mut Wishes)) -> Job {
    let mut builder = CableList::builder(HEADERS.map(str::to_owned).to_vec(), &Map::new()).unwrap();
    for (nth, row) in rows.iter().enumerate() {
        builder.push(u32::try_from(nth).unwrap() + 2, *row);
    }
    let mut wishes = Wishes { owner: "TWP".into(), ..Wishes::default() };
    change(&mut wishes);
    Job::new(builder.finish(), wishes, Catalogue::shipped(), Kinds::shipped(), Plugs::shipped()).unwrap()
}

fn fields(plan: &Plan) -> Vec<(u32, &str)> {
    plan.problems.iter().map(|problem| (problem.row.unwrap(), problem.field.as_deref().unwrap())).collect()
}

#[test]
fn all_that_is_wrong_with_a_row_is_told_once() {
    let job = job(
        &[
            ["OTTER", "1040", "long", "thick", "XRL", "ring", "tape-13"],
            ["OTTER", "1041", "50 ft", "6 mm", "", "", ""],
            ["OTTER", "1042", "50", "6 mm", "", "", ""],
        ],
        |_| (),
    );
    let plan = job.plan();
    let wanted = [(2, "od"), (2, "terminated"), (2, "build"), (2, "stock"), (2, "length"), (4, "length")];
    assert_eq!(fields(&plan), wanted);
    assert_eq!(plan.stocks[0].slots.len(), 2);
}

fn printed(job: &Job, plan: &Plan) -> Vec<(String, Vec<String>)> {
    let stock = &plan.stocks[0];
    let told = stock.slots.iter().map(|&slot| {
        let layout = job.lay_out(stock, slot).unwrap();
        let lines: Vec<&str> = layout.block.text.lines.iter().map(|line| line.text.as_str()).collect();
        (lines.join(" / "), layout.notes)
    });
    told.collect()
}

/// On 6 mm tape one line can be read, and a flag's face is 80 mm at most.
#[test]
fn what_may_be_left_out_is_where_room_is_short_and_is_told() {
    let rows = [
        ["OTTER", "1040", "50 ft", "6 mm", "", "", ""],
        ["NIGHTINGALE MONITOR", "1040-1041-1042-1043", "7 ft 6 in", "6 mm", "", "", ""],
    ];
    let narrow = |wishes: &mut Wishes| {
        wishes.stocks = vec!["tape-6".into()];
        wishes.ends = Ends::Near;
    };
    let whole = job(&rows, narrow).plan();
    assert_eq!(whole.problems.len(), 1, "{:?}", whole.problems);
    assert_eq!((whole.problems[0].row, whole.problems[0].kind), (Some(3), "legibility"));

    let shortened = job(&rows, |wishes| {
        narrow(wishes);
        wishes.may_drop = vec!["length".into(), "owner".into()];
    });
    let plan = shortened.plan();
    assert!(plan.problems.is_empty(), "{:?}", plan.problems);
    let found = printed(&shortened, &plan);
    assert_eq!(found[0], ("TWP OTTER 1040  50 ft".into(), vec![]));
    assert_eq!(found[1].0, "TWP NIGHTINGALE MONITOR 1040-1041-1042-1043");
    assert_eq!(found[1].1, ["length left out: there is no room to read it"]);
}

#[test]
fn text_that_says_the_end_differs_from_end_to_end() {
    let rows = [["OTTER", "1040", "50 ft", "6 mm", "", "", ""]];
    let lines = |text: &str| {
        let job = job(&rows, |wishes| (wishes.near, wishes.far) = (vec![text.into()], vec![text.into()]));
        printed(&job, &job.plan()).into_iter().map(|(lines, _)| lines).collect::<Vec<_>>()
    };
    assert_eq!(lines("{number} {end}"), ["1040 near", "1040 far"]);
    assert_eq!(lines("{number}"), ["1040", "1040"]);
}

/// A build that takes the whole text comes before one that takes less of it.
#[test]
fn nothing_is_left_out_where_another_build_takes_all() {
    let rows = [["KINGFISHER", "1040", "50 ft", "3.5 mm", "XLR", "", ""]];
    let both = |may_drop: &[&str], stocks: &[&str]| {
        let job = job(&rows, |wishes| {
            wishes.build = None;
            wishes.stocks = stocks.iter().map(|&id| id.to_owned()).collect();
            wishes.may_drop = may_drop.iter().map(|&name| name.to_owned()).collect();
        });
        let plan = job.plan();
        assert!(plan.problems.is_empty(), "{:?}", plan.problems);
        (plan.stocks[0].slots[0].build, printed(&job, &plan).swap_remove(0))
    };
    let (build, (_, notes)) = both(&["length", "owner"], &["wrap-24", "tape-12"]);
    assert_eq!((build, notes.len()), (Build::Flag, 0));
    let (build, (_, notes)) = both(&["length", "owner"], &["wrap-24"]);
    assert_eq!(build, Build::Wrap);
    assert!(notes.contains(&"length and owner left out: there is no room to read it".to_owned()), "{notes:?}");
}

#[test]
fn labels_that_fall_short_are_told_in_groups() {
    let rows = [
        ["OTTER", "1040", "50 ft", "6 mm", "", "", ""],
        ["OTTER", "1041", "50 ft", "6 mm", "", "", ""],
        ["HERON", "2001", "50 ft", "6 mm", "", "", ""],
    ];
    let read_from = |mm: f64| {
        job(&rows, |wishes| {
            wishes.stocks = vec!["tape-9".into()];
            wishes.design.reading = Micrometres::from_mm(mm);
            wishes.design.largest_cap = Some(Micrometres::from_mm(3.0));
        })
        .plan()
    };
    // Capitals of 3 mm and less are seen under 20′ to 0.52 m and under 16′ to 0.64 m.
    let far = read_from(550.0);
    let told: Vec<(usize, &str, &str)> =
        far.short.iter().map(|short| (short.labels, short.batch.as_str(), short.stock.as_str())).collect();
    assert_eq!(told, [(2, "HERON", "tape-9"), (4, "OTTER", "tape-9")]);
    for short in &far.short {
        let said = short.to_string();
        assert!(short.legibility.small() && said.contains("capitals ") && said.contains(", asked 0.55 m; "), "{said}");
    }
    assert!(read_from(400.0).short.is_empty());
}

#[test]
fn reasons_give_the_range_of_diameters() {
    let rows = [
        ["OTTER", "1040", "50 ft", "6.15 mm", "", "", ""],
        ["OTTER", "1041", "50 ft", "6.25 mm", "", "", ""],
        ["OTTER", "1042", "50 ft", "24 mm", "", "flag", "tape-12"],
    ];
    let job = job(&rows, |wishes| {
        wishes.build = None;
        wishes.stocks = vec!["wrap-24".into(), "tape-12".into()];
    });
    let plan = job.plan();
    let told: Vec<String> =
        plan.stocks.iter().flat_map(|stock| job.reasons(stock)).map(|(count, why)| format!("{count} {why}")).collect();
    assert_eq!(told[0], "4 wrap: 6.15 to 6.25 mm is in the range of wrap-24, and no plug has to come off");
    assert_eq!(told[1], "2 flag as asked, on 12 mm tape");
}

/// Both labels of a cable have one build on one stock: what takes the longer text.
#[test]
fn both_ends_go_where_the_longer_text_can_be_read() {
    let rows = [["KINGFISHER", "1040", "50 ft", "3.5 mm", "XLR", "", ""]];
    let job = job(&rows, |wishes| {
        (wishes.near, wishes.far) =
            (vec!["{number}".into()], vec!["{owner} {batch} {number} {length} {terminated} stage left".into()]);
        wishes.build = None;
        wishes.stocks = vec!["tape-12".into(), "wrap-24".into()];
    });
    let plan = job.plan();
    assert!(plan.problems.is_empty(), "{:?}", plan.problems);
    let slots: Vec<(End, Build, Why)> =
        plan.stocks.iter().flat_map(|stock| &stock.slots).map(|slot| (slot.end, slot.build, slot.why)).collect();
    assert_eq!(slots, [End::Near, End::Far].map(|end| (end, Build::Flag, Why::NothingReadable)));
}

/// A plug nobody knows is in the way of sleeves alone.
#[test]
fn a_plug_that_is_not_known_hinders_only_what_must_pass_it() {
    let plan = |build: &str| {
        job(&[["OTTER", "1040", "50 ft", "6.15 mm", "XRL", build, ""]], |wishes| {
            wishes.stocks = vec!["tape-12".into(), "sleeve-3/8".into()];
        })
        .plan()
    };
    assert!(plan("flag").problems.is_empty());
    let sleeve = plan("sleeve");
    assert_eq!(fields(&sleeve), [(2, "terminated")]);
    assert!(sleeve.problems[0].text.contains("found `XRL`, wanted"), "{}", sleeve.problems[0].text);
}
