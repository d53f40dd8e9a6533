// The leader's control: gathers decisions, says what they do, and sends them together. Every text is only set as text.
import { at, enter, follow, make, post, say, showQuestions, speak } from "./follow.js";
import { curve, belly, drawHarp, drawOctave, shape, signed, NOTES } from "./strings.js";

const PEDALS = ["D", "C", "B", "E", "F", "G", "A"];
const ACCIDENTALS = ["b", "", "#"];
const SPOKEN = { b: "flat", "": "natural", "#": "sharp" };
const SIGN = { b: "♭", "": "", "#": "♯" };

const tell = speak("sentence");
let now = null;
// What is decided and not sent; what is absent stays as it is.
let draft = {};
let consequence = null;
let asked = "";
let sending = false;

const decided = () => Object.keys(draft).length > 0;
const tuningDraft = () => Object.fromEntries(["hz", "temperament", "setting"].filter((key) => key in draft && !(key === "hz" && (noPitch() || outOfReach()))).map((key) => [key, draft[key]]));

function decide(key, value, asItIs) {
  if (value === asItIs) delete draft[key];
  else draft[key] = value;
  say("answer", "");
  render();
}

// Pitch.

const plain = (hz) => String(Math.round(hz * 1000) / 1000);

// What was typed and is no pitch is kept as it stands, so that the bar can say so and nothing is sent.
const noPitch = () => typeof draft.hz === "string";
// Half-typed numbers are mostly out of reach: nothing needs to be asked to say so.
const outOfReach = () => typeof draft.hz === "number" && (draft.hz < now.pitch_range_hz[0] || draft.hz > now.pitch_range_hz[1]);
const shownHz = () => (noPitch() ? draft.hz : plain(draft.hz ?? now.pitch_hz));

// As people write a pitch: 442, 442.5, 442,5, A = 442, 442 Hz.
function typedHz(text) {
  const number = text.replace(/^\s*(a4?\s*=)?\s*/i, "").replace(/\s*(hz)?\s*$/i, "").replace("−", "-").replace(",", ".");
  return /^[-+]?\d+(\.\d+)?$/.test(number) ? Number(number) : text.trim();
}

function step(by) {
  const [least, most] = now.pitch_range_hz;
  decide("hz", Math.min(most, Math.max(least, Math.round(noPitch() ? now.pitch_hz : draft.hz ?? now.pitch_hz) + by)), now.pitch_hz);
  at("hz").value = shownHz();
}

at("lower").addEventListener("click", () => step(-1));
at("higher").addEventListener("click", () => step(1));
at("hz").addEventListener("input", () => {
  if (!now) return;
  const hz = typedHz(at("hz").value);
  decide("hz", hz === "" ? now.pitch_hz : hz, now.pitch_hz);
});
at("hz").addEventListener("blur", () => { if (now) at("hz").value = shownHz(); });

// Temperament.

function choices() {
  const names = [...now.temperaments.map(({ word, name }) => [word, name]), ["own", "own offsets"]];
  if (at("temperaments").querySelectorAll("input").length === names.length) return;
  at("temperaments").append(...names.map(([word, name]) => {
    const choice = make("label", "choice");
    const input = make("input");
    Object.assign(input, { type: "radio", name: "temperament", value: word });
    input.addEventListener("change", () => {
      if (word === "own") decide("temperament", at("offsets").value || now.offsets.join(" "), null);
      else decide("temperament", word, now.temperament);
    });
    choice.append(input, make("span", "", name));
    return choice;
  }));
  at("offsets").value = now.offsets.join(" ");
}

at("offsets").addEventListener("input", () => decide("temperament", at("offsets").value, null));

function showTemperament() {
  choices();
  const drafted = draft.temperament ?? now.temperament;
  const named = now.temperaments.find(({ word }) => word === drafted);
  const word = named ? drafted : "own";
  for (const input of at("temperaments").querySelectorAll("input")) input.checked = input.value === word;
  at("own-offsets").hidden = word !== "own";
  const typed = at("offsets").value.replaceAll("−", "-").split(/[\s,;]+/).filter(Boolean).map(Number);
  const own = typed.length === 12 && typed.every(Number.isFinite) ? typed.map((cents) => cents - typed[9]) : now.offsets;
  const offsets = named ? named.offsets : draft.temperament ? own : now.offsets;
  drawOctave(at("octave"), offsets);
  const away = offsets.map((cents, place) => [NOTES[place], cents]).filter(([, cents]) => Math.abs(cents) >= 0.05);
  say("octave-says", away.length ? "Cents against equal, A kept." : "Cents against equal: none.");
  at("octave-says").setAttribute("aria-label", away.length ? `Cents against equal, A kept: ${away.map(([note, cents]) => `${note} ${signed(cents, 1)}`).join(", ")}.` : "Cents against equal: none.");
}

