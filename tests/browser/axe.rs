//! The accessibility rules of axe-core, run inside the page.

use crate::browser::Browser;
use crate::tools::Tools;

/// The rules as a script, read once for a test.
pub(crate) struct Rules(String);

/// Runs all rules of WCAG 2.2 A and AA and the good practices, or those of one kind, and tells each violation in a few
/// lines.
const CHECK: &str = "
const told = arguments[arguments.length - 1];
const few = (text) => text.slice(0, 300);
axe.run(document, { resultTypes: ['violations'], ...KIND }).then(
  ({ violations }) => told(violations.map(({ id, help, nodes }) =>
    `${id}: ${help}\\n` + nodes.slice(0, 3).map(({ target, failureSummary }) => `    ${few(target.join(' '))}: ${few(failureSummary)}`).join('\\n'))),
  (reason) => told([`the rules did not run: ${reason}`]),
);";

impl Rules {
    pub(crate) fn read(tools: &Tools) -> Self {
        Self(std::fs::read_to_string(&tools.rules).expect("the rules can be read"))
    }

    /// Checks the page as it is now; what is violated, in words.
    pub(crate) fn violated_by(&self, browser: &Browser) -> Vec<String> {
        self.check(browser, "{}")
    }

    /// Checks only what colours can violate, as it is enough for a page that differs in nothing else.
    pub(crate) fn violated_by_colours(&self, browser: &Browser) -> Vec<String> {
        self.check(
            browser,
            "{ runOnly: { type: 'rule', values: ['color-contrast', 'link-in-text-block'] } }",
        )
    }

    fn check(&self, browser: &Browser, kind: &str) -> Vec<String> {
        if browser.run("return typeof axe") == "undefined" {
            browser.run(&self.0);
        }
        let told = browser.run_until_told(&CHECK.replace("KIND", kind));
        let told = told.as_array().expect("a list");
        told.iter()
            .map(|one| one.as_str().unwrap_or_default().to_owned())
            .collect()
    }
}
