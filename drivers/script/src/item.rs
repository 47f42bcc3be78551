//! What a command is made of.

use std::time::Duration;

use tapewright_kit::{Cut, CutKind, Fault};

use crate::node::Node;
use crate::quantity::{Named, Quantity, Values};

/// One part of a command.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Item {
    /// Always the same bytes; two never stand side by side.
    Bytes(Vec<u8>),
    Number(Number),
    /// The dots of a line.
    Data,
    /// Nothing is sent for a time.
    Wait(Duration),
    /// Sent once for each cut of this kind that stands in the list.
    Each(CutKind, Vec<Item>),
}

/// A field with a number: (quantity × times + plus) ÷ divide, rounded to the nearest, halves up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Number {
    pub(crate) quantity: Quantity,
    pub(crate) times: i64,
    pub(crate) plus: i64,
    pub(crate) divide: i64,
    pub(crate) form: Form,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// This many bytes, the most significant first.
    Big(usize),
    /// This many bytes, the least significant first.
    Little(usize),
    /// At most this many decimal digits in ASCII.
    Digits(usize, Pad),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Pad {
    /// Always all digits.
    Zeros,
    /// Always all places, spaces in front.
    Spaces,
    /// As many digits as the number has.
    None,
}

impl Number {
    /// The greatest value the field holds.
    pub(crate) fn most(&self) -> i128 {
        match self.form {
            Form::Big(bytes) | Form::Little(bytes) => (1i128 << (8 * bytes)) - 1,
            Form::Digits(digits, _) => (0..digits).fold(1i128, |most, _| most * 10) - 1,
        }
    }

    pub(crate) fn of(&self, value: i64) -> i128 {
        let value = i128::from(value) * i128::from(self.times) + i128::from(self.plus);
        let divide = i128::from(self.divide);
        (2 * value + divide).div_euclid(2 * divide)
    }

    /// The quantity when the field says `found`; only for `divide` 1. `None` when no whole number
    /// gives it.
    pub(crate) fn quantity_of(&self, found: i128) -> Option<u32> {
        let rest = found - i128::from(self.plus);
        let times = i128::from(self.times);
        (rest.rem_euclid(times) == 0).then(|| u32::try_from(rest / times).ok()).flatten()
    }

    fn name(&self) -> &'static str {
        match self.quantity {
            Quantity::Named(name) => name.word(),
            Quantity::Option(_) => "an option",
        }
    }

    pub(crate) fn put(&self, values: &Values, to: &mut Vec<u8>) -> Result<(), Fault> {
        let value = self.of(values.get(self.quantity));
        if !(0..=self.most()).contains(&value) {
            return Err(Fault::limit(format!(
                "{} is {} and would be sent as {value}, wanted 0 to {} as the field holds; use shorter strips or another setting",
                self.name(),
                values.get(self.quantity),
                self.most()
            )));
        }
        let bytes = value.to_be_bytes();
        match self.form {
            Form::Big(count) => to.extend(&bytes[bytes.len() - count..]),
            Form::Little(count) => to.extend(bytes[bytes.len() - count..].iter().rev()),
            Form::Digits(count, Pad::Zeros) => to.extend(format!("{value:0count$}").bytes()),
            Form::Digits(count, Pad::Spaces) => to.extend(format!("{value:count$}").bytes()),
            Form::Digits(_, Pad::None) => to.extend(value.to_string().bytes()),
        }
        Ok(())
    }
}

/// Bytes of one command, and where in them nothing is sent for a time.
#[derive(Debug, Default)]
pub(crate) struct Rendered {
    pub(crate) bytes: Vec<u8>,
    pub(crate) waits: Vec<(usize, Duration)>,
}

impl Rendered {
    pub(crate) fn clear(&mut self) {
        self.bytes.clear();
        self.waits.clear();
    }

    /// Appends a command. `line` of `values` is changed when something is sent for each cut.
    pub(crate) fn put(&mut self, items: &[Item], values: &mut Values, cuts: &[Cut], data: &[u8]) -> Result<(), Fault> {
        for item in items {
            match item {
                Item::Bytes(bytes) => self.bytes.extend(bytes),
                Item::Number(number) => number.put(values, &mut self.bytes)?,
                Item::Data => self.bytes.extend(data),
                Item::Wait(time) => self.waits.push((self.bytes.len(), *time)),
                Item::Each(kind, items) => {
                    for cut in cuts.iter().filter(|cut| cut.kind == *kind) {
                        values.set(Named::Line, cut.line);
                        self.put(items, values, &[], &[])?;
                    }
                }
            }
        }
        Ok(())
    }
}

