//! Machine-readable codes: content to modules, modules to whole dots.
