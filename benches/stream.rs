//! Streams through the driver modules found beside the program, against memcpy of the same head lines.
//!
//! Needs the modules: `cargo build --release` first.

mod store;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use std::path::PathBuf;
use store::job;
use tapewright::run;
use tapewright::transport::{Delivery, Recorder};
use tapewright_host::Place;

/// `target/release`, where `cargo build` leaves the modules: one above this bench's own folder.
fn beside() -> Vec<PathBuf> {
    let this = std::env::current_exe().expect("a bench knows its file");
    this.ancestors().skip(2).take(1).map(PathBuf::from).collect()
}

fn stream(c: &mut Criterion) {
    let (modules, _) = run::modules(&beside(), &Place::Here);
    let job = job(1_000);
    let module = run::module_for(&modules, &job.printer.driver, &beside())
        .unwrap_or_else(|error| panic!("{error}; run `cargo build --release` first"));
    let plan = job.plan();
    let stock = &plan.stocks[0];
    let lines: i64 = stock.strips.strips.iter().map(|labels| job.strip(stock, labels).length.0).sum();
    let bytes = usize::try_from(lines).expect("a small job") * 16;
    let mut group = c.benchmark_group("1,000 cables to a stream");
    group.throughput(Throughput::Bytes(bytes as u64));
    let source = vec![0x55_u8; bytes];
    let mut target = vec![0_u8; bytes];
    group.bench_function("memcpy of the same head lines", |b| b.iter(|| target.copy_from_slice(black_box(&source))));
    let mut rows = run::Rows::new(&job, stock).expect("the stock lies under the head");
    group.bench_function("raster alone", |b| {
        b.iter(|| {
            for index in 0..stock.slots.len() {
                rows.draw(index).expect("a planned label");
                black_box(rows.rows());
            }
        });
    });
    let mut out = Vec::with_capacity(bytes);
    group.bench_function("raster, driver and link", |b| {
        b.iter(|| {
            out.clear();
            let work = run::open(module, &job.printer.driver, |_| {}).expect("a family it has");
            let mut port = Recorder(&mut out, Delivery::WhenWhole);
            let mut labels = run::Rows::new(&job, stock).expect("the stock lies under the head");
            let batch = run::Batch::of(&job, stock);
            run::print(&batch, &mut labels, work, "bench", &mut port, &mut || Ok(())).expect("it prints");
            black_box(&out);
        });
    });
    group.finish();
}

criterion_group!(benches, stream);
criterion_main!(benches);
