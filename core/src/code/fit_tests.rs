use super::code128;
use super::fit::{Facing, Placed, Room, RoundAxis, Unfit, Wish, fit};
use super::{Ecc, Form, Symbology, encode};
use crate::unit::{Dots, Dpi, Micrometres};

fn dpi(milli: u32) -> Dpi {
    Dpi::from_milli(milli).unwrap()
}

fn room(width: Option<i64>, height: i64) -> Room {
    Room { width: width.map(Dots), height: Dots(height), along: dpi(180_000), up: dpi(180_000), facing: Facing::Flat }
}

fn one(content: &str, symbology: Symbology, room: &Room) -> Result<Placed, Unfit> {
    fit(&Wish::new(content, &[symbology]), room)
}

/// The dots are the symbol's modules, nothing else, with the quiet zone around.
fn assert_drawn(placed: &Placed, content: &str, room: &Room) {
    let symbol = encode(content, placed.form).unwrap();
    let count = |dots: i64| usize::try_from(dots).unwrap();
    let (along, up) = (count(placed.dots_per_module.0), count(placed.dots_per_module.1));
    let beside = symbol.quiet();
    let above = if symbol.linear() { 0 } else { beside };
    let (high, wide) = ((symbol.rows() + 2 * above) * up, (symbol.columns() + 2 * beside) * along);
    assert_eq!((placed.ink.dots(), placed.ink.lines()), (high, wide));
    assert!(high <= count(room.height.0) && room.width.is_none_or(|width| wide <= count(width.0)));
    for line in 0..wide {
        for dot in 0..high {
            let module = (line / along).checked_sub(beside).zip(((high - 1 - dot) / up).checked_sub(above));
            let wanted = module.is_some_and(|(column, row)| symbol.dark(column, row));
            assert_eq!(placed.ink.get(line, dot), wanted, "line {line}, dot {dot}");
        }
    }
}

#[test]
fn the_modules_are_the_largest_that_fit() {
    for symbology in Symbology::ALL {
        for (width, height) in [(400, 87), (600, 128), (130, 200), (2000, 60)] {
            let room = room(Some(width), height);
            let Ok(placed) = one("OTTER 1040", symbology, &room) else { continue };
            assert_drawn(&placed, "OTTER 1040", &room);
            // No form of the code has one dot more.
            let more = placed.dots_per_module.0 + 1;
            for form in Form::all(symbology) {
                let Some(symbol) = encode("OTTER 1040", form) else { continue };
                let level = matches!(form, Form::Qr { ecc: Ecc::L, .. } | Form::MicroQr { ecc: Ecc::L, .. });
                let modules = |n: usize| i64::try_from(n + 2 * symbol.quiet()).unwrap() * more;
                let high = if symbol.linear() { 0 } else { modules(symbol.rows()) };
                assert!(
                    level || modules(symbol.columns()) > width || high > height,
                    "{form:?} in {room:?}: {placed:?}"
                );
            }
        }
    }
}

#[test]
fn one_dot_less_of_room_is_one_dot_less_a_module() {
    // Version 1 with its quiet zone: 29 modules.
    assert_eq!(one("1040", Symbology::Qr, &room(Some(116), 116)).unwrap().dots_per_module, (4, 4));
    assert_eq!(one("1040", Symbology::Qr, &room(Some(115), 116)).unwrap().dots_per_module, (3, 3));
    assert_eq!(one("1040", Symbology::Qr, &room(Some(116), 87)).unwrap().module, Micrometres(423));
    let unfit = one("1040", Symbology::Qr, &room(Some(116), 86)).unwrap_err();
    assert_eq!(unfit.found, "qr of 21 × 21 modules at 0.282 mm (2 dots) a module");
    assert_eq!(unfit.wanted, "modules of at least 0.25 mm and 3 dots; more room, a shorter content or another code");
    let unfit = one("1040", Symbology::Qr, &room(Some(20), 86)).unwrap_err();
    assert_eq!(unfit.found, "qr of 29 × 29 modules with its quiet zone in 20 × 86 dots");
}

#[test]
fn an_open_width_is_not_filled_with_tape() {
    let placed = one("OTTER 1040", Symbology::Rmqr, &room(None, 128)).unwrap();
    // 4 dots are 0.564 mm, the first beyond the aim of 0.5 mm; no shorter rMQR holds it.
    assert_eq!(placed.dots_per_module, (4, 4));
    assert_eq!(placed.form, Form::Rmqr { rows: 13, columns: 27, ecc: Ecc::M });
    let bars = one("OTTER 1040", Symbology::Code128, &room(None, 60)).unwrap();
    assert_eq!((bars.dots_per_module, bars.module, bars.rows), ((4, 60), Micrometres(564), 1));
    assert_drawn(&bars, "OTTER 1040", &room(None, 60));
}

#[test]
fn the_first_kind_that_fits_is_taken() {
    let wish = |symbologies: &[Symbology], height| {
        fit(&Wish::new("OTTER 1040", symbologies), &room(None, height)).map(|placed| placed.symbology)
    };
    let all = [Symbology::Qr, Symbology::MicroQr, Symbology::Rmqr];
    assert_eq!(wish(&all, 90), Ok(Symbology::Qr));
    assert_eq!(wish(&all, 63), Ok(Symbology::MicroQr));
    assert_eq!(wish(&all, 39), Ok(Symbology::Rmqr));
    let unfit = wish(&all, 32).unwrap_err();
    assert_eq!(
        unfit.found,
        "qr of 21 × 21 modules at 0.141 mm (1 dot) a module; micro-qr of 15 × 15 modules at 0.141 mm (1 dot) a \
         module; rmqr of 43 × 9 modules at 0.282 mm (2 dots) a module"
    );
}

