//! Logos and pictures: pixels and vector drawings to 1-bit ink at device resolution.
