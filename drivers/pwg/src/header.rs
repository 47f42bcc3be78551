//! The page header (PWG 5102.4-2012; from memory, checked against two other readers).
//!
//! 1796 bytes, numbers in big-endian order, strings in 64 bytes with a NUL at the end, all bytes
//! the standard reserves 0.

use std::fmt::Write;

use tapewright_kit::Cut;

use crate::vendor::{self, Vendor};

/// Begins every stream.
pub(crate) const SYNC: &[u8; 4] = b"RaS2";
/// Bytes of a page header.
pub(crate) const SIZE: usize = 1796;
/// First string of every header.
const KEYWORD: &[u8] = b"PwgRaster";
/// Widest page that is read, in dots; far beyond any head, and a line is held in memory.
const WIDEST: u32 = 1 << 16;

const STRING: usize = 64;
const MEDIA_TYPE: usize = 128;
const CUT_MEDIA: usize = 268;
const RESOLUTION_ACROSS: usize = 276;
const RESOLUTION_ALONG: usize = 280;
const LEADING_EDGE: usize = 308;
const COPIES: usize = 340;
const PAGE_SIZE_ACROSS: usize = 352;
const PAGE_SIZE_ALONG: usize = 356;
const WIDTH: usize = 372;
const HEIGHT: usize = 376;
const BITS_PER_COLOR: usize = 384;
const BITS_PER_PIXEL: usize = 388;
const BYTES_PER_LINE: usize = 392;
const COLOR_ORDER: usize = 396;
const COLOR_SPACE: usize = 400;
const COLORS: usize = 420;
const TOTAL_PAGES: usize = 452;
const TRANSFORM_ACROSS: usize = 456;
const TRANSFORM_ALONG: usize = 460;
const IMAGE_BOX: usize = 464;
const ALTERNATE_PRIMARY: usize = 480;
const PRINT_QUALITY: usize = 484;
const VENDOR_ID: usize = 508;
const VENDOR_LENGTH: usize = 512;
const VENDOR_DATA: usize = 516;
const PAGE_SIZE_NAME: usize = 1732;

/// `ColorSpace` black: 1 is ink.
const BLACK: u32 = 3;
/// `CutMedia`: never, after the page.
const NEVER: u32 = 0;
const AFTER_PAGE: u32 = 4;
const QUALITY_NORMAL: u32 = 4;

/// What a page of ours says.
#[derive(Debug, Clone)]
pub(crate) struct Header<'a> {
    pub(crate) width: u32,
    pub(crate) height: u32,
    pub(crate) dpi_across_milli: u32,
    pub(crate) dpi_along_milli: u32,
    /// Cut to 63 bytes.
    pub(crate) media_type: &'a str,
    pub(crate) cut_after: bool,
    /// 0 when not known.
    pub(crate) total_pages: u32,
    /// At most [`vendor::ROOM`] bytes.
    pub(crate) vendor_data: &'a [u8],
}

impl Header<'_> {
    /// The header as it stands in the stream.
    pub(crate) fn to_bytes(&self) -> [u8; SIZE] {
        let mut bytes = [0; SIZE];
        let across = Length::new(self.width, self.dpi_across_milli);
        let along = Length::new(self.height, self.dpi_along_milli);
        put_text(&mut bytes, 0, "PwgRaster");
        put_text(&mut bytes, MEDIA_TYPE, self.media_type);
        for (at, value) in [
            (CUT_MEDIA, if self.cut_after { AFTER_PAGE } else { NEVER }),
            (RESOLUTION_ACROSS, whole_dpi(self.dpi_across_milli)),
            (RESOLUTION_ALONG, whole_dpi(self.dpi_along_milli)),
            // 0: the short edge is first.
            (LEADING_EDGE, u32::from(across.hundredths > along.hundredths)),
            (COPIES, 1),
            (PAGE_SIZE_ACROSS, across.points),
            (PAGE_SIZE_ALONG, along.points),
            (WIDTH, self.width),
            (HEIGHT, self.height),
            (BITS_PER_COLOR, 1),
            (BITS_PER_PIXEL, 1),
            (BYTES_PER_LINE, self.width.div_ceil(8)),
            (COLOR_SPACE, BLACK),
            (COLORS, 1),
            (TOTAL_PAGES, self.total_pages),
            (TRANSFORM_ACROSS, 1),
            (TRANSFORM_ALONG, 1),
            (IMAGE_BOX + 8, self.width),
            (IMAGE_BOX + 12, self.height),
            (PRINT_QUALITY, QUALITY_NORMAL),
        ] {
            put(&mut bytes, at, value);
        }
        let vendor = self.vendor_data;
        put(&mut bytes, VENDOR_LENGTH, u32::try_from(vendor.len()).unwrap_or(0));
        bytes[VENDOR_DATA..VENDOR_DATA + vendor.len()].copy_from_slice(vendor);
        put_text(&mut bytes, PAGE_SIZE_NAME, &size_name(&across, &along));
        bytes
    }
}

