//! The numbers of a job that a command can carry.

use crate::node::Node;
use tapewright_kit::Fault;

/// A number that is known when a command is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Quantity {
    Named(Named),
    /// An option of the family, by its place.
    Option(usize),
}

/// From when on a quantity is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Scope {
    /// In every command.
    Job,
    /// From the start of a strip to its end.
    Strip,
    /// In line, blank and cut commands, and in what is sent for each cut.
    Line,
    /// In `line` only.
    Data,
    /// In `blank` only.
    Blank,
}

macro_rules! quantities {
    ($($name:ident $word:literal $scope:ident)*) => {
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub(crate) enum Named { $($name),* }

        impl Named {
            pub(crate) const ALL: &[(&str, Named)] = &[$(($word, Named::$name)),*];

            pub(crate) fn scope(self) -> Scope {
                match self { $(Named::$name => Scope::$scope),* }
            }

            pub(crate) fn word(self) -> &'static str {
                match self { $(Named::$name => $word),* }
            }
        }
    };
}

quantities! {
    Strips "strips" Job
    Dots "dots" Job
    LineBytes "line-bytes" Job
    Dpi "dpi" Job
    DpiAcross "dpi-across" Job
    DpiAlong "dpi-along" Job
    WidthMm "width-mm" Job
    WidthUm "width-um" Job
    TapeDots "tape-dots" Job
    TapeFirstDot "tape-first-dot" Job
    Strip "strip" Strip
    Lines "lines" Strip
    LeadLines "lead-lines" Strip
    TrailLines "trail-lines" Strip
    SentLines "sent-lines" Strip
    Labels "labels" Strip
    HalfCuts "half-cuts" Strip
    FullCuts "full-cuts" Strip
    Line "line" Line
    Bytes "bytes" Data
    Count "count" Blank
}

/// Values of the quantities.
#[derive(Debug, Clone)]
pub(crate) struct Values {
    named: [i64; Named::ALL.len()],
    pub(crate) options: Vec<i64>,
}

impl Values {
    pub(crate) fn new() -> Values {
        Values { named: [0; Named::ALL.len()], options: Vec::new() }
    }

    pub(crate) fn set(&mut self, name: Named, value: impl Into<i64>) {
        self.named[name as usize] = value.into();
    }

    pub(crate) fn named(&self, name: Named) -> i64 {
        self.named[name as usize]
    }

    pub(crate) fn get(&self, quantity: Quantity) -> i64 {
        match quantity {
            Quantity::Named(name) => self.named(name),
            Quantity::Option(index) => self.options.get(index).copied().unwrap_or(0),
        }
    }
}

impl Quantity {
    /// Reads a quantity by its word, or `option.ID` of an option with a number.
    pub(crate) fn read(node: &Node<'_>, options: &[String]) -> Result<Quantity, Fault> {
        if let Some(id) = node.as_text().and_then(|text| text.strip_prefix("option.")) {
            return match options.iter().position(|option| option == id) {
                Some(index) => Ok(Quantity::Option(index)),
                None if options.is_empty() => {
                    Err(node.mistake(format!("found option.{id}, but this family has no options")))
                }
                None => Err(node.mistake(format!(
                    "found option.{id}, wanted one of: {}",
                    options.iter().map(|option| format!("option.{option}")).collect::<Vec<_>>().join(", ")
                ))),
            };
        }
        node.word(Named::ALL).map(Quantity::Named)
    }

    pub(crate) fn scope(self) -> Scope {
        match self {
            Quantity::Named(name) => name.scope(),
            Quantity::Option(_) => Scope::Job,
        }
    }
}

/// Whole units of thousandths, halves up.
pub(crate) fn nearest(thousandths: u32) -> i64 {
    (i64::from(thousandths) + 500) / 1000
}
