//! Double Metaphone: what a spelling may sound like, as two keys of consonants.
//!
//! Source: Lawrence Philips, "The Double Metaphone Search Algorithm", C/C++ Users Journal, June 2000;
//! the rules from memory of its open implementations, held against their published vectors. Keys are
//! not cut off after four letters as theirs are: theirs are the first four letters of ours.

/// What a spelling may sound like: `0` stands for TH, `X` for SH and CH, a vowel counts only at the
/// beginning (`A`).
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Keys {
    /// As most people would say it.
    pub primary: String,
    /// As some would; the same as `primary` for most words.
    pub alternate: String,
}

/// The keys of a word or of several with spaces between. `None` for a word that is not all ASCII:
/// the rules are those of English spelling.
#[must_use]
pub fn keys(word: &str) -> Option<Keys> {
    if !word.is_ascii() {
        return None;
    }
    let text = word.trim().to_ascii_uppercase().into_bytes();
    let has = |part: &str| text.windows(part.len()).any(|window| window == part.as_bytes());
    let slavic = ["W", "K", "CZ", "WITZ"].into_iter().any(has);
    let mut speller = Speller { text: &text, slavic, keys: Keys::default() };
    let mut at = usize::from(speller.is(0, 0, &["GN", "KN", "PN", "WR", "PS"]));
    while at < text.len() {
        at += speller.letter(at);
    }
    Some(speller.keys)
}

struct Speller<'a> {
    text: &'a [u8],
    /// Spelled as if of Slavic or Germanic origin.
    slavic: bool,
    keys: Keys,
}

