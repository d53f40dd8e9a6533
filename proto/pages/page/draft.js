// What the leader has decided and not sent, and the orders that are sent.
import { at, post, say } from "./follow.js";

// `now` is the newest picture of the session, `draft` what is decided; what is absent stays as it is. `since` is how what
// was decided stood when the first decision was made: another page may change it meanwhile.
export const state = { now: null, draft: {}, since: null };

let render = () => {};
export const whenDecided = (show) => { render = show; };

export const decided = () => Object.keys(state.draft).length > 0;

export function decide(key, value, asItIs) {
  if (!decided()) state.since = state.now;
  if (value === asItIs) delete state.draft[key];
  else state.draft[key] = value;
  say("answer", "");
  render();
}

export function forget() {
  state.draft = {};
  state.since = null;
}

// One order; true when it was taken.
export async function order(body) {
  const answer = await post("order", body).catch(() => null);
  if (answer?.ok) return true;
  const told = await answer?.json().catch(() => null);
  say("answer", told?.why ?? "The coordinator did not take this.");
  at("answer").scrollIntoView({ block: "nearest" });
  return false;
}
