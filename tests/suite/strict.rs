//! Every stream through an independent, strict reader of PWG Raster: the crate `pwgraster`.

use crate::pbm::Pbm;
use crate::streams::all;
use pwgraster::PWGReader;
use pwgraster::types::When;

/// A page as the independent reader has it.
struct Page {
    lines: Pbm,
    cut_after: bool,
    dpi: [u32; 2],
}

/// Reads a stream; anything the standard does not allow fails.
fn read(name: &str, stream: &[u8]) -> Vec<Page> {
    let mut reader = PWGReader::new(stream, true).unwrap_or_else(|error| panic!("{name}: {error:?}"));
    let mut pages = Vec::new();
    loop {
        let page = reader.next_page(|page| {
            let header = page.header();
            header.validate_withreserved()?;
            let (width, height) = (header.Width()?, header.Height()?);
            let row = width.div_ceil(8);
            assert_eq!((header.BitsPerPixel()?, header.BytesPerLine()?), (1, row), "{name}: 1 bit a dot");
            let resolution = header.HWResolution()?;
            let cut_after = match header.CutMedia()? {
                When::Never => false,
                When::AfterPage => true,
                _ => panic!("{name}: CutMedia is neither never nor after the page"),
            };
            let mut bytes = Vec::new();
            page.unpack(&mut bytes)?;
            let rows: Vec<Vec<u8>> = bytes.chunks(row as usize).map(<[u8]>::to_vec).collect();
            assert_eq!(rows.len(), height as usize, "{name}: lines");
            // By place, not by name: libcups 2.4 (seen) has the resolution across first, and this
            // reader calls the first one that of the feed.
            let dpi = [resolution.feed_res_dpi, resolution.cross_feed_res_dpi];
            Ok(Page { lines: Pbm { dots: width as usize, rows }, cut_after, dpi })
        });
        match page.unwrap_or_else(|error| panic!("{name}, page {}: {error:?}", pages.len() + 1)) {
            Some(page) => pages.push(page),
            None => return pages,
        }
    }
}

/// The pages of a stream that an independent, strict reader reads.
#[cfg(target_os = "linux")]
pub(crate) fn pages(name: &str, stream: &[u8]) -> usize {
    read(name, stream).len()
}

#[test]
fn an_independent_reader_reads_what_readback_reads() {
    for printed in all() {
        let name = &printed.name;
        let stream = std::fs::read(&printed.stream).unwrap_or_else(|error| panic!("{name}: {error}"));
        let (pages, strips) = (read(name, &stream), printed.strips());
        assert_eq!(pages.len(), strips.len(), "{name}: a page a strip");
        let printer = crate::jobs::load(&printed.job).printer;
        // The header holds whole dots per inch (PWG 5102.4-2012, HWResolution).
        let whole = |milli: u32| (milli + 500) / 1000;
        for (nth, (page, strip)) in pages.iter().zip(&strips).enumerate() {
            assert_eq!(page.lines.first_difference(strip), None, "{name}, strip {}: line and dot", nth + 1);
            assert_eq!(
                (page.lines.dots, page.lines.rows.len()),
                (strip.dots, strip.rows.len()),
                "{name}, strip {}",
                nth + 1
            );
            assert_eq!(page.dpi, [whole(printer.across.milli()), whole(printer.along.milli())], "{name}: resolution");
            let read = &printed.read["strips"][nth];
            let at_end = read["full_cuts_mm"].as_array().and_then(|cuts| cuts.last()) == Some(&read["feed_mm"]);
            assert_eq!(page.cut_after, at_end, "{name}, strip {}: cut at the end", nth + 1);
        }
    }
}

#[test]
fn the_independent_reader_is_strict() {
    let printed = &all()[0];
    let stream = std::fs::read(&printed.stream).expect("a stream");
    for cut in [stream.len() - 1, 1000, 3] {
        let short = stream[..cut].to_vec();
        let read = std::panic::catch_unwind(|| read("cut short", &short).len());
        assert!(read.is_err(), "a stream cut to {cut} bytes was read");
    }
}
