//! Proof files: a picture a strip, and one PDF with every label at true size.

use super::answer::plural;
use super::args::PaperArg;
use super::{Done, Talk, answer, answer_json};
use crate::bitmap::Bitmap;
use crate::error::{Doing, Result};
use crate::font::{Pen, bidi};
use crate::job::{Job, Plan, StockEstimate, StockPlan};
use crate::layout::{Layout, Legibility, Strokes};
use crate::proof::{OnCable, PictureLabel, Sheet, SheetLabel, StripPicture, on_cable_png, strip_png};
use crate::raster::Raster;
use crate::store::files::{io_error, make_folder, write_whole};
use serde_json::json;
use std::collections::HashSet;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// What a proof wrote.
pub(super) struct Written {
    pub(super) strips: Vec<PathBuf>,
    pub(super) sheet: PathBuf,
    /// Labels on their cables, where asked for.
    pub(super) on_cable: Vec<PathBuf>,
    /// Cartridges known one by one, and how many strips each prints; nothing for a stock without.
    cartridges: Vec<(Option<Named>, usize)>,
}

/// A cartridge as titles name it.
pub(super) struct Named {
    pub(super) nth: usize,
    id: Option<String>,
    pub(super) words: String,
}

/// Bytes in which a picture says who made it (PNG, third edition, 11.3.3.2: the keyword `Software`).
const MADE_BY_US: &[u8] = b"tEXtSoftware\0tapewright";

/// Removes the pictures of an earlier proof, and nothing else.
fn remove_old(out: &Path, talk: &Talk) -> Result<()> {
    let is_ours = |path: &Path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let mut first = Vec::new();
        (name.starts_with("strip-") || name.starts_with("oncable-"))
            && name.ends_with(".png")
            && File::open(path).is_ok_and(|file| file.take(512).read_to_end(&mut first).is_ok())
            && first.windows(MADE_BY_US.len()).any(|bytes| bytes == MADE_BY_US)
    };
    let there = std::fs::read_dir(out).map_err(|error| io_error(out, &error))?;
    let old: Vec<PathBuf> = there.filter_map(|entry| Some(entry.ok()?.path())).filter(|path| is_ours(path)).collect();
    for path in &old {
        std::fs::remove_file(path).map_err(|error| io_error(path, &error))?;
    }
    if !old.is_empty() {
        talk.say(&format!("removed {} of an earlier proof", plural(old.len(), "picture")));
    }
    Ok(())
}

/// The cartridges of a stock's plan, with the strips of each.
pub(super) fn cartridges(estimate: &StockEstimate) -> Vec<(Option<Named>, usize)> {
    let Some(shelf) = &estimate.shelf else { return vec![(None, estimate.strips)] };
    let named = shelf.cartridges.iter().map(|one| {
        let words = match (&one.cartridge, one.from) {
            (_, "buy") => "to buy".to_owned(),
            (Some(id), _) => id.clone(),
            (None, _) => "full".to_owned(),
        };
        (Some(Named { nth: one.nth, id: one.cartridge.clone(), words }), one.strips)
    });
    named.collect()
}

/// Which strips of all, as file names and titles count them.
fn strip_file(out: &Path, nth: usize, stock: &str) -> PathBuf {
    out.join(format!("strip-{nth:04}-{}.png", plain(stock)))
}

/// A stock's name as file names may have it.
fn plain(stock: &str) -> String {
    stock.chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { '-' }).collect()
}

/// Most pictures of labels on cables.
const MOST_ON_CABLE: usize = 50;

/// Labels on their cables: one for each build, stock and diameter to a millimetre, the first of its kind.
fn on_cables(job: &Job, plan: &Plan, out: &Path, talk: &Talk) -> Result<Vec<PathBuf>> {
    let (mut seen, mut paths) = (HashSet::new(), Vec::new());
    let mut raster = Raster::new(Pen::new(job.fonts()));
    for stock in &plan.stocks {
        let media = job.stock(stock);
        for &slot in &stock.slots {
            let diameter = job.diameter(slot);
            let class = diameter.map(|diameter| (diameter.0 + 500) / 1000);
            if !seen.insert((slot.build, &media.id, class)) || paths.len() == MOST_ON_CABLE {
                continue;
            }
            let layout = job.lay_out(stock, slot)?;
            let mut bitmap = Bitmap::new(0, 0);
            raster.draw(&layout, false, &mut bitmap);
            let label = OnCable { bitmap: &bitmap, layout: &layout, printer: &job.printer, stock: media, diameter };
            let title = format!("{} {} · {}", bidi::apart(&job.name(job.cable(slot))), slot.end.word(), media.title);
            let wide = class.map_or(String::new(), |class| format!("-{class}mm"));
            let nth = paths.len() + 1;
            let path = out.join(format!("oncable-{nth:04}-{}-{}{wide}.png", slot.build, plain(&media.id)));
            write_whole(&path, &on_cable_png(&title, &label, job.fonts()).doing(|| path.display().to_string())?)?;
            paths.push(path);
        }
    }
    if seen.len() > paths.len() {
        talk.say(&format!("note: drew the first {} of {} kinds of labels on their cables", paths.len(), seen.len()));
    }
    Ok(paths)
}

/// The code in one line: what it is, and its modules. Their size is told with the legibility.
fn code(layout: &Layout) -> Option<String> {
    let code = layout.code.as_ref()?;
    let ((columns, rows), (along, up)) = (code.modules, code.dots);
    let dots = if along == up { format!("{along}") } else { format!("{along} × {up}") };
    let modules = if rows == 1 { format!("{columns} modules") } else { format!("{rows} × {columns} modules") };
    Some(format!("{} of {modules}, {dots} dots each", code.symbology.word()))
}

