// Draws the whole section: all harps as one, as strands of a register, as one called string side by side.
import { Strokes, belly, curve, outline, round, shape, signed, square } from "./strings.js";

const phone = matchMedia("(max-width: 759px)");

// What lies over what in the section, from below.
const SECTION_ORDER = ["away", "late", "line", "gap", "pin"];

const block = (x, y, width, height) => `M${round(x)} ${round(y)}h${round(width)}v${round(height)}h${round(-width)}z`;

// The section: one string for each harp in the order of seats; what is left to tune makes it bow.
export function drawSection(svg, harps) {
  const [width, height] = [560, 190];
  svg.setAttribute("viewBox", `0 0 ${width} ${height + 26}`);
  const { gap, at, frame } = outline(width, height, harps.length);
  const half = Math.min(7, gap * 0.22);
  const strokes = new Strokes();
  const labels = [];
  // Seat 1 sits on the left.
  harps.forEach((harp, place) => {
    const { x, top, bottom } = at(harps.length - 1 - place);
    const ready = harp.state === "ready";
    const bend = harp.state === "tuning" ? -Math.min(gap * 0.42, 26) * Math.max(0.2, harp.left / Math.max(1, harp.strings.length)) ** 0.6 : 0;
    const line = curve(x, top + half, bottom, bend);
    // Who will be late is seen from afar: the bow is filled, and a block stands over the pin.
    if (harp.against === "late") {
      strokes.add("away", 0, `${line}z`);
      strokes.add("late", 0, block(x - half * 1.2, top - half - 24, half * 2.4, 20));
    }
    strokes.add("line gut", ready ? Math.min(14, gap * 0.5) : 2.5, line, harp.presence === "silent" ? "0 7" : undefined);
    if (harp.presence === "away") strokes.add("gap", 0, block(x - 6, (top + bottom) / 2 - 12, 12, 24));
    strokes.add(ready ? "pin full" : "pin", 2, square(x, top, half));
    // In a large section only every other seat has room for its number, or every fifth.
    if (gap > 20 || (gap > 14 ? place % 2 === 0 : place % 5 === 4)) labels.push(shape("text", { class: "label", x: round(x), y: round(bottom + 21), "font-size": 15 }, harp.seat));
  });
  svg.replaceChildren(frame(5), ...strokes.shapes(SECTION_ORDER), ...labels);
}

// So many harps that each is one stroke: thick when ready, bowed while tuning, dotted or broken when not heard.
export function drawCrowd(svg, harps) {
  // On a phone in shorter lines, so that their first seats can be read.
  const narrow = phone.matches;
  const wide = Math.ceil(Math.sqrt(harps.length * (narrow ? 0.7 : 2.6)));
  const [gap, high, edge, letters] = [24, 40, narrow ? 84 : 64, narrow ? 28 : 23];
  svg.setAttribute("viewBox", `0 0 ${wide * gap + edge} ${Math.ceil(harps.length / wide) * high}`);
  const paths = { ready: "", tuning: "", late: "", silent: "", away: "" };
  const parts = [];
  harps.forEach((harp, place) => {
    const x = edge + gap * ((place % wide) + 0.5);
    const y = high * Math.floor(place / wide);
    const [top, bottom] = [y + 6, y + 32];
    if (place % wide === 0) parts.push(shape("text", { class: "label", x: edge / 2 - 4, y: y + 27, "font-size": letters }, harp.seat));
    const kind = harp.state === "unheard" ? (harp.presence === "silent" ? "silent" : "away") : harp.against === "late" ? "late" : harp.state;
    const bend = kind === "tuning" || kind === "late" ? -3 - 6 * Math.min(1, harp.left / 30) : 0;
    paths[kind] += kind === "away" ? `M${x} ${top}v9M${x} ${bottom}v-9` : curve(x, top, bottom, bend) + (kind === "late" ? "z" : "");
  });
  const look = { ready: { class: "line gut", "stroke-width": 9 }, tuning: { class: "line gut", "stroke-width": 2.5 }, late: { class: "late", "stroke-width": 2.5 }, silent: { class: "line gut", "stroke-width": 4, "stroke-dasharray": "0 7", "stroke-linecap": "round" }, away: { class: "line gut", "stroke-width": 3 } };
  svg.replaceChildren(...parts, ...Object.entries(paths).filter(([, d]) => d).map(([kind, d]) => shape("path", { ...look[kind], d })));
}

const HOLDING = new Set(["holds", "new", "missing", "will-not-hold"]);
const minis = new Map();

// What each of so many strings is drawn as in the smallest picture of a harp: all harps of one size share it.
function mini(count) {
  if (!minis.has(count)) {
    minis.set(count, Array.from({ length: count }, (_, place) => {
      const t = 1 - place / Math.max(1, count - 1);
      const x = round(2 + 90 * (1 - t));
      const [top, bottom] = [round(4 + 17 * (1 - t) ** 1.2), round(28 - 6 * (1 - t))];
      return { line: `M${x} ${top}V${bottom}`, dot: `M${round(x - 0.7)} ${round(bottom - 1)}h1.4v1.6h-1.4z` };
    }));
  }
  return minis.get(count);
}

