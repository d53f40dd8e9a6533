// Draws the string in hand, large, with the key on its pin; and the link, and the signs beside letters.
import { belly, colour, curve, shape } from "./strings.js";

const [TOP, BOTTOM, MOST] = [40, 560, 232];
// The handle of the key stands up from its pin by so much; a turn that is too small to be seen is drawn this large, degrees.
const [HANDLE, SEEN] = [104, 10];

const square = (x, y, half) => `M${x - half} ${y - half}h${2 * half}v${2 * half}h${-2 * half}z`;
const diamond = (x, y, half) => `M${x} ${y - half}l${half} ${half}l${-half} ${half}l${-half} ${-half}z`;
const ring = (x, y, r) => `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;

// The string in hand; `cents` is null in any doubt, and then nothing is drawn that could be taken for advice. `turn` is
// the turn of the key, `doubt` what has to be looked at first.
export function drawLarge(svg, string, cents, { turn = null, doubt = null } = {}) {
  svg.setAttribute("viewBox", "-260 -86 520 680");
  if (!string) return svg.replaceChildren();
  const parts = [hatch("flat", 45), hatch("sharp", -45), ...[TOP, BOTTOM].map((y) => shape("path", { class: "bar", d: `M-70 ${y}H70` }))];
  parts.push(...(cents === null ? unknown(string, doubt) : heard(string, cents)));
  if (cents !== null && turn) parts.push(...swung(turn));
  svg.replaceChildren(...parts);
}

// A string that is not heard, or not to be turned: dotted, and what may hold it up in its place.
function unknown(string, doubt) {
  const parts = [shape("path", { class: `line ${colour(string.letter)}`, d: curve(0, TOP + 14, BOTTOM, 0), "stroke-width": 9, "stroke-dasharray": "0 20", "stroke-linecap": "round" })];
  // A disc with its two prongs, or the arm of a lever, part-way up the string.
  if (doubt === "pedal") parts.push(shape("path", { class: "catch", d: "M-26 140H26M-26 140v-20M26 140v20" }), shape("path", { class: "mark full", d: ring(0, 140, 22) }));
  if (doubt === "lever") parts.push(shape("path", { class: "catch", d: "M0 140L74 112" }), shape("path", { class: "mark full", d: ring(0, 140, 16) }));
  // Higher than this bar the string does not go.
  if (doubt === "limit") parts.push(shape("path", { class: "catch", d: "M-64 96H64" }));
  if (doubt === "pin") {
    parts.push(...[-1, 1].map((side) => shape("path", { class: "pin large", d: square(side * 96, TOP, 15) })));
    parts.push(shape("path", { class: "frame", d: square(0, TOP, 34) }));
  }
  parts.push(shape("path", { class: "pin large", d: square(0, TOP, 15) }));
  return parts;
}

function heard(string, cents) {
  const inside = Math.abs(cents) <= string.within;
  const holds = string.standing === "holds" && inside;
  const bend = holds ? 0 : belly(cents, MOST);
  const pod = belly(string.within, MOST);
  const parts = [];
  if (!holds) {
    for (const side of [-pod, pod]) parts.push(shape("path", { class: "pod", d: curve(0, TOP, BOTTOM, side) }));
    parts.push(shape("path", { class: "rest", d: curve(0, TOP, BOTTOM, 0) }));
  }
  if (!inside) {
    const area = `${curve(0, TOP, BOTTOM, bend)}z`;
    parts.push(shape("path", { class: "wash", d: area }));
    parts.push(shape("path", { d: area, fill: `url(#${cents < 0 ? "flat" : "sharp"})` }));
  }
  parts.push(shape("path", { class: `line ${colour(string.letter)}`, d: curve(0, TOP, BOTTOM, bend), "stroke-width": holds ? 34 : inside ? 18 : 12 }));
  parts.push(shape("path", { class: holds ? "pin full large" : "pin large", d: square(0, TOP, holds ? 20 : 15) }));
  if (string.standing === "set-once") parts.push(shape("path", { class: "pin full", d: `M-15 ${TOP}h30v15h-30z` }));
  if (string.standing === "moved" && !inside) parts.push(shape("path", { class: "mark large", d: ring(0, BOTTOM, 16) }));
  if (string.standing === "will-not-hold" && !inside) parts.push(shape("path", { class: "mark full", d: diamond(0, BOTTOM, 22) }));
  if (holds) parts.push(shape("path", { class: "pin full large", d: square(0, BOTTOM, 20) }));
  return parts;
}

// The handle of the key where it is, dotted, and where it goes. Away from the harpist is left, where the long strings
// are; nothing is drawn before she has said which way the key goes.
function swung({ degrees, way }) {
  if (!way) return [];
  const angle = Math.min(60, Math.max(SEEN, Math.abs(degrees))) * (way === "away" ? -1 : 1);
  const turned = (angle * Math.PI) / 180;
  const at = (length) => `${Math.round(length * Math.sin(turned))} ${Math.round(TOP - length * Math.cos(turned))}`;
  const reach = HANDLE - 8;
  return [
    shape("path", { class: "swing", d: `M0 ${TOP}L0 ${TOP - reach}A${reach} ${reach} 0 0 ${angle < 0 ? 0 : 1} ${at(reach)}z` }),
    shape("path", { class: "handle was", d: `M0 ${TOP}V${TOP - HANDLE}` }),
    shape("path", { class: "handle", d: `M0 ${TOP}L${at(HANDLE)}` }),
    shape("path", { class: "pin large", d: square(0, TOP, 15), transform: `rotate(${angle} 0 ${TOP})` }),
  ];
}

// Hatching that leans one way for flat and the other for sharp.
function hatch(id, turn) {
  const pattern = shape("pattern", { id, width: 16, height: 16, patternUnits: "userSpaceOnUse", patternTransform: `rotate(${turn})` });
  pattern.append(shape("rect", { class: "hatch", width: 7, height: 16 }));
  return pattern;
}

// Two ends and what is between them: a line, a gap, or nothing where the harp is tuned alone.
export function drawLink(svg, link) {
  const ends = [shape("rect", { class: "knot", x: 2, y: 3, width: 10, height: 10 })];
  if (link !== "alone") ends.push(shape("rect", { class: "knot", x: 42, y: 3, width: 10, height: 10 }));
  if (link === "joined") ends.push(shape("path", { class: "knot", d: "M12 8H42" }));
  if (link === "lost") ends.push(shape("path", { class: "knot", d: "M12 8H20M34 8H42" }));
  svg.replaceChildren(...ends);
}

const SIGNS = { flat: "M8 4V112M8 62C44 34 58 78 8 110", sharp: "M16 12V108M42 8V104M4 44L54 32M4 84L54 72" };

// A flat or a sharp beside a letter, drawn so that it looks the same everywhere.
export function sign(accidental) {
  const svg = shape("svg", { class: "sign", viewBox: "0 0 60 120" });
  if (SIGNS[accidental]) svg.append(shape("path", { d: SIGNS[accidental] }));
  return svg;
}
