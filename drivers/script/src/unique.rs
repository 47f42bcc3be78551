//! Whether streams of a family can be read back without guessing.

use tapewright_kit::CutKind;

use crate::item::{Form, Item, Number, Pad};
use crate::language::{Command, Language, Packing, numbers};
use crate::quantity::{Named, Quantity, nearest};

/// The bytes a command always begins with.
pub(crate) fn prefix(items: &[Item]) -> &[u8] {
    match items.iter().find(|item| !matches!(item, Item::Wait(_))) {
        Some(Item::Bytes(bytes)) => bytes,
        _ => &[],
    }
}

/// The commands a stream is made of. A cancelled stream is not read back.
pub(crate) fn read_commands(language: &Language) -> impl Iterator<Item = Command> {
    let all = Command::ALL.into_iter().map(|(_, command)| command);
    all.filter(|command| *command != Command::Cancel && language.has(*command))
}

/// Says which command stands in the way, and how; `Ok` when every stream has one reading.
pub(crate) fn check(language: &Language) -> Result<(), (Command, String)> {
    for needed in [Command::JobStart, Command::StripStart, Command::StripEnd] {
        if !language.has(needed) {
            return Err((needed, format!("there is no {}; a reader needs it", needed.word())));
        }
    }
    let commands: Vec<Command> = read_commands(language).collect();
    for (index, command) in commands.iter().enumerate() {
        let own = prefix(language.items(*command));
        if own.is_empty() {
            let what = format!("{} does not begin with constant bytes; a reader cannot tell it", command.word());
            return Err((*command, what));
        }
        for other in &commands[..index] {
            let known = prefix(language.items(*other));
            if own.starts_with(known) || known.starts_with(own) {
                let what = format!(
                    "{} and {} begin alike; a reader needs constant first bytes that differ",
                    other.word(),
                    command.word()
                );
                return Err((*command, what));
            }
        }
        check_numbers(language, *command).map_err(|what| (*command, what))?;
    }
    check_dpi(language).map_err(|what| (Command::JobStart, what))
}

/// Lengths along the tape need the resolution: the only one, or one that the stream says.
fn check_dpi(language: &Language) -> Result<(), String> {
    let said = [Command::JobStart, Command::StripStart].iter().any(|command| {
        let items = language.items(*command);
        [Named::Dpi, Named::DpiAlong].iter().any(|name| !numbers(items, *name).is_empty())
    });
    if language.dpi_along.len() > 1 && !said {
        return Err("there are several resolutions along, and neither job-start nor strip-start says dpi".to_owned());
    }
    let mut whole: Vec<i64> = language.dpi_along.iter().map(|milli| nearest(*milli)).collect();
    whole.sort_unstable();
    if whole.windows(2).any(|pair| pair[0] == pair[1]) {
        return Err("two resolutions along are the same in whole dots per inch".to_owned());
    }
    Ok(())
}

/// Quantities a reader computes with.
const NEEDED: &[Named] = &[
    Named::Count,
    Named::Bytes,
    Named::Line,
    Named::Lines,
    Named::LeadLines,
    Named::HalfCuts,
    Named::FullCuts,
    Named::Dpi,
    Named::DpiAcross,
    Named::DpiAlong,
];

fn check_numbers(language: &Language, command: Command) -> Result<(), String> {
    let items = language.items(command);
    check_fields(items, command)?;
    let has = |name| !numbers(items, name).is_empty();
    match command {
        Command::StripStart => {
            for (at, item) in items.iter().enumerate() {
                let Item::Each(kind, inner) = item else { continue };
                check_fields(inner, command)?;
                let count = if *kind == CutKind::Half { Named::HalfCuts } else { Named::FullCuts };
                if numbers(&items[..at], count).is_empty() {
                    return Err(format!("strip-start lists cuts without {} before them", count.word()));
                }
                if numbers(inner, Named::Line).is_empty() {
                    return Err("strip-start lists cuts without the number line in each".to_owned());
                }
            }
            if language.feeds_lead && !has(Named::LeadLines) {
                return Err("the printer feeds the lead by itself, and strip-start does not say lead-lines".to_owned());
            }
        }
        Command::Line if language.packing == Packing::PackBits => {
            let data = items.iter().position(|item| *item == Item::Data).unwrap_or(0);
            if numbers(&items[..data], Named::Bytes).is_empty() {
                return Err("line packs its dots without bytes before them; a reader needs their number".to_owned());
            }
        }
        Command::Blank if language.most_blank > 1 && !has(Named::Count) => {
            return Err("blank stands for several lines without their count".to_owned());
        }
        _ => {}
    }
    Ok(())
}

fn check_fields(items: &[Item], command: Command) -> Result<(), String> {
    for (at, item) in items.iter().enumerate() {
        let Item::Number(number) = item else { continue };
        let Number { quantity, divide, form, .. } = *number;
        if let Quantity::Named(name) = quantity
            && NEEDED.contains(&name)
            && divide != 1
        {
            return Err(format!("{} in {} is divided; a reader cannot undo that", name.word(), command.word()));
        }
        if matches!(form, Form::Digits(_, Pad::None)) {
            let ends = matches!(items.get(at + 1), Some(Item::Bytes(next)) if !next[0].is_ascii_digit());
            if !ends {
                return Err(format!(
                    "a number without pad in {} is not followed by constant bytes that are no digit",
                    command.word()
                ));
            }
        }
    }
    Ok(())
}
