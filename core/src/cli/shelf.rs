//! The shelf: what is on it, and what a person changes there.

use super::args::{LeftArgs, StockCommand};
use super::{Done, Talk, answer, answer_json};
use crate::cable::length_of;
use crate::error::{Error, Result};
use crate::media::{Catalogue, Stock};
use crate::settings::{Known, ShelfFile, shelf_of};
use crate::shelf::{Cartridge, Left, Shelf};
use crate::unit::Micrometres;
use serde_json::{Value, json};
use std::path::Path;

/// The shelf of a flag, which must be there, or the user's, or the register's.
pub(super) fn shown(path: Option<&Path>, known: &Known) -> Result<Option<ShelfFile>> {
    if path.is_none() && known.shelf.is_none() && known.register.is_none() {
        return Ok(None);
    }
    shelf_of(path, known, true).map(Some)
}

pub(super) fn json(one: &Cartridge) -> Value {
    let (length, error, sealed) = match one.left {
        Left::Open { length, error } => (Some(length.mm()), Some(error.mm()), None),
        Left::Sealed(count) => (None, None, Some(count)),
    };
    json!({
        "cartridge": one.id, "stock": one.stock, "length_mm": length, "error_mm": error, "sealed": sealed,
        "price": one.price, "printer": one.printer,
    })
}

/// A cartridge in a few words.
pub(super) fn words(one: &Cartridge) -> String {
    let mut words = match one.left {
        Left::Open { length, error } if error > Micrometres::ZERO => {
            format!("about {:.2} m left (± {:.2} m)", length.mm() / 1000.0, error.mm() / 1000.0)
        }
        Left::Open { length, .. } => format!("{:.2} m left", length.mm() / 1000.0),
        Left::Sealed(0) => "none sealed".to_owned(),
        Left::Sealed(count) => format!("{count} sealed"),
    };
    if let Some(price) = one.price {
        words.push_str(&format!(", {price:.2} each"));
    }
    if let Some(printer) = &one.printer {
        words.push_str(&format!(", in {printer}"));
    }
    words
}

/// The cartridges of a stock, one a line.
pub(super) fn lines(shelf: Option<&ShelfFile>, stock: &str, width: usize) -> String {
    let all = shelf.iter().flat_map(|file| file.shelf().cartridges()).filter(|one| one.stock == stock);
    all.map(|one| format!("{:width$} {}: {}\n", "", one.id, words(one))).collect()
}

fn length(flag: &str, text: &str, stock: &Stock) -> Result<Micrometres> {
    let wrong = |wanted: &str| Error::input(format!("{flag}: found `{text}`, wanted {wanted}"));
    let length = length_of(text).ok_or_else(|| wrong("a length with its unit such as 3.2m, 320cm or 10ft"))?;
    if length > stock.length {
        return Err(wrong(&format!("at most {}: a full cartridge of {} has that", stock.length, stock.id)));
    }
    Ok(length)
}

/// What a guess may be wrong by: as said, else a tenth, at least 10 cm.
fn error(text: Option<&str>, left: Micrometres, stock: &Stock) -> Result<Micrometres> {
    match text {
        None => Ok(Micrometres::ZERO),
        Some("") => Ok(Micrometres(left.0 / 10).max(Micrometres(100_000)).min(stock.length)),
        Some(text) => length("--estimated", text, stock),
    }
}

fn open(left: &str, estimated: Option<&str>, stock: &Stock) -> Result<Left> {
    let length = length("--length", left, stock)?;
    if length <= Micrometres::ZERO {
        return Err(Error::input(format!(
            "--length: found `{left}`, wanted more than 0; `tapewright stock remove ID` takes an empty one away"
        )));
    }
    Ok(Left::Open { length, error: error(estimated, length, stock)? })
}

/// What a command says: the cartridge after it, if there is one, and sentences.
type Changed = (Option<String>, Vec<String>);