/// A length in the units of the header, from dots and thousandths of a dot per inch.
struct Length {
    /// Hundredths of a millimetre, rounded.
    hundredths: u64,
    /// Points (1/72 inch), rounded, at least 1.
    points: u32,
}

impl Length {
    fn new(dots: u32, dpi_milli: u32) -> Length {
        let scaled = |units_an_inch: u64| {
            let dpi = u64::from(dpi_milli);
            (u64::from(dots) * units_an_inch * 1000 + dpi / 2) / dpi
        };
        Length { hundredths: scaled(2540), points: u32::try_from(scaled(72)).unwrap_or(u32::MAX).max(1) }
    }
}

/// A self-describing size name (PWG 5101.1), such as `custom_12x150.28mm_12x150.28mm`; empty when
/// it does not fit.
fn size_name(across: &Length, along: &Length) -> String {
    let size = format!("{}x{}mm", millimetres(across), millimetres(along));
    let name = format!("custom_{size}_{size}");
    if name.len() < STRING { name } else { String::new() }
}

fn millimetres(length: &Length) -> String {
    let mut text = format!("{}", length.hundredths / 100);
    match length.hundredths % 100 {
        0 => {}
        part if part % 10 == 0 => _ = write!(text, ".{}", part / 10),
        part => _ = write!(text, ".{part:02}"),
    }
    text
}

/// What the header can say of a resolution.
pub(crate) fn whole_dpi(milli: u32) -> u32 {
    (milli / 1000 + u32::from(milli % 1000 >= 500)).max(1)
}

fn put(bytes: &mut [u8; SIZE], at: usize, value: u32) {
    bytes[at..at + 4].copy_from_slice(&value.to_be_bytes());
}

fn put_text(bytes: &mut [u8; SIZE], at: usize, text: &str) {
    let text = text.split('\0').next().unwrap_or("");
    let mut end = text.len().min(STRING - 1);
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    bytes[at..at + end].copy_from_slice(&text.as_bytes()[..end]);
}

/// A page as it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PageHead {
    pub(crate) width: u32,
    pub(crate) height: u32,
    /// Across and along, in thousandths of a dot per inch.
    pub(crate) dpi_milli: (u32, u32),
    /// 0 when not known.
    pub(crate) total_pages: u32,
    /// All cuts, the one at the end too.
    pub(crate) cuts: Vec<Cut>,
}

/// Reserved bytes, from and up to.
const RESERVED: [(usize, usize); 11] = [
    (256, 268),
    (284, 300),
    (312, 324),
    (332, 340),
    (348, 352),
    (360, 368),
    (380, 384),
    (404, 420),
    (424, 452),
    (488, 508),
    (1604, 1668),
];

/// Strings, and where they begin.
const STRINGS: [(usize, &str); 6] = [
    (64, "MediaColor"),
    (MEDIA_TYPE, "MediaType"),
    (192, "PrintContentOptimize"),
    (1668, "RenderingIntent"),
    (PAGE_SIZE_NAME, "PageSizeName"),
    (0, "PwgRaster"),
];

