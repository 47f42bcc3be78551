//! Proof files: a picture a strip, and one PDF with every label at true size.

use super::args::PaperArg;
use super::{Done, Talk, answer, answer_json};
use crate::bitmap::Bitmap;
use crate::error::{Doing, Result};
use crate::font::Pen;
use crate::job::{Job, Plan, StockPlan};
use crate::layout::{Layout, arc_minutes_milli};
use crate::proof::{Paper, PictureLabel, Sheet, SheetLabel, StripPicture, strip_png};
use crate::raster::Raster;
use crate::store::files::{make_folder, write_whole};
use crate::unit::Micrometres;
use serde_json::json;
use std::path::{Path, PathBuf};

/// What a proof wrote.
pub(super) struct Written {
    pub(super) strips: Vec<PathBuf>,
    pub(super) sheet: PathBuf,
}

/// Which strips of all, as file names and titles count them.
fn strip_file(out: &Path, nth: usize, stock: &str) -> PathBuf {
    let stock: String = stock.chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { '-' }).collect();
    out.join(format!("strip-{nth:04}-{stock}.png"))
}

/// How far a text of this height is good for: seen under 20′.
fn good_to(cap: Micrometres) -> Micrometres {
    // The height seen under 20′ at one metre; distance is in proportion.
    let at_a_metre = crate::layout::cap_height(Micrometres(1_000_000), 20);
    Micrometres(cap.0 * 1_000_000 / at_a_metre.0.max(1))
}

fn legibility(job: &Job, layout: &Layout) -> String {
    let minutes = arc_minutes_milli(layout.cap, job.design.reading);
    format!(
        "text {:.1} mm high ({} dots, {}.{} arc minutes at {}), good to {:.1} m",
        layout.cap.mm(),
        layout.block.text.cap.0,
        minutes / 1000,
        minutes % 1000 / 100,
        job.design.reading,
        good_to(layout.cap).mm() / 1000.0
    )
}

pub(super) fn write(job: &Job, plan: &Plan, out: &Path, paper: PaperArg, title: &str, talk: &Talk) -> Result<Written> {
    make_folder(out)?;
    let total: usize = plan.stocks.iter().map(|stock| stock.strips.strips.len()).sum();
    let labels = plan.stocks.iter().map(|stock| stock.slots.len()).sum();
    let bar = talk.bar(labels, "proofs");
    let mut strips = Vec::with_capacity(total);
    let paper = if paper == PaperArg::A4 { Paper::A4 } else { Paper::Letter };
    let mut sheet = Sheet::new(paper, title);
    let mut raster = Raster::new(Pen::new(job.fonts()));
    for stock in &plan.stocks {
        for labels in &stock.strips.strips {
            let nth = strips.len() + 1;
            let path = strip_file(out, nth, &job.stock(stock).id);
            let title = format!("strip {nth} of {total} · {} · printer {}", job.stock(stock).title, job.printer.id);
            let strip = job.strip(stock, labels);
            let mut drawn = Vec::with_capacity(labels.len());
            for label in labels.clone() {
                drawn.push(one(job, stock, label, &mut raster, &mut sheet)?);
                bar.inc(1);
            }
            let picture =
                StripPicture { title, printer: &job.printer, stock: job.stock(stock), strip: &strip, labels: drawn };
            let png = strip_png(&picture).doing(|| path.display().to_string())?;
            write_whole(&path, &png)?;
            strips.push(path);
        }
    }
    let path = out.join("labels.pdf");
    write_whole(&path, &sheet.finish()?)?;
    bar.finish_and_clear();
    Ok(Written { strips, sheet: path })
}

/// Draws one label for both: as sent for the strip, as read for the sheet.
fn one(job: &Job, stock: &StockPlan, label: usize, raster: &mut Raster<'_>, sheet: &mut Sheet) -> Result<PictureLabel> {
    let slot = stock.slots[label];
    let layout = job.lay_out(stock, slot)?;
    let media = job.stock(stock);
    let mut read = Bitmap::new(0, 0);
    raster.draw(&layout, false, &mut read);
    let cable = job.cable(slot);
    let name = job.name(cable);
    let length = job.printer.along.length(layout.along);
    let mut about = vec![
        job.reason(stock, slot),
        format!("row {}", cable.row()),
        format!("{:.1} mm long", length.mm()),
        legibility(job, &layout),
    ];
    if media.mirrored {
        about.push("shown as it reads, printed mirrored".to_owned());
    }
    about.extend(layout.notes.iter().map(|note| format!("note: {note}")));
    sheet.add(&SheetLabel {
        printer: &job.printer,
        stock: media,
        bitmap: &read,
        cable: cable.row(),
        name: format!("{name} {}", slot.end.word()),
        about,
    });
    if media.mirrored {
        read.mirror();
    }
    Ok(PictureLabel { bitmap: read, caption: format!("{name} {}", slot.end.word()) })
}

pub(super) fn run(job: &Job, plan: &Plan, out: &Path, paper: PaperArg, json: bool, talk: &Talk) -> Done {
    let title = out.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let written = write(job, plan, out, paper, &title, talk)?;
    let text = |path: &PathBuf| path.display().to_string();
    if json {
        return answer_json(&json!({
            "strips": written.strips.iter().map(text).collect::<Vec<_>>(),
            "sheet": text(&written.sheet),
        }));
    }
    let mut lines: String = written.strips.iter().map(|path| format!("{}\n", path.display())).collect();
    lines.push_str(&format!("{}\n", written.sheet.display()));
    answer(&lines)
}
