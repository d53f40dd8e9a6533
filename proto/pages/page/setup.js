// Harp, sound and way of tuning: chosen here, seen drawn, sent as a wish, taken back again.
import { at, make, say } from "./follow.js";
import { drawHarp, shape } from "./strings.js";

const LETTERS = ["D", "C", "B", "E", "F", "G", "A"];
const ACCIDENTALS = { flat: "flat", natural: "natural", sharp: "sharp" };
const UP = "CDEFGAB";
let send = null;
let harp = null;
let sizes = [];
let scientific = false;
let tracing = null;

const fetched = (name) => fetch(name).then((answer) => (answer.ok ? answer.json() : null)).catch(() => null);
const letter = (string) => string.note[0];
const SIGNS = { flat: "♭", sharp: "♯" };

// A string as she calls it: 4C♭ the harpist's way, whose octaves count from the top and change at E, or C♭4.
function named({ note, open }) {
  const [name, octave] = [note[0], Number(note.slice(1))];
  const sign = SIGNS[open] ?? "";
  return scientific ? `${name}${sign}${octave}` : `${("CD".includes(name) ? 8 : 7) - octave}${name}${sign}`;
}

function fill(select, options, chosen) {
  select.replaceChildren(...options.map(([value, text]) => new Option(text, value, false, value === chosen)));
}

function showHarp() {
  const drawn = harp.strings.map((string) => ({ name: named({ ...string, open: "natural" }), letter: letter(string), standing: "holds", cents: null }));
  drawHarp(at("harp-drawn"), drawn, { width: 1000, height: 180, letters: 15 });
  const strings = harp.strings.map((string, index) => [String(index), `${named(string)}, ${string.material}`]);
  const [from, to] = [at("from").value, at("to").value];
  fill(at("from"), strings, from || "0");
  fill(at("to"), strings, to || String(harp.strings.length - 1));
  if (document.activeElement !== at("harp-name")) at("harp-name").value = harp.name;
  const of = (name) => harp.strings.find((string) => letter(string) === name && string.mechanism !== "fixed");
  for (const name of LETTERS) {
    const select = at(`letter-${name}`);
    select.disabled = !of(name);
    select.value = of(name)?.open ?? "natural";
  }
  const fixed = harp.strings.filter((string) => string.mechanism === "fixed");
  at("fixed-row").hidden = fixed.length === 0;
  at("fixed").replaceChildren(...fixed.map((string) => {
    const label = make("label", "", `${named({ ...string, open: "natural" })} `);
    const select = make("select");
    fill(select, Object.entries(ACCIDENTALS), string.open);
    select.addEventListener("change", () => { string.open = select.value; showHarp(); });
    label.append(select);
    return label;
  }));
}

function showLetters() {
  at("letters").replaceChildren(...LETTERS.map((name, place) => {
    const label = make("label", place === 3 ? "right-foot" : "", `${name} `);
    const select = make("select");
    select.id = `letter-${name}`;
    fill(select, Object.entries(ACCIDENTALS), "natural");
    select.addEventListener("change", () => {
      for (const string of harp.strings) if (letter(string) === name && string.mechanism !== "fixed") string.open = select.value;
      showHarp();
    });
    label.append(select);
    return label;
  }));
}

// The note one letter above or below another.
function beside(note, by) {
  const steps = UP.indexOf(note[0]) + 7 * Number(note.slice(1)) + by;
  return `${UP[((steps % 7) + 7) % 7]}${Math.floor(steps / 7)}`;
}

function resize(top, more) {
  const { strings } = harp;
  if (!more) {
    if (strings.length > 1) strings.splice(top ? 0 : -1, 1);
  } else {
    const end = top ? strings[0] : strings.at(-1);
    const next = { ...end, note: beside(end.note, top ? 1 : -1) };
    next.open = strings.find((string) => letter(string) === next.note[0] && string.mechanism !== "fixed")?.open ?? end.open;
    if (top) strings.unshift(next);
    else strings.push(next);
  }
  at("from").value = at("to").value = "";
  showHarp();
}

