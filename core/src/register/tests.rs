use super::*;
use crate::bitmap::Bitmap;
use crate::error::Kind;
use crate::journal::{Fate, Note, What};
use crate::strip::Between;
use crate::unit::Dpi;
use tempfile::TempDir;

fn quiet() -> impl Fn(&str) + 'static {
    |_| ()
}

/// A folder, and a register in it.
fn register() -> (TempDir, Register) {
    let folder = tempfile::tempdir().unwrap();
    let register = Register::open(&folder.path().join("register.db"), quiet()).unwrap();
    (folder, register)
}

fn order() -> Order {
    Order {
        kind: "print",
        name: "otters".into(),
        printer: "bench-180".into(),
        across: Dpi::from_milli(180_000).unwrap(),
        along: Dpi::from_milli(180_000).unwrap(),
        link: "usb:".into(),
        between: Some(Between::Full),
        longest_strip: None,
        labels_a_strip: Some(4),
    }
}

fn planned(number: &str, end: &str, art: &str) -> Planned {
    Planned {
        label: KeptLabel {
            cable: None,
            owner: "TWP".into(),
            batch: "OTTER".into(),
            number: number.into(),
            end: end.into(),
            build: "flag".into(),
            stock: "tape-12".into(),
            text: format!("TWP OTTER\n{number} 15 ft"),
            diameter: None,
            joined: end == "near",
        },
        strip: 1,
        bits: Kept::of(&Bitmap::from(art)),
        again: None,
        perhaps_twice: false,
    }
}

#[test]
fn each_version_is_brought_up_from_the_one_before() {
    for version in 1..VERSION {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("register.db");
        let old = Register::at_version(&path, version, Box::new(quiet())).unwrap();
        assert_eq!(header(&old.db).unwrap(), (APPLICATION, version));
        old.db.execute_batch("INSERT INTO batch (word, added) VALUES ('OTTER', 7)").unwrap();
        drop(old);
        let next = Register::at_version(&path, version + 1, Box::new(quiet())).unwrap();
        assert_eq!(header(&next.db).unwrap(), (APPLICATION, version + 1));
        let kept: String = next.db.query_row("SELECT word FROM batch WHERE added = 7", [], |row| row.get(0)).unwrap();
        assert_eq!(kept, "OTTER");
        // What the newer one has is there, as in one that was made new.
        let schema = |db: &Connection| -> Vec<String> {
            let mut get = db.prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name").unwrap();
            get.query_map([], |row| row.get(0)).unwrap().map(|sql| sql.unwrap()).collect()
        };
        let fresh = Register::at_version(&folder.path().join("new.db"), version + 1, Box::new(quiet())).unwrap();
        assert_eq!(schema(&next.db), schema(&fresh.db));
        drop(next);
        let Err(refused) = Register::at_version(&path, version, Box::new(quiet())) else {
            panic!("an older program opened it")
        };
        assert_eq!(refused.kind(), Kind::Input);
        assert!(refused.to_string().contains("a newer tapewright has written it"), "{refused}");
    }
}

#[test]
fn what_is_no_register_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("list.csv");
    std::fs::write(&text, "owner,batch,number\n".repeat(100)).unwrap();
    let other = folder.path().join("other.db");
    Connection::open(&other).unwrap().execute_batch("CREATE TABLE song (name TEXT)").unwrap();
    for (path, wanted) in [(&text, "found a file that is no database"), (&other, "found a database of another program")]
    {
        let before = std::fs::read(path).unwrap();
        let Err(error) = Register::open(path, quiet()) else { panic!("{} was opened", path.display()) };
        assert!(error.to_string().contains(wanted), "{error}");
        assert_eq!(error.kind(), Kind::Input);
        assert_eq!(std::fs::read(path).unwrap(), before);
    }
    let Err(error) = Register::existing(&folder.path().join("none.db"), quiet()) else { panic!("none was opened") };
    assert!(error.to_string().contains("found no register"), "{error}");
}

