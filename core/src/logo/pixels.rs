//! PNG and JPEG to grey.

use super::plane::Plane;
use super::tone::grey;
use crate::error::{Error, Result};
use std::io::Cursor;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// The longest side, and the most pixels: 30 megapixels decode to 120 MB, more than any label shows.
const MOST_SIDE: usize = 16_384;
const MOST_PIXELS: usize = 30_000_000;

/// Refuses a picture before its pixels take memory.
fn bounded(width: usize, height: usize) -> Result<()> {
    if width == 0 || height == 0 {
        return Err(Error::input("found a picture without pixels, wanted at least one"));
    }
    if width > MOST_SIDE || height > MOST_SIDE || width.saturating_mul(height) > MOST_PIXELS {
        return Err(Error::input(format!(
            "found {width} by {height} pixels, wanted at most {MOST_SIDE} a side and {} megapixels; save it smaller",
            MOST_PIXELS / 1_000_000
        )));
    }
    Ok(())
}

fn broken(kind: &str, why: impl std::fmt::Display) -> Error {
    // Some decoders end their sentence with a line break.
    let why = why.to_string();
    let why = why.trim().trim_end_matches('.');
    Error::input(format!("found a {kind} that does not decode ({why}), wanted a whole one; save it again"))
}

/// Decodes PNG; alpha lies over white, mixed as sRGB values (what browsers and most viewers do).
///
/// Gamma and colour profiles in the file are not applied: one dot more or less is all they would
/// change in one bit.
pub(super) fn png(bytes: &[u8]) -> Result<Plane> {
    let broken = |why| broken("PNG", why);
    let mut decoder = png::Decoder::new_with_limits(Cursor::new(bytes), png::Limits { bytes: 256 << 20 });
    decoder.set_transformations(png::Transformations::EXPAND | png::Transformations::STRIP_16);
    let mut reader = decoder.read_info().map_err(broken)?;
    let (width, height) = (side(reader.info().width), side(reader.info().height));
    bounded(width, height)?;
    let size = reader.output_buffer_size().ok_or_else(|| Error::bug("a bounded picture has no size"))?;
    let mut samples = vec![0; size];
    let frame = reader.next_frame(&mut samples).map_err(broken)?;
    let over = |tone: u8, alpha: u8| {
        let mixed = u32::from(tone) * u32::from(alpha) + 255 * (255 - u32::from(alpha));
        u8::try_from((2 * mixed + 255) / 510).unwrap_or(u8::MAX)
    };
    let samples = &samples[..frame.buffer_size()];
    let tones = match frame.color_type {
        png::ColorType::Grayscale => samples.to_vec(),
        png::ColorType::GrayscaleAlpha => {
            samples.as_chunks().0.iter().map(|&[tone, alpha]| over(tone, alpha)).collect()
        }
        png::ColorType::Rgb => samples.as_chunks().0.iter().map(|&[r, g, b]| grey(r, g, b)).collect(),
        png::ColorType::Rgba => {
            let pixels = samples.as_chunks().0.iter();
            pixels.map(|&[r, g, b, a]| grey(over(r, a), over(g, a), over(b, a))).collect()
        }
        png::ColorType::Indexed => return Err(Error::bug("a palette was not expanded")),
    };
    Ok(Plane { width, height, tones })
}

fn side(pixels: u32) -> usize {
    usize::try_from(pixels).unwrap_or(usize::MAX)
}

/// Decodes JPEG, and turns it as its camera says (Exif 2.3, tag 274).
pub(super) fn jpeg(bytes: &[u8]) -> Result<Plane> {
    let broken = |why| broken("JPEG", why);
    let options = DecoderOptions::new_safe()
        .set_strict_mode(true)
        .set_max_width(usize::MAX)
        .set_max_height(usize::MAX)
        .jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = JpegDecoder::new_with_options(Cursor::new(bytes), options);
    decoder.decode_headers().map_err(broken)?;
    let info = decoder.info().ok_or_else(|| Error::bug("a JPEG with headers has no size"))?;
    let (width, height) = (usize::from(info.width), usize::from(info.height));
    bounded(width, height)?;
    let samples = decoder.decode().map_err(broken)?;
    let tones: Vec<u8> = samples.as_chunks().0.iter().map(|&[r, g, b]| grey(r, g, b)).collect();
    if tones.len() != width * height {
        return Err(broken(zune_jpeg::errors::DecodeErrors::FormatStatic("pixels are missing")));
    }
    let plane = Plane { width, height, tones };
    Ok(turned(plane, decoder.exif().map_or(1, |exif| orientation(exif))))
}

/// The orientation of a camera picture, 1 (upright) to 8; 1 where there is none.
///
/// Source: TIFF 6.0, section 2 (header, directory, entry), and Exif 2.3, 4.6.4 (tag 274, a SHORT).
fn orientation(exif: &[u8]) -> u16 {
    let tiff = exif.strip_prefix(b"Exif\0\0").unwrap_or(exif);
    let little = tiff.starts_with(b"II");
    let short = |at: usize| {
        let bytes = tiff.get(at..at + 2)?.try_into().ok()?;
        Some(if little { u16::from_le_bytes(bytes) } else { u16::from_be_bytes(bytes) })
    };
    let offset = |at: usize| {
        let bytes = tiff.get(at..at + 4)?.try_into().ok()?;
        usize::try_from(if little { u32::from_le_bytes(bytes) } else { u32::from_be_bytes(bytes) }).ok()
    };
    let find = || {
        let directory = offset(4)?.min(tiff.len());
        let entries = usize::from(short(directory)?);
        let mut places = (0..entries).map(|entry| directory + 2 + 12 * entry);
        places.find(|&at| short(at) == Some(274)).and_then(|at| short(at + 8))
    };
    find().filter(|value| (1..=8).contains(value)).unwrap_or(1)
}

/// The picture upright. Orientations 5 to 8 change rows for columns; Exif 2.3, 4.6.4.
fn turned(plane: Plane, orientation: u16) -> Plane {
    if orientation == 1 {
        return plane;
    }
    let (w, h) = (plane.width, plane.height);
    let (width, height) = if orientation > 4 { (h, w) } else { (w, h) };
    let from = |x: usize, y: usize| match orientation {
        2 => (w - 1 - x, y),
        3 => (w - 1 - x, h - 1 - y),
        4 => (x, h - 1 - y),
        5 => (y, x),
        6 => (y, h - 1 - x),
        7 => (w - 1 - y, h - 1 - x),
        _ => (w - 1 - y, x),
    };
    let places = (0..height).flat_map(|y| (0..width).map(move |x| from(x, y)));
    let tones = places.map(|(x, y)| plane.tones[y * w + x]).collect();
    Plane { width, height, tones }
}
