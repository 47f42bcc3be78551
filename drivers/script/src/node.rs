//! A family's file as values that know their place in it.

use std::fmt::Display;
use std::ops::Range;

use tapewright_kit::Fault;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value, and where it stands.
#[derive(Debug, Clone)]
pub(crate) struct Node<'a> {
    text: &'a str,
    /// `send.line`, `send.line[2]`; empty for the file itself. Lists count from 1.
    path: String,
    span: Range<usize>,
    value: What<'a>,
}

#[derive(Debug, Clone, Copy)]
enum What<'a> {
    File(&'a DeTable<'a>),
    Value(&'a DeValue<'a>),
}

/// A table of which all keys are known.
#[derive(Debug)]
pub(crate) struct Table<'a> {
    node: Node<'a>,
    entries: Vec<(&'a str, Node<'a>)>,
}

/// Parses a file. The tree borrows the text.
pub(crate) fn parse(text: &str) -> Result<Spanned<DeTable<'_>>, Fault> {
    DeTable::parse(text).map_err(|error| {
        let at = error.span().map_or(0, |span| span.start);
        let message = error.message().lines().collect::<Vec<_>>().join("; ");
        Fault::argument(format!("line {}: {message}", line(text, at)))
    })
}

fn line(text: &str, at: usize) -> usize {
    text.as_bytes()[..at.min(text.len())].iter().filter(|byte| **byte == b'\n').count() + 1
}

impl<'a> Node<'a> {
    pub(crate) fn file(text: &'a str, tree: &'a Spanned<DeTable<'a>>) -> Node<'a> {
        Node { text, path: String::new(), span: 0..0, value: What::File(tree.get_ref()) }
    }

    /// What is wrong with this value, with its place.
    pub(crate) fn mistake(&self, what: impl Display) -> Fault {
        let line = line(self.text, self.span.start);
        if self.path.is_empty() {
            return Fault::argument(format!("line {line}: {what}"));
        }
        Fault::argument(format!("line {line}, key {}: {what}", self.path))
    }

    fn wanted(&self, wanted: &str) -> Fault {
        let found = match self.value {
            What::File(_) => "the file".to_owned(),
            What::Value(DeValue::String(text)) => format!("{text:?}"),
            What::Value(DeValue::Integer(number)) => number.to_string(),
            What::Value(DeValue::Float(number)) => number.to_string(),
            What::Value(DeValue::Boolean(value)) => value.to_string(),
            What::Value(other) => format!("a value of type {}", other.type_str()),
        };
        self.mistake(format!("found {found}, wanted {wanted}"))
    }

    /// The entries of a table, whatever their keys.
    pub(crate) fn entries(&self) -> Result<Vec<(&'a str, Node<'a>)>, Fault> {
        let table = match self.value {
            What::File(table) | What::Value(DeValue::Table(table)) => table,
            What::Value(_) => return Err(self.wanted("a table")),
        };
        let mut entries: Vec<_> = table
            .iter()
            .map(|(key, value)| {
                let name: &'a str = key.get_ref();
                let path = if self.path.is_empty() { name.to_owned() } else { format!("{}.{name}", self.path) };
                // The value's place, not the key's: of a dotted table the key may stand elsewhere.
                let start = key.span().start.min(value.span().start);
                let node =
                    Node { text: self.text, path, span: start..value.span().end, value: What::Value(value.get_ref()) };
                (name, node)
            })
            .collect();
        entries.sort_by_key(|(_, node)| node.span.start);
        Ok(entries)
    }

    /// A table that has no other keys than these.
    pub(crate) fn table(self, known: &[&str]) -> Result<Table<'a>, Fault> {
        let entries = self.entries()?;
        if let Some((_, unknown)) = entries.iter().find(|(key, _)| !known.contains(key)) {
            return Err(unknown.mistake(format!("found a key that is not known, wanted one of: {}", known.join(", "))));
        }
        Ok(Table { node: self, entries })
    }

