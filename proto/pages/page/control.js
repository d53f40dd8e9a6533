// The leader's control: gathers decisions, says what they do, and sends them together. Every text is only set as text.
import { at, clock, enter, follow, make, post, say, speak } from "./follow.js";
import { decide, decided, forget, order, state, whenDecided } from "./draft.js";
import { noPitch, outOfReach, plain, showCheapest, showSetting, showTemperament, showTolerance, shownHz, tuningDraft } from "./tuning.js";
import { showMeasure } from "./measure.js";
import { showHarps, showJoining } from "./seats.js";
import { showCall } from "./call.js";

const tell = speak("sentence");
let consequence = null;
let asked = "";
let sending = false;

// Start and round.

at("start").addEventListener("change", () => {
  if (at("start").value) decide("start", at("start").value, null);
});
at("soon").addEventListener("click", () => decide("start", "soon", null));
at("no-start").addEventListener("click", () => decide("start", "none", state.now.board.start_in_s === null ? "none" : null));
at("round").addEventListener("click", () => decide("round", !state.draft.round, false));
at("new-board").addEventListener("click", () => decide("board", !state.draft.board, false));
at("close").addEventListener("click", () => decide("close", !state.draft.close, false));

function secondsUntil(time) {
  if (time === "soon") return 180;
  const [hours, minutes] = time.split(":").map(Number);
  const start = new Date();
  start.setHours(hours, minutes, 0, 0);
  // A time that has passed today is meant for tomorrow.
  if (start <= new Date()) start.setDate(start.getDate() + 1);
  return Math.round((start - new Date()) / 1000);
}

// The bar.

async function ask() {
  const tuning = tuningDraft();
  const question = JSON.stringify([tuning, state.now.board.revision]);
  if (Object.keys(tuning).length === 0) {
    consequence = null;
    asked = "";
    return;
  }
  if (question === asked) return;
  asked = question;
  consequence = null;
  const answer = await post("consequence", tuning).catch(() => null);
  const told = await answer?.json().catch(() => null);
  if (question !== asked) return;
  consequence = answer?.ok && told ? told : { why: told?.why ?? "The coordinator did not say what this does." };
  render();
}

// What was meant where a decimal point is missing, as in 4425.
function meant() {
  const [least, most] = state.now.pitch_range_hz;
  const hz = state.draft.hz / 10;
  return hz >= least && hz <= most ? `; was ${plain(hz)} meant?` : "";
}

// What another page, a deputy or a command has changed since the first decision was made here.
function changedMeanwhile() {
  const { since, now } = state;
  if (!since || since.board.revision === now.board.revision) return "";
  return since.board.agreement === now.board.agreement ? "Meanwhile something was changed elsewhere." : `Meanwhile it became ${now.board.agreement} elsewhere.`;
}

function startSays(time) {
  if (time === "none") return "No start is set then.";
  if (time === "soon") return `Start in 3 minutes, at ${clock(180)}.`;
  const [hours, minutes] = time.split(":").map(Number);
  const past = new Date();
  const gone = hours * 60 + minutes <= past.getHours() * 60 + past.getMinutes();
  return gone ? `Start at ${time} tomorrow: today that has passed.` : `Start at ${time}.`;
}