#[test]
fn a_level_is_raised_where_it_costs_nothing_and_never_lowered() {
    let form = |content: &str, ecc| {
        let symbologies = [Symbology::Qr];
        fit(&Wish { ecc, ..Wish::new(content, &symbologies) }, &room(None, 200)).unwrap().form
    };
    // Version 1 holds 17 digits at H, 27 at Q (ISO/IEC 18004, table 7).
    assert_eq!(form(&"7".repeat(17), Ecc::L), Form::Qr { version: 1, ecc: Ecc::H });
    assert_eq!(form(&"7".repeat(18), Ecc::L), Form::Qr { version: 1, ecc: Ecc::Q });
    assert_eq!(form(&"7".repeat(18), Ecc::H), Form::Qr { version: 2, ecc: Ecc::H });
}

#[test]
fn dots_of_unequal_sides_make_modules_as_square_as_they_can() {
    let uneven = |along, up| {
        let room = Room { along: dpi(along), up: dpi(up), ..room(Some(1000), 300) };
        let placed = one("1040", Symbology::Qr, &room).unwrap();
        assert_drawn(&placed, "1040", &room);
        (placed.dots_per_module, placed.off_square_permille)
    };
    assert_eq!(uneven(360_000, 180_000), ((20, 10), 0));
    assert_eq!(uneven(180_000, 360_000), ((5, 10), 0));
    // 10 dots at 180 dpi are 1.411 mm; 11 at 203.2 dpi are 1.375 mm, 12 are 1.5 mm.
    assert_eq!(uneven(203_200, 180_000), ((12, 10), 63));
}

/// One dot a module is enough here.
fn fine<'a>(content: &'a str, symbologies: &'a [Symbology]) -> Wish<'a> {
    Wish { least_dots: 1, ..Wish::new(content, symbologies) }
}

#[test]
fn on_a_cable_a_code_lies_within_thirty_degrees() {
    // D = 6 h X / π for h modules of X round the cable (worked out from ±30°; common practice, from
    // memory): 7 rows of 0.25 mm need 3.34 mm, 8 rows 3.82, 12 rows 5.73, 21 rows 10.03.
    let round = |rows: i64, um: i64, axis| {
        let facing = Facing::Round { diameter: Micrometres(um), axis };
        // 101.6 dpi: a dot is 0.25 mm.
        Room { width: Some(Dots(500)), height: Dots(rows), along: dpi(101_600), up: dpi(101_600), facing }
    };
    for (content, symbology, high, least) in [
        ("1040", Symbology::Rmqr, 7 + 4, 3342),
        ("1040", Symbology::DataMatrix, 8 + 2, 3819),
        ("1040", Symbology::Qr, 21 + 8, 10_026),
    ] {
        let symbologies = [symbology];
        let fits = |um| fit(&fine(content, &symbologies), &round(high, um, RoundAxis::Up));
        assert!(fits(least + 5).is_ok(), "{symbology:?}: {:?}", fits(least + 5));
        let unfit = fits(least - 5).unwrap_err();
        assert!(unfit.found.contains("of 0.25 mm on a cable of"), "{unfit}");
        assert!(unfit.wanted.starts_with("the code within 30° to each side"), "{unfit}");
    }
    // Bars across the cable are read along it on any line; bars round it are not.
    let bars = |axis| fit(&fine("1040", &[Symbology::Code128]), &round(20, 6_000, axis));
    assert!(bars(RoundAxis::Up).is_ok());
    assert!(bars(RoundAxis::Along).is_err());
}

#[test]
fn what_cannot_be_said_in_a_code_is_refused() {
    let refused = |content: &str, symbology| {
        let unfit = one(content, symbology, &room(Some(3000), 400)).unwrap_err();
        unfit.to_string()
    };
    let ascii = "wanted ASCII characters; qr, rmqr and data-matrix take all";
    assert_eq!(refused("10 Ω", Symbology::Code128), format!("found 'Ω' (U+03A9) in the content of code-128, {ascii}"));
    assert_eq!(refused("10 Ω", Symbology::MicroQr), format!("found 'Ω' (U+03A9) in the content of micro-qr, {ascii}"));
    assert!(
        refused(&"7".repeat(31), Symbology::MicroQr).starts_with("found 31 characters for micro-qr, wanted content")
    );
    assert!(refused(&"7".repeat(5000), Symbology::Qr).starts_with("found 5000 characters for qr"));
    for symbology in Symbology::ALL {
        assert!(refused("", symbology).starts_with(&format!("found no content for {}", symbology.word())));
    }
    let low = one("1040", Symbology::Code128, &room(None, 30)).unwrap_err();
    assert_eq!(
        low.to_string(),
        "found code-128 with bars of 4.233 mm, wanted bars of at least 5 mm; wider tape or another code"
    );
    assert!(fit(&Wish::new("1040", &[]), &room(None, 30)).is_err());
    assert!(code128::symbol("Ω").is_none());
    assert!(one("1040", Symbology::Qr, &room(Some(0), -5)).is_err());
}

#[test]
fn words_are_read_back() {
    for symbology in Symbology::ALL {
        assert_eq!(Symbology::named(symbology.word()), Some(symbology));
        assert!(Form::all(symbology).iter().all(|form| form.symbology() == symbology));
    }
    assert_eq!(Symbology::named("qr-code"), None);
}
