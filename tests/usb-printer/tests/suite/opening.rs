//! Finding a printer, taking it, giving it back: what only libusb can show.

use crate::ways::real;

#[track_caller]
fn told(scenario: &[&str], options: &[&str]) -> String {
    let played = real(scenario, options);
    played.told
}

#[test]
fn the_kernels_driver_keeps_its_printer_while_it_is_listed_and_gets_it_back_after_use() {
    let wanted = "driver kernel, claimed no\n1 listed, driver kernel, claimed no\ndriver none, claimed yes\ndriver kernel, claimed no\n";
    assert_eq!(told(&["driver"], &[]), wanted);
    assert_eq!(told(&["driver"], &["--no-driver"]), wanted.replace("kernel", "none"));
}

#[test]
fn a_printer_in_use_is_not_taken_but_listed() {
    let played = real(&["busy"], &[]);
    assert_eq!(
        played.told,
        "found usb:1209:0001:TWP0001 on usb:1-1 (Tidewater Playhouse, Strip Printer) in use by another program; \
         close that, or wait until its job is done\nStrip Printer\nopened once it is free\n"
    );
    assert_eq!(played.taken, b"still ours");
}

#[test]
fn printers_are_listed_in_the_order_of_their_sockets() {
    assert_eq!(
        told(&["list"], &["--printers", "3", "--serial", "", "--unidirectional"]),
        "usb:1-1 (Tidewater Playhouse, Strip Printer); 1:5; Unidirectional; Strip Printer by Tidewater Playhouse\n\
         usb:1209:0001:TWP0002 on usb:1-2 (Tidewater Playhouse, Strip Printer); 1:6; Bidirectional; Strip Printer by Tidewater Playhouse\n\
         usb:1209:0001:TWP0003 on usb:1-3 (Tidewater Playhouse, Strip Printer); 1:7; Bidirectional; Strip Printer by Tidewater Playhouse\n"
    );
}

#[test]
fn a_selector_names_one_printer() {
    for selector in ["usb:", "usb:1209:0001", "usb:1209:0001:TWP0001", "usb:1-1"] {
        assert_eq!(told(&["open", selector], &[]), "opened, status 0x18\n", "{selector}");
    }
    for selector in ["usb:1209:0001:TWP0002", "usb:1-2"] {
        assert_eq!(told(&["open", selector], &["--printers", "2"]), "opened, status 0x18\n", "{selector}");
    }
}

#[test]
fn where_several_fit_all_are_named() {
    for selector in ["usb:", "usb:1209:0001"] {
        assert_eq!(
            told(&["open", selector], &["--printers", "2"]),
            format!(
                "Author: found 2 printers for {selector}, wanted one; choose from \
                 usb:1209:0001:TWP0001 on usb:1-1 (Tidewater Playhouse, Strip Printer), \
                 usb:1209:0001:TWP0002 on usb:1-2 (Tidewater Playhouse, Strip Printer)\n"
            )
        );
    }
    // Two with one serial number can be told apart by their sockets.
    let twins = ["--printers", "2", "--serial", "TWP0002"];
    let found = told(&["open", "usb:1209:0001:TWP0002"], &twins);
    assert!(
        found.contains("found 2 printers") && found.contains("on usb:1-1") && found.contains("on usb:1-2"),
        "{found}"
    );
    assert_eq!(told(&["open", "usb:1-2"], &twins), "opened, status 0x18\n");
}

#[test]
fn where_none_fits_those_there_are_are_named() {
    for selector in ["usb:1209:0002", "usb:1210:0001", "usb:1209:0001:twp0001", "usb:1-2", "usb:2-1"] {
        assert_eq!(
            told(&["open", selector], &[]),
            format!(
                "AtPrinter: found usb:1209:0001:TWP0001 on usb:1-1 (Tidewater Playhouse, Strip Printer), \
                 wanted {selector}; is it switched on and plugged in\n"
            )
        );
    }
}

#[test]
fn without_permission_the_rule_to_add_is_told() {
    let hint = "found no permission to open usb:1-1; put this line into /etc/udev/rules.d/70-tapewright.rules and plug \
                the printer in again: SUBSYSTEM==\"usb\", ENV{DEVTYPE}==\"usb_device\", ATTR{idVendor}==\"1209\", \
                ATTR{idProduct}==\"0001\", MODE=\"0660\", GROUP=\"lp\", TAG+=\"uaccess\"\n";
    // By its serial number as well, which cannot be read now.
    for selector in ["usb:", "usb:1209:0001", "usb:1-1", "usb:1209:0001:TWP0001"] {
        assert_eq!(told(&["open", selector], &["--forbidden"]), format!("Administrator: {hint}"), "{selector}");
    }
    assert_eq!(told(&["list"], &["--forbidden"]), format!("usb:1-1; 1:5; Bidirectional; no device id: {hint}"));
}

#[test]
fn a_computer_without_usb_is_told_from_one_without_printers() {
    let wanted = "Administrator: found no USB on this computer (no bus can be seen; a container must be given \
                  /dev/bus/usb), wanted a USB printer\n";
    assert_eq!(told(&["open", "usb:"], &["--no-usb"]), wanted);
}