    pub(crate) fn list(&self) -> Result<Vec<Node<'a>>, Fault> {
        let What::Value(DeValue::Array(list)) = self.value else {
            return Err(self.wanted("a list in square brackets"));
        };
        let node = |(index, value): (usize, &'a Spanned<DeValue<'a>>)| Node {
            text: self.text,
            path: format!("{}[{}]", self.path, index + 1),
            span: value.span(),
            value: What::Value(value.get_ref()),
        };
        Ok(list.iter().enumerate().map(node).collect())
    }

    pub(crate) fn as_text(&self) -> Option<&'a str> {
        match self.value {
            What::Value(DeValue::String(text)) => Some(text),
            _ => None,
        }
    }

    /// A text of 1 … 200 bytes without control characters.
    pub(crate) fn title(&self) -> Result<String, Fault> {
        match self.as_text() {
            Some(text) if (1..=200).contains(&text.len()) && !text.chars().any(char::is_control) => Ok(text.to_owned()),
            _ => Err(self.wanted("a text of 1 to 200 bytes on one line")),
        }
    }

    /// An id: lower case letters, digits and hyphens.
    pub(crate) fn id(&self) -> Result<String, Fault> {
        let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
        match self.as_text() {
            Some(text) if (1..=60).contains(&text.len()) && text.bytes().all(plain) => Ok(text.to_owned()),
            _ => Err(self.wanted("1 to 60 lower case letters, digits and hyphens")),
        }
    }

    pub(crate) fn yes_no(&self) -> Result<bool, Fault> {
        match self.value {
            What::Value(DeValue::Boolean(value)) => Ok(*value),
            _ => Err(self.wanted("true or false")),
        }
    }

    /// A whole number in a range, ends included.
    pub(crate) fn whole(&self, least: i64, most: i64) -> Result<i64, Fault> {
        let found = match self.value {
            What::Value(DeValue::Integer(number)) => i64::from_str_radix(number.as_str(), number.radix()).ok(),
            _ => None,
        };
        found
            .filter(|number| (least..=most).contains(number))
            .ok_or_else(|| self.wanted(&format!("a whole number from {least} to {most}")))
    }

    pub(crate) fn count(&self, least: u32, most: u32) -> Result<u32, Fault> {
        let number = self.whole(least.into(), most.into())?;
        Ok(u32::try_from(number).unwrap_or(most))
    }

    /// A number with at most three places after the point, in thousandths; more than 0.
    pub(crate) fn thousandths(&self, most: u32) -> Result<u32, Fault> {
        let text = match self.value {
            What::Value(DeValue::Integer(number)) if number.radix() == 10 => number.as_str(),
            What::Value(DeValue::Float(number)) => number.as_str(),
            _ => "",
        };
        let (whole, part) = text.split_once('.').unwrap_or((text, ""));
        let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
        let found = if part.len() <= 3 && digits(whole) && digits(part) {
            format!("{whole}{part:0<3}").parse::<u32>().ok()
        } else {
            None
        };
        found
            .filter(|found| (1..=most).contains(found))
            .ok_or_else(|| self.wanted(&format!("a number up to {} with at most 3 places", most / 1000)))
    }

    /// One of these words.
    pub(crate) fn word<T: Copy>(&self, words: &[(&str, T)]) -> Result<T, Fault> {
        let found = self.as_text().and_then(|text| words.iter().find(|(word, _)| *word == text));
        found.map(|(_, value)| *value).ok_or_else(|| {
            let known: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
            self.wanted(&format!("one of: {}", known.join(", ")))
        })
    }

    /// Bytes written in hexadecimal, two digits each, spaces between them as you like.
    pub(crate) fn hex(&self) -> Result<Vec<u8>, Fault> {
        let wanted = || self.wanted("bytes of two hexadecimal digits, as in \"A5 0F\"");
        let text = self.as_text().ok_or_else(wanted)?;
        hex(text).ok_or_else(wanted)
    }

    pub(crate) fn hex_byte(&self) -> Result<u8, Fault> {
        match self.as_text().and_then(hex).as_deref() {
            Some([byte]) => Ok(*byte),
            _ => Err(self.wanted("one byte of two hexadecimal digits, as in \"0F\"")),
        }
    }
}

/// Bytes from pairs of digits; `None` for anything else, nothing included.
pub(crate) fn hex(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    for word in text.split_ascii_whitespace() {
        if !word.len().is_multiple_of(2) || !word.bytes().all(|digit| digit.is_ascii_hexdigit()) {
            return None;
        }
        for at in (0..word.len()).step_by(2) {
            bytes.push(u8::from_str_radix(&word[at..at + 2], 16).ok()?);
        }
    }
    (!bytes.is_empty()).then_some(bytes)
}

impl<'a> Table<'a> {
    pub(crate) fn get(&self, key: &str) -> Option<&Node<'a>> {
        self.entries.iter().find(|(name, _)| *name == key).map(|(_, node)| node)
    }

    pub(crate) fn want(&self, key: &str) -> Result<&Node<'a>, Fault> {
        self.get(key).ok_or_else(|| self.node.mistake(format!("found no key {key}, wanted one")))
    }

    /// The table itself, for mistakes that are not of one key.
    pub(crate) fn node(&self) -> &Node<'a> {
        &self.node
    }
}
