//! Sizes, offsets and numbers of `driver.h` against the Rust mirror.

use std::fmt::Write;
use std::mem::offset_of;
use std::process::Command;

use tapewright_host::raw::*;

/// What is measured: the C expression, and the value in Rust.
fn expected() -> Vec<(String, u64)> {
    let mut table: Vec<(String, u64)> = Vec::new();
    let mut add = |what: String, value: usize| table.push((what, value as u64));
    macro_rules! layout {
        ($($record:ident { $($field:ident),* $(,)? })*) => {
            $(
                add(concat!("sizeof(", stringify!($record), ")").into(), size_of::<$record>());
                $(
                    let name = stringify!($field).trim_end_matches('_');
                    add(format!("offsetof({}, {name})", stringify!($record)), offset_of!($record, $field));
                )*
            )*
        };
    }
    layout! {
        tw_fault { size, status, code, retry, text }
        tw_pair { key, value }
        tw_job { size, strips, dpi_across_milli, dpi_along_milli, dots, bytes_per_line, web_first_dot, web_dots, width_um, option_count, option_stride, reserved, name, stock_kind, stock_title, options }
        tw_cut { line, kind }
        tw_strip { size, index, lines, lead_lines, trail_lines, labels, cut_count, cut_stride, cuts }
        tw_action { size, kind, count, milliseconds, reserved }
        tw_device_status { size, flags, found_width_um, reserved, found_kind, text }
        tw_host { size, reserved, context, log }
        tw_driver { size, reserved, self_, begin_job, begin_strip, lines, blank, end_strip, end_job, cancel, take, reply, port_status, status, fault, get_extension, destroy }
        tw_option { size, type_, id, default_text, help, min, max, choices, choice_count, reserved }
        tw_pattern { size, reserved, key, value }
        tw_descriptor { size, capabilities, family, title, version, description, options, patterns, option_count, pattern_count }
        tw_factory { size, reserved, count, describe, create, get_extension }
        tw_entry { size, major, minor, reserved, get_factory }
        tw_readback_page { size, lines, dots, dpi_across_milli, dpi_along_milli, reserved }
        tw_readback_events { size, reserved, context, strip_begin, lines, blank, cut, strip_end }
        tw_decoder { size, reserved, self_, push, finish, fault, destroy }
        tw_readback { size, reserved, self_, recognises, create }
        tw_family_files { size, reserved, suffix, add }
    }
    let mut number = |what: &str, value: i64| table.push((what.into(), value.cast_unsigned()));
    macro_rules! numbers {
        ($($name:ident)*) => {
            $( number(stringify!($name), i64::try_from($name).unwrap()); )*
        };
    }
    numbers! {
        TW_MAJOR
        TW_MINOR
        TW_OK
        TW_FAULT
        TW_BAD_STATE
        TW_BAD_ARGUMENT
        TW_UNSUPPORTED
        TW_LIMIT
        TW_BUG
        TW_FAULT_TEXT
        TW_CUT_HALF
        TW_CUT_FULL
        TW_ACTION_BYTES
        TW_ACTION_WAIT
        TW_ACTION_WAIT_REPLY
        TW_ACTION_MORE_INPUT
        TW_ACTION_DONE
        TW_DEVICE_KNOWN
        TW_DEVICE_READY
        TW_DEVICE_BUSY
        TW_DEVICE_STOCK_OUT
        TW_DEVICE_COVER_OPEN
        TW_DEVICE_WRONG_STOCK
        TW_DEVICE_FAULT
        TW_KIND_TEXT
        TW_STATUS_TEXT
        TW_LOG_DEBUG
        TW_LOG_INFO
        TW_LOG_WARNING
        TW_LOG_ERROR
        TW_OPTION_BOOL
        TW_OPTION_INT
        TW_OPTION_STRING
        TW_OPTION_CHOICE
        TW_CARRIES_HALF_CUTS
        TW_CARRIES_INNER_CUTS
        TW_READS_REPLIES
    }
    table
}

/// Every field and number of the header is in the table, so that none is forgotten.
#[test]
fn the_table_is_complete() {
    let header = std::fs::read_to_string(crate::include().join("driver.h")).unwrap();
    let table = expected();
    let known = |what: &str| table.iter().any(|(name, _)| name == what);
    let mut numbers = 0;
    for line in header.lines() {
        if let Some(rest) = line.strip_prefix("#define ")
            && let Some((name, value)) = rest.split_once(' ')
            && value.starts_with(|first: char| first.is_ascii_digit())
        {
            assert!(known(name), "{name} is not compared");
            numbers += 1;
        }
    }
    assert!(numbers > 30, "only {numbers} numbers found in driver.h");
    let mut record = None;
    let mut fields = 0;
    for line in header.lines() {
        if let Some(rest) = line.strip_prefix("typedef struct ") {
            record = rest.split(' ').next();
            continue;
        }
        if line.starts_with('}') {
            record = None;
        }
        let Some(record) = record else { continue };
        // A field begins at the first indent with a letter; a function's name stands in (*name).
        let Some(line) = line.strip_prefix("    ").filter(|line| line.starts_with(|c: char| c.is_ascii_lowercase()))
        else {
            continue;
        };
        let name = match line.split_once("(*") {
            Some((_, rest)) => rest.split(')').next().unwrap(),
            None => {
                let declaration = line.split(';').next().unwrap().split('[').next().unwrap();
                declaration.rsplit([' ', '*']).next().unwrap()
            }
        };
        assert!(known(&format!("offsetof({record}, {name})")), "{record}.{name} is not compared");
        fields += 1;
    }
    assert!(fields > 80, "only {fields} fields found in driver.h");
}

#[test]
fn c_and_rust_agree() {
    let folder = crate::folder("layout");
    let expected = expected();
    let mut program = String::from("#include \"driver.h\"\n#include <stdio.h>\nint main(void)\n{\n");
    for (what, _) in &expected {
        _ = writeln!(program, "    printf(\"%llu\\n\", (unsigned long long)({what}));");
    }
    program.push_str("    return 0;\n}\n");
    let source = folder.join("layout.c");
    std::fs::write(&source, program).unwrap();
    let binary = folder.join("layout");
    crate::compile(&source, &binary, &[]);
    let output = Command::new(&binary).output().unwrap();
    assert!(output.status.success());
    let found: Vec<u64> = str::from_utf8(&output.stdout).unwrap().lines().map(|line| line.parse().unwrap()).collect();
    assert_eq!(found.len(), expected.len());
    for ((what, rust), c) in expected.iter().zip(found) {
        assert_eq!(*rust, c, "{what}: Rust on the left, C on the right");
    }
}