// A harp so small that only what is left can be seen: a line for every string that holds, a dot where one does not.
export function drawMini(svg, strings) {
  const places = mini(strings.length);
  let [lines, dots] = ["", ""];
  strings.forEach(([, standing], place) => {
    if (HOLDING.has(standing)) lines += places[place].line;
    else dots += places[place].dot;
  });
  if (!svg.firstChild) svg.append(shape("path", { class: "line gut", "stroke-width": 1.15 }), shape("path", { class: "late" }));
  [[svg.firstChild, lines], [svg.lastChild, dots]].forEach(([path, d]) => { if (path.getAttribute("d") !== d) path.setAttribute("d", d); });
}

// A register: one strand for each harp between two blocks; those that agree lie together as one cord.
export function drawStrands(svg, { strands, wide }) {
  const [top, bottom] = [8, 142];
  const side = (cents) => Math.max(-50, Math.min(50, cents * 7.4));
  const last = strands.length - 1;
  const lines = strands.map((cents, place) => shape("path", {
    class: wide && (place === 0 || place === last) ? "line apart" : "line gut",
    d: curve(60, top, bottom, side(cents)), "stroke-width": wide && (place === 0 || place === last) ? 4 : 2.6,
  }));
  svg.replaceChildren(...lines, shape("path", { class: "pin full", d: "M51 1h18v11h-18zM51 138h18v11h-18z" }));
}

// One called string on every harp, side by side in the order of seats. Drawn as wide as it is shown, so that its figures
// can be read: on a phone in rows of ten, elsewhere in one.
export function drawCalled(svg, harps) {
  const width = svg.clientWidth || 720;
  const rows = Math.ceil(harps.length / (width < 600 ? 10 : 64));
  const each = Math.ceil(harps.length / Math.max(1, rows));
  const gap = Math.min(64, width / Math.max(1, each));
  const high = 124;
  svg.setAttribute("viewBox", `0 0 ${round(width)} ${high * Math.max(1, rows)}`);
  const heard = harps.map(({ cents }) => cents).filter((cents) => cents !== null);
  const ends = new Set([Math.min(...heard), Math.max(...heard)]);
  const isEnd = (cents) => ends.delete(cents);
  const pin = Math.min(6, gap * 0.24);
  return harps.flatMap(({ seat, standing, cents }, place) => {
    const x = round(gap * ((place % each) + 0.5));
    const y = high * Math.floor(place / each);
    const line = (bend) => curve(x, y + 10, y + 82, bend);
    const bend = cents === null ? 0 : belly(cents, gap * 0.45);
    const near = cents !== null && standing === "holds";
    const parts = cents === null
      ? [shape("path", { class: "line gut", d: line(0), "stroke-width": 3, "stroke-dasharray": "0 8", "stroke-linecap": "round" })]
      : [...(near ? [] : [shape("path", { class: "away", d: `${line(bend)}z` })]), shape("path", { class: "line gut", d: line(near ? 0 : bend), "stroke-width": near ? Math.min(10, gap * 0.4) : Math.min(4, gap * 0.25) })];
    parts.push(shape("path", { class: near ? "pin full" : "pin", d: square(x, y + 8, pin), "stroke-width": Math.min(2, pin * 0.4) }));
    // Close together every other seat has room for its number, or every fifth; and only the lowest and the highest say where they are.
    if (gap >= 24 || (gap >= 14 ? place % 2 === 0 : place % 5 === 4)) parts.push(shape("text", { class: "label", x, y: y + 99, "font-size": 14 }, seat));
    if (cents !== null && (gap >= 30 || isEnd(cents))) parts.push(shape("text", { class: "label", x, y: y + 117, "font-size": 14 }, signed(cents)));
    return parts;
  });
}

// What stands beside a sentence about who needs a hand.
export function drawHand(svg, kind) {
  const draw = {
    help: () => [shape("path", { class: "mark full", d: "M6 20V9h3V3h3v6h1V2h3v7h1V4h3v16z" })],
    "will-not-hold": () => [shape("path", { class: "mark full", d: "M12 2L22 12L12 22L2 12Z" })],
    pedal: () => [shape("path", { class: "line c", d: "M12 1V23", "stroke-width": 3.4 }), shape("path", { class: "mark full", d: "M2 11a4.4 4.4 0 1 0 8.8 0a4.4 4.4 0 1 0 -8.8 0zM13.2 11a4.4 4.4 0 1 0 8.8 0a4.4 4.4 0 1 0 -8.8 0z" })],
    silent: () => [shape("path", { class: "line ink", d: "M12 2V23", "stroke-width": 4, "stroke-dasharray": "0 7", "stroke-linecap": "round" })],
    away: () => [shape("path", { class: "line ink", d: "M12 1V9M12 15V23", "stroke-width": 3.4 })],
    quiet: () => [shape("path", { class: "line ink", d: "M12 1V23", "stroke-width": 2, "stroke-dasharray": "0 5", "stroke-linecap": "round" })],
    overhears: () => [shape("path", { class: "line ink", d: "M6 1V23", "stroke-width": 3.4 }), shape("path", { class: "line ink", d: "M18 1V23", "stroke-width": 2, "stroke-dasharray": "0 5", "stroke-linecap": "round" })],
    copied: () => [shape("path", { class: "line ink", d: "M8 1V23M16 1V23", "stroke-width": 3 })],
  }[kind];
  svg.replaceChildren(...draw());
}
