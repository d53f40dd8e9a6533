//! Where sound comes from: recordings, standard input, or an input of this computer.

pub mod capture;
pub mod decode;
pub mod input;
pub mod recording;