fn put(shelf: &mut Shelf, catalogue: &Catalogue, action: &StockCommand) -> Result<Changed> {
    match action {
        StockCommand::Add { stock, left: LeftArgs { length, estimated, sealed, price }, id } => {
            let stock = catalogue.stock(stock)?;
            if let Some(count) = *sealed
                && id.is_none()
                && let Some(pile) = shelf.pile(&stock.id, *price)
            {
                let mut pile = pile.clone();
                if let Left::Sealed(there) = &mut pile.left {
                    *there += count;
                }
                shelf.put(&pile, catalogue)?;
                return Ok((Some(pile.id), Vec::new()));
            }
            let left = match (length, sealed) {
                (Some(length), _) => open(length, estimated.as_deref(), stock)?,
                (None, Some(count)) => Left::Sealed(*count),
                (None, None) => {
                    return Err(Error::input(
                        "found neither --length nor --sealed, wanted what is left on an open cartridge, or how many are sealed",
                    ));
                }
            };
            let sealed_id = format!("{}-sealed", stock.id);
            let free = || match left {
                Left::Sealed(_) if shelf.cartridge(&sealed_id).is_err() => sealed_id.clone(),
                _ => shelf.free_id(&stock.id),
            };
            let said = match (&id, left) {
                (None, Left::Open { .. }) => vec![format!("write {} on it", free())],
                _ => Vec::new(),
            };
            let id = id.clone().unwrap_or_else(free);
            shelf.add(
                &Cartridge { id: id.clone(), stock: stock.id.clone(), left, price: *price, printer: None },
                catalogue,
            )?;
            Ok((Some(id), said))
        }
        StockCommand::Set { id, left: LeftArgs { length, estimated, sealed, price } } => {
            let mut one = shelf.cartridge(id)?.clone();
            let stock = catalogue.stock(&one.stock)?;
            match (one.left, length, sealed) {
                (Left::Open { .. }, Some(length), _) => one.left = open(length, estimated.as_deref(), stock)?,
                (Left::Sealed(_), None, Some(count)) => one.left = Left::Sealed(*count),
                (_, None, None) if price.is_some() => {}
                (Left::Open { .. }, ..) => {
                    return Err(Error::input(format!("`{id}` is open: say what is left on it with --length")));
                }
                (Left::Sealed(_), ..) => {
                    return Err(Error::input(format!(
                        "`{id}` is sealed: say how many there are with --sealed; `tapewright stock mount {id}` opens one"
                    )));
                }
            }
            one.price = price.or(one.price);
            shelf.put(&one, catalogue)?;
            Ok((Some(id.clone()), Vec::new()))
        }
        StockCommand::Remove { id } => {
            let stock = shelf.cartridge(id)?.stock.clone();
            shelf.remove(id, catalogue)?;
            let mut said = vec![format!("{id} is off the shelf")];
            if !shelf.names(&stock) {
                said.push(format!(
                    "the shelf names no {stock} any more: jobs are planned on full cartridges of it; `tapewright stock add {stock} --sealed 0` says that there is none"
                ));
            }
            Ok((None, said))
        }
        StockCommand::Mount { id, printer } => {
            let printer = catalogue.printer(printer)?;
            if shelf.cartridge(id)?.printer.as_ref() == Some(&printer.id) {
                return Ok((Some(id.clone()), Vec::new()));
            }
            let taken = crate::shelf::Taken {
                id,
                printer: &printer.id,
                fed: printer.load,
                unsure: Micrometres::ZERO,
                least: Micrometres(1),
            };
            let mut said = shelf.take(&taken, catalogue)?;
            said.push(format!("{} mm fed at mounting", printer.load.mm()));
            Ok((shelf.mounted(&printer.id).map(|one| one.id.clone()), said))
        }
        StockCommand::Unmount { id } => {
            let said = shelf.take_out(id, catalogue)?;
            Ok((shelf.cartridge(id).is_ok().then(|| id.clone()), said))
        }
    }
}

/// Changes the shelf as a command says, and tells what stands there now.
pub(super) fn change(known: &Known, path: Option<&Path>, action: &StockCommand, as_json: bool, talk: &Talk) -> Done {
    let mut file = shelf_of(path, known, false)?;
    let (id, said) = file.change(|shelf, catalogue| put(shelf, catalogue, action))?;
    let one = id.map(|id| file.shelf().cartridge(&id).cloned()).transpose()?;
    for sentence in said {
        talk.say(&sentence);
    }
    match (one, as_json) {
        (one, true) => answer_json(&one.as_ref().map(json)),
        (Some(one), false) => answer(&format!("{} ({}): {}\n", one.id, one.stock, words(&one))),
        (None, false) => Ok(()),
    }
}
