//! A character no face can set, told so that a person can find it.

use std::fmt;
use unicode_script::{Script, UnicodeScript as _};

/// A character no face can set. Displays as `'漢' (U+6F22, CJK UNIFIED IDEOGRAPH-6F22)`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MissingGlyph(pub char);

impl MissingGlyph {
    /// The character's name in the Unicode standard (UnicodeData.txt and its section 4.8 for those
    /// named by rule), or what it is where it has none.
    pub fn name(self) -> String {
        match self.0 {
            '\t' => "tab".into(),
            '\n' | '\r' => "line break".into(),
            c if c.is_control() => "control character".into(),
            '\u{E000}'..='\u{F8FF}' | '\u{F0000}'..='\u{10FFFF}' => "private use, no name".into(),
            c => unicode_names2::name(c).map_or_else(|| "no name".into(), |name| name.to_string()),
        }
    }

    /// The script a font would have to hold, as the Unicode standard calls it; `None` for signs,
    /// which belong to no script.
    pub fn writing(self) -> Option<&'static str> {
        match self.0.script() {
            Script::Common | Script::Inherited | Script::Unknown => None,
            script => Some(script.full_name()),
        }
    }
}

impl fmt::Display for MissingGlyph {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?} (U+{:04X}, {})", self.0, u32::from(self.0), self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn characters_have_the_names_of_the_standard() {
        for (c, name, script) in [
            ('漢', "CJK UNIFIED IDEOGRAPH-6F22", Some("Han")),
            ('가', "HANGUL SYLLABLE GA", Some("Hangul")),
            ('ก', "THAI CHARACTER KO KAI", Some("Thai")),
            ('\u{1F3AD}', "PERFORMING ARTS", None),
            ('\t', "tab", None),
            ('\u{1}', "control character", None),
            ('\u{E000}', "private use, no name", None),
        ] {
            assert_eq!((MissingGlyph(c).name().as_str(), MissingGlyph(c).writing()), (name, script));
        }
        assert_eq!(MissingGlyph('\u{302}').to_string(), "'\\u{302}' (U+0302, COMBINING CIRCUMFLEX ACCENT)");
    }
}
