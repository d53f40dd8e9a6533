//! Hearing: samples in, readings out.
