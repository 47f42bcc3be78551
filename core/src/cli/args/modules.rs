//! Driver modules: where they run, and checking one.

use crate::error::Result;
use crate::run::apart;
use clap::{Args, Subcommand};
use std::path::PathBuf;
use std::time::Duration;
use tapewright_host::Place;

#[derive(Debug, Subcommand)]
pub(in crate::cli) enum DriversCommand {
    /// Check a driver module: contract, same bytes, cuts, replies, cancelling, memory, reading back
    ///
    /// Prints what was looked at. Ends with exit code 5 if anything is not in order.
    #[command(after_help = "Examples:\n  tapewright drivers check libtapewright_driver_ours.so")]
    Check {
        /// The module's file, or a family that `tapewright drivers` lists
        file: PathBuf,
        /// Only this family of it
        #[arg(long, value_name = "ID")]
        family: Option<String>,
        #[command(flatten)]
        modules: ModuleArgs,
    },
}

/// Where driver modules run.
#[derive(Debug, Args)]
pub(in crate::cli) struct ModuleArgs {
    /// Run driver modules inside this process, where a crash of theirs is ours
    #[arg(long)]
    in_process: bool,
    /// Most time a driver module may take for an answer
    #[arg(long, value_name = "SECONDS", default_value_t = 10, value_parser = clap::value_parser!(u32).range(1..=3600))]
    patience: u32,
}

impl ModuleArgs {
    pub(in crate::cli) fn place(&self) -> Result<Place> {
        if self.in_process { Ok(Place::Here) } else { apart(Duration::from_secs(self.patience.into())) }
    }
}