// Setting.

const pedalsOf = (text) => Object.fromEntries(text.split(/[\s|]+/).filter(Boolean).map((word) => [word[0], word.slice(1)]));

function shownPedals() {
  const wanted = draft.setting ?? now.setting;
  return pedalsOf(now.settings.find(({ key }) => key === wanted)?.pedals ?? wanted);
}

function movePedal(letter) {
  const pedals = shownPedals();
  pedals[letter] = ACCIDENTALS[(ACCIDENTALS.indexOf(pedals[letter]) + 1) % 3];
  const text = PEDALS.map((name) => name + pedals[name]);
  const whole = `${text.slice(0, 3).join(" ")} | ${text.slice(3).join(" ")}`;
  // A setting that is a major key goes by the key's name.
  decide("setting", now.settings.find(({ pedals: same }) => same === whole)?.key ?? whole, now.setting);
}

function showSetting() {
  if (at("pedals").children.length === 0) {
    for (const letter of PEDALS) {
      if (letter === "E") at("pedals").append(make("span", "between"));
      const button = make("button", letter === "C" ? "c" : letter === "F" ? "f" : "");
      button.type = "button";
      button.dataset.letter = letter;
      const svg = shape("svg", { viewBox: "0 0 36 76", "aria-hidden": "true" });
      button.append(svg, make("span", "", letter));
      button.addEventListener("click", () => movePedal(letter));
      at("pedals").append(button);
    }
    at("key").append(...now.settings.map(({ key, name }) => new Option(name, key)), new Option("other pedals", ""));
  }
  const pedals = shownPedals();
  for (const button of at("pedals").querySelectorAll("button")) {
    const letter = button.dataset.letter;
    const accidental = pedals[letter] ?? "";
    const y = 12 + 26 * ACCIDENTALS.indexOf(accidental);
    button.setAttribute("aria-label", `${letter} pedal: ${SPOKEN[accidental]}. Press to move`);
    say(button.querySelector("span"), letter + SIGN[accidental]);
    button.querySelector("svg").replaceChildren(
      shape("path", { class: "rail", d: "M18 6V70M11 12h14M11 38h14M11 64h14" }),
      shape("path", { class: "pedal", d: `M3 ${y - 6}h30v12h-30z` }),
    );
  }
  const wanted = draft.setting ?? now.setting;
  if (document.activeElement !== at("key")) at("key").value = now.settings.some(({ key }) => key === wanted) ? wanted : "";
}

at("key").addEventListener("change", () => { if (at("key").value) decide("setting", at("key").value, now.setting); });

// Tolerance: how far a string may bow and still count as straight.

function showTolerance() {
  const rows = [["gut and nylon", now.tolerance.middle], ["wires", now.tolerance.wires], ["top octave and a half", now.tolerance.top]];
  const told = JSON.stringify(rows);
  if (at("tolerance").dataset.told === told) return;
  at("tolerance").dataset.told = told;
  at("tolerance").replaceChildren(...rows.map(([what, cents]) => {
    const item = make("li");
    const svg = shape("svg", { viewBox: "-20 0 40 72", "aria-hidden": "true" });
    const pod = belly(cents, 60);
    svg.append(
      ...[-pod, pod].map((bend) => shape("path", { class: "pod", d: curve(0, 6, 66, bend) })),
      shape("path", { class: "line gut", d: curve(0, 6, 66, 0), "stroke-width": 4 }),
      shape("path", { class: "pin full", d: "M-4 2h8v8h-8zM-4 62h8v8h-8z" }),
    );
    const says = make("p");
    says.append(make("b", "", plain(cents)), ` ${cents === 1 ? "cent" : "cents"} either side, ${what}`);
    item.append(svg, says);
    return item;
  }));
}

// Start and round.

at("start").addEventListener("change", () => {
  if (at("start").value) decide("start", at("start").value, null);
});
at("no-start").addEventListener("click", () => decide("start", "none", now.board.start_in_s === null ? "none" : null));
at("round").addEventListener("click", () => decide("round", !draft.round, false));

