//! Machine-readable codes: content to modules, modules to whole dots.
//!
//! [`encode`] draws one [`Form`] of a code in modules; [`fit`] chooses the form and the dots a module
//! for a [`Room`] and refuses what a scanner could not read.
//!
//! All codes are written here, from their standards: Code 128 (ISO/IEC 15417), QR and Micro QR
//! (ISO/IEC 18004), rMQR (ISO/IEC 23941), Data Matrix ECC 200 (ISO/IEC 16022).

#[cfg(test)]
mod against;
mod code128;
mod datamatrix;
mod fit;
#[cfg(test)]
mod fit_tests;
mod galois;
mod grid;
mod micro;
mod qr;
mod rmqr;
mod segment;
mod symbol;

pub use fit::{AIM_MODULE, Facing, LEAST_DOTS, LEAST_MODULE, Placed, Room, RoundAxis, Unfit, Wish, fit};
pub use symbol::Symbol;

/// A kind of code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Symbology {
    /// Bars; ASCII.
    Code128,
    /// Squares of 21 modules and more.
    Qr,
    /// Squares of 11 to 17 modules; ASCII, few characters.
    MicroQr,
    /// Rectangles of 7 to 17 rows: what narrow tape is for. Few readers know it yet.
    Rmqr,
    /// Squares and rectangles with a narrow quiet zone.
    DataMatrix,
}

impl Symbology {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Code128, Self::Qr, Self::MicroQr, Self::Rmqr, Self::DataMatrix];

    /// The word for it in files and on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Code128 => "code-128",
            Self::Qr => "qr",
            Self::MicroQr => "micro-qr",
            Self::Rmqr => "rmqr",
            Self::DataMatrix => "data-matrix",
        }
    }

    /// The code of a word, in small letters or capitals.
    ///
    /// ```
    /// use tapewright::code::Symbology;
    /// assert_eq!(Symbology::named("rMQR"), Some(Symbology::Rmqr));
    /// ```
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|symbology| symbology.word().eq_ignore_ascii_case(word.trim()))
    }
}

/// How much damage a code of the QR family stands: L about 7 % of its words, M 15 %, Q 25 %, H 30 %
/// (ISO/IEC 18004, table 8).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ecc {
    /// About 7 %.
    L,
    /// About 15 %.
    #[default]
    M,
    /// About 25 %.
    Q,
    /// About 30 %.
    H,
}

impl Ecc {
    /// All levels, lowest first.
    pub const ALL: [Self; 4] = [Self::L, Self::M, Self::Q, Self::H];
}

/// One form of a code: its size and level.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Form {
    /// Code 128, as long as the content makes it.
    Code128,
    /// QR, versions 1 to 27.
    Qr {
        /// 21 modules a side in version 1, 4 more in each.
        version: usize,
        /// The level.
        ecc: Ecc,
    },
    /// Micro QR, M1 to M4. M1 only detects damage, and counts as level L.
    MicroQr {
        /// 11 modules a side in M1, 2 more in each.
        size: usize,
        /// The level: L, M, in M4 Q.
        ecc: Ecc,
    },
    /// rMQR.
    Rmqr {
        /// 7 to 17.
        rows: usize,
        /// 27 to 139.
        columns: usize,
        /// The level: M or H.
        ecc: Ecc,
    },
    /// Data Matrix; its check words go with its size.
    DataMatrix {
        /// 8 to 104.
        rows: usize,
        /// 10 to 104.
        columns: usize,
    },
}

impl Form {
    /// The kind of code.
    pub const fn symbology(self) -> Symbology {
        match self {
            Self::Code128 => Symbology::Code128,
            Self::Qr { .. } => Symbology::Qr,
            Self::MicroQr { .. } => Symbology::MicroQr,
            Self::Rmqr { .. } => Symbology::Rmqr,
            Self::DataMatrix { .. } => Symbology::DataMatrix,
        }
    }

    /// All forms of a kind of code.
    pub fn all(symbology: Symbology) -> Vec<Self> {
        let by_level = |form: &dyn Fn(Ecc) -> Self| Ecc::ALL.map(form);
        match symbology {
            Symbology::Code128 => vec![Self::Code128],
            Symbology::Qr => {
                (1..=qr::LAST_VERSION).flat_map(|version| by_level(&|ecc| Self::Qr { version, ecc })).collect()
            }
            Symbology::MicroQr => {
                let forms = (1..=4).flat_map(|size| by_level(&|ecc| Self::MicroQr { size, ecc }));
                forms
                    .filter(|form| matches!(*form, Self::MicroQr { size, ecc } if micro::kind(size, ecc).is_some()))
                    .collect()
            }
            Symbology::Rmqr => {
                let sizes = rmqr::SIZES.iter().map(|size| (size.rows, size.columns));
                sizes
                    .flat_map(|(rows, columns)| [Ecc::M, Ecc::H].map(|ecc| Self::Rmqr { rows, columns, ecc }))
                    .collect()
            }
            Symbology::DataMatrix => datamatrix::SIZES
                .iter()
                .map(|size| Self::DataMatrix { rows: size.rows, columns: size.columns })
                .collect(),
        }
    }
}

/// The content in one form, in modules; `None` if there is no such form or it does not hold the
/// content.
///
/// Content beyond ASCII is written as UTF-8 and announced as such (ECI 26); Code 128 and Micro QR
/// cannot, and do not hold it.
///
/// ```
/// use tapewright::code::{Ecc, Form, encode};
/// let symbol = encode("TWP OTTER 1040", Form::Rmqr { rows: 11, columns: 43, ecc: Ecc::M }).unwrap();
/// assert_eq!((symbol.columns(), symbol.rows(), symbol.quiet()), (43, 11, 2));
/// assert!(encode("1040", Form::MicroQr { size: 1, ecc: Ecc::H }).is_none());
/// ```
pub fn encode(content: &str, form: Form) -> Option<Symbol> {
    match form {
        Form::Code128 => code128::symbol(content),
        Form::Qr { version, ecc } => match version {
            1..=qr::LAST_VERSION => qr::symbol(content, version, ecc, None),
            _ => None,
        },
        Form::MicroQr { size, ecc } => micro::symbol(content, size, ecc, None),
        Form::Rmqr { rows, columns, ecc } => {
            let number = rmqr::SIZES.iter().position(|size| (size.rows, size.columns) == (rows, columns))?;
            rmqr::symbol(content, number, ecc)
        }
        Form::DataMatrix { rows, columns } => {
            let number = datamatrix::SIZES.iter().position(|size| (size.rows, size.columns) == (rows, columns))?;
            datamatrix::symbol(content, number)
        }
    }
}