/// Reads the items of a command.
pub(crate) fn read(node: &Node<'_>, options: &[String]) -> Result<Vec<Item>, Fault> {
    let mut items: Vec<Item> = Vec::new();
    for part in node.list()? {
        let item = read_item(&part, options)?;
        match (items.last_mut(), item) {
            (Some(Item::Bytes(before)), Item::Bytes(bytes)) => before.extend(bytes),
            (_, item) => items.push(item),
        }
    }
    Ok(items)
}

const KINDS: &str = "bytes in quotes, or a table with text, number, put, wait-ms or each";

fn read_item(node: &Node<'_>, options: &[String]) -> Result<Item, Fault> {
    if node.as_text().is_some() {
        return node.hex().map(Item::Bytes);
    }
    let entries = node.entries().map_err(|_| node.mistake(format!("wanted {KINDS}")))?;
    let has = |key: &str| entries.iter().any(|(name, _)| *name == key);
    let node = node.clone();
    if has("text") {
        let table = node.table(&["text"])?;
        let text = table.want("text")?;
        return match text.as_text() {
            Some(found) if !found.is_empty() => Ok(Item::Bytes(found.as_bytes().to_vec())),
            _ => Err(text.mistake("found no text, wanted at least one character in quotes")),
        };
    }
    if has("put") {
        let table = node.table(&["put"])?;
        return table.want("put")?.word(&[("data", ())]).map(|()| Item::Data);
    }
    if has("wait-ms") {
        let table = node.table(&["wait-ms"])?;
        let time = table.want("wait-ms")?.count(1, 600_000)?;
        return Ok(Item::Wait(Duration::from_millis(time.into())));
    }
    if has("each") {
        let table = node.table(&["each", "send"])?;
        let kind = table.want("each")?.word(&[("half-cut", CutKind::Half), ("full-cut", CutKind::Full)])?;
        let send = table.want("send")?;
        let items = read(send, options)?;
        if items.is_empty() || items.iter().any(|item| !matches!(item, Item::Bytes(_) | Item::Number(_))) {
            return Err(send.mistake("wanted bytes, texts and numbers to send for each cut, at least one"));
        }
        return Ok(Item::Each(kind, items));
    }
    if has("number") {
        return read_number(node, options).map(Item::Number);
    }
    Err(node.mistake(format!("wanted {KINDS}")))
}

fn read_number(node: Node<'_>, options: &[String]) -> Result<Number, Fault> {
    let table = node.table(&["number", "times", "plus", "divide", "bytes", "order", "digits", "pad"])?;
    let quantity = Quantity::read(table.want("number")?, options)?;
    let whole = |key: &str, default: i64, least: i64| {
        table.get(key).map_or(Ok(default), |node| node.whole(least, i64::from(i32::MAX)))
    };
    let form = match (table.get("bytes"), table.get("digits")) {
        (Some(bytes), None) => {
            if let Some(pad) = table.get("pad") {
                return Err(pad.mistake("found pad beside bytes, wanted it beside digits only"));
            }
            let count = usize::try_from(bytes.whole(1, 8)?).unwrap_or(8);
            match table.get("order") {
                Some(order) => order.word(&[("big", Form::Big(count)), ("little", Form::Little(count))])?,
                None if count == 1 => Form::Big(1),
                None => {
                    return Err(bytes.mistake(format!(
                        "found {count} bytes without order, wanted order = \"big\" (most significant first) or \"little\""
                    )));
                }
            }
        }
        (None, Some(digits)) => {
            if let Some(order) = table.get("order") {
                return Err(order.mistake("found order beside digits, wanted it beside bytes only"));
            }
            let count = usize::try_from(digits.whole(1, 18)?).unwrap_or(18);
            let words = [("zeros", Pad::Zeros), ("spaces", Pad::Spaces), ("none", Pad::None)];
            Form::Digits(count, table.get("pad").map_or(Ok(Pad::Zeros), |pad| pad.word(&words))?)
        }
        _ => return Err(table.node().mistake("wanted either bytes or digits")),
    };
    Ok(Number {
        quantity,
        times: whole("times", 1, 1)?,
        plus: whole("plus", 0, i64::from(i32::MIN))?,
        divide: whole("divide", 1, 1)?,
        form,
    })
}
