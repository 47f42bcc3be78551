//! Cartridges on the shelf.

use clap::{Args, Subcommand};

/// What is left, on a cartridge that is open or in a pile that is sealed.
#[derive(Debug, Args)]
pub(in crate::cli) struct LeftArgs {
    /// What is left on an open cartridge: 3.2m, 320cm, 10ft
    #[arg(long, value_name = "LENGTH", conflicts_with = "sealed")]
    pub(in crate::cli) length: Option<String>,
    /// The length is a guess, right to so much; without a value to a tenth, at least 10 cm
    #[arg(long, value_name = "ERROR", num_args = 0..=1, default_missing_value = "", requires = "length")]
    pub(in crate::cli) estimated: Option<String>,
    /// How many are sealed
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(0..=1000))]
    pub(in crate::cli) sealed: Option<u32>,
    /// Price of a full one, where it differs from the stock's
    #[arg(long, value_name = "MONEY")]
    pub(in crate::cli) price: Option<f64>,
}

#[derive(Debug, Subcommand)]
pub(in crate::cli) enum StockCommand {
    /// Put cartridges on the shelf
    #[command(
        after_help = "Examples:\n  tapewright stock add tape-12 --length 3.2m\n  tapewright stock add tape-12 --length 2m --estimated 30cm\n  tapewright stock add sleeve-3/8 --sealed 2\n  tapewright stock add tape-24 --sealed 0    (there is none: buying is planned)"
    )]
    Add {
        /// The stock
        stock: String,
        #[command(flatten)]
        left: LeftArgs,
        /// What you write on it; without this the next free one
        #[arg(long, value_name = "ID")]
        id: Option<String>,
    },
    /// Say what is left on a cartridge, or how many are sealed
    #[command(
        after_help = "Examples:\n  tapewright stock set tape-12-a --length 1.4m\n  tapewright stock set tape-12-sealed --sealed 3"
    )]
    Set {
        /// The cartridge
        id: String,
        #[command(flatten)]
        left: LeftArgs,
    },
    /// Take a cartridge off the shelf: it is empty or gone
    Remove {
        /// The cartridge
        id: String,
    },
    /// Say that a cartridge is in a printer: it needs no change and no loading
    ///
    /// What the printer feeds at mounting is taken off its length. A sealed one is opened.
    Mount {
        /// The cartridge
        id: String,
        /// The printer
        #[arg(long, value_name = "ID")]
        printer: String,
    },
    /// Say that a cartridge is back on the shelf
    ///
    /// What the printer feeds out when it is taken out is taken off its length.
    Unmount {
        /// The cartridge
        id: String,
    },
}
