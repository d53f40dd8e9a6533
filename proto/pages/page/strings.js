// Draws strings. A string is a line held at both ends: the further it is from its pitch, the further its middle bows,
// to the left when flat and to the right when sharp; in tune it is straight, and when it holds it is thick.

const NS = "http://www.w3.org/2000/svg";

// How far the middle bows for so many cents: fine near the pitch, and no further beyond 50 cents, where words take over.
export function belly(cents, most) {
  return Math.sign(cents) * most * Math.min(1, (Math.abs(cents) / 50) ** 0.6);
}

export function shape(name, attributes, text) {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  return element;
}

// A curve whose middle lies `bend` beside the straight line: a quadratic passes half way to its handle.
export function curve(x, top, bottom, bend) {
  const r = round;
  return bend === 0 ? `M${r(x)} ${r(top)}V${r(bottom)}` : `M${r(x)} ${r(top)}Q${r(x + 2 * bend)} ${r((top + bottom) / 2)} ${r(x)} ${r(bottom)}`;
}

export const round = (number) => Math.round(number * 100) / 100;

export const colour = (letter) => (letter === "C" ? "c" : letter === "F" ? "f" : "gut");

export const square = (x, y, half) => `M${round(x - half)} ${round(y - half)}h${round(2 * half)}v${round(2 * half)}h${round(-2 * half)}z`;
export const diamond = (x, y, half) => `M${round(x)} ${round(y - half)}l${round(half)} ${round(half)}l${round(-half)} ${round(half)}l${round(-half)} ${round(-half)}z`;
export const ring = (x, y, r) => `M${round(x - r)} ${round(y)}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;

// Gathers what is drawn alike into one path each: thirty harps have fourteen hundred strings.
export class Strokes {
  #paths = new Map();

  add(kind, width, d, dash) {
    const key = `${kind}|${width}|${dash ?? ""}`;
    const path = this.#paths.get(key) ?? { kind, width, dash, d: "" };
    path.d += d;
    this.#paths.set(key, path);
  }

  shapes(order) {
    const paths = [...this.#paths.values()];
    const place = (path) => order.findIndex((kind) => path.kind.startsWith(kind));
    return paths.sort((a, b) => place(a) - place(b)).map(({ kind, width, dash, d }) => {
      const attributes = { class: kind, d };
      if (width) attributes["stroke-width"] = round(width);
      if (dash) Object.assign(attributes, { "stroke-dasharray": dash, "stroke-linecap": "round" });
      return shape("path", attributes);
    });
  }
}

const ORDER = ["away", "line", "pin", "mark"];

// One string from its pin at `top` to the soundboard at `bottom`; `gap` is the room it has.
function add(strokes, { letter, standing, cents }, x, top, bottom, gap) {
  const thin = Math.min(3.6, Math.max(0.8, gap * 0.16));
  const pin = Math.min(gap * 0.24, 6);
  const foot = Math.min(gap * 0.42, 9);
  const kind = `line ${colour(letter)}`;
  const off = standing === "off" || standing === "moved" || standing === "will-not-hold";
  const bend = cents !== null && standing !== "holds" ? belly(cents, gap * 0.95) : 0;
  if (standing === "missing") {
    strokes.add("pin gone", thin, square(x, top, pin));
    return;
  }
  if (off) strokes.add("away", 0, `${curve(x, top, bottom, bend)}z`);
  if (standing === "not-heard") {
    strokes.add(kind, thin, curve(x, top + pin, bottom, 0), `0 ${round(Math.max(3, gap * 0.4))}`);
  } else {
    // The strings of a small harp stand far apart, and are strings all the same.
    const room = Math.min(gap, 40);
    const width = { holds: room * 0.46, "set-once": room * 0.3, new: room * 0.3 }[standing] ?? thin;
    strokes.add(kind, Math.max(1, width), curve(x, top, bottom, bend));
  }
  strokes.add("pin", thin, square(x, top, pin));
  if (standing === "holds") strokes.add("pin full", thin, square(x, top, pin));
  if (standing === "set-once") strokes.add("pin full", 0, `M${round(x - pin)} ${round(top)}h${round(2 * pin)}v${round(pin)}h${round(-2 * pin)}z`);
  // The end of a new string still stands up from its pin.
  if (standing === "new") strokes.add("line ink", thin, `M${round(x)} ${round(top - pin)}l${round(pin * 1.4)} ${round(-pin * 3)}`);
  if (standing === "moved") strokes.add("mark", thin * 1.2, ring(x, bottom, round(foot)));
  if (standing === "will-not-hold") strokes.add("mark full", 0, diamond(x, bottom, foot * 1.15));
}

// The outline of a harp of `width` and `height`: where each string's pin and foot are, the longest on the left, as the
// harpist sees it from behind.
export function outline(width, height, count) {
  const inset = width * 0.02 + 4;
  const gap = (width - 2 * inset) / Math.max(1, count);
  const neck = (t) => height * (0.1 + 0.46 * t ** 1.15 - 0.06 * Math.sin(Math.PI * t) * (1 - t));
  const board = (t) => height * (0.94 - 0.14 * t);
  return {
    gap,
    at(index) {
      const x = width - inset - gap * (index + 0.5);
      const t = (x - inset) / (width - 2 * inset);
      return { x, top: neck(t), bottom: board(t) };
    },
    frame(weight) {
      const lift = Math.min(3, gap * 0.1);
      const points = Array.from({ length: 25 }, (_, i) => i / 24);
      const x = (t) => round(inset + t * (width - 2 * inset));
      const over = points.map((t, i) => `${i ? "L" : "M"}${x(t)} ${round(neck(t) - lift)}`).join("");
      return shape("path", {
        class: "wood", "stroke-width": weight, "stroke-linejoin": "round",
        d: `${over}L${x(1) + weight} ${round(board(1))}L${round(inset - weight)} ${round(board(0))}L${round(inset - weight)} ${round(neck(0) - weight)}L${x(0)} ${round(neck(0) - lift)}`,
      });
    },
  };
}

// A whole harp. `strings` run from the top; options: `width`, `height`, the size of the `letters` under the soundboard
// (0 for none), `unheard` for a harp whose last report may no longer be true, `hand` for the number of the string in hand.
export function drawHarp(svg, strings, { width = 600, height = 150, letters = 0, unheard = false, hand = null } = {}) {
  const room = letters * 2.2;
  svg.setAttribute("viewBox", `0 0 ${width} ${height + room}`);
  svg.setAttribute("preserveAspectRatio", letters ? "xMidYMid" : "xMinYMin");
  const { gap, at, frame } = outline(width, height, strings.length);
  const strokes = new Strokes();
  strings.forEach((string, index) => {
    const { x, top, bottom } = at(index);
    add(strokes, string, x, top, bottom, gap);
  });
  const parts = [frame(Math.max(2, height * 0.018)), ...strokes.shapes(ORDER)];
  if (letters) {
    strings.forEach(({ name, letter }, index) => {
      if (letter !== "C" && letter !== "F") return;
      const { x, bottom } = at(index);
      const label = shape("text", { class: `label ${colour(letter)}`, x: round(x), y: round(bottom + 14 + letters), "font-size": letters }, name);
      parts.push(label);
    });
  }
  // A line with a gap in its middle has lost its link.
  if (unheard) {
    const middle = [0, 1].map((t) => at(t ? 0 : strings.length - 1)).map(({ x, top, bottom }) => [x, (top + bottom) / 2]);
    const [[left, low], [right, high]] = middle;
    const half = height * 0.07;
    parts.push(shape("path", { class: "gap", d: `M${round(left - gap)} ${round(low - half)}L${round(right + gap)} ${round(high - half)}V${round(high + half)}L${round(left - gap)} ${round(low + half)}z` }));
  }
  if (hand !== null && strings[hand - 1]) {
    const { x, bottom } = at(hand - 1);
    parts.push(shape("path", { class: "here", d: `M${round(x)} ${round(bottom + 4)}l8 11h-16z` }));
  }
  svg.replaceChildren(...parts);
  return at;
}

export const NOTES = ["C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "G♯", "A", "B♭", "B"];

export const signed = (cents, digits = 0) => {
  const size = Math.abs(cents).toFixed(digits);
  return `${Number(size) === 0 ? "" : cents < 0 ? "−" : "+"}${size}`;
};

// The twelve notes of a temperament, each bowed by what it differs from equal.
export function drawOctave(svg, offsets) {
  const [gap, top, bottom] = [30, 10, 104];
  svg.setAttribute("viewBox", `0 0 ${gap * 12} 148`);
  const parts = offsets.flatMap((cents, place) => {
    const x = gap * (place + 0.5);
    const name = NOTES[place];
    const natural = name.length === 1;
    const bend = belly(cents, 16);
    return [
      shape("path", { class: "away", d: `${curve(x, top, bottom, bend)}z` }),
      shape("path", { class: `line ${colour(name)}`, d: curve(x, top, bottom, bend), "stroke-width": natural ? 4 : 2.5 }),
      shape("path", { class: "pin full", d: square(x, top, 4) }),
      shape("text", { class: `label ${colour(name)}`, x, y: 124, "font-size": 14.5 }, name),
      shape("text", { class: "label", x, y: 144, "font-size": 14 }, signed(cents)),
    ];
  });
  svg.replaceChildren(...parts);
}
