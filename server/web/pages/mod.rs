//! Pages: a template, a view struct with a sample, and a handler of a few lines.