pub(super) fn write(
    job: &Job,
    plan: &Plan,
    out: &Path,
    (paper, on_cable): (PaperArg, bool),
    title: &str,
    talk: &Talk,
) -> Result<Written> {
    make_folder(out)?;
    remove_old(out, talk)?;
    let estimate = plan.estimate(job);
    let cartridges: Vec<_> = estimate.stocks.iter().flat_map(cartridges).collect();
    // The cartridge of each strip, in order.
    let mut on = cartridges.iter().flat_map(|(named, strips)| std::iter::repeat_n(named, *strips));
    let total: usize = plan.stocks.iter().map(|stock| stock.strips.strips.len()).sum();
    let labels = plan.stocks.iter().map(|stock| stock.slots.len()).sum();
    let bar = talk.bar(labels, "proofs");
    let mut strips = Vec::with_capacity(total);
    let mut sheet = Sheet::new(paper.paper(), title);
    let mut raster = Raster::new(Pen::new(job.fonts()));
    let mut strokes = Strokes::new(Pen::new(job.fonts()));
    for stock in &plan.stocks {
        for labels in &stock.strips.strips {
            let nth = strips.len() + 1;
            let path = strip_file(out, nth, &job.stock(stock).id);
            let from = on.next().and_then(Option::as_ref);
            let from = from.map_or(String::new(), |one| format!(" · cartridge {} ({})", one.nth, one.words));
            let title =
                format!("strip {nth} of {total}{from} · {} · printer {}", job.stock(stock).title, job.printer.id);
            let strip = job.strip(stock, labels);
            let mut drawn = Vec::with_capacity(labels.len());
            for label in labels.clone() {
                drawn.push(one(job, stock, label, (&mut raster, &mut strokes), &mut sheet)?);
                bar.inc(1);
            }
            let picture =
                StripPicture { title, printer: &job.printer, stock: job.stock(stock), strip: &strip, labels: drawn };
            let png = strip_png(&picture, job.fonts()).doing(|| path.display().to_string())?;
            write_whole(&path, &png)?;
            strips.push(path);
        }
    }
    let path = out.join("labels.pdf");
    write_whole(&path, &sheet.finish(job.fonts())?)?;
    bar.finish_and_clear();
    drop(on);
    let on_cable = if on_cable { on_cables(job, plan, out, talk)? } else { Vec::new() };
    Ok(Written { strips, sheet: path, on_cable, cartridges })
}

/// Draws one label for both: as sent for the strip, as read for the sheet.
fn one(
    job: &Job,
    stock: &StockPlan,
    label: usize,
    (raster, strokes): (&mut Raster<'_>, &mut Strokes<'_>),
    sheet: &mut Sheet,
) -> Result<PictureLabel> {
    let slot = stock.slots[label];
    let layout = job.lay_out(stock, slot)?;
    let media = job.stock(stock);
    let mut read = Bitmap::new(0, 0);
    raster.draw(&layout, false, &mut read);
    let cable = job.cable(slot);
    let name = format!("{} {}", bidi::apart(&job.name(cable)), slot.end.word());
    let length = job.printer.along.length(layout.along);
    let legibility = Legibility::of(&layout, &job.printer, &job.design, strokes).to_string();
    let mut about = vec![
        job.reason(stock, slot),
        format!("row {}", cable.row()),
        format!("{:.1} mm long", length.mm()),
        legibility.clone(),
    ];
    about.extend(code(&layout));
    if media.mirrored {
        about.push("shown as it reads, printed mirrored".to_owned());
    }
    about.extend(layout.notes.iter().map(|note| format!("note: {note}")));
    sheet.add(&SheetLabel {
        printer: &job.printer,
        stock: media,
        bitmap: &read,
        cable: cable.row(),
        name: name.clone(),
        about,
    });
    if media.mirrored {
        read.mirror();
    }
    Ok(PictureLabel { bitmap: read, caption: name, legibility })
}

pub(super) fn run(job: &Job, plan: &Plan, out: &Path, wish: (PaperArg, bool), json: bool, talk: &Talk) -> Done {
    let title = out.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let written = write(job, plan, out, wish, &title, talk)?;
    let text = |path: &PathBuf| path.display().to_string();
    let mut rest = &written.strips[..];
    let groups: Vec<(&Option<Named>, &[PathBuf])> = written
        .cartridges
        .iter()
        .map(|(named, strips)| {
            let (group, after) = rest.split_at(*strips);
            rest = after;
            (named, group)
        })
        .collect();
    if json {
        let cartridges = groups.iter().filter_map(|(named, group)| {
            let one = named.as_ref()?;
            let strips: Vec<String> = group.iter().map(text).collect();
            Some(json!({"nth": one.nth, "cartridge": one.id, "strips": strips}))
        });
        return answer_json(&json!({
            "strips": written.strips.iter().map(text).collect::<Vec<_>>(),
            "cartridges": cartridges.collect::<Vec<_>>(),
            "sheet": text(&written.sheet),
            "on_cable": written.on_cable.iter().map(text).collect::<Vec<_>>(),
        }));
    }
    for (named, group) in groups {
        if let (Some(one), [first, ..]) = (named, group) {
            let first = first.file_name().unwrap_or_default().to_string_lossy();
            talk.say(&format!(
                "cartridge {} ({}): {} from {first} on",
                one.nth,
                one.words,
                plural(group.len(), "strip")
            ));
        }
    }
    let mut lines: String = written.strips.iter().map(|path| format!("{}\n", path.display())).collect();
    lines.push_str(&format!("{}\n", written.sheet.display()));
    lines.extend(written.on_cable.iter().map(|path| format!("{}\n", path.display())));
    answer(&lines)
}
