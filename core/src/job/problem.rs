//! What is wrong with one cable, said so that a person can mend it.

use crate::cable::{FieldError, RowFault};
use crate::layout::Misfit;

/// Why a cable gets no labels. A cable may have several; the rest of the job goes on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Row in the list, as the person sees it.
    pub row: Option<u32>,
    /// The column that would change it.
    pub field: Option<String>,
    /// One word for programs.
    pub kind: &'static str,
    /// Which cable, what was found, what was wanted, and what would work.
    pub text: String,
}

impl Problem {
    /// From a row the reader could not take.
    pub(super) fn of_row(fault: &RowFault) -> Self {
        Self { row: Some(fault.row), field: fault.field.clone(), kind: "row", text: fault.text.clone() }
    }

    /// From a cell that cannot be understood.
    pub(super) fn of_cell(row: u32, cable: &str, error: &FieldError) -> Self {
        Self { row: Some(row), field: Some(error.field.clone()), kind: "cell", text: format!("{cable}: {error}") }
    }

    /// From a label that cannot be made, with the offer of one that can.
    pub(super) fn of_label(row: u32, cable: &str, misfit: &Misfit, offer: Option<String>) -> Self {
        let offer = offer.map_or(String::new(), |offer| format!("; {offer}"));
        Self {
            row: Some(row),
            field: Some(misfit.field.to_owned()),
            kind: misfit.kind.word(),
            text: format!("{cable}: found {}, wanted {}{offer}", misfit.found, misfit.wanted),
        }
    }
}
