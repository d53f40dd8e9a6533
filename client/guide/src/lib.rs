//! Guidance: which string, which way, how far.