function secondsUntil(time) {
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
  const question = JSON.stringify([tuning, now.board.revision]);
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

function bar() {
  const lines = [];
  if (noPitch()) lines.push(`“${draft.hz}” is not a pitch: give A4 in hertz, as in 442 or 440.5.`);
  if (outOfReach()) lines.push(`A4 = ${plain(draft.hz)} Hz is out of reach: harps are tuned to an A4 from ${now.pitch_range_hz.join(" to ")} Hz.`);
  at("hz").setAttribute("aria-invalid", String(noPitch() || outOfReach()));
  const tuned = Object.keys(tuningDraft()).length > 0;
  if (tuned && consequence?.why) lines.push(consequence.why);
  else if (tuned && consequence) lines.push(`${consequence.agreement}, was ${now.board.agreement}.`, consequence.says);
  else if (tuned) lines.push("…");
  if (draft.start === "none") lines.push("No start is set then.");
  else if (draft.start) lines.push(`Start at ${draft.start}.`);
  if (draft.round) lines.push("A new round: every string counts as not heard until it is plucked again.");
  if (draft.remove) lines.push(`${draft.remove.name} is turned away until let back in.`);
  at("bar").classList.toggle("waiting", decided());
  const harps = now.heard === 1 ? "1 harp" : `${now.heard} harps`;
  if (decided()) {
    const whole = ["Not sent yet:", ...lines].join(" ");
    if (at("consequence").textContent !== whole) at("consequence").replaceChildren(make("strong", "", "Not sent yet:"), ` ${lines.join(" ")}`);
  } else {
    say("consequence", `Everything is sent. ${now.board.agreement}.`);
  }
  say("send", now.heard === 0 ? "Send" : `Send to ${harps}`);
  at("keep").disabled = !decided() || sending;
  at("send").disabled = !decided() || sending || noPitch() || outOfReach() || (tuned && !consequence?.says);
}

at("keep").addEventListener("click", () => {
  draft = {};
  at("start").value = "";
  say("answer", "");
  if (now) {
    at("hz").value = plain(now.pitch_hz);
    render();
  }
});

// One order; true when it was taken.
async function order(body) {
  const answer = await post("order", body).catch(() => null);
  if (answer?.ok) return true;
  const told = await answer?.json().catch(() => null);
  say("answer", told?.why ?? "The coordinator did not take this.");
  return false;
}

// In this order, and each only after the one before was taken: the round comes last, since it is judged by the rest.
const ORDERS = {
  setting: (key) => ({ order: "setting", key }),
  temperament: (name) => ({ order: "temperament", name }),
  hz: (hz) => ({ order: "pitch", hz }),
  start: (time) => ({ order: "start", in_s: time === "none" ? null : secondsUntil(time) }),
  remove: ({ station }) => ({ order: "remove", station }),
  round: () => ({ order: "round" }),
};

at("draft").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!now || sending || at("send").disabled) return;
  sending = true;
  say("answer", "");
  render();
  for (const [key, body] of Object.entries(ORDERS)) {
    if (!(key in draft)) continue;
    if (!await order(body(draft[key]))) break;
    delete draft[key];
    if (key === "start") at("start").value = "";
  }
  sending = false;
  render();
});

// What is done at once, since it can be taken back at once.

at("undo").addEventListener("click", () => order({ order: "undo" }));
at("new-code").addEventListener("click", () => order({ order: "code" }));
at("joining").addEventListener("click", () => order({ order: "joining", open: !now.joining }));

async function copy(button, text) {
  const done = await navigator.clipboard.writeText(text).then(() => true, () => false);
  const before = button.textContent;
  button.textContent = done ? "Copied" : "Select and copy it by hand";
  setTimeout(() => { button.textContent = before; }, 2500);
}

at("copy-join").addEventListener("click", () => copy(at("copy-join"), now.links.join));
at("copy-board").addEventListener("click", () => copy(at("copy-board"), now.links.board));

function drawQr(svg, qr) {
  svg.toggleAttribute("hidden", !qr);
  svg.style.display = qr ? "" : "none";
  if (!qr || svg.dataset.path === qr.path) return;
  svg.dataset.path = qr.path;
  svg.setAttribute("viewBox", `-4 -4 ${qr.side + 8} ${qr.side + 8}`);
  svg.replaceChildren(shape("path", { d: qr.path, "shape-rendering": "crispEdges" }));
}

// Harps.

const rows = new Map();

