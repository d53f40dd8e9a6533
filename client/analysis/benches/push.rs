//! Time to hear one second of sound.
fn main() {
    divan::main();
}
