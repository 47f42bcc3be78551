//! Reading a logo, drawing it for the first time, and what each label after that costs.

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use tapewright::bitmap::Bitmap;
use tapewright::logo::{Box as Room, Picture, Tone};
use tapewright::unit::{Dots, Dpi};

const LOGO: &[u8] = include_bytes!("../core/data/demo/logo.svg");
const RING: &[u8] = include_bytes!("../tests/cases/logo/ring.png");
const SCENE: &[u8] = include_bytes!("../tests/cases/logo/scene.jpg");

fn logo(c: &mut Criterion) {
    let mut group = c.benchmark_group("logo");
    group.sample_size(20);
    for (name, bytes, tone) in
        [("SVG", LOGO, Tone::Line), ("PNG as lines", RING, Tone::Line), ("JPEG diffused", SCENE, Tone::Diffused)]
    {
        group.bench_function(format!("read {name}"), |b| b.iter(|| Picture::read(name, black_box(bytes)).unwrap()));
        let picture = Picture::read(name, bytes).unwrap();
        for dpi in [180, 300] {
            let dpi = Dpi::from_milli(dpi * 1000).unwrap();
            let height = dpi.dots_nearest(tapewright::unit::Micrometres(9_000));
            let room = Room { width: None, height, along: dpi, up: dpi };
            group.bench_function(format!("first draw of {name}, 9 mm at {dpi}"), |b| {
                b.iter(|| black_box(picture.draw(room, tone)))
            });
        }
    }
    let dpi = Dpi::from_milli(180_000).unwrap();
    let room = Room { width: None, height: Dots(64), along: dpi, up: dpi };
    let drawn = Picture::read("SVG", LOGO).unwrap().draw(room, Tone::Line).ink;
    let mut label = Bitmap::new(76, 400);
    group.bench_function("every draw after it: a blit", |b| b.iter(|| label.blit(black_box(&drawn), 12, 6)));
    group.finish();
}

criterion_group!(benches, logo);
criterion_main!(benches);