/// Numbers that must lie in a range: where, name, least, greatest.
const RANGES: [(usize, &str, u32, u32); 24] = [
    (272, "Duplex", 0, 0),
    (RESOLUTION_ACROSS, "HWResolution across", 1, 1 << 20),
    (RESOLUTION_ALONG, "HWResolution along", 1, 1 << 20),
    (300, "InsertSheet", 0, 0),
    (304, "Jog", 0, 0),
    (LEADING_EDGE, "LeadingEdge", 0, 1),
    (324, "MediaPosition", 0, 49),
    (COPIES, "NumCopies", 0, 1),
    (344, "Orientation", 0, 3),
    (368, "Tumble", 0, 0),
    (WIDTH, "Width", 1, WIDEST),
    (HEIGHT, "Height", 1, u32::MAX),
    (BITS_PER_COLOR, "BitsPerColor", 1, 1),
    (BITS_PER_PIXEL, "BitsPerPixel", 1, 1),
    (COLOR_ORDER, "ColorOrder", 0, 0),
    (COLOR_SPACE, "ColorSpace", BLACK, BLACK),
    (COLORS, "NumColors", 1, 1),
    (TRANSFORM_ACROSS, "CrossFeedTransform", 1, 1),
    (TRANSFORM_ALONG, "FeedTransform", 1, 1),
    (ALTERNATE_PRIMARY, "AlternatePrimary", 0, 0xFF_FFFF),
    (PRINT_QUALITY, "PrintQuality", 0, 5),
    (VENDOR_ID, "VendorIdentifier", 0, 0),
    (VENDOR_LENGTH, "VendorLength", 0, ROOM),
    (CUT_MEDIA, "CutMedia", NEVER, AFTER_PAGE),
];

#[allow(clippy::cast_possible_truncation)] // 1088.
const ROOM: u32 = vendor::ROOM as u32;

