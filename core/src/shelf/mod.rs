//! The cartridges at hand, and which labels go on which of them.
//!
//! [`Shelf`] is the file of cartridges, read and edited as text; [`plan()`] puts labels on strips and
//! strips on those cartridges with the least tape.

mod file;
mod plan;
mod policy;
mod take;

pub use file::{Cartridge, Left, Shelf};
pub use plan::{Aside, Block, Demand, Freer, Misfit, Offer, Offers, Shelved, Source, Use, offers, plan};
pub use policy::{Order, Policy};
pub use take::Taken;
