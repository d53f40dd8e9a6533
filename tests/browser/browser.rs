//! One headless browser with one page, driven step by step.

use std::path::Path;
use std::time::{Duration, Instant};

use base64::Engine;
use base64::engine::general_purpose::STANDARD as BASE64;
use consort_tests::process::{Folder, Program};
use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::wd::{WebDriverCompatibleCommand, WindowHandle};
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tokio::runtime::Runtime;

use crate::rehearsal::PATIENCE;
use crate::tools::Tools;

/// A browser that ends with this value.
pub(crate) struct Browser {
    runtime: Runtime,
    client: Option<Client>,
    /// Lives as long as the browser.
    _driver: Program,
    _profile: Folder,
}

/// A screen to look at a page on, in CSS pixels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Screen {
    pub(crate) name: &'static str,
    pub(crate) width: u32,
    pub(crate) height: u32,
}

pub(crate) const PHONE: Screen = Screen {
    name: "phone",
    width: 390,
    height: 844,
};
pub(crate) const LAPTOP: Screen = Screen {
    name: "laptop",
    width: 1440,
    height: 900,
};
/// The smallest laptop that is still in use.
pub(crate) const SMALL_LAPTOP: Screen = Screen {
    name: "small-laptop",
    width: 1366,
    height: 768,
};
pub(crate) const WALL: Screen = Screen {
    name: "wall",
    width: 1920,
    height: 1080,
};

/// A laptop on which everything is shown twice as large.
pub(crate) const ZOOMED: Screen = Screen {
    name: "zoomed",
    width: 720,
    height: 450,
};

/// The dark theme of a stage and the light one of the day, each with what a system that prefers it says.
pub(crate) const THEMES: [(&str, &str); 2] = [("stage", "dark"), ("day", "light")];

/// What keeps the browser to its page: no window, no sandbox (root has none, and the pages are our own), no services of
/// its own, no name but those of this machine.
const OPTIONS: [&str; 12] = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-features=MediaRouter,OptimizationHints,Translate",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
    "--lang=en",
];

/// How often a driver is started: it takes a port that was free on one of the two protocols, and ends when that port is
/// taken on the other.
const STARTS: u32 = 5;

/// Starts the browser's driver; it and its port.
fn start_driver(tools: &Tools) -> (Program, String) {
    for _ in 1..STARTS {
        if let Ok(started) = try_driver(tools) {
            return started;
        }
    }
    try_driver(tools).unwrap_or_else(|transcript| panic!("the driver does not start\n{transcript}"))
}

fn try_driver(tools: &Tools) -> Result<(Program, String), String> {
    let mut driver = Program::spawn(std::process::Command::new(&tools.driver).arg("--port=0"));
    let line = driver.line(PATIENCE, |line| {
        line.contains("started successfully on port") || line.contains("not available")
    });
    match line {
        Some((_, line)) if line.contains("started successfully") => {
            let port = line.chars().filter(char::is_ascii_digit).collect();
            Ok((driver, port))
        }
        _ => Err(driver.transcript()),
    }
}

/// A command of the browser's driver beyond the common ones.
#[derive(Debug)]
struct Special {
    path: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for Special {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(self.body.to_string()))
    }
}

impl Browser {
    /// Starts a browser with an empty profile.
    pub(crate) fn open(tools: &Tools) -> Self {
        let profile = Folder::new("browser");
        let (driver, port) = start_driver(tools);
        let folder = format!("--user-data-dir={}", profile.path().display());
        let words: Vec<&str> = OPTIONS.into_iter().chain([folder.as_str()]).collect();
        let wanted = json!({
            "goog:chromeOptions": { "binary": tools.browser, "args": words },
            "goog:loggingPrefs": { "browser": "ALL" },
            "timeouts": { "script": 30_000, "pageLoad": 30_000 },
        });
        let Value::Object(wanted) = wanted else {
            unreachable!("wishes are an object")
        };
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .expect("a runtime");
        let address = format!("http://127.0.0.1:{port}");
        let client = runtime
            .block_on(
                ClientBuilder::new(HttpConnector::new())
                    .capabilities(wanted)
                    .connect(&address),
            )
            .unwrap_or_else(|error| panic!("the browser does not start: {error}\n{}", driver.transcript()));
        let browser = Self {
            runtime,
            client: Some(client),
            _driver: driver,
            _profile: profile,
        };
        browser.screen(LAPTOP);
        browser
    }

