//! The station: hears one harp, guides the harpist, reports to the coordinator.

fn main() -> std::process::ExitCode {
    consort_station::order::run(std::env::args_os())
}
