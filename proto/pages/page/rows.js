// When each harp will be ready: a row from now to its likely end, with the start as a post; and those that are.
import { at, clock, make, say, still } from "./follow.js";
import { drawMini } from "./section.js";
import { shape } from "./strings.js";

// Rows that jump cannot be read: their order is renewed only this often, in milliseconds.
const SORT_EVERY = 10_000;
const SLIDE = 400;
const WIDTH = 1000;

const wide = matchMedia("(min-width: 1000px)");

const rows = new Map();
const ready = new Map();
let sorted = { at: 0, about: "", order: [] };
let span = 0;

// Late ones first, then who cannot be heard, then the others, the last to be ready first.
const rank = ({ state, against, presence }) => (state === "unheard" ? (presence === "silent" ? 1 : 2) : against === "late" ? 0 : 3);

function inOrder(harps) {
  const about = harps.map(({ seat, state }) => seat + state).join();
  if (about !== sorted.about || Date.now() - sorted.at > SORT_EVERY) {
    const ends = (harp) => harp.ready_in_s?.[1] ?? 1e6;
    const order = [...harps].sort((a, b) => rank(a) - rank(b) || ends(b) - ends(a) || b.left - a.left || a.seat - b.seat);
    sorted = { at: Date.now(), about, order: order.map((harp) => harp.seat) };
  }
  const bySeat = new Map(harps.map((harp) => [harp.seat, harp]));
  return sorted.order.map((seat) => bySeat.get(seat));
}

// How far ahead the rows look, in seconds: no further than needed, and not another distance at every look.
function lookAhead(board, harps) {
  const ends = harps.map((harp) => harp.ready_in_s?.[harp.against === "late" ? 1 : 2] ?? 0);
  const needed = Math.min(5400, Math.max(300, (board.start_in_s ?? 0) * 1.3, ...ends.map((end) => end * 1.15)));
  if (needed > span || needed < span * 0.6) span = Math.ceil(needed / 60) * 60 * 1.1;
  return span;
}

function row(seat) {
  const parts = { item: make("li", "row"), seat: make("span", "seat"), name: make("span", "name"), left: make("span", "left"), track: make("div", "track"), line: make("div", "line"), label: make("span", "ends"), sentence: make("span", "unseen"), drawn: "" };
  parts.small = shape("svg", { class: "mini", viewBox: "0 0 94 30", preserveAspectRatio: "none" });
  parts.svg = shape("svg", { viewBox: `0 0 ${WIDTH} 100`, preserveAspectRatio: "none" });
  parts.svg.append(...["bow", "range", "over", "end", "post"].map((name) => (parts[name] = shape("path", { class: name, "vector-effect": "non-scaling-stroke" }))));
  parts.line.append(parts.svg, parts.label);
  parts.track.append(parts.line);
  for (const part of [parts.seat, parts.name, parts.small, parts.left, parts.track]) part.setAttribute("aria-hidden", "true");
  parts.item.append(parts.seat, parts.name, parts.small, parts.left, parts.track, parts.sentence);
  rows.set(seat, parts);
  return parts;
}

// The row for those who hear it; whoever sees a wall may hear it, too.
const spoken = (harp) => (document.body.dataset.people === "names" ? `${harp.sentence} ${harp.strings_say}` : harp.sentence_by_seat);

const stroke = (from, to) => (to > from ? `M${from} 50H${to}` : "");

function fill(harp, board, who, close) {
  const parts = rows.get(harp.seat) ?? row(harp.seat);
  say(parts.seat, String(harp.seat));
  say(parts.name, who(harp));
  say(parts.left, String(harp.left));
  say(parts.sentence, spoken(harp));
  if (!close) drawMini(parts.small, harp.strings);
  const x = (seconds) => Math.min(WIDTH, Math.round((seconds / span) * WIDTH));
  const start = board.start_in_s > 0 ? x(board.start_in_s) : null;
  const [soonest, likely, latest] = harp.ready_in_s?.map(x) ?? [0, 0, 0];
  const late = harp.against === "late";
  const end = late ? Math.min(likely, start) : likely;
  const heard = harp.state !== "unheard";
  const told = harp.ready_in_s !== null;
  const height = Math.min(44, 6 + harp.left * 1.5);
  const name = `row ${harp.state} ${harp.against} ${harp.presence}`;
  if (parts.item.className !== name) parts.item.className = name;
  const bow = told && (heard || harp.presence === "away") ? `M0 50Q${end / 2} ${50 - 2 * height} ${end} 50${late ? "Z" : ""}` : stroke(0, start ?? WIDTH * 0.5);
  const paths = {
    bow,
    range: told && heard && !late ? stroke(soonest, latest) : "",
    over: late && heard ? stroke(start, likely) : "",
    end: told && heard && !late ? `M${likely} 28V72` : "",
    // Beyond its own row, so that no gap shows between rows of a broken height.
    post: start === null ? "" : `M${start} -5V105`,
  };
  const drawn = Object.values(paths).join();
  if (drawn !== parts.drawn) {
    parts.drawn = drawn;
    for (const [name, d] of Object.entries(paths)) if (parts[name].getAttribute("d") !== d) parts[name].setAttribute("d", d);
    const drawnTo = told && (heard || harp.presence === "away") ? end : start ?? WIDTH * 0.5;
    const right = Math.max(late ? likely : told && heard ? latest : drawnTo, late ? 0 : start ?? 0);
    parts.label.style.left = `calc(${right / 10}% + .4em)`;
  }
  say(parts.label, harp.when.replace("{time}", clock(harp.ready_in_s?.[1])));
  return parts.item;
}

