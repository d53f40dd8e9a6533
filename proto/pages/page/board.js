// The board: who is ready, what is left, and what there is to decide. Every text is only ever set as text.
import { at, follow, make, say, speak } from "./follow.js";
import { drawHarp, drawSection } from "./strings.js";

const GROUPS = ["tuning", "unheard", "ready"];
// Rows that jump cannot be read: the order follows the count of strings left only this often, in milliseconds.
const SORT_EVERY = 10_000;

const tell = speak("sentence");
const rows = new Map();
let sorted = { at: 0, seats: "", order: [] };
let drawn = "";
let shown = [];
addEventListener("resize", () => shown.forEach(draw));

function row(seat) {
  const parts = {
    item: make("li", "harp"),
    seat: make("span", "seat"),
    name: make("span", "name"),
    says: make("span", "says"),
    notes: make("p", "notes"),
    sentence: make("p", "unseen"),
    drawn: "",
  };
  parts.svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  for (const part of [parts.seat, parts.name, parts.says, parts.svg, parts.notes]) part.setAttribute("aria-hidden", "true");
  parts.item.append(parts.seat, parts.name, parts.says, parts.svg, parts.notes, parts.sentence);
  rows.set(seat, parts);
  return parts;
}

function fill(harp) {
  const parts = rows.get(harp.seat) ?? row(harp.seat);
  say(parts.seat, String(harp.seat));
  say(parts.name, harp.name);
  // Among the ready the heading says it; what is set aside stands in its place, for those who may see it.
  const [ready, aside] = [harp.state === "ready", [harp.help, ...harp.aside].filter(Boolean).join(" · ")];
  const open = document.body.classList.contains("people");
  say(parts.says, ready ? (open ? aside : "") : (harp.state === "unheard" && harp.presence_says) || harp.says);
  say(parts.notes, aside);
  say(parts.sentence, `${harp.sentence} ${harp.strings_say}`);
  parts.notes.hidden = ready || aside === "";
  return parts.item;
}

// Draws a harp as wide and as low as its place; what has not changed is not drawn again, since a phone has better uses
// for its battery.
function draw(harp) {
  const parts = rows.get(harp.seat);
  const { clientWidth, clientHeight } = parts.svg;
  const height = Math.round(Math.min(320, Math.max(70, (600 * clientHeight) / Math.max(1, clientWidth))));
  const picture = JSON.stringify([harp.strings, harp.state, height]);
  if (parts.drawn === picture) return;
  parts.drawn = picture;
  const strings = harp.strings.map(([name, standing, cents]) => ({ name, letter: name.at(-1), standing, cents }));
  drawHarp(parts.svg, strings, { width: 600, height, unheard: harp.state === "unheard" });
}

// The seats in the order shown: most left first, renewed slowly; who comes or goes is placed at once.
function order(harps) {
  const seats = harps.map((harp) => harp.seat).join();
  if (seats !== sorted.seats || Date.now() - sorted.at > SORT_EVERY) {
    const byLeft = [...harps].sort((a, b) => b.left - a.left || a.seat - b.seat);
    sorted = { at: Date.now(), seats, order: byLeft.map((harp) => harp.seat) };
  }
  return sorted.order.map((seat) => harps.find((harp) => harp.seat === seat));
}

// As few columns, and so as wide harps, as a wall has rows for.
function columns(harps) {
  const most = harps.length > 12 ? 6 : 4;
  const counts = GROUPS.map((state) => harps.filter((harp) => harp.state === state).length);
  const needed = (wide) => counts.reduce((sum, count) => sum + Math.ceil(count / wide), 0);
  if (harps.length === 1) return 1;
  return [2, 3, 4, 5, 6, 7].find((wide) => needed(wide) <= most) ?? 8;
}

export function show(board) {
  document.title = `Board · ${board.ensemble}`;
  document.body.classList.remove("lost");
  say("ensemble", board.ensemble);
  say("agreement", board.agreement);
  say("headline", board.headline);
  const counts = [[board.count, "strong"], [board.start, "strong"], [board.round, ""]].filter(([text]) => text).map(([text, weight]) => make("span", weight, text));
  if (at("counts").textContent !== counts.map((part) => part.textContent).join("")) at("counts").replaceChildren(...counts);
  say("trouble", board.trouble);
  at("trouble").hidden = !board.trouble;
  tell(board.sentence);
  const section = JSON.stringify(board.harps.map(({ seat, state, presence, left }) => [seat, state, presence, left]));
  if (section !== drawn) {
    drawn = section;
    drawSection(at("section"), board.harps);
    at("section").style.visibility = board.harps.length ? "" : "hidden";
  }
  document.body.classList.toggle("crowd", board.harps.length > 12);
  document.body.classList.toggle("few", board.harps.length < 5);
  at("nobody").hidden = board.harps.length > 0;
  const harps = order(board.harps);
  const wide = columns(harps);
  for (const state of GROUPS) {
    const group = at(state);
    const list = group.querySelector("ul");
    const mine = harps.filter((harp) => harp.state === state);
    if (state === "ready") mine.sort((a, b) => a.seat - b.seat);
    const items = mine.map(fill);
    if (items.length !== list.children.length || items.some((item, place) => list.children[place] !== item)) list.replaceChildren(...items);
    group.hidden = items.length === 0;
    group.style.setProperty("--columns", wide);
    group.style.setProperty("--rows", Math.ceil(items.length / wide));
  }
  shown = board.harps;
  shown.forEach(draw);
  for (const seat of rows.keys()) if (!board.harps.some((harp) => harp.seat === seat)) rows.delete(seat);
}

// What is shown may no longer be true, and says so.
function lost(seen) {
  const since = seen ? "No word from the coordinator. This is how it was." : "The board is not open, or has no place left. Trying again.";
  document.body.classList.add("lost");
  say("headline", since);
  tell(since);
}

function people(on) {
  document.body.classList.toggle("people", on);
  at("people").setAttribute("aria-pressed", String(on));
  shown.forEach(fill);
  shown.forEach(draw);
}

// A harp of which nothing has been heard yet.
function drawNobody() {
  const letters = ["G", "F", "E", "D", "C", "B", "A"];
  const strings = Array.from({ length: 47 }, (_, place) => ({ letter: letters[place % 7], standing: "not-heard", cents: null }));
  drawHarp(at("nobody-harp"), strings, { width: 960, height: 320 });
}

if (at("people")) {
  drawNobody();
  const named = new URLSearchParams(location.search).get("names");
  people(named ? named === "show" : matchMedia("(max-width: 759px)").matches);
  at("people").addEventListener("click", () => people(!document.body.classList.contains("people")));
  // The coordinator says something at least every five seconds.
  follow(show, lost, 12_000);
}
