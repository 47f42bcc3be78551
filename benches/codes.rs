//! A code made fresh: content to dots, for a flag on 12 mm tape at 180 dpi and for wider tape.
//!
//! The yardstick is the same content drawn by one library call, without fit and without dots.

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use tapewright::code::{Facing, Room, Symbology, Wish, fit};
use tapewright::unit::{Dots, Dpi};

const CONTENTS: [&str; 3] = ["TWP OTTER 1040", "TWP OTTER 1040 50 ft", "https://tidewater.example/c/OTTER-1040"];

fn codes(c: &mut Criterion) {
    let dpi = Dpi::from_milli(180_000).expect("180 dpi");
    let mut group = c.benchmark_group("a fresh code");
    for symbology in Symbology::ALL {
        for content in CONTENTS {
            let room = Room { width: None, height: Dots(128), along: dpi, up: dpi, facing: Facing::Flat };
            let wish = Wish::new(content, std::slice::from_ref(&symbology));
            // Micro QR does not hold the longer ones: a refusal takes its time too.
            let word = if fit(&wish, &room).is_ok() { symbology.word() } else { "refusal of micro-qr" };
            group.bench_function(format!("{word}, {} characters", content.len()), |b| {
                b.iter(|| fit(black_box(&wish), black_box(&room)));
            });
        }
    }
    let content = CONTENTS[2];
    group.bench_function(format!("yardstick: qrcode2, qr in modules, {} characters", content.len()), |b| {
        b.iter(|| qrcode2::QrCode::new(black_box(content)));
    });
    group.finish();
}

criterion_group!(benches, codes);
criterion_main!(benches);
