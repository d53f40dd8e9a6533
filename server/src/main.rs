//! The program: arguments become a coordinator or an order to one; whatever stops it is said in one line.

mod terminal;

use std::path::Path;
use std::process::ExitCode;

use clap::error::ErrorKind;
use consort_coordinator::args::{Args, Order};
use consort_coordinator::config::data_folder;
use consort_coordinator::control::OrderBody;
use consort_coordinator::remote::Handle;
use consort_coordinator::{Config, Coordinator};
use consort_session::Session;
use consort_words::Words;
use serde_json::Value;

use crate::terminal::Terminal;

/// What was typed cannot be meant, as shells expect it.
const USAGE: u8 = 2;
/// What was typed cannot be done.
const NOT_DONE: u8 = 1;

fn main() -> ExitCode {
    let args = match Args::typed(std::env::args_os()) {
        Ok(args) => args,
        Err(refused) => return explain(&refused),
    };
    let terminal = Terminal::new(args.json);
    let outcome = match args.order.clone() {
        Some(Order::Replay { file }) => replay(&file, &terminal),
        Some(order) => send(&order, &args, &terminal),
        None => open(args, &terminal),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            terminal::complain(why.as_ref());
            ExitCode::from(NOT_DONE)
        }
    }
}

/// Any error on its way to the one line that is printed of it.
type Outcome = Result<(), Box<dyn std::error::Error>>;

/// Opens the session and serves it until a signal or an order ends it.
fn open(args: Args, terminal: &Terminal) -> Outcome {
    terminal::start_logging();
    let opens_browser = !args.opening.no_browser && !args.json;
    // Before any thread runs: the local time can be asked for only then.
    terminal.starts(args.opening.start);
    let config = Config::try_from(args)?;
    terminal.before_the_system_asks(&config.data);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let asked_to_end = terminal::asked_to_end()?;
        let coordinator = Coordinator::bind(config)?;
        terminal.opened(&coordinator);
        if opens_browser {
            terminal::open_in_browser(&coordinator.addresses().control);
        }
        let showing = terminal.show(coordinator.viewer(), coordinator.images());
        tokio::select! {
            ended = coordinator.run(asked_to_end) => ended?,
            () = showing => {}
        }
        terminal.closed();
        Ok(())
    })
}

/// Sends the order to the coordinator that runs on the data folder, and prints what came of it.
fn send(order: &Order, args: &Args, terminal: &Terminal) -> Outcome {
    let folder = data_folder(args.data.clone())?;
    let body = OrderBody::typed(order)?;
    let handle = Handle::find(&folder)?;
    let answer = ask(&handle, &folder, target(order, args.json), body.as_ref())?;
    if let Order::Summary { file } = order {
        return keep(file, &answer);
    }
    terminal.answered(order, &answer);
    if let Order::Start { words } = order {
        terminal.starts(words.join(" ").parse().ok());
    }
    Ok(())
}

/// Plays a logbook again, and says what was in it.
fn replay(file: &Path, terminal: &Terminal) -> Outcome {
    let text = std::fs::read_to_string(file).map_err(|why| format!("{} cannot be read: {why}", file.display()))?;
    let replayed = consort_logbook::replay::<Session>(&text)?;
    terminal.replayed(replayed);
    Ok(())
}

/// Writes the summary that `file`'s name asks for.
fn keep(file: &Path, answer: &Value) -> Outcome {
    let text = |key: &str| answer[key].as_str().map(str::to_owned);
    let text = match file.extension().and_then(|kind| kind.to_str()) {
        Some("html") => text("page"),
        Some("csv") => text("csv"),
        Some("json") => Some(format!("{:#}\n", answer["status"])),
        _ => {
            let name = file.display();
            return Err(format!("{name} says not what to write: let it end in .html, .csv or .json").into());
        }
    };
    let text = text.ok_or("the coordinator gives no summary: is it another version?")?;
    std::fs::write(file, text).map_err(|why| format!("{} cannot be written: {why}", file.display()))?;
    Ok(())
}

/// What the order asks of the control page: people read the status as lines, programs as one object.
const fn target(order: &Order, json: bool) -> &'static str {
    match order {
        Order::Link => "/link.json",
        Order::Summary { .. } => "/summaries.json",
        Order::Status if json => "/status.json",
        Order::Status => "/lines.json",
        _ => "/order",
    }
}

fn ask(
    handle: &Handle,
    folder: &Path,
    target: &str,
    body: Option<&OrderBody>,
) -> Result<Value, Box<dyn std::error::Error>> {
    let body = body.map(serde_json::to_value).transpose()?;
    Ok(handle.ask(folder, target, body.as_ref())?)
}

/// Prints help, or in one line what of the typed options cannot be meant.
fn explain(refused: &clap::Error) -> ExitCode {
    match refused.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => {
            // Nothing is left to do when even the help cannot be printed.
            let _ = refused.print();
            ExitCode::SUCCESS
        }
        _ => {
            terminal::complain_of_usage(&Words::english().typed(refused));
            ExitCode::from(USAGE)
        }
    }
}