async function showSound(telling) {
  const inputs = (await fetched("inputs.json")) ?? [];
  fill(at("input"), [["", "what the system prefers"], ...inputs.map((input) => [input.name, `${input.description} (${input.rate} Hz)`])], telling.input ?? "");
}

async function trace(health) {
  const peaks = (await fetched("trace.json")) ?? [];
  const line = peaks.map((peak, index) => {
    const half = Math.max(0.6, 40 * Math.sqrt(peak));
    return `M${index * 10 + 1} ${40 - half}h8v${2 * half}h-8z`;
  });
  at("trace").replaceChildren(shape("path", { d: line.join("") || "M0 40h600v1h-600z" }));
  say("health", health());
}

// Opens the set-up; `picture` gives what the desk shows now.
export async function openSetup(picture) {
  const loaded = await fetched("harp.json");
  if (!loaded || at("setup").open) return;
  ({ harp, sizes } = loaded);
  const own = sizes.findIndex((size) => size.name === harp.name);
  fill(at("size"), [["", "as it is"], ...sizes.map((size, index) => [String(index), size.name])], own < 0 ? "" : String(own));
  const { telling } = picture();
  ({ scientific } = telling);
  showLetters();
  at("from").value = at("to").value = "";
  showHarp();
  at("order").value = telling.order;
  at("key").value = telling.key ?? "";
  at("octaves").value = telling.scientific ? "scientific" : "harp";
  at("quick").value = telling.quick ? "yes" : "no";
  at("undo").disabled = !telling.can_undo;
  say("setup-answer", "");
  at("setup").showModal();
  showSound(telling);
  const health = () => picture().health;
  clearInterval(tracing);
  tracing = setInterval(() => trace(health), 200);
  trace(health);
}

// The harp as it is, said to be right.
export async function keepHarp() {
  const loaded = await fetched("harp.json");
  if (loaded) await send({ wish: "harp", harp: loaded.harp });
}

// Wires the set-up; `wish` sends, and says on the page why something is not taken.
export function wireSetup(wish, picture) {
  send = wish;
  const tell = async (body) => {
    const why = await wish(body);
    say("setup-answer", why ?? "");
    at("undo").disabled = false;
    return why === null;
  };
  at("size").addEventListener("change", () => {
    const size = sizes[Number(at("size").value)];
    if (at("size").value === "" || !size) return;
    harp = structuredClone(size);
    at("from").value = at("to").value = "";
    showHarp();
  });
  at("harp-name").addEventListener("input", () => { harp.name = at("harp-name").value; });
  at("set-material").addEventListener("click", () => {
    const [from, to] = [at("from"), at("to")].map((select) => Number(select.value)).sort((a, b) => a - b);
    harp.strings.slice(from, to + 1).forEach((string) => { string.material = at("material").value; });
    showHarp();
  });
  for (const [id, top, more] of [["more-top", true, true], ["less-top", true, false], ["more-bottom", false, true], ["less-bottom", false, false]]) {
    at(id).addEventListener("click", () => resize(top, more));
  }
  at("harp-play").addEventListener("click", async () => { if (await tell({ wish: "harp", harp })) at("setup").close(); });
  at("undo").addEventListener("click", async () => { if (await tell({ wish: "undo" })) at("setup").close(); });
  at("input").addEventListener("change", () => tell({ wish: "input", name: at("input").value || null }));
  at("order").addEventListener("change", () => tell({ wish: "order", order: at("order").value }));
  at("key").addEventListener("change", () => tell({ wish: "key-way", way: at("key").value || null }));
  at("octaves").addEventListener("change", () => {
    scientific = at("octaves").value === "scientific";
    tell({ wish: "scientific", on: scientific });
    showHarp();
  });
  at("quick").addEventListener("change", () => tell({ wish: "quick", on: at("quick").value === "yes" }));
  at("setup").addEventListener("close", () => clearInterval(tracing));
  at("open-setup").addEventListener("click", () => openSetup(picture));
  at("fresh-choose").addEventListener("click", () => openSetup(picture));
  at("fresh-right").addEventListener("click", keepHarp);
}
