//! What was written is what is read.

use tapewright_host::{JobSpec, Page};

use crate::{Family, Piece, Random};

impl Family {
    /// Writes a job twice, with each strip at once and in random parts, and wants the same stream;
    /// reads it at once, byte by byte and in parts of up to `most_step` bytes, and wants `expected`.
    /// Returns the stream and what it says of its pages.
    ///
    /// `about` begins every message of a failure.
    ///
    /// # Panics
    ///
    /// When anything differs.
    pub fn goes_round(
        &self,
        about: &str,
        (job, pieces): (&JobSpec, &[Piece]),
        expected: &[Piece],
        random: &mut Random,
        most_step: usize,
    ) -> (Vec<u8>, Vec<Page>) {
        let written = |result: Result<Vec<u8>, _>| result.unwrap_or_else(|error| panic!("{about}: {error}"));
        let at_once = written(self.write(job, pieces, |lines| (lines, false)));
        let in_parts =
            written(self.write(job, pieces, |lines| (1 + random.count_below(lines.min(40)), random.below(2) == 0)));
        assert!(at_once == in_parts, "{about}: the stream depends on how the lines were handed over");
        let mut pages = Vec::new();
        for step in [at_once.len(), 1, 1 + random.count_below(most_step)] {
            let found = self.read(&at_once, step).unwrap_or_else(|error| panic!("{about}, step {step}: {error}"));
            assert!(found.pieces == expected, "{about}, step {step}: other lines or cuts");
            for (page, piece) in found.pages.iter().zip(expected) {
                assert_eq!(page.lines, Some(piece.lines()), "{about}, step {step}");
            }
            if pages.is_empty() {
                pages = found.pages;
            } else {
                assert_eq!(pages, found.pages, "{about}, step {step}: other pages than at once");
            }
        }
        (at_once, pages)
    }

    /// The shared library itself, as a program finds it beside its binary, has the families of the
    /// linked module and writes the same stream. Returns it.
    ///
    /// # Panics
    ///
    /// When the library is not there or differs.
    pub fn loaded_writes_the_same(&self, job: &JobSpec, pieces: &[Piece]) -> Vec<u8> {
        let binary = std::env::current_exe().expect("a test knows its binary");
        let folder = binary.parent().expect("a binary lies in a folder").to_owned();
        let found = tapewright_host::find(&[folder]);
        let name = self.module.name();
        let loaded = found.modules.iter().find(|module| module.name() == name);
        let loaded = loaded.unwrap_or_else(|| panic!("no module {name}: {:?}", found.refused));
        assert!(loaded.path().is_some(), "{name} was not loaded");
        assert_eq!(loaded.families(), self.module.families());
        let [linked, loaded] = [self, &Family { module: *loaded, name: self.name.clone() }]
            .map(|family| family.write(job, pieces, |lines| (lines, false)).unwrap_or_else(|error| panic!("{error}")));
        assert!(linked == loaded, "the loaded module writes another stream");
        loaded
    }
}
