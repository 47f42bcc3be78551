//! Marks that are not text: frames, rules, arrows, guides, patterns that stand for a length.
