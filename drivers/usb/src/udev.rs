//! The rule that lets people use a printer on Linux.

/// Where the rule goes. The number must be below 73: rule files are read in the order of their
/// names, and `73-seat-late.rules` is what acts on the tag `uaccess` (systemd, from memory).
pub(crate) const FILE: &str = "/etc/udev/rules.d/70-tapewright.rules";

/// The udev rule, one line with its line feed, that gives the device `vendor:product` to whoever
/// sits at this computer (`uaccess`) and to the group `lp`.
///
/// It acts when the printer is plugged in again.
///
/// ```
/// let rule = tapewright_usb::udev_rule(0x1209, 0x0001);
/// assert!(rule.contains(r#"ATTR{idVendor}=="1209", ATTR{idProduct}=="0001""#));
/// ```
#[must_use]
pub fn udev_rule(vendor: u16, product: u16) -> String {
    format!(
        "SUBSYSTEM==\"usb\", ENV{{DEVTYPE}}==\"usb_device\", ATTR{{idVendor}}==\"{vendor:04x}\", \
         ATTR{{idProduct}}==\"{product:04x}\", MODE=\"0660\", GROUP=\"lp\", TAG+=\"uaccess\"\n"
    )
}
