// What is tuned to: pitch, temperament, setting and tolerance, as they are and as they are decided.
import { at, make, say } from "./follow.js";
import { decide, state } from "./draft.js";
import { curve, belly, drawOctave, shape, signed, NOTES } from "./strings.js";

const PEDALS = ["D", "C", "B", "E", "F", "G", "A"];
const ACCIDENTALS = ["b", "", "#"];
const SPOKEN = { b: "flat", "": "natural", "#": "sharp" };
const SIGN = { b: "♭", "": "", "#": "♯" };

// Pitch.

export const plain = (hz) => String(Math.round(hz * 1000) / 1000);

// What was typed and is no pitch is kept as it stands, so that the bar can say so and nothing is sent.
export const noPitch = () => typeof state.draft.hz === "string";
// Half-typed numbers are mostly out of reach: nothing needs to be asked to say so.
export const outOfReach = () => typeof state.draft.hz === "number" && (state.draft.hz < state.now.pitch_range_hz[0] || state.draft.hz > state.now.pitch_range_hz[1]);
export const shownHz = () => (noPitch() ? state.draft.hz : plain(state.draft.hz ?? state.now.pitch_hz));

// As people write a pitch: 442, 442.5, 442,5, A = 442, 442 Hz.
function typedHz(text) {
  const number = text.replace(/^\s*(a4?\s*=)?\s*/i, "").replace(/\s*(hz)?\s*$/i, "").replace("−", "-").replace(",", ".");
  return /^[-+]?\d+(\.\d+)?$/.test(number) ? Number(number) : text.trim();
}

function step(by) {
  const [least, most] = state.now.pitch_range_hz;
  decide("hz", Math.min(most, Math.max(least, Math.round(noPitch() ? state.now.pitch_hz : state.draft.hz ?? state.now.pitch_hz) + by)), state.now.pitch_hz);
  at("hz").value = shownHz();
}

at("lower").addEventListener("click", () => step(-1));
at("higher").addEventListener("click", () => step(1));
at("hz").addEventListener("input", () => {
  if (!state.now) return;
  const hz = typedHz(at("hz").value);
  decide("hz", hz === "" ? state.now.pitch_hz : hz, state.now.pitch_hz);
});
// The A that the harps are nearest to is only written into the field: what it does is said before it is sent.
at("cheapest").querySelector("button").addEventListener("click", () => {
  decide("hz", state.now.cheapest.hz, state.now.pitch_hz);
  at("hz").value = shownHz();
});

export function showCheapest() {
  at("cheapest").hidden = !state.now.cheapest;
  say(at("cheapest").querySelector("span"), state.now.cheapest?.says);
}

at("hz").addEventListener("blur", () => { if (state.now) at("hz").value = shownHz(); });

// Temperament.

function choices() {
  const names = [...state.now.temperaments.map(({ word, name }) => [word, name]), ["own", "own offsets"]];
  if (at("temperaments").querySelectorAll("input").length === names.length) return;
  at("temperaments").append(...names.map(([word, name]) => {
    const choice = make("label", "choice");
    const input = make("input");
    Object.assign(input, { type: "radio", name: "temperament", value: word });
    input.addEventListener("change", () => {
      if (word === "own") decide("temperament", at("offsets").value || state.now.offsets.join(" "), null);
      else {
        home = 0;
        at("home").value = "0";
        decide("temperament", word, state.now.temperament);
      }
    });
    choice.append(input, make("span", "", name));
    return choice;
  }));
  at("offsets").value = state.now.offsets.join(" ");
  at("home").append(...NOTES.map((note, place) => new Option(note, place)));
}

at("offsets").addEventListener("input", () => decide("temperament", at("offsets").value, null));

// The note on which the temperament is at home; moving it moves all twelve offsets, and they become one's own.
let home = 0;

at("home").addEventListener("change", () => {
  const by = Number(at("home").value) - home;
  const from = shownOffsets();
  const moved = from.map((_, place) => from[(place - by + 24) % 12]);
  home = Number(at("home").value);
  at("offsets").value = moved.map((cents) => plain(Math.round((cents - moved[9]) * 10) / 10)).join(" ");
  decide("temperament", at("offsets").value, null);
});

// Twelve numbers of this size are fifths in cents, C–G first and F–C last; the coordinator says whether they close.
const FIFTHS = [640, 780];

function ofFifths(fifths) {
  const offsets = Array(12).fill(0);
  let above = 0;
  fifths.slice(0, 11).forEach((fifth, place) => { offsets[((place + 1) * 7) % 12] = above += fifth - 700; });
  return fifths.length === 12 ? offsets : [];
}