    /// Opens a page and waits until it is there.
    pub(crate) fn go(&self, address: &str) {
        self.client(async |client| client.goto(address).await);
    }

    /// The page that is turned to.
    pub(crate) fn page(&self) -> WindowHandle {
        self.client(async |client| client.window().await)
    }

    /// Turns to a new, empty page.
    pub(crate) fn new_page(&self) -> WindowHandle {
        let new = self.client(async |client| client.new_window(true).await);
        self.turn_to(&new.handle);
        self.screen(LAPTOP);
        new.handle
    }

    /// Turns to a page that was opened before.
    pub(crate) fn turn_to(&self, page: &WindowHandle) {
        self.client(async |client| client.switch_to_window(page.clone()).await);
    }

    /// Runs `script` in the page and returns what it returns.
    pub(crate) fn run(&self, script: &str) -> Value {
        self.client(async |client| client.execute(script, Vec::new()).await)
    }

    /// Runs `script` in the page, which calls its last argument with the answer.
    pub(crate) fn run_until_told(&self, script: &str) -> Value {
        self.client(async |client| client.execute_async(script, Vec::new()).await)
    }

    /// What the text `script`, an expression, comes to.
    pub(crate) fn text(&self, script: &str) -> String {
        let value = self.run(&format!("return {script}"));
        value.as_str().map_or_else(|| value.to_string(), str::to_owned)
    }

    /// Waits until the expression `script` is true; nothing is loaded anew.
    #[track_caller]
    pub(crate) fn wait(&self, what: &str, script: &str) {
        let begun = Instant::now();
        while self.run(&format!("return Boolean({script})")) != true {
            let shown = self.text("document.body.innerText");
            assert!(
                begun.elapsed() < PATIENCE,
                "{what} does not come; the page shows:\n{shown}"
            );
            std::thread::sleep(Duration::from_millis(40));
        }
    }

    /// Presses the button that says so, among the questions, once it is there: looked for and pressed in one step, since what is
    /// heard in between may draw the answers anew.
    pub(crate) fn answer(&self, says: &str) {
        let button = format!(
            "[...document.querySelectorAll('#questions button')].find((button) => button.textContent === '{says}')"
        );
        let pressed = format!("(() => {{ const button = {button}; button?.click(); return button !== undefined; }})()");
        self.wait(says, &pressed);
    }

    /// Presses and lets go of one key after another.
    pub(crate) fn press(&self, keys: impl IntoIterator<Item = char>) {
        let keys = keys.into_iter().fold(KeyActions::new("keys".into()), |keys, value| {
            keys.then(KeyAction::Down { value }).then(KeyAction::Up { value })
        });
        self.client(async |client| client.perform_actions(keys).await);
    }

    /// Puts `text` into the field `id` as a person does: by clicking into it, taking all of it, and typing.
    pub(crate) fn type_into(&self, id: &str, text: &str) {
        self.run(&format!(
            "const field = document.getElementById('{id}'); field.focus(); field.select();"
        ));
        self.press(text.chars());
    }

    /// Clicks on what has `id`.
    pub(crate) fn click(&self, id: &str) {
        // Out from under a bar that always stays in sight.
        self.run(&format!(
            "document.getElementById('{id}').scrollIntoView({{ block: 'center' }})"
        ));
        self.client(async |client| client.find(fantoccini::Locator::Id(id)).await?.click().await);
    }

