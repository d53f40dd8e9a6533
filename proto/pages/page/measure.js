// The A that somebody gives near this laptop: its station listens for some seconds, and what it hears is proposed.
import { at, say } from "./follow.js";
import { state } from "./draft.js";

const LISTENS_S = 6;
let listening = null;

// Leaving the request is what stops the listening.
async function measure() {
  if (listening) return listening.abort();
  listening = new AbortController();
  say("answer", "");
  const begun = Date.now();
  const tell = () => say("measuring", `Listening through this laptop, ${Math.min(LISTENS_S, Math.round((Date.now() - begun) / 1000))} of ${LISTENS_S} s. Let the A sound.`);
  const ticking = setInterval(tell, 500);
  tell();
  show();
  const headers = { "Content-Type": "application/json", "X-Consort": "1" };
  const body = JSON.stringify({ order: "measure" });
  const answer = await fetch("order", { method: "POST", headers, body, signal: listening.signal }).catch(() => null);
  const told = await answer?.json().catch(() => null);
  clearInterval(ticking);
  if (listening.signal.aborted) say("measuring", "");
  else say("measuring", answer?.ok ? "Measured: see what is asked." : told?.why ?? "The coordinator did not answer.");
  listening = null;
  show();
}

function show() {
  say("measure", listening ? "Stop listening" : "Measure the A");
  at("measure").setAttribute("aria-pressed", String(listening !== null));
}

// A deputy's laptop is not where the A is given.
export function showMeasure() {
  at("measure").parentElement.hidden = state.now.links.join === "";
}

at("measure").addEventListener("click", measure);