function bar() {
  const lines = [];
  if (noPitch()) lines.push(`“${state.draft.hz}” is not a pitch: give A4 in hertz, as in 442 or 440.5.`);
  if (outOfReach()) lines.push(`A4 = ${plain(state.draft.hz)} Hz is out of reach: harps are tuned to an A4 from ${state.now.pitch_range_hz.join(" to ")} Hz${meant()}.`);
  at("hz").setAttribute("aria-invalid", String(noPitch() || outOfReach()));
  const tuned = Object.keys(tuningDraft()).length > 0;
  if (tuned && consequence?.why) lines.push(consequence.why);
  else if (tuned && consequence) lines.push(`${consequence.agreement}, was ${state.now.board.agreement}.`, consequence.says);
  else if (tuned) lines.push("…");
  if (state.draft.tolerance) lines.push(`How close: ${state.draft.tolerance.join(", ")} cents.`);
  if (state.draft.start) lines.push(startSays(state.draft.start));
  if (state.draft.round) lines.push("A new round: every string counts as not heard until it is plucked again.");
  if (state.draft.remove) lines.push(`${state.draft.remove.name} is turned away until let back in.`);
  if (state.draft.board) lines.push("The board gets a new address: whoever looks by the one before sees nothing more.");
  if (state.draft.close) lines.push("The session ends; every station goes on alone, and the next start goes on from here.");
  if (decided() && changedMeanwhile()) lines.push(changedMeanwhile());
  say("caution", tuned ? consequence?.caution : null);
  at("caution").hidden = !(tuned && consequence?.caution);
  say("pedals-say", (tuned && consequence?.pedals) || state.now.pedals_say);
  at("bar").classList.toggle("waiting", decided());
  const harps = state.now.heard === 1 ? "1 harp" : `${state.now.heard} harps`;
  if (decided()) {
    const whole = ["Not sent yet:", ...lines].join(" ");
    if (at("consequence").textContent !== whole) at("consequence").replaceChildren(make("strong", "", "Not sent yet:"), ` ${lines.join(" ")}`);
  } else {
    say("consequence", `Everything is sent. ${state.now.board.agreement}.`);
  }
  say("send", state.now.heard === 0 ? "Send" : `Send to ${harps}`);
  at("keep").disabled = !decided() || sending;
  at("send").disabled = !decided() || sending || noPitch() || outOfReach() || (tuned && !consequence?.says);
}

at("keep").addEventListener("click", () => {
  forget();
  at("start").value = "";
  say("answer", "");
  if (state.now) {
    at("hz").value = plain(state.now.pitch_hz);
    render();
  }
});

// In this order, and each only after the one before was taken: the round comes last, since it is judged by the rest.
const ORDERS = {
  setting: (key) => ({ order: "setting", key }),
  temperament: (name) => ({ order: "temperament", name }),
  hz: (hz) => ({ order: "pitch", hz }),
  tolerance: ([middle, wires, top]) => ({ order: "tolerance", middle, wires, top }),
  start: (time) => ({ order: "start", in_s: time === "none" ? null : secondsUntil(time) }),
  remove: ({ station }) => ({ order: "remove", station }),
  board: () => ({ order: "board" }),
  round: () => ({ order: "round" }),
  close: () => ({ order: "stop" }),
};

at("draft").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!state.now || sending || at("send").disabled) return;
  sending = true;
  say("answer", "");
  render();
  for (const [key, body] of Object.entries(ORDERS)) {
    if (!(key in state.draft)) continue;
    if (!await order(body(state.draft[key]))) break;
    delete state.draft[key];
    if (key === "start") at("start").value = "";
  }
  sending = false;
  if (!decided()) forget();
  render();
});

// What is done at once, since it can be taken back at once.
at("undo").addEventListener("click", () => order({ order: "undo" }));

function render() {
  if (!state.now) return;
  if (document.activeElement !== at("hz")) at("hz").value = shownHz();
  showCheapest();
  showMeasure();
  showTemperament();
  showSetting();
  showTolerance();
  at("round").setAttribute("aria-pressed", String(Boolean(state.draft.round)));
  at("new-board").setAttribute("aria-pressed", String(Boolean(state.draft.board)));
  at("close").setAttribute("aria-pressed", String(Boolean(state.draft.close)));
  at("undo").disabled = !state.now.can_undo;
  ask();
  bar();
}

whenDecided(render);

// What the session came to, which the coordinator makes as it stands then.
for (const [id, file] of [["print", "summary"], ["as-csv", "summary.csv"], ["as-json", "summary.json"]]) at(id).href = file;

function show(page) {
  state.now = page;
  document.body.classList.remove("lost");
  document.title = `Control · ${page.board.ensemble}`;
  say("ensemble", page.board.ensemble);
  say("agreement", page.board.agreement);
  say("trouble", page.board.trouble);
  at("trouble").hidden = !page.board.trouble;
  say("start-says", page.board.start_in_s > 0 ? `${clock(page.board.start_in_s)}, ${page.board.start}` : (page.board.start ?? "none set"));
  // A deputy changes the agreement; the session is the leader's.
  at("end").hidden = page.links.join === "";
  showJoining(page);
  tell(page.board.sentence);
  showHarps();
  showCall();
  render();
}

function lost(seen, refused) {
  document.body.classList.add("lost");
  say("consequence", seen && !refused ? "No word from the coordinator. Is it running?" : "Open this page by the address that the coordinator printed.");
  at("send").disabled = true;
}

await enter();
follow(show, lost);
