//! Opens a page in the harpist's browser, if there is one.

use std::process::{Command, Stdio};

/// Opens `url`; without a browser nothing happens, since the address is printed as well.
pub(crate) fn open(url: &str) {
    #[cfg(target_os = "macos")]
    let mut command = Command::new("open");
    #[cfg(target_os = "windows")]
    let mut command = {
        let mut command = Command::new("rundll32");
        command.arg("url.dll,FileProtocolHandler");
        command
    };
    #[cfg(not(any(target_os = "macos", target_os = "windows")))]
    let mut command = Command::new("xdg-open");
    let opened = command
        .arg(url)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    if let Err(why) = opened {
        tracing::info!(%why, "no browser was opened");
    }
}
