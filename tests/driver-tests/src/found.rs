//! What a stream holds.

use std::convert::Infallible;

use tapewright_host::{Cut, Events, Page};

use crate::Piece;

/// Collects what a decoder finds.
#[derive(Debug, Default)]
pub struct Found {
    /// What the stream says of each page.
    pub pages: Vec<Page>,
    /// The pages with their lines; as many as `pages`.
    pub pieces: Vec<Piece>,
}

impl Found {
    fn piece(&mut self) -> &mut Piece {
        self.pieces.last_mut().expect("the host lets no lines through before a page")
    }
}

impl Events for Found {
    type Error = Infallible;

    fn strip_begin(&mut self, page: &Page) -> Result<(), Infallible> {
        self.pages.push(*page);
        self.pieces.push(Piece { dots: page.dots, ..Piece::default() });
        Ok(())
    }

    fn lines(&mut self, rows: &[u8], _count: u32) -> Result<(), Infallible> {
        let bytes = self.piece().dots.div_ceil(8) as usize;
        let rows = rows.chunks_exact(bytes).map(<[u8]>::to_vec);
        self.piece().rows.extend(rows);
        Ok(())
    }

    fn blank(&mut self, count: u32) -> Result<(), Infallible> {
        let row = vec![0; self.piece().dots.div_ceil(8) as usize];
        // A damaged count may be anything; a test needs no more than this to see it.
        self.piece().rows.extend(std::iter::repeat_n(row, count.min(1_000_000) as usize));
        Ok(())
    }

    fn cut(&mut self, cut: Cut) -> Result<(), Infallible> {
        self.piece().cuts.push(cut);
        Ok(())
    }

    fn strip_end(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