    /// Looks from a screen of this size from now on.
    pub(crate) fn screen(&self, screen: Screen) {
        self.devtools(
            "Emulation.setDeviceMetricsOverride",
            &json!({
                "width": screen.width, "height": screen.height, "deviceScaleFactor": 1, "mobile": screen.width < 600,
            }),
        );
    }

    /// Lets the system prefer `scheme`, `dark` or `light`, and as little motion as possible.
    pub(crate) fn prefer(&self, scheme: &str) {
        self.prefer_motion(scheme, "reduce");
    }

    /// The same with as much `motion` as it says, `reduce` or `no-preference`.
    pub(crate) fn prefer_motion(&self, scheme: &str, motion: &str) {
        self.devtools(
            "Emulation.setEmulatedMedia",
            &json!({ "features": [
                { "name": "prefers-color-scheme", "value": scheme },
                { "name": "prefers-reduced-motion", "value": motion },
            ] }),
        );
    }

    /// Lets the page stand still, as behind a phone's dark screen, or go on.
    pub(crate) fn sleeps(&self, asleep: bool) {
        let state = if asleep { "frozen" } else { "active" };
        self.devtools("Page.setWebLifecycleState", &json!({ "state": state }));
    }

    /// Writes what the screen shows to `path`, as PNG, written fast rather than small.
    pub(crate) fn picture(&self, path: &Path) {
        let how = json!({ "format": "png", "optimizeForSpeed": true });
        let picture = self.devtools("Page.captureScreenshot", &how);
        let written = picture["data"].as_str().unwrap_or_default();
        let png = BASE64.decode(written).expect("a picture comes in base 64");
        std::fs::write(path, png).expect("a picture can be written");
    }

    /// What the page has complained of since the last call, without what is merely told.
    pub(crate) fn complaints(&self) -> Vec<String> {
        let log = self.special("se/log", &json!({ "type": "browser" }));
        let entries = log.as_array().cloned().unwrap_or_default();
        entries
            .into_iter()
            .filter(|entry| entry["level"] == "SEVERE")
            .map(|entry| entry["message"].to_string())
            .collect()
    }

    /// The addresses of everything that the page has asked for.
    pub(crate) fn asked_for(&self) -> Vec<String> {
        let script = "return ['navigation', 'resource'].flatMap((kind) => performance.getEntriesByType(kind)).map((entry) => entry.name)";
        let names = self.run(script);
        let names = names.as_array().expect("a list");
        names
            .iter()
            .filter_map(|name| name.as_str().map(str::to_owned))
            .collect()
    }

    /// The page has complained of nothing and asked for nothing outside this computer.
    #[track_caller]
    pub(crate) fn expect_quiet(&self) {
        let complaints = self.complaints();
        assert!(complaints.is_empty(), "the page complains: {complaints:#?}");
        let asked = self.asked_for();
        assert!(asked.len() > 3, "a page has several files: {asked:?}");
        for address in asked {
            let near = address.starts_with("http://127.0.0.1:") || address.starts_with("data:");
            assert!(near, "the page asks for {address}");
        }
    }

    fn devtools(&self, command: &str, parameters: &Value) -> Value {
        self.special("goog/cdp/execute", &json!({ "cmd": command, "params": parameters }))
    }

    fn special(&self, path: &'static str, body: &Value) -> Value {
        let body = body.clone();
        self.client(async move |client| client.issue_cmd(Special { path, body }).await)
    }

    #[track_caller]
    fn client<T>(&self, step: impl AsyncFnOnce(&Client) -> Result<T, fantoccini::error::CmdError>) -> T {
        let client = self.client.as_ref().expect("the browser is open");
        self.runtime
            .block_on(step(client))
            .unwrap_or_else(|error| panic!("the browser refuses: {error}"))
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The driver ends the browser only when it is asked to.
        if let Some(client) = self.client.take() {
            let _ = self.runtime.block_on(client.close());
        }
    }
}
