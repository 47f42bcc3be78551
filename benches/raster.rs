//! Raster and streams in memory, against yardsticks of the same run: memcpy of the same bytes, and
//! a bare glyph blit that knows nothing of layouts, fits or lists.

mod store;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use store::job;
use tapewright::bitmap::Bitmap;
use tapewright::font::{Pen, Size, Style};
use tapewright::raster::Raster;
use tapewright::run;

/// Bytes of head lines of all labels: a head of 128 dots is 16 bytes a line.
const ROW: usize = 16;

fn raster(c: &mut Criterion) {
    let job = job(1_000);
    let plan = job.plan();
    let stock = &plan.stocks[0];
    let lines: i64 = stock.lengths.iter().map(|length| length.0).sum();
    let bytes = usize::try_from(lines).unwrap() * ROW;
    let mut group = c.benchmark_group("raster of 1,000 cables");
    group.throughput(Throughput::Bytes(bytes as u64));

    let source = vec![0x55_u8; bytes];
    let mut target = vec![0_u8; bytes];
    group.bench_function("memcpy of the same bytes", |b| b.iter(|| target.copy_from_slice(black_box(&source))));

    // The yardstick: every label's glyphs at fixed places, blitted into one bitmap, and nothing else.
    let layouts: Vec<_> = stock.slots.iter().map(|&slot| job.lay_out(stock, slot).unwrap()).collect();
    let mut pen = Pen::new(job.fonts());
    let mut label = Bitmap::new(0, 0);
    group.bench_function("bare glyph blit", |b| {
        b.iter(|| {
            for layout in &layouts {
                label.reset(70, usize::try_from(layout.along.0).unwrap());
                let size = Size { style: Style::Normal, cap: layout.block.text.cap.0, ratio_milli: 1000 };
                for (_, at, _) in &layout.block.copies {
                    pen.draw("TWP OTTER", size, &mut label, (at.0, 40));
                    pen.draw("1040 50 ft", size, &mut label, (at.0, 4));
                }
                black_box(&label);
            }
        });
    });

    // All of it: text filled in, fitted, laid out, drawn, made head lines.
    let mut raster = Raster::new(Pen::new(job.fonts()));
    let mut rows = Vec::with_capacity(bytes);
    group.bench_function("list to head lines", |b| {
        b.iter(|| {
            rows.clear();
            let mut strips = run::Rows::new(&job, stock).unwrap();
            for index in 0..stock.slots.len() {
                strips.draw(index).unwrap();
                rows.extend_from_slice(strips.rows());
            }
            black_box(&rows);
        });
    });

    // Drawing alone, layouts at hand.
    group.bench_function("laid-out labels to head lines", |b| {
        b.iter(|| {
            rows.clear();
            for layout in &layouts {
                raster.draw(layout, false, &mut label);
                label.append_head_lines(128, 29, &mut rows);
            }
            black_box(&rows);
        });
    });
    group.finish();
}

fn mirror(c: &mut Criterion) {
    let mut bitmap = Bitmap::new(128, 500_000);
    for line in 0..500_000 {
        bitmap.set(line, line % 128);
    }
    let mut group = c.benchmark_group("mirroring 8 MB of lines");
    group.throughput(Throughput::Bytes(8_000_000));
    let source = vec![1_u8; 8_000_000];
    let mut target = vec![0_u8; 8_000_000];
    group.bench_function("memcpy of the same bytes", |b| b.iter(|| target.copy_from_slice(black_box(&source))));
    group.bench_function("mirror", |b| b.iter(|| bitmap.mirror()));
    group.finish();
}

criterion_group!(benches, raster, mirror);
criterion_main!(benches);
