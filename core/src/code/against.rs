//! Every form, module by module, against libraries that were written from the standards by others.

use super::{Ecc, datamatrix, micro, qr, rmqr, symbol::Symbol};
use ::qrcode2::{
    Color, EcLevel, Version,
    bits::Bits,
    canvas::{Canvas, MaskPattern},
    ec,
};

fn level(ecc: Ecc) -> EcLevel {
    match ecc {
        Ecc::L => EcLevel::L,
        Ecc::M => EcLevel::M,
        Ecc::Q => EcLevel::Q,
        Ecc::H => EcLevel::H,
    }
}

/// The other library's modules with its mask fixed, row by row.
fn theirs(content: &str, version: Version, ecc: Ecc, mask: MaskPattern) -> Option<Vec<Color>> {
    let mut bits = Bits::new(version);
    // Segments of one mode, so that the choice of modes is not what is compared.
    if content.bytes().all(|byte| byte.is_ascii_digit()) {
        bits.push_numeric_data(content.as_bytes()).ok()?;
    } else if content.bytes().all(|byte| byte.is_ascii_uppercase()) {
        bits.push_alphanumeric_data(content.as_bytes()).ok()?;
    } else {
        bits.push_byte_data(content.as_bytes()).ok()?;
    }
    bits.push_terminator(level(ecc)).ok()?;
    let (words, checks) = ec::construct_codewords(&bits.into_bytes(), version, level(ecc)).ok()?;
    let mut canvas = Canvas::new(version, level(ecc));
    canvas.draw_all_functional_patterns();
    canvas.draw_data(&words, &checks);
    canvas.apply_mask(mask);
    Some(canvas.into_colors())
}

#[track_caller]
fn same(name: &str, ours: &Symbol, theirs: &[Color], skip: impl Fn(usize) -> bool) {
    for (k, color) in theirs.iter().enumerate() {
        let (row, column) = (k / ours.columns(), k % ours.columns());
        assert!(
            skip(column) || ours.dark(column, row) == (*color == Color::Dark),
            "{name}: row {row}, column {column}"
        );
    }
    assert_eq!(theirs.len(), ours.columns() * ours.rows(), "{name}");
}

const MASKS: [MaskPattern; 8] = [
    MaskPattern::Checkerboard,
    MaskPattern::HorizontalLines,
    MaskPattern::VerticalLines,
    MaskPattern::DiagonalLines,
    MaskPattern::LargeCheckerboard,
    MaskPattern::Fields,
    MaskPattern::Diamonds,
    MaskPattern::Meadow,
];

/// Contents of one mode, so long that all but a word or two of `bits` are used.
fn contents(bits: usize) -> [String; 3] {
    let digits: String =
        "3141592653589793238462643".chars().cycle().take((bits / 4).saturating_sub(6).max(1)).collect();
    let letters: String = "OTTERBADGERHERON".chars().cycle().take((bits / 7).saturating_sub(4).max(1)).collect();
    let bytes: String = "a~z/q:e".chars().cycle().take((bits / 8).saturating_sub(4).max(1)).collect();
    [digits, letters, bytes]
}

#[test]
fn qr_in_every_version_level_and_mask() {
    let mut compared = 0;
    for version in 1..=qr::LAST_VERSION {
        for ecc in Ecc::ALL {
            for content in contents(qr::data_words(version, ecc) * 8) {
                // All masks in the sizes of labels, one a version beyond.
                for (mask, their) in
                    MASKS.into_iter().enumerate().filter(|(mask, _)| version <= 6 || version % 8 == *mask)
                {
                    let name = format!("version {version} {ecc:?}, mask {mask}, {content}");
                    let number = Version::Normal(i16::try_from(version).unwrap());
                    let theirs = theirs(&content, number, ecc, their).expect(&name);
                    same(&name, &qr::symbol(&content, version, ecc, Some(mask)).expect(&name), &theirs, |_| false);
                    compared += 1;
                }
            }
        }
    }
    assert_eq!(compared, (6 * 8 + 21) * 4 * 3);
}

#[test]
fn micro_qr_in_every_size_level_and_mask() {
    let masks =
        [MaskPattern::HorizontalLines, MaskPattern::LargeCheckerboard, MaskPattern::Diamonds, MaskPattern::Meadow];
    let mut compared = 0;
    for size in 1..=4 {
        for ecc in Ecc::ALL {
            let Some((_, bits, _)) = micro::kind(size, ecc) else { continue };
            for content in contents(bits) {
                for (mask, their) in masks.into_iter().enumerate() {
                    let name = format!("M{size} {ecc:?}, mask {mask}, {content}");
                    let version = Version::Micro(i16::try_from(size).unwrap());
                    let (ours, theirs) =
                        (micro::symbol(&content, size, ecc, Some(mask)), theirs(&content, version, ecc, their));
                    assert_eq!(ours.is_some(), theirs.is_some(), "{name}");
                    if let (Some(ours), Some(theirs)) = (ours, theirs) {
                        same(&name, &ours, &theirs, |_| false);
                        compared += 1;
                    }
                }
            }
        }
    }
    assert!(compared >= 60, "compared {compared}");
}

/// The library's walk through an rMQR symbol ends before the second column, where the last bits of
/// the check words lie, and its R17x43 has the wrong number of check words; a reader forgives the
/// one and not the other. The second column is held by the standard's example, R17x43 by decoders.
#[test]
fn rmqr_in_every_size_and_level() {
    for (number, size) in rmqr::SIZES.iter().enumerate().filter(|(_, size)| (size.rows, size.columns) != (17, 43)) {
        for ecc in [Ecc::M, Ecc::H] {
            for content in contents(size.data_bits(ecc)) {
                let name = format!("R{}x{} {ecc:?}, {content}", size.rows, size.columns);
                let version =
                    Version::RectMicro(i16::try_from(size.rows).unwrap(), i16::try_from(size.columns).unwrap());
                let theirs = theirs(&content, version, ecc, MaskPattern::LargeCheckerboard).expect(&name);
                same(&name, &rmqr::symbol(&content, number, ecc).expect(&name), &theirs, |column| column == 1);
            }
        }
    }
}

#[test]
fn data_matrix_in_every_size() {
    for (number, size) in datamatrix::SIZES.iter().enumerate() {
        let wanted = ::datamatrix::SymbolList::all()
            .enforce_height_in(size.rows..=size.rows)
            .enforce_width_in(size.columns..=size.columns);
        let content: String = "3141592653589793238462643".chars().cycle().take(size.data * 2).collect();
        let theirs = ::datamatrix::DataMatrix::encode(content.as_bytes(), wanted).expect("digits fit");
        let ours = datamatrix::symbol(&content, number).expect("digits fit");
        let bitmap = theirs.bitmap();
        for (k, &dark) in bitmap.bits().iter().enumerate() {
            let (row, column) = (k / size.columns, k % size.columns);
            assert_eq!(ours.dark(column, row), dark, "{} x {}: row {row}, column {column}", size.rows, size.columns);
        }
    }
}