// The offsets that are decided, or as they are.
function shownOffsets() {
  const drafted = state.draft.temperament ?? state.now.temperament;
  const named = state.now.temperaments.find(({ word }) => word === drafted);
  const typed = at("offsets").value.replaceAll("−", "-").split(/[\s,;]+/).filter(Boolean).map(Number);
  const cents = typed.every((one) => one >= FIFTHS[0] && one <= FIFTHS[1]) ? ofFifths(typed) : typed;
  const own = cents.length === 12 && cents.every(Number.isFinite) ? cents.map((one) => one - cents[9]) : state.now.offsets;
  return named ? named.offsets : state.draft.temperament ? own : state.now.offsets;
}

export function showTemperament() {
  choices();
  const drafted = state.draft.temperament ?? state.now.temperament;
  const named = state.now.temperaments.find(({ word }) => word === drafted);
  const word = named ? drafted : "own";
  for (const input of at("temperaments").querySelectorAll("input")) input.checked = input.value === word;
  at("own-offsets").hidden = word !== "own";
  const offsets = shownOffsets();
  drawOctave(at("octave"), offsets);
  const away = offsets.map((cents, place) => [NOTES[place], cents]).filter(([, cents]) => Math.abs(cents) >= 0.05);
  say("octave-says", away.length ? "Cents against equal, A kept." : "Cents against equal: none.");
  at("octave-says").setAttribute("aria-label", away.length ? `Cents against equal, A kept: ${away.map(([note, cents]) => `${note} ${signed(cents, 1)}`).join(", ")}.` : "Cents against equal: none.");
}

// Setting.

const pedalsOf = (text) => Object.fromEntries(text.split(/[\s|]+/).filter(Boolean).map((word) => [word[0], word.slice(1)]));

function shownPedals() {
  const wanted = state.draft.setting ?? state.now.setting;
  return pedalsOf(state.now.settings.find(({ key }) => key === wanted)?.pedals ?? wanted);
}

function movePedal(letter) {
  const pedals = shownPedals();
  pedals[letter] = ACCIDENTALS[(ACCIDENTALS.indexOf(pedals[letter]) + 1) % 3];
  const text = PEDALS.map((name) => name + pedals[name]);
  const whole = `${text.slice(0, 3).join(" ")} | ${text.slice(3).join(" ")}`;
  // A setting that is a major key goes by the key's name.
  decide("setting", state.now.settings.find(({ pedals: same }) => same === whole)?.key ?? whole, state.now.setting);
}

export function showSetting() {
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
    at("key").append(...state.now.settings.map(({ key, name }) => new Option(name, key)), new Option("other pedals", ""));
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
  const wanted = state.draft.setting ?? state.now.setting;
  if (document.activeElement !== at("key")) at("key").value = state.now.settings.some(({ key }) => key === wanted) ? wanted : "";
}

at("key").addEventListener("change", () => { if (at("key").value) decide("setting", at("key").value, state.now.setting); });

// Tolerance: how far a string may bow and still count as straight.

const CLOSE = [["gut and nylon", "middle"], ["wires", "wires"], ["top octave and a half", "top"]];

function closer(place, cents) {
  const as = CLOSE.map(([, key]) => state.now.tolerance[key]);
  const wanted = [...(state.draft.tolerance ?? as)];
  wanted[place] = cents;
  // The draft goes with its last difference.
  decide("tolerance", wanted.every((cents, place) => cents === as[place]) ? null : wanted, null);
}

function toleranceItem([what], place) {
  const item = make("li");
  const svg = shape("svg", { viewBox: "-20 0 40 72", "aria-hidden": "true" });
  const label = make("label", "field", `cents either side, ${what}`);
  const input = make("input");
  Object.assign(input, { type: "number", min: 0.1, max: 50, step: 0.1, id: `close-${place}` });
  input.addEventListener("input", () => { if (input.validity.valid && input.value !== "") closer(place, input.valueAsNumber); });
  label.prepend(input);
  item.append(svg, label);
  return item;
}

export function showTolerance() {
  const shown = state.draft.tolerance ?? CLOSE.map(([, key]) => state.now.tolerance[key]);
  const told = JSON.stringify(shown);
  if (at("tolerance").dataset.told === told) return;
  at("tolerance").dataset.told = told;
  if (at("tolerance").children.length === 0) at("tolerance").append(...CLOSE.map(toleranceItem));
  shown.forEach((cents, place) => {
    const item = at("tolerance").children[place];
    const input = item.querySelector("input");
    if (document.activeElement !== input) input.value = plain(cents);
    const pod = belly(cents, 60);
    item.querySelector("svg").replaceChildren(
      ...[-pod, pod].map((bend) => shape("path", { class: "pod", d: curve(0, 6, 66, bend) })),
      shape("path", { class: "line gut", d: curve(0, 6, 66, 0), "stroke-width": 4 }),
      shape("path", { class: "pin full", d: "M-4 2h8v8h-8zM-4 62h8v8h-8z" }),
    );
  });
}

// What of the draft is tuned to, as the coordinator is asked about it.
export const tuningDraft = () => Object.fromEntries(["hz", "temperament", "setting"].filter((key) => key in state.draft && !(key === "hz" && (noPitch() || outOfReach()))).map((key) => [key, state.draft[key]]));
