//! Thinking a job through: 50,000 cables, 100,000 labels.

mod store;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use store::{job, lengths};
use tapewright::media::Catalogue;
use tapewright::strip::{Rules, plan};

fn estimate(c: &mut Criterion) {
    let mut group = c.benchmark_group("estimate of 100,000 labels");
    group.sample_size(10);
    group.throughput(Throughput::Elements(100_000));
    let job = job(50_000);
    group.bench_function("list in memory to estimate", |b| {
        b.iter(|| {
            let plan = job.plan();
            assert_eq!(plan.stocks[0].slots.len(), 100_000);
            black_box(plan.estimate(&job))
        });
    });
    let catalogue = Catalogue::shipped();
    let rules = Rules::new(catalogue.printer("bench-180").unwrap(), catalogue.stock("tape-12").unwrap(), None);
    let (lengths, joined) = lengths(100_000);
    group.bench_function("strips alone", |b| b.iter(|| black_box(plan(&rules, &lengths, &joined, false))));
    let long = Rules { max_strip: rules.cartridge, ..rules };
    group.bench_function("strips as long as a cartridge", |b| {
        b.iter(|| black_box(plan(&long, &lengths, &joined, false)))
    });
    group.finish();
}

criterion_group!(benches, estimate);
criterion_main!(benches);
