//! Modules that do not keep the promises of `driver.h`, and one that does.

mod bad;
mod good;
mod rubbish;
