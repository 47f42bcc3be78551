//! What each driver family takes to make a stream of head lines that are at hand, against memcpy of
//! the same head lines; PackBits alone; and what a process of its own costs a module.
//!
//! Needs the modules: `cargo build --release` first.

mod store;

use criterion::{BenchmarkGroup, Criterion, Throughput, criterion_group, criterion_main, measurement::WallTime};
use std::convert::Infallible;
use std::hint::black_box;
use std::path::PathBuf;
use std::time::Duration;
use store::job;
use tapewright::run;
use tapewright::transport::{Delivery, Recorder};
use tapewright_host::{Apart, Driver, Failure, JobSpec, Place, Sink, Step, StripSpec};
use tapewright_kit::packbits;

const ROW: usize = 16;
/// Labels in a strip: fewer lines than any family's longest strip.
const STRIP: usize = 40;

/// `target/release`, where `cargo build` leaves program and modules: one above this bench's own folder.
fn beside() -> Vec<PathBuf> {
    let this = std::env::current_exe().expect("a bench knows its file");
    this.ancestors().skip(2).take(1).map(PathBuf::from).collect()
}

fn modules(place: &Place) -> Vec<Driver> {
    let (modules, refused) = run::modules(&beside(), place);
    assert!(refused.is_empty(), "{refused:?}");
    modules
}

fn module<'m>(modules: &'m [Driver], family: &str) -> &'m Driver {
    run::module_for(modules, family, &beside()).unwrap_or_else(|error| panic!("{error}; run `cargo build --release`"))
}

/// Holds the stream; a device that never answers.
struct Hold(Vec<u8>);

impl Sink for Hold {
    type Error = Infallible;

    fn bytes(&mut self, bytes: &[u8]) -> Result<(), Infallible> {
        self.0.extend_from_slice(bytes);
        Ok(())
    }

    fn wait(&mut self, _: Duration) -> Result<(), Infallible> {
        Ok(())
    }

    fn reply(&mut self, _: usize, _: Duration, _: &mut Vec<u8>) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Head lines of 2,000 labels, one list a label.
fn labels() -> Vec<Vec<u8>> {
    let job = job(1_000);
    let plan = job.plan();
    let stock = &plan.stocks[0];
    let mut rows = run::Rows::new(&job, stock).expect("the stock lies under the head");
    let mut label = |index| {
        rows.draw(index).expect("a planned label");
        rows.rows().to_vec()
    };
    (0..stock.slots.len()).map(&mut label).collect()
}

fn memcpy(group: &mut BenchmarkGroup<'_, WallTime>, bytes: usize) {
    group.throughput(Throughput::Bytes(bytes as u64));
    let source = vec![0x55_u8; bytes];
    let mut target = vec![0_u8; bytes];
    group.bench_function("memcpy of the same head lines", |b| b.iter(|| target.copy_from_slice(black_box(&source))));
}

/// A whole job of strips through a family; the length of its stream.
fn encode(
    module: &Driver,
    family: &str,
    dpi: u32,
    labels: &[Vec<u8>],
    hold: &mut Hold,
) -> Result<(), Failure<Infallible>> {
    hold.0.clear();
    let mut work = module.open(family, |_, _| {})?;
    let spec = JobSpec {
        dpi_across_milli: dpi * 1000,
        dpi_along_milli: dpi * 1000,
        dots: 128,
        web_first_dot: 22,
        web_dots: 85,
        width_um: 12_000,
        stock_kind: "tape".into(),
        ..JobSpec::default()
    };
    work.step(&Step::BeginJob(&spec), hold)?;
    let lines = |rows: &[u8]| u32::try_from(rows.len() / ROW).expect("a short label");
    for (index, labels) in (0..).zip(labels.chunks(STRIP)) {
        let strip = StripSpec { index, lines: labels.iter().map(|rows| lines(rows)).sum(), ..StripSpec::default() };
        work.step(&Step::BeginStrip(&strip), hold)?;
        for rows in labels {
            work.step(&Step::Lines { rows, count: lines(rows) }, hold)?;
        }
        work.step(&Step::EndStrip, hold)?;
    }
    work.step(&Step::EndJob, hold)?;
    work.flush(hold)
}

fn families(c: &mut Criterion) {
    let modules = modules(&Place::Here);
    let labels = labels();
    let bytes: usize = labels.iter().map(Vec::len).sum();
    let mut group = c.benchmark_group("head lines of 1,000 cables to a stream");
    memcpy(&mut group, bytes);
    let mut hold = Hold(Vec::with_capacity(2 * bytes));
    // pcl knows no 180 dpi; the lines are the same.
    for (family, dpi) in [("pwg", 180), ("pcl", 300), ("gantry", 180), ("footlight", 180)] {
        let module = module(&modules, family);
        group.bench_function(family, |b| {
            b.iter(|| {
                encode(module, family, dpi, &labels, &mut hold).expect("it takes the job");
                black_box(&hold.0);
            });
        });
        eprintln!("{family}: {bytes} bytes of head lines become {} bytes", hold.0.len());
    }
    group.finish();
}

/// Every line on its own, and all of them as one row.
fn packing(c: &mut Criterion) {
    let rows = labels().concat();
    let mut group = c.benchmark_group("head lines of 1,000 cables in PackBits");
    memcpy(&mut group, rows.len());
    let mut packed = Vec::with_capacity(2 * rows.len());
    for (name, row_bytes) in [("lines of 16 bytes", ROW), ("rows of 160 bytes", 10 * ROW), ("rows of 64 KiB", 64 << 10)]
    {
        group.bench_function(name, |b| {
            b.iter(|| {
                packed.clear();
                rows.chunks(row_bytes).for_each(|row| packbits::encode(row, &mut packed));
                black_box(&packed);
            });
        });
    }
    group.finish();
}

/// Wall time: the program and the module's process may work at once on two processors. For the
/// processor time of both, see `cpu_time.py`.
fn apart(c: &mut Criterion) {
    let program = beside()[0].join(format!("tapewright{}", std::env::consts::EXE_SUFFIX));
    let apart = Apart { program, arguments: vec![run::SERVE.into()], patience: Duration::from_secs(60) };
    let job = job(1_000);
    let plan = job.plan();
    let stock = &plan.stocks[0];
    let mut group = c.benchmark_group("1,000 cables through a module");
    let mut streams = Vec::new();
    for (name, place) in [("in this process", Place::Here), ("in a process of its own", Place::Apart(apart))] {
        let modules = modules(&place);
        let module = module(&modules, &job.printer.driver);
        let mut out = Vec::new();
        group.bench_function(name, |b| {
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
        streams.push(out);
    }
    assert!(streams[0] == streams[1], "the place of a module must not show in its stream");
    group.finish();
}

criterion_group!(benches, families, packing, apart);
criterion_main!(benches);