// Which share of the axis a label takes. Measured only when its size has changed: asking lays the whole page out.
let share = null;
let watch = null;
function labelShare() {
  const scale = at("axis").firstElementChild;
  if (!scale) return 0.3;
  if (!watch) {
    watch = new ResizeObserver(() => (share = null));
    watch.observe(at("axis"));
  }
  share ??= (4.4 * parseFloat(getComputedStyle(at("axis")).fontSize)) / Math.max(1, scale.clientWidth);
  return share;
}

// Times of day along the top: now, the start, and round ones between.
function showAxis(board) {
  const start = board.start_in_s > 0 ? board.start_in_s : null;
  // No closer to each other than they are wide.
  const room = span * labelShare();
  const step = [60, 120, 300, 600, 900, 1800].find((seconds) => seconds >= room) ?? 3600;
  const now = new Date();
  const past = (now.getHours() * 60 + now.getMinutes()) * 60 + now.getSeconds();
  const marks = [];
  for (let at = step - (past % step); at < span * 0.97; at += step) marks.push(at);
  const near = (a, b) => Math.abs(a - b) < room;
  const round = marks.filter((mark) => mark > room && (start === null || !near(mark, start)));
  const labels = [[0, "now", ""], ...round.map((mark) => [mark, clock(mark + 30), ""]), ...(start === null ? [] : [[start, clock(start), "strong"]])];
  const told = JSON.stringify(labels.map(([seconds, text]) => [Math.round((seconds / span) * 400), text]));
  if (at("axis").dataset.told === told) return;
  at("axis").dataset.told = told;
  const scale = make("div");
  scale.append(...labels.map(([seconds, text, weight]) => {
    const label = make("span", weight, text);
    label.style.left = `${(seconds / span) * 100}%`;
    return label;
  }));
  const first = !at("axis").firstElementChild;
  at("axis").replaceChildren(scale);
  // How wide it is can be asked only now.
  if (first) showAxis(board);
}

// Puts the rows into the list in their order; those that were there before slide to their places.
function place(list, items) {
  if (items.length === list.children.length && items.every((item, place) => list.children[place] === item)) return;
  const before = new Map(still() ? [] : [...list.children].map((item) => [item, item.getBoundingClientRect()]));
  list.replaceChildren(...items);
  for (const [item, from] of before) {
    if (!item.isConnected) continue;
    const to = item.getBoundingClientRect();
    const [dx, dy] = [from.left - to.left, from.top - to.top];
    if (dx || dy) item.animate([{ transform: `translate(${dx}px, ${dy}px)` }, { transform: "none" }], { duration: SLIDE, easing: "ease-in-out" });
  }
}

export function showRows(board, who, most) {
  const left = board.harps.filter((harp) => harp.state !== "ready");
  at("when").hidden = left.length === 0;
  const harps = inOrder(left).slice(0, most);
  lookAhead(board, harps);
  // As many columns as the rows need to keep a height that can be read from the back.
  const columns = harps.length > 48 ? 3 : harps.length > 24 ? 2 : 1;
  // Close rows, and a phone's, have no room for a harp: what is left is told by the number.
  const close = columns > 1 || !wide.matches;
  place(at("rows"), harps.map((harp) => fill(harp, board, who, close)));
  at("rows").style.setProperty("--count", harps.length);
  at("when").style.setProperty("--lines", Math.ceil(harps.length / columns));
  at("when").classList.toggle("columns", columns > 1);
  at("when").classList.toggle("words-only", columns > 2);
  at("axis").hidden = columns > 1;
  if (columns === 1) showAxis(board);
  const more = left.length - harps.length;
  at("more-rows").hidden = more === 0;
  say("more-rows", more ? `and ${more} more` : "");
  const seats = new Set(left.map((harp) => harp.seat));
  for (const seat of rows.keys()) if (!seats.has(seat)) rows.delete(seat);
}

function readyItem(harp, board, who) {
  const parts = ready.get(harp.seat) ?? { item: make("li"), seat: make("span", "seat"), name: make("span", "name"), since: make("small"), aside: make("small", "aside"), sentence: make("span", "unseen") };
  if (!ready.has(harp.seat)) {
    const svg = shape("svg", { viewBox: "0 0 10 20" });
    svg.append(shape("path", { class: "line gut", d: "M5 1V19", "stroke-width": 5 }), shape("path", { class: "pin full", d: "M1 0h8v5h-8zM1 15h8v5h-8z" }));
    for (const part of [svg, parts.seat, parts.name, parts.since, parts.aside]) part.setAttribute("aria-hidden", "true");
    parts.item.append(svg, parts.seat, parts.name, parts.since, parts.aside, parts.sentence);
    ready.set(harp.seat, parts);
  }
  const people = document.body.dataset.people !== "seats";
  say(parts.seat, String(harp.seat));
  say(parts.name, who(harp));
  say(parts.since, harp.ready_for_s === null || board.harps.length > 24 ? "" : clock(-harp.ready_for_s));
  // What is set aside is of her strings: only those see it who may see people.
  // A screen that has no room for all of it leaves that to the list of who needs a hand.
  say(parts.aside, document.body.classList.contains("terse") ? "" : [harp.age, people && harp.help, ...(people ? harp.aside : [])].filter(Boolean).join(" · "));
  say(parts.sentence, spoken(harp));
  return parts.item;
}

export function showReady(board, who) {
  const harps = board.crowd ? [] : board.harps.filter((harp) => harp.state === "ready");
  at("ready").hidden = harps.length === 0;
  place(at("ready").querySelector("ul"), harps.map((harp) => readyItem(harp, board, who)));
  const seats = new Set(harps.map((harp) => harp.seat));
  for (const seat of ready.keys()) if (!seats.has(seat)) ready.delete(seat);
}
