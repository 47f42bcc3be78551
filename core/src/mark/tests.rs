use super::*;

fn dpi(milli: u32) -> Dpi {
    Dpi::from_milli(milli).unwrap()
}

fn mirrored(bitmap: &Bitmap) -> Bitmap {
    let mut mirrored = bitmap.clone();
    mirrored.mirror();
    mirrored
}

#[test]
fn a_frame_leaves_its_inside_alone() {
    let mut bitmap = Bitmap::new(7, 9);
    frame(&mut bitmap, Area { line: 1, lines: 7, dot: 1, dots: 5 }, 2, 1);
    let wanted = ".........\n.#######.\n.##...##.\n.##...##.\n.##...##.\n.#######.\n.........\n";
    assert_eq!(bitmap.to_string(), wanted);
    let mut small = Bitmap::new(3, 3);
    frame(&mut small, Area { line: 0, lines: 3, dot: 0, dots: 3 }, 9, 9);
    assert_eq!(small.ink(), 9, "too small for a hole");
}

#[test]
fn an_inverse_field_has_white_text_on_black() {
    let mut bitmap = Bitmap::from("......\n..##..\n......\n");
    inverse(&mut bitmap, Area { line: 1, lines: 4, dot: 0, dots: 3 });
    assert_eq!(bitmap.to_string(), ".####.\n.#..#.\n.####.\n");
    assert_eq!((inverse_margin(Dots(1)), inverse_margin(Dots(5))), (2, 5));
}

#[test]
fn guides_for_folding_and_for_cutting_differ() {
    for dots in [16, 64, 128, 300] {
        let (fold, snip) = (fold_guide(dots), snip_guide(dots));
        assert!(fold.get(0, 0) && fold.get(0, dots - 1), "ticks reach both edges");
        assert!(!fold.get(0, dots / 2), "nothing in the middle");
        assert!(snip.ink() * 9 > dots as u64 * 4, "half of the snip guide is ink");
        assert_eq!(fold, mirrored(&fold));
        assert_ne!(fold, snip);
    }
    assert_eq!(fold_guide(4).ink(), 4, "clipped to the zone");
}

#[test]
fn the_least_arrow_is_exact() {
    let right = arrow(Direction::Right, 7, 7);
    assert_eq!(right.to_string(), "...#...\n...##..\n######.\n#######\n######.\n...##..\n...#...\n");
    let up = arrow(Direction::Up, 7, 8);
    assert_eq!(up.to_string(), "...#...\n..###..\n.#####.\n#######\n..###..\n..###..\n..###..\n..###..\n");
}

#[test]
fn arrows_of_any_size_are_symmetric_whole_and_point_their_way() {
    for lines in LEAST_BOX..60 {
        for dots in LEAST_BOX..60 {
            let right = arrow(Direction::Right, lines, dots);
            assert_eq!(right, mirrored(&right), "{lines} x {dots}: about its axis");
            assert!(right.get(lines - 1, dots / 2), "{lines} x {dots}: the tip is at the right end");
            assert!(right.get(0, dots / 2), "{lines} x {dots}: the shaft begins at the left end");
            let column = |l: usize| (0..dots).filter(|&d| right.get(l, d)).count();
            let widest = (0..lines).map(column).max().unwrap();
            assert!(column(lines - 1) <= 2 && column(0) * 5 <= widest * 3, "{lines} x {dots}: {widest}\n{right}");
            assert!((1..lines).all(|l| column(l) + 2 >= column(l - 1)), "{lines} x {dots}: even stairs");
            assert_eq!(arrow(Direction::Left, lines, dots), right.turned());
            let up = arrow(Direction::Up, lines, dots);
            assert_eq!((up.lines(), up.dots()), (lines, dots));
            assert!(up.get(lines / 2, dots - 1) && up.get(lines / 2, 0), "{lines} x {dots}");
            assert_eq!(arrow(Direction::Down, lines, dots), up.turned());
        }
    }
    for (lines, dots) in [(6, 20), (20, 6), (0, 0)] {
        assert!(Direction::ALL.iter().all(|&to| arrow(to, lines, dots).ink() == 0));
    }
}

const LEAST_BOX: usize = arrow::LEAST;

#[test]
fn words_name_what_they_say() {
    for direction in Direction::ALL {
        assert_eq!(Direction::named(direction.word()), Some(direction));
    }
    for pattern in Pattern::ALL {
        assert_eq!(Pattern::named(pattern.word()), Some(pattern));
    }
    assert_eq!((Direction::named("Left"), Pattern::named("bars")), (None, None));
}

/// Darkness of a field in cells of 0.6 mm, in thousandths: what is left of it in bad sight.
fn blurred(field: &Bitmap, along: usize, up: usize) -> Vec<Vec<u64>> {
    let cells = |l: usize, d: usize| {
        let ink = (l..l + along).flat_map(|l| (d..d + up).map(move |d| (l, d))).filter(|&(l, d)| field.get(l, d));
        ink.count() as u64 * 1000 / (along * up) as u64
    };
    let lines = (0..=field.lines() - along).step_by(2);
    lines.map(|l| (0..=field.dots() - up).step_by(2).map(|d| cells(l, d)).collect()).collect()
}

#[test]
fn patterns_are_told_apart_when_blurred_and_from_both_sides() {
    for (along, up) in [(180_000, 180_000), (203_200, 203_200), (180_000, 360_000), (300_000, 300_000)] {
        let (along, up) = (dpi(along), dpi(up));
        let least = Pattern::least(along, up);
        for more in [0, 7, 30, 61] {
            let (lines, dots) = (count(least.0) + more, count(least.1) + more);
            let cell = |dpi: Dpi| count(dpi.dots_nearest(Micrometres(600)));
            let fields: Vec<_> = Pattern::ALL.iter().map(|pattern| pattern.draw(lines, dots, along, up)).collect();
            for (pattern, field) in Pattern::ALL.iter().zip(&fields) {
                assert_eq!(*field, field.turned(), "{pattern:?} {lines} x {dots}: turned\n{field}");
                for l in 0..lines {
                    assert!(field.get(l, 0) && field.get(l, dots - 1), "{pattern:?}: outline");
                }
            }
            for (i, one) in fields.iter().enumerate() {
                for (j, other) in fields.iter().enumerate().skip(i + 1) {
                    let (one, other) = (blurred(one, cell(along), cell(up)), blurred(other, cell(along), cell(up)));
                    let pairs = || one.iter().flatten().zip(other.iter().flatten());
                    let apart = pairs().map(|(a, b)| a.abs_diff(*b)).sum::<u64>() / pairs().count() as u64;
                    let names = (Pattern::ALL[i], Pattern::ALL[j]);
                    assert!(apart >= 150, "{names:?} at {lines} x {dots}, {along} by {up}: {apart} of 1000");
                }
            }
        }
    }
}