#[test]
fn labels_and_notes_are_read_as_they_were_written() {
    let (folder, mut register) = register();
    let labels =
        [planned("1040", "near", "#.#\n.#."), planned("1040", "far", "#.#\n.#."), planned("1041", "near", "##")];
    let job = register.plan(7, &order(), labels.clone().map(Ok)).unwrap();
    let note = |what, labels| Note { at: 8, what, labels, word: "the printer has them".into() };
    register.note(job, &note(What::Leaving, 1..=2)).unwrap();
    register.note(job, &note(What::Taken, 1..=2)).unwrap();
    register.note(job, &note(What::Leaving, 3..=3)).unwrap();
    drop(register);
    let register = Register::open(&folder.path().join("register.db"), quiet()).unwrap();
    let read = register.labels(job).unwrap();
    assert_eq!(read.iter().map(|one| one.label.clone()).collect::<Vec<_>>(), labels.clone().map(|one| one.label));
    for (one, wanted) in read.iter().zip(&labels) {
        assert_eq!(register.bits(one).unwrap(), wanted.bits);
    }
    let rasters: i64 = register.db.query_row("SELECT count(*) FROM raster", [], |row| row.get(0)).unwrap();
    assert_eq!(rasters, 2, "equal bits are kept once");
    let open = register.open_jobs().unwrap();
    assert_eq!(open.len(), 1);
    assert_eq!(open[0].0.order, order());
    assert_eq!(open[0].1, [Fate::Left, Fate::Left, Fate::Perhaps]);
    assert_eq!(register.printings("otter", "1040").unwrap().len(), 2);
}

#[test]
fn a_label_printed_again_is_waited_for_once() {
    let (_folder, mut register) = register();
    let first =
        register.plan(7, &order(), [planned("1040", "near", "#"), planned("1040", "far", "#")].map(Ok)).unwrap();
    let again = Planned { again: Some((first, 2)), perhaps_twice: true, ..planned("1040", "far", "#") };
    let second = register.plan(9, &Order { kind: "resume", ..order() }, [Ok(again)]).unwrap();
    assert_eq!(register.fates(first, 2).unwrap(), [Fate::Never, Fate::Moved]);
    assert_eq!(register.notes(first).unwrap()[0].word, format!("job {second}"));
    let labels = register.labels(second).unwrap();
    assert_eq!((labels[0].again, labels[0].perhaps_twice), (Some((first, 2)), true));
}

#[test]
fn the_journal_cannot_be_rewritten() {
    let (_folder, mut register) = register();
    let job = register.plan(7, &order(), [Ok(planned("1040", "near", "#"))]).unwrap();
    register.note(job, &Note { at: 8, what: What::Leaving, labels: 1..=1, word: String::new() }).unwrap();
    for sql in [
        "UPDATE event SET kind = 'taken'",
        "DELETE FROM event",
        "UPDATE label SET number = '1'",
        "DELETE FROM label",
        "UPDATE job SET at = 0",
        "DELETE FROM job",
        "UPDATE raster SET dots = 1",
        "DELETE FROM raster",
    ] {
        let error = register.db.execute_batch(sql).unwrap_err().to_string();
        assert!(error.contains("append-only"), "{sql}: {error}");
    }
}

#[test]
fn a_plan_that_fails_leaves_nothing() {
    let (_folder, mut register) = register();
    let broken = [Ok(planned("1040", "near", "#")), Err(Error::bug("no more"))];
    assert!(register.plan(7, &order(), broken).is_err());
    assert_eq!(register.jobs(9).unwrap(), []);
    register.plan(7, &order(), [Ok(planned("1040", "near", "#"))]).unwrap();
    assert_eq!(register.jobs(9).unwrap()[0].labels, 1);
}

#[test]
fn a_copy_is_whole() {
    let (folder, mut register) = register();
    register.plan(7, &order(), [Ok(planned("1040", "near", "#"))]).unwrap();
    let copy = folder.path().join("copy.db");
    register.back_up(&copy).unwrap();
    assert_eq!(Register::existing(&copy, quiet()).unwrap().jobs(9).unwrap(), register.jobs(9).unwrap());
    let error = register.back_up(&copy).unwrap_err().to_string();
    assert!(error.contains("found a file, wanted a name that is free"), "{error}");
}