impl Speller<'_> {
    /// The letter `by` places from `at`; 0 outside the word.
    fn at(&self, at: usize, by: isize) -> u8 {
        at.checked_add_signed(by).and_then(|place| self.text.get(place)).copied().unwrap_or(0)
    }

    /// Whether one of `parts` stands `by` places from `at`.
    fn is(&self, at: usize, by: isize, parts: &[&str]) -> bool {
        at.checked_add_signed(by)
            .and_then(|place| self.text.get(place..))
            .is_some_and(|rest| parts.iter().any(|part| rest.starts_with(part.as_bytes())))
    }

    fn vowel(&self, at: usize, by: isize) -> bool {
        matches!(self.at(at, by), b'A' | b'E' | b'I' | b'O' | b'U' | b'Y')
    }

    fn last(&self, at: usize) -> bool {
        at + 1 == self.text.len()
    }

    fn germanic(&self) -> bool {
        self.is(0, 0, &["VAN ", "VON ", "SCH"])
    }

    fn add(&mut self, both: &str) {
        self.either(both, both);
    }

    fn either(&mut self, primary: &str, alternate: &str) {
        self.keys.primary.push_str(primary);
        self.keys.alternate.push_str(alternate);
    }

    /// Adds a key for a letter, and takes the letters after it that are one of `silent` with it.
    fn plain(&mut self, at: usize, key: &str, silent: &[&str]) -> usize {
        self.add(key);
        1 + usize::from(self.is(at, 1, silent))
    }

    /// Adds what the letter at `at` sounds like, and says how many letters that took.
    fn letter(&mut self, at: usize) -> usize {
        match self.text[at] {
            b'A' | b'E' | b'I' | b'O' | b'U' | b'Y' => {
                if at == 0 {
                    self.add("A");
                }
                1
            }
            b'B' => self.plain(at, "P", &["B"]),
            b'C' => self.c(at),
            b'D' if self.is(at, 0, &["DG"]) => {
                let soft = self.is(at, 2, &["I", "E", "Y"]);
                self.add(if soft { "J" } else { "TK" });
                2 + usize::from(soft)
            }
            b'D' => self.plain(at, "T", &["T", "D"]),
            b'F' => self.plain(at, "F", &["F"]),
            b'G' => self.g(at),
            b'H' if (at == 0 || self.vowel(at, -1)) && self.vowel(at, 1) => {
                self.add("H");
                2
            }
            b'J' => self.j(at),
            b'K' => self.plain(at, "K", &["K"]),
            b'L' => self.l(at),
            b'M' => {
                let lamb = self.is(at, -1, &["UMB"]) && (self.last(at + 1) || self.is(at, 2, &["ER"]));
                self.add("M");
                1 + usize::from(lamb || self.at(at, 1) == b'M')
            }
            b'N' => self.plain(at, "N", &["N"]),
            b'P' if self.at(at, 1) == b'H' => self.plain(at, "F", &["H"]),
            b'P' => self.plain(at, "P", &["P", "B"]),
            b'Q' => self.plain(at, "K", &["Q"]),
            b'R' => {
                let silent =
                    self.last(at) && !self.slavic && self.is(at, -2, &["IE"]) && !self.is(at, -4, &["ME", "MA"]);
                self.either(if silent { "" } else { "R" }, "R");
                1 + usize::from(self.at(at, 1) == b'R')
            }
            b'S' => self.s(at),
            b'T' => self.t(at),
            b'V' => self.plain(at, "F", &["V"]),
            b'W' => self.w(at),
            b'X' if at == 0 => self.plain(at, "S", &[]),
            b'X' => {
                let silent = self.last(at) && (self.is(at, -3, &["IAU", "EAU"]) || self.is(at, -2, &["AU", "OU"]));
                self.plain(at, if silent { "" } else { "KS" }, &["C", "X"])
            }
            b'Z' if self.at(at, 1) == b'H' => self.plain(at, "J", &["H"]),
            b'Z' => {
                let hard = self.is(at, 1, &["ZO", "ZI", "ZA"]) || (self.slavic && at > 0 && self.at(at, -1) != b'T');
                self.either("S", if hard { "TS" } else { "S" });
                1 + usize::from(self.at(at, 1) == b'Z')
            }
            _ => 1,
        }
    }

    fn c(&mut self, at: usize) -> usize {
        let ach = at > 1
            && !self.vowel(at, -2)
            && self.is(at, -1, &["ACH"])
            && (!matches!(self.at(at, 2), b'I' | b'E') || self.is(at, -2, &["BACHER", "MACHER"]));
        if ach || self.is(at, 0, &["CHIA"]) {
            self.add("K");
            return 2;
        }
        if at == 0 && self.is(at, 0, &["CAESAR"]) {
            self.add("S");
            return 2;
        }
        if self.is(at, 0, &["CH"]) {
            return self.ch(at);
        }
        if self.is(at, 0, &["CZ"]) && !self.is(at, -2, &["WICZ"]) {
            self.either("S", "X");
            return 2;
        }
        if self.is(at, 1, &["CIA"]) {
            self.add("X");
            return 3;
        }
        if self.is(at, 0, &["CC"]) && !(at == 1 && self.text[0] == b'M') {
            if self.is(at, 2, &["I", "E", "H"]) && !self.is(at, 2, &["HU"]) {
                let hard = (at == 1 && self.text[0] == b'A') || self.is(at, -1, &["UCCEE", "UCCES"]);
                self.add(if hard { "KS" } else { "X" });
                return 3;
            }
            self.add("K");
            return 2;
        }
        if self.is(at, 0, &["CK", "CG", "CQ"]) {
            self.add("K");
            return 2;
        }
        if self.is(at, 0, &["CI", "CE", "CY"]) {
            self.either("S", if self.is(at, 0, &["CIO", "CIE", "CIA"]) { "X" } else { "S" });
            return 2;
        }
        self.add("K");
        if self.is(at, 1, &[" C", " Q", " G"]) {
            return 3;
        }
        1 + usize::from(self.is(at, 1, &["C", "K", "Q"]) && !self.is(at, 1, &["CE", "CI"]))
    }

    fn ch(&mut self, at: usize) -> usize {
        let greek =
            at == 0 && self.is(at, 1, &["HARAC", "HARIS", "HOR", "HYM", "HIA", "HEM"]) && !self.is(at, 0, &["CHORE"]);
        let before_consonant = (self.is(at, -1, &["A", "O", "U", "E"]) || at == 0)
            && (self.is(at, 2, &["L", "R", "N", "M", "B", "H", "F", "V", "W", " "]) || self.last(at + 1));
        let hard = greek
            || self.germanic()
            || self.is(at, -2, &["ORCHES", "ARCHIT", "ORCHID"])
            || self.is(at, 2, &["T", "S"])
            || before_consonant;
        match at {
            1.. if self.is(at, 0, &["CHAE"]) => self.either("K", "X"),
            _ if hard => self.add("K"),
            0 => self.add("X"),
            _ if self.is(0, 0, &["MC"]) => self.add("K"),
            _ => self.either("X", "K"),
        }
        2
    }

    fn g(&mut self, at: usize) -> usize {
        match self.at(at, 1) {
            b'H' => {
                self.gh(at);
                return 2;
            }
            b'N' => {
                if at == 1 && self.vowel(0, 0) && !self.slavic {
                    self.either("KN", "N");
                } else if !self.is(at, 2, &["EY"]) && !self.slavic {
                    self.either("N", "KN");
                } else {
                    self.add("KN");
                }
                return 2;
            }
            _ => {}
        }
        if self.is(at, 1, &["LI"]) && !self.slavic {
            self.either("KL", "L");
            return 2;
        }
        let first = at == 0 && self.is(at, 1, &["Y", "ES", "EP", "EB", "EL", "EY", "IB", "IL", "IN", "IE", "EI", "ER"]);
        let anger = self.is(at, 1, &["ER", "Y"])
            && !self.is(0, 0, &["DANGER", "RANGER", "MANGER"])
            && !self.is(at, -1, &["E", "I", "RGY", "OGY"]);
        if first || anger {
            self.either("K", "J");
            return 2;
        }
        if self.is(at, 1, &["E", "I", "Y"]) || self.is(at, -1, &["AGGI", "OGGI"]) {
            if self.germanic() || self.is(at, 1, &["ET"]) {
                self.add("K");
            } else if self.is(at, 1, &["IER"]) {
                self.add("J");
            } else {
                self.either("J", "K");
            }
            return 2;
        }
        self.plain(at, "K", &["G"])
    }

    fn gh(&mut self, at: usize) {
        if at == 0 {
            self.add(if self.at(at, 2) == b'I' { "J" } else { "K" });
        } else if !self.vowel(at, -1) {
            self.add("K");
        } else if self.is(at, -2, &["B", "H", "D"]) || self.is(at, -3, &["B", "H", "D"]) || self.is(at, -4, &["B", "H"])
        {
            // Silent, as in `bough`, `hugh`, `daughter`.
        } else if self.at(at, -1) == b'U' && self.is(at, -3, &["C", "G", "L", "R", "T"]) {
            self.add("F");
        } else if self.at(at, -1) != b'I' {
            self.add("K");
        }
    }

    fn j(&mut self, at: usize) -> usize {
        let san = self.is(0, 0, &["SAN "]);
        if self.is(at, 0, &["JOSE"]) || san {
            let spanish = (at == 0 && self.at(at, 4) == b' ') || self.text.len() == 4 || san;
            self.either(if spanish { "H" } else { "J" }, "H");
            return 1;
        }
        if at == 0 {
            self.either("J", "A");
        } else if self.vowel(at, -1) && !self.slavic && matches!(self.at(at, 1), b'A' | b'O') {
            self.either("J", "H");
        } else if self.last(at) {
            self.either("J", " ");
        } else if !self.is(at, 1, &["L", "T", "K", "S", "N", "M", "B", "Z"]) && !self.is(at, -1, &["S", "K", "L"]) {
            self.add("J");
        }
        1 + usize::from(self.at(at, 1) == b'J')
    }

    fn l(&mut self, at: usize) -> usize {
        if self.at(at, 1) != b'L' {
            return self.plain(at, "L", &[]);
        }
        let end = self.text.len();
        let spanish = (at + 3 == end && self.is(at, -1, &["ILLO", "ILLA", "ALLE"]))
            || ((self.is(end, -2, &["AS", "OS"]) || self.is(end, -1, &["A", "O"])) && self.is(at, -1, &["ALLE"]));
        self.either("L", if spanish { "" } else { "L" });
        2
    }

    fn s(&mut self, at: usize) -> usize {
        if self.is(at, -1, &["ISL", "YSL"]) {
            return 1;
        }
        if at == 0 && self.is(at, 0, &["SUGAR"]) {
            self.either("X", "S");
            return 1;
        }
        if self.is(at, 0, &["SH"]) {
            self.add(if self.is(at, 1, &["HEIM", "HOEK", "HOLM", "HOLZ"]) { "S" } else { "X" });
            return 2;
        }
        if self.is(at, 0, &["SIO", "SIA"]) {
            self.either("S", if self.slavic { "S" } else { "X" });
            return 3;
        }
        if (at == 0 && self.is(at, 1, &["M", "N", "L", "W"])) || self.at(at, 1) == b'Z' {
            self.either("S", "X");
            return 1 + usize::from(self.at(at, 1) == b'Z');
        }
        if self.is(at, 0, &["SC"]) {
            self.sc(at);
            return 3;
        }
        let french = self.last(at) && self.is(at, -2, &["AI", "OI"]);
        self.either(if french { "" } else { "S" }, "S");
        1 + usize::from(self.is(at, 1, &["S", "Z"]))
    }

    fn sc(&mut self, at: usize) {
        if self.at(at, 2) == b'H' {
            if self.is(at, 3, &["ER", "EN"]) {
                self.either("X", "SK");
            } else if self.is(at, 3, &["OO", "UY", "ED", "EM"]) {
                self.add("SK");
            } else {
                let german = at == 0 && !self.vowel(3, 0) && self.at(3, 0) != b'W';
                self.either("X", if german { "S" } else { "X" });
            }
        } else {
            self.add(if self.is(at, 2, &["I", "E", "Y"]) { "S" } else { "SK" });
        }
    }

    fn t(&mut self, at: usize) -> usize {
        if self.is(at, 0, &["TION", "TIA", "TCH"]) {
            self.add("X");
            return 3;
        }
        if self.is(at, 0, &["TH", "TTH"]) {
            if self.is(at, 2, &["OM", "AM"]) || self.germanic() {
                self.add("T");
            } else {
                self.either("0", "T");
            }
            return 2;
        }
        self.plain(at, "T", &["T", "D"])
    }

    fn w(&mut self, at: usize) -> usize {
        if self.is(at, 0, &["WR"]) {
            self.add("R");
            return 2;
        }
        if at == 0 && (self.vowel(at, 1) || self.is(at, 0, &["WH"])) {
            self.either("A", if self.vowel(at, 1) { "F" } else { "A" });
            return 1;
        }
        if (self.last(at) && self.vowel(at, -1))
            || self.is(at, -1, &["EWSKI", "EWSKY", "OWSKI", "OWSKY"])
            || self.is(0, 0, &["SCH"])
        {
            self.either("", "F");
            return 1;
        }
        if self.is(at, 0, &["WICZ", "WITZ"]) {
            self.either("TS", "FX");
            return 4;
        }
        1
    }
}
