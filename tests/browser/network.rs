//! A private network of one machine for each test that is not in one yet: a browser asks the room for more than its page.

use std::process::Command;

use consort_tests::process::{is_isolated, must_have, say};

use crate::tools::Tools;

/// Brings loopback up, then becomes the program.
const ENTER: &str = "ip link set lo up && exec \"$@\"";

/// Runs `test` on a network that leads nowhere; skips it, and says so, where there is no such network or no browser.
#[track_caller]
pub(crate) fn alone<F: FnOnce(&Tools)>(test: F) {
    let Some(tools) = Tools::find() else { return };
    if is_isolated() {
        return test(&tools);
    }
    // The name by which this test program knows the test: the path of the closure, without the crate and the closure.
    let path = std::any::type_name::<F>();
    let name = path
        .trim_end_matches("::{{closure}}")
        .split_once("::")
        .map_or(path, |(_, name)| name);
    let here = std::env::current_exe().expect("a program knows where it is");
    let Some(flags) = ["-n", "-rn"]
        .into_iter()
        .find(|flags| inside(flags, "true").is_ok_and(|ok| ok))
    else {
        assert!(!must_have("browser"), "no private network can be made here");
        say("skipped: no private network can be made here, and a browser would ask the room for more than its page");
        return;
    };
    let passed = Command::new("unshare")
        .args([flags, "sh", "-c", ENTER, "sh"])
        .arg(here)
        .args(["--exact", name, "--nocapture"])
        .env("CONSORT_ISOLATED", "1")
        .status()
        .expect("unshare has just been started");
    assert!(passed.success(), "{name} failed: what is printed above says why");
}

fn inside(flags: &str, program: &str) -> std::io::Result<bool> {
    Command::new("unshare")
        .args([flags, "sh", "-c", ENTER, "sh", program])
        .stderr(std::process::Stdio::null())
        .status()
        .map(|status| status.success())
}