/// Reads a header, strictly. The error tells where in the header, what was found and what was
/// wanted.
pub(crate) fn read(bytes: &[u8; SIZE]) -> Result<PageHead, (usize, String)> {
    let number = |at: usize| {
        let four = [bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]];
        u32::from_be_bytes(four)
    };
    let mut keyword = [0; STRING];
    keyword[..KEYWORD.len()].copy_from_slice(KEYWORD);
    if bytes[..STRING] != keyword {
        let found = bytes[..KEYWORD.len()].escape_ascii();
        return Err((0, format!("header begins with {found}, wanted PwgRaster and zeros")));
    }
    for (from, to) in RESERVED {
        if let Some(at) = (from..to).find(|at| bytes[*at] != 0) {
            return Err((at, format!("reserved byte is {}, wanted 0", bytes[at])));
        }
    }
    for (at, name) in STRINGS {
        let field = &bytes[at..at + STRING];
        let end = field.iter().position(|byte| *byte == 0);
        if end.is_none_or(|end| std::str::from_utf8(&field[..end]).is_err()) {
            return Err((at, format!("{name} is no string, wanted UTF-8 and a NUL in {STRING} bytes")));
        }
    }
    for (at, name, least, most) in RANGES {
        let found = number(at);
        if !(least..=most).contains(&found) {
            let wanted = if least == most { format!("{least}") } else { format!("{least} to {most}") };
            return Err((at, format!("{name} is {found}, wanted {wanted}")));
        }
    }
    let cut_media = number(CUT_MEDIA);
    if cut_media != NEVER && cut_media != AFTER_PAGE {
        return Err((CUT_MEDIA, format!("CutMedia is {cut_media}, wanted 0 (never) or 4 (after page)")));
    }
    let (width, height) = (number(WIDTH), number(HEIGHT));
    if number(BYTES_PER_LINE) != width.div_ceil(8) {
        let found = number(BYTES_PER_LINE);
        let wanted = width.div_ceil(8);
        return Err((BYTES_PER_LINE, format!("BytesPerLine is {found}, wanted {wanted} for {width} dots")));
    }
    let [left, top, right, bottom] = [0, 4, 8, 12].map(|part| number(IMAGE_BOX + part));
    if left > right || top > bottom || right > width || bottom > height {
        return Err((
            IMAGE_BOX,
            format!("ImageBox is {left},{top} to {right},{bottom}, wanted it inside {width}×{height}"),
        ));
    }
    let used = VENDOR_DATA + number(VENDOR_LENGTH) as usize;
    if let Some(at) = (used..VENDOR_DATA + vendor::ROOM).find(|at| bytes[*at] != 0) {
        return Err((at, format!("byte {} after the vendor data, wanted 0", bytes[at])));
    }
    let Vendor { mut cuts, dpi_milli } =
        vendor::decode(&bytes[VENDOR_DATA..used], height).map_err(|(at, text)| (VENDOR_DATA + at, text))?;
    let whole = (number(RESOLUTION_ACROSS), number(RESOLUTION_ALONG));
    if let Some((across, along)) = dpi_milli
        && (whole_dpi(across), whole_dpi(along)) != whole
    {
        return Err((
            VENDOR_DATA,
            format!(
                "vendor data says {across} × {along} thousandths of a dpi, wanted what rounds to {} × {} dpi",
                whole.0, whole.1
            ),
        ));
    }
    if cut_media == AFTER_PAGE {
        if cuts.last().is_some_and(|cut| cut.line == height) {
            return Err((CUT_MEDIA, "CutMedia is 4 and the cut list ends with a cut there, wanted one of them".into()));
        }
        cuts.push(Cut { line: height, kind: tapewright_kit::CutKind::Full });
    }
    Ok(PageHead {
        width,
        height,
        dpi_milli: dpi_milli.unwrap_or((whole.0.saturating_mul(1000), whole.1.saturating_mul(1000))),
        total_pages: number(TOTAL_PAGES),
        cuts,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapewright_kit::CutKind;

    const HEADER: Header<'static> = Header {
        width: 85,
        height: 1065,
        dpi_across_milli: 180_000,
        dpi_along_milli: 360_000,
        media_type: "tape",
        cut_after: true,
        total_pages: 3,
        vendor_data: b"",
    };

    #[test]
    fn there_and_back() {
        let cuts = [Cut { line: 500, kind: CutKind::Half }];
        let vendor_data = vendor::encode(&cuts, None).unwrap();
        let bytes = Header { vendor_data: &vendor_data, ..HEADER }.to_bytes();
        let head = read(&bytes).unwrap();
        assert_eq!(
            head,
            PageHead {
                width: 85,
                height: 1065,
                dpi_milli: (180_000, 360_000),
                total_pages: 3,
                cuts: vec![cuts[0], Cut { line: 1065, kind: CutKind::Full }],
            }
        );
    }

    /// The names are what `pwgFormatSizeName("custom", …)` of libcups 2.4 writes, seen.
    #[test]
    fn size_names() {
        let name = |across: u64, along: u64| {
            let length = |hundredths| Length { hundredths, points: 1 };
            size_name(&length(across), &length(along))
        };
        assert_eq!(name(1200, 15028), "custom_12x150.28mm_12x150.28mm");
        assert_eq!(name(1200, 500), "custom_12x5mm_12x5mm");
        assert_eq!(name(600, 40000), "custom_6x400mm_6x400mm");
        assert_eq!(name(1205, 40010), "custom_12.05x400.1mm_12.05x400.1mm");
        assert_eq!(name(1200, 10u64.pow(18)), "custom_12x10000000000000000mm_12x10000000000000000mm");
        assert_eq!(name(10u64.pow(19), 10u64.pow(19)), "");
    }

    #[test]
    fn sizes_come_from_the_exact_resolution() {
        // 8 dots/mm: 96 dots are 12 mm, 34.02 points.
        let length = Length::new(96, 203_200);
        assert_eq!((length.hundredths, length.points), (1200, 34));
        assert_eq!([203_200, 203_500, 100].map(whole_dpi), [203, 204, 1]);
    }

    #[test]
    fn bad_headers_say_where() {
        let text = |at: usize, value: u8| {
            let mut bytes = HEADER.to_bytes();
            bytes[at] = value;
            read(&bytes).unwrap_err()
        };
        assert_eq!(text(0, b'p'), (0, "header begins with pwgRaster, wanted PwgRaster and zeros".into()));
        assert_eq!(text(30, 1).0, 0);
        assert_eq!(text(300, 1), (300, "InsertSheet is 16777216, wanted 0".into()));
        assert_eq!(text(450, 9), (450, "reserved byte is 9, wanted 0".into()));
        assert_eq!(text(WIDTH, 1), (WIDTH, "Width is 16777301, wanted 1 to 65536".into()));
        assert_eq!(text(CUT_MEDIA + 3, 2), (CUT_MEDIA, "CutMedia is 2, wanted 0 (never) or 4 (after page)".into()));
        assert_eq!(text(BYTES_PER_LINE + 3, 10), (BYTES_PER_LINE, "BytesPerLine is 10, wanted 11 for 85 dots".into()));
        assert_eq!(text(IMAGE_BOX + 11, 86).0, IMAGE_BOX);
        assert_eq!(text(VENDOR_LENGTH + 2, 5), (VENDOR_LENGTH, "VendorLength is 1280, wanted 0 to 1088".into()));
        assert_eq!(text(VENDOR_DATA + 7, 5), (VENDOR_DATA + 7, "byte 5 after the vendor data, wanted 0".into()));
        assert_eq!(
            text(MEDIA_TYPE, 0xFF),
            (MEDIA_TYPE, "MediaType is no string, wanted UTF-8 and a NUL in 64 bytes".into())
        );
    }
}
