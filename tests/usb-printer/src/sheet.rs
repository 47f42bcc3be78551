//! What the printer says it is.

use tapewright_usb::{Layout, Protocol};

/// Address of its bulk endpoint for data.
pub const OUTPUT: u8 = 0x01;
/// Address of its bulk endpoint for answers.
pub const INPUT: u8 = 0x82;

/// Bytes of a packet at high speed (USB 2.0, 5.8.3).
const PACKET: u16 = 512;

/// What the printer says it is, and how it behaves.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Manufacturer, product, serial number. An empty string is left out.
    pub strings: [String; 3],
    /// The answer to GET_DEVICE_ID, its length field included.
    pub device_id: Vec<u8>,
    /// 7/1/2 instead of 7/1/1.
    pub bidirectional: bool,
    /// It has a second setting, 7/1/1 before 7/1/2, so the first is not the best.
    pub two_settings: bool,
    /// It knows SOFT_RESET as version 1.0 of the class has it, not as 1.1.
    pub old_reset: bool,
    /// It answers a read with an empty packet while it has nothing to say.
    pub empty_packets: bool,
    /// The system lets nobody open it.
    pub forbidden: bool,
    /// The kernel has a driver for it.
    pub kernel_driver: bool,
}

impl Sheet {
    /// The printer number `nth` of the playhouse, from 1.
    #[must_use]
    pub fn new(nth: usize) -> Self {
        let serial = format!("TWP{nth:04}");
        let text = format!("MFG:Tidewater Playhouse;MDL:Strip Printer;CMD:PWGRaster;CLS:PRINTER;SN:{serial};");
        Self {
            device_id: with_length(text.as_bytes()),
            strings: ["Tidewater Playhouse".into(), "Strip Printer".into(), serial],
            bidirectional: true,
            two_settings: false,
            old_reset: false,
            empty_packets: false,
            forbidden: false,
            kernel_driver: true,
        }
    }

    /// Vendor and product id: 1209:0001, given away for tests like this one (from memory).
    #[must_use]
    pub const fn ids(&self) -> (u16, u16) {
        (0x1209, 0x0001)
    }

    /// The device descriptor (USB 2.0, 9.6.1, table 9-8, from memory).
    #[must_use]
    pub fn device_descriptor(&self) -> Vec<u8> {
        let (vendor, product) = self.ids();
        let ([v0, v1], [p0, p1]) = (vendor.to_le_bytes(), product.to_le_bytes());
        let string = |nth: u8| if self.strings[usize::from(nth) - 1].is_empty() { 0 } else { nth };
        vec![18, 1, 0x00, 0x02, 0, 0, 0, 64, v0, v1, p0, p1, 0x00, 0x01, string(1), string(2), string(3), 1]
    }

    /// The configuration with its interface and endpoints (USB 2.0, 9.6.3, 9.6.5 and 9.6.6, from
    /// memory).
    #[must_use]
    pub fn configuration(&self) -> Vec<u8> {
        let [low, high] = PACKET.to_le_bytes();
        let setting = |number: u8, protocol: u8| {
            // The endpoint for answers stands in a 7/1/1 too, where nobody may use it.
            let mut bytes = vec![9, 4, 0, number, 2, 7, 1, protocol, 0];
            for end in [OUTPUT, INPUT] {
                bytes.extend([7, 5, end, 2, low, high, 0]);
            }
            bytes
        };
        let settings = match (self.bidirectional, self.two_settings) {
            (true, true) => [setting(0, 1), setting(1, 2)].concat(),
            (true, false) => setting(0, 2),
            (false, _) => setting(0, 1),
        };
        let total = u16::try_from(9 + settings.len()).unwrap_or(u16::MAX).to_le_bytes();
        [&[9, 2, total[0], total[1], 1, 1, 0, 0xc0, 1], settings.as_slice()].concat()
    }

    /// Both, as usbfs and sysfs give them.
    #[must_use]
    pub fn descriptors(&self) -> Vec<u8> {
        [self.device_descriptor(), self.configuration()].concat()
    }

    /// What the link must find of the above.
    #[must_use]
    pub const fn layout(&self) -> Layout {
        Layout {
            configuration: 0,
            interface: 0,
            setting: if self.bidirectional && self.two_settings { 1 } else { 0 },
            protocol: if self.bidirectional { Protocol::Bidirectional } else { Protocol::Unidirectional },
            output: OUTPUT,
            input: if self.bidirectional { Some((INPUT, PACKET)) } else { None },
        }
    }
}

/// A device id with its length field in order.
pub(crate) fn with_length(text: &[u8]) -> Vec<u8> {
    let length = u16::try_from(text.len() + 2).unwrap_or(u16::MAX);
    [&length.to_be_bytes(), text].concat()
}
