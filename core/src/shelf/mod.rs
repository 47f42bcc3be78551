//! The cartridges at hand, and which labels go on which of them.
