//! What the printer says: its device id, its answers.

use crate::ways::both;

const TEXT: &str = "MFG:Tidewater;MDL:Strip;CMD:PWGRaster,Plain;";

/// The hex of a device id behind two bytes of length.
fn id(length: [u8; 2], text: &str, padding: usize) -> String {
    let bytes = [&length[..], text.as_bytes(), &vec![0; padding]].concat();
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn odd_device_ids_are_read() {
    let long = u8::try_from(TEXT.len() + 2).unwrap();
    let hex: String = TEXT.bytes().map(|byte| format!("{byte:02x}")).collect();
    for (answer, field) in [
        (id([0, long], TEXT, 0), "Right"),
        (id([0, long], TEXT, 30), "Right"),
        (id([0, long - 2], TEXT, 0), "WithoutItself"),
        (id([long, 0], TEXT, 0), "LittleEndian"),
        (id([0x0f, 0xff], TEXT, 0), "TooLong"),
        (id([0, 0], TEXT, 1), "Empty"),
        (hex, "Missing"),
    ] {
        let told = both("ask", &["--id-hex", &answer]).told;
        assert_eq!(told, format!("{field}: Tidewater, Strip, PWGRaster+Plain\nsetting 0\n"));
    }
}

#[test]
fn keys_are_read_by_their_other_names() {
    let told = both("ask", &["--id", "manufacturer: Tidewater ;Model:Strip;Command Set: Plain"]).told;
    assert_eq!(told, "Right: Tidewater, Strip, Plain\nsetting 0\n");
}

/// 1024 bytes are asked for, so the rest stays unread.
#[test]
fn a_device_id_longer_than_any_buffer_is_read_as_far_as_it_came() {
    let text = format!("{TEXT}DES:{};", "tidewater ".repeat(400));
    let told = both("ask", &["--id", &text]).told;
    assert_eq!(told, "TooLong: Tidewater, Strip, PWGRaster+Plain\nsetting 0\n");
}

#[test]
fn an_empty_device_id_is_an_answer_without_pairs() {
    for (options, bytes) in [(["--id", ""], 2), (["--id-hex", ""], 0), (["--id-hex", "ffff"], 2)] {
        let told = both("ask", &options).told;
        let wanted = format!("gave a wrong answer: device id `` of {bytes} bytes, wanted KEY:VALUE; pairs\n");
        assert!(told.starts_with("no device id: the printer") && told.contains(&wanted), "{told}");
    }
}

#[test]
fn the_bidirectional_setting_is_chosen_where_there_are_two() {
    let told = both("ask", &["--two-settings"]).told;
    assert_eq!(told, "Right: Tidewater Playhouse, Strip Printer, PWGRaster\nsetting 1\n");
}

#[test]
fn answers_come_in_order_and_none_is_lost() {
    let wanted = "read 0: []\nread 2: [01, 02]\nread 2: [03, 04]\nread 1: [05]\nread 2: [06, 07]\nread 0: []\nread nothing: Unplugged\n";
    for options in [&[][..], &["--empty-packets"], &["--two-settings"]] {
        assert_eq!(both("read", options).told, wanted, "{options:?}");
    }
}

#[test]
fn a_unidirectional_printer_gives_no_answers() {
    assert_eq!(both("read", &["--unidirectional"]).told, "read 0: []\n".repeat(7));
}
