//! The register of 100,000 cables: importing, finding, what is due.

mod store;

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use store::list;
use tapewright::cable::{CableList, Kinds};
use tapewright::register::{Import, Register, Selection};

const CABLES: usize = 100_000;

fn import<'a>(list: &'a CableList, kinds: &'a Kinds) -> Import<'a> {
    Import { list, kinds, owner: "TWP", retire_missing: false, only_new: false }
}

fn register(c: &mut Criterion) {
    let mut group = c.benchmark_group("register of 100,000 cables");
    group.sample_size(10);
    group.throughput(Throughput::Elements(100_000));
    let (list, kinds) = (list(CABLES), Kinds::shipped());
    let folder = tempfile::tempdir().expect("a folder can be made");
    let open = |name: &str| Register::open(&folder.path().join(name), |_| ()).expect("a register can be made");
    let mut nth = 0;
    group.bench_function("import into a new one", |b| {
        b.iter_batched(
            || {
                nth += 1;
                open(&format!("{nth}.db"))
            },
            |mut register| {
                let tally = register.import(7, &import(&list, &kinds), |_| ()).expect("the list is right");
                assert_eq!(tally.adds, CABLES);
                register
            },
            BatchSize::PerIteration,
        );
    });
    let mut full = open("full.db");
    full.import(7, &import(&list, &kinds), |_| ()).expect("the list is right");
    group.bench_function("import again, all the same", |b| {
        b.iter(|| {
            let tally = full.import(8, &import(&list, &kinds), |_| ()).expect("the list is right");
            assert_eq!(tally.same, CABLES);
        });
    });
    group.bench_function("list for a job", |b| {
        b.iter(|| black_box(full.list(&Selection::default()).expect("it has cables")).len());
    });
    group.bench_function("due", |b| b.iter(|| black_box(full.due(i64::MAX, None).expect("it can be read"))));
    group.finish();
    let mut group = c.benchmark_group("find in 100,000 cables");
    group.sample_size(20);
    for scraps in ["otter 1040", "50 ft", "99999", "#777", "nothing like it"] {
        group.bench_function(scraps, |b| {
            b.iter(|| black_box(full.find(&[scraps.to_owned()], false, 50).expect("it can be read")));
        });
    }
    group.finish();
}

criterion_group!(benches, register);
criterion_main!(benches);
