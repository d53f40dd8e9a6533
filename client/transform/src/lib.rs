//! Fourier transforms of real samples.
//!
//! The library plans among some hundred routines, each of them generic: whoever plans builds them all again, which takes
//! as long as everything else of a program together.
//! Here they are built once for each precision, and everybody else holds a planned transform without knowing its kind.

use std::sync::Arc;

use realfft::RealFftPlanner;
pub use realfft::RealToComplex;
pub use realfft::num_complex::Complex;

/// The transform of `len` real samples into `len / 2 + 1` bins, not scaled, in single precision.
#[inline(never)] // Inlined it would be built where it is called.
pub fn single(len: usize) -> Arc<dyn RealToComplex<f32>> {
    RealFftPlanner::new().plan_fft_forward(len)
}

/// The transform of `len` real samples into `len / 2 + 1` bins, not scaled, in double precision.
#[inline(never)] // Inlined it would be built where it is called.
pub fn double(len: usize) -> Arc<dyn RealToComplex<f64>> {
    RealFftPlanner::new().plan_fft_forward(len)
}