function row(seat) {
  const parts = { item: make("li", "harp"), drawn: "" };
  for (const name of ["seat", "name", "says"]) parts[name] = make("span", name);
  for (const name of ["harp", "presence"]) parts[name] = make("small");
  for (const name of ["player", "left"]) parts[name] = make("span");
  parts.name.append(parts.player, parts.harp);
  parts.says.append(parts.left, parts.presence);
  parts.svg = shape("svg", { "aria-hidden": "true" });
  parts.unseen = make("p", "unseen");
  parts.notes = make("p", "notes");
  parts.button = make("button");
  parts.button.type = "button";
  parts.button.addEventListener("click", () => {
    const station = now.stations.find((one) => one.seat === seat);
    if (station.removed) order({ order: "let-back", station: station.station });
    else decide("remove", { station: station.station, name: station.name, seat }, null);
  });
  parts.deputy = make("button", "", "Let it change the agreement");
  parts.deputy.type = "button";
  parts.deputy.addEventListener("click", () => {
    const station = now.stations.find((one) => one.seat === seat);
    order({ order: "deputy", station: station.station, granted: !station.deputy });
  });
  parts.buttons = make("span", "buttons");
  parts.buttons.append(parts.deputy, parts.button);
  parts.item.append(parts.seat, parts.name, parts.says, parts.svg, parts.unseen, parts.notes, parts.buttons);
  rows.set(seat, parts);
  return parts;
}

function showHarps() {
  say("headline", [now.board.headline, now.board.count].filter(Boolean).join(" · "));
  const items = now.stations.map((station) => {
    const parts = rows.get(station.seat) ?? row(station.seat);
    const harp = now.board.harps.find((one) => one.seat === station.seat);
    say(parts.seat, String(station.seat));
    say(parts.player, station.name);
    say(parts.harp, harp ? `${harp.harp} · tag ${station.tag}` : `tag ${station.tag}`);
    say(parts.left, harp?.says ?? "");
    say(parts.presence, station.presence_says);
    say(parts.notes, [harp?.help, ...(harp?.aside ?? [])].filter(Boolean).join(" · "));
    say(parts.unseen, harp?.strings_say);
    say(parts.button, station.removed ? "Let back in" : "Turn away");
    parts.button.setAttribute("aria-label", `${parts.button.textContent}: ${station.name}`);
    parts.deputy.hidden = station.removed;
    parts.deputy.setAttribute("aria-pressed", String(station.deputy));
    parts.deputy.setAttribute("aria-label", `${parts.deputy.textContent}: ${station.name}`);
    parts.svg.style.display = harp ? "" : "none";
    const picture = harp ? JSON.stringify([harp.strings, harp.state]) : "";
    if (harp && parts.drawn !== picture) {
      parts.drawn = picture;
      const strings = harp.strings.map(([name, standing, cents]) => ({ name, letter: name.at(-1), standing, cents }));
      drawHarp(parts.svg, strings, { width: 640, height: 140, unheard: harp.state === "unheard" });
    }
    return parts.item;
  });
  const list = at("harps");
  if (items.length !== list.children.length || items.some((item, place) => list.children[place] !== item)) list.replaceChildren(...items);
}

function render() {
  if (!now) return;
  if (document.activeElement !== at("hz")) at("hz").value = shownHz();
  showTemperament();
  showSetting();
  showTolerance();
  at("round").setAttribute("aria-pressed", String(Boolean(draft.round)));
  at("undo").disabled = !now.can_undo;
  ask();
  bar();
}

function show(page) {
  now = page;
  document.body.classList.remove("lost");
  document.title = `Control · ${page.board.ensemble}`;
  say("ensemble", page.board.ensemble);
  say("agreement", page.board.agreement);
  say("trouble", page.board.trouble);
  at("trouble").hidden = !page.board.trouble;
  say("start-says", page.board.start ?? "none set");
  say("joining-says", page.joining_says);
  say("joining", page.joining ? "Close joining" : "Open joining");
  say("code", page.code);
  at("code").hidden = !page.code;
  say("code-says", page.code_says);
  say("newcomer", page.newcomer);
  showQuestions(at("questions"), page.questions, order);
  say("address", page.links.address);
  say("tag", page.links.tag);
  say("join", page.links.join);
  say("board", page.links.board);
  at("board").href = page.links.board;
  at("board").target = "_blank";
  at("board").rel = "noreferrer";
  // A deputy changes the agreement; who joins is the leader's business.
  document.querySelector("aside").hidden = page.links.join === "";
  drawQr(at("join-qr"), page.links.join_qr);
  drawQr(at("board-qr"), page.links.board_qr);
  tell(page.board.sentence);
  showHarps();
  render();
}

function lost(seen, refused) {
  document.body.classList.add("lost");
  say("consequence", seen && !refused ? "No word from the coordinator. Is it running?" : "Open this page by the address that the coordinator printed.");
  at("send").disabled = true;
}

await enter();
follow(show, lost);
