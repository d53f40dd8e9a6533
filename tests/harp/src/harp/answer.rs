//! The sympathetic answer: what one string's pluck sets going in the others.

use super::VirtualHarp;
use crate::bank::Line;

/// How strongly a string's partial drives another's of the same pitch through the soundboard, per second: assumed, so
/// that an octave in tune answers some 20 dB softer.
///
/// That they answer at all: Le Carrou, Gautier & Badeau, Acta Acustica 95, 2009.
const COUPLING_PER_S: f64 = 0.3;
/// Answers below this share of the driving partial are left out.
const ANSWER_MIN: f64 = 0.006;
/// Partials of an answering string that are looked at.
const ANSWERING_PARTIALS: usize = 8;

impl VirtualHarp {
    /// Lets the other strings answer `lines` of string `index`.
    ///
    /// A partial x(t) = e^{pt} drives a neighbour y′ = q·y + κ·x; so y = κ·(e^{pt} − e^{qt})/(p − q): one line at the
    /// driver's frequency and one at the neighbour's own.
    pub(super) fn drive_others(&mut self, index: usize, lines: &mut [Line]) {
        let bend = self.strings[index].bend();
        for (other, strung) in self.strings.iter_mut().enumerate() {
            if other == index || strung.is_damped() || strung.is_recorded() {
                continue;
            }
            let other_bend = strung.bend();
            let first = strung.stringing.partial_hz(1) * other_bend;
            for line in lines.iter_mut() {
                let hz = line.hz * bend;
                let n = (hz / first).round() as usize;
                if n == 0 || n > ANSWERING_PARTIALS {
                    continue;
                }
                let own_hz = strung.stringing.partial_hz(n);
                let decay_s = strung.stringing.decay_s(n);
                let (re, im) = (
                    1.0 / decay_s - 1.0 / line.decay_s,
                    std::f64::consts::TAU * (hz - own_hz * other_bend),
                );
                let size = (re * re + im * im).max(0.01);
                if COUPLING_PER_S / size.sqrt() < ANSWER_MIN {
                    continue;
                }
                // κ/(p − q), with the line itself as the amplitude.
                let (fr, fi) = (COUPLING_PER_S * re / size, -COUPLING_PER_S * im / size);
                let (x, y) = (line.re * fr - line.im * fi, line.re * fi + line.im * fr);
                line.re += x;
                line.im += y;
                let answer = Line {
                    hz: own_hz,
                    decay_s,
                    re: -x,
                    im: -y,
                };
                strung.answer(answer, self.rate);
            }
        }
    }
}
