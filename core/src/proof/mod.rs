//! What a person looks at before tape is used: a picture of every strip, and a sheet of all labels
//! at true size. Values in, bytes out.

mod canvas;
mod lettering;
mod outline;
mod picture;
mod sheet;

pub use picture::{PictureLabel, StripPicture, strip_png};
pub use sheet::{Paper, Sheet, SheetLabel};
