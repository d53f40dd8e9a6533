//! A recording in, one line per thing heard out: `cargo run -p consort-analysis --example trace -- FILE.flac [A4]`.
#![allow(clippy::print_stdout, reason = "the lines are what this program is for")]

use std::error::Error;

use consort_analysis::{Config, Context, Heard, Listener};
use consort_proto::{Hz, SampleRate};

fn main() -> Result<(), Box<dyn Error>> {
    let mut words = std::env::args().skip(1);
    let file = words.next().ok_or("which recording?")?;
    let a4 = words.next().map_or(Ok(440.0), |word| word.parse())?;
    let mut reader = claxon::FlacReader::open(&file)?;
    let info = reader.streaminfo();
    let rate = SampleRate::new(info.sample_rate)?;
    let full = (1_u32 << (info.bits_per_sample - 1)) as f32;
    let mut listener = Listener::new(Config {
        rate,
        ..Config::default()
    });
    listener.set_context(&Context::concert_harp(Hz::new(a4)?));
    for sample in reader.samples() {
        listener.push(&[sample? as f32 / full]);
        print_heard(&mut listener, rate);
    }
    listener.finish();
    print_heard(&mut listener, rate);
    Ok(())
}

fn print_heard(listener: &mut Listener, rate: SampleRate) {
    while let Some(heard) = listener.poll() {
        match heard {
            Heard::Onset(o) => println!(
                "{:.3} onset at {:.3}, {:.1} dB",
                o.time.seconds(rate),
                o.onset.seconds(rate),
                o.level_dbfs
            ),
            Heard::Track(t) => println!(
                "{:.3} track {} {:.3} Hz ± {:.2} c",
                t.time.seconds(rate),
                t.string,
                t.hz.get(),
                t.sigma.0
            ),
            Heard::Provisional(r) => {
                println!(
                    "{:.3} maybe {} {:.3} Hz ± {:.2} c",
                    r.time.seconds(rate),
                    r.string,
                    r.hz.get(),
                    r.sigma.0
                );
            }
            other => println!("{other:?}"),
        }
    }
}
