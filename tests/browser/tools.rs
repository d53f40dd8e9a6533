//! What the browser tests need from the machine, and where they put what they have seen.

use std::path::{Path, PathBuf};

use consort_tests::process::{must_have, say};

/// A browser, its driver and the accessibility rules.
#[derive(Clone, Debug)]
pub(crate) struct Tools {
    pub(crate) browser: PathBuf,
    pub(crate) driver: PathBuf,
    /// The rules as a script.
    pub(crate) rules: PathBuf,
}

/// What the browser is called on different systems.
const BROWSERS: [&str; 4] = ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];

impl Tools {
    /// The tools; `None` where one is missing and may be, which is said.
    ///
    /// # Panics
    ///
    /// Where one is missing and must not be: in `cargo verify` and in unattended runs.
    pub(crate) fn find() -> Option<Self> {
        let rules = Path::new(env!("CARGO_MANIFEST_DIR")).join("browser/node_modules/axe-core/axe.min.js");
        let found = match (BROWSERS.iter().find_map(|name| on_path(name)), on_path("chromedriver")) {
            (None, _) => Err("Chromium is not installed: `apt-get install chromium` brings it"),
            (_, None) => Err("Chromium's driver is not installed: `apt-get install chromium-driver` brings it"),
            _ if !rules.is_file() => Err("the accessibility rules are missing: run `npm ci` in tests/browser"),
            (Some(browser), Some(driver)) => Ok(Self { browser, driver, rules }),
        };
        match found {
            Ok(tools) => Some(tools),
            Err(missing) if must_have("browser") => panic!("{missing}"),
            Err(missing) => {
                say(&format!("skipped: {missing}"));
                None
            }
        }
    }
}

fn on_path(program: &str) -> Option<PathBuf> {
    let folders = std::env::var_os("PATH")?;
    std::env::split_paths(&folders)
        .map(|folder| folder.join(program))
        .find(|path| path.is_file())
}

/// The folder for pictures of the pages: `$CONSORT_SCREENS`, else `screens` beside the builds.
pub(crate) fn screens() -> PathBuf {
    let folder = std::env::var_os("CONSORT_SCREENS").map_or_else(
        || built().parent().expect("builds have a folder").join("screens"),
        PathBuf::from,
    );
    std::fs::create_dir_all(&folder).expect("the folder for pictures can be made");
    folder
}

/// The folder with the programs of this build.
pub(crate) fn built() -> PathBuf {
    let here = std::env::current_exe().expect("a program knows where it is");
    here.ancestors()
        .nth(2)
        .expect("test programs lie in a folder of the builds")
        .to_path_buf()
}
