// Checks by listening: which one, on which string, what was heard and what it means. Every text is only set as text.
import { at, say } from "./follow.js";
import { belly, colour, curve, round, shape } from "./strings.js";

const [MIDDLE, THIN, THICK] = [70, 3, 46];
// How wide it is drawn: on a phone less, so that its words are not shrunk with it, but room enough for each of many strings.
const [WIDE, NARROW, EACH] = [1000, 440, 64];
const phone = matchMedia("(max-width: 640px)");
let send = null;
let shown = "";
let last = null;

export function openEar(now) {
  const strings = at("listen-string");
  const before = strings.value;
  strings.replaceChildren(...now.strings.map((string) => new Option(string.name, string.string)));
  strings.value = before || now.string?.string || String(Math.ceil(now.strings.length / 2));
  say("listen-answer", "");
  at("listen").showModal();
}

async function begin() {
  const why = await send({ wish: "listen", kind: at("listen-kind").value, string: Number(at("listen-string").value) });
  say("listen-answer", why ?? "");
}

export function wireEar(ask) {
  send = ask;
  at("listen-kind").addEventListener("change", begin);
  at("listen-string").addEventListener("change", begin);
  at("listen-begin").addEventListener("click", begin);
  phone.addEventListener("change", () => { if (last) drawEar(last); });
  // However it is closed, strings are tuned again afterwards.
  at("listen").addEventListener("close", () => send({ wish: "listen", kind: null, string: null }));
}

export function showEar(listening) {
  at("listen-heard").hidden = !listening;
  if (!listening) return;
  say("listen-ask", listening.ask);
  say("listen-for", listening.listen_for);
  say("listen-found", listening.trouble ?? listening.found ?? "");
  say("listen-means", listening.trouble ? "" : listening.means ?? "");
  at("listen-heard").classList.toggle("right", listening.right && !listening.trouble);
  drawEar(listening);
}

// Drawn anew only where it would look different: something else was heard, or a phone was turned.
function drawEar(listening) {
  last = listening;
  const picture = JSON.stringify([phone.matches, listening.together, listening.sounds, listening.swell, listening.expected, listening.beats]);
  if (picture === shown) return;
  shown = picture;
  if (listening.together) drawTogether(listening);
  else drawInTurn(listening);
}

// Two strings as one ribbon between its ends: where they swell it is broad, where they fade it is narrow. Above as it was
// heard, below, dotted, as it is when all is in tune; a ribbon that stays even stands still.
function drawTogether({ swell, in_tune, expected, beats }) {
  const width = phone.matches ? NARROW : WIDE;
  const parts = [...ends(MIDDLE, width), ...ends(3 * MIDDLE, width)];
  if (swell.length) parts.push(shape("path", { class: "ribbon", d: ribbon(swell, MIDDLE, width) }));
  else parts.push(shape("path", { class: "rest", d: `M0 ${MIDDLE}H${width}` }));
  parts.push(shape("path", { class: "ribbon wanted", d: ribbon(in_tune, 3 * MIDDLE, width) }));
  const label = (y, text) => shape("text", { class: "label start", x: 0, y }, text);
  parts.push(label(14, beats === null ? "as heard" : `as heard, ${beats.toFixed(1)} in a second`));
  parts.push(label(2 * MIDDLE + 14, `in tune, ${expected.toFixed(1)} in a second`));
  at("listen-drawn").setAttribute("viewBox", `-12 -4 ${width + 24} ${4 * MIDDLE + 8}`);
  at("listen-drawn").replaceChildren(...parts);
}

const ends = (y, width) => [0, width].map((x) => shape("path", { class: "bar", d: `M${x} ${y - 30}V${y + 30}` }));

function ribbon(sizes, y, width) {
  const place = (size, n) => [round((n * width) / (sizes.length - 1)), THIN + (THICK - THIN) * size];
  const above = sizes.map((size, n) => { const [x, half] = place(size, n); return `${x} ${round(y - half)}`; });
  const below = sizes.map((size, n) => { const [x, half] = place(size, n); return `${x} ${round(y + half)}`; }).reverse();
  return `M${above.join("L")}L${below.join("L")}z`;
}

// Strings side by side, each bowed by how far it was heard from what is expected of it.
function drawInTurn({ sounds }) {
  const width = phone.matches ? Math.max(NARROW, EACH * (sounds.length + 1)) : WIDE;
  const gap = width / (sounds.length + 1);
  const [top, bottom, most] = [20, 230, Math.min(80, gap * 0.42)];
  const parts = [];
  sounds.forEach(({ name, letter, cents, now }, place) => {
    const x = (place + 1) * gap;
    parts.push(shape("path", { class: "rest", d: curve(x, top, bottom, 0) }));
    if (cents !== null) parts.push(shape("path", { class: `line ${colour(letter)}`, d: curve(x, top, bottom, belly(cents, most)), "stroke-width": 8 }));
    parts.push(shape("path", { class: cents === null ? "pin" : "pin full", d: `M${round(x - 7)} ${top - 7}h14v14h-14z` }));
    if (now) parts.push(shape("path", { class: "frame", d: `M${round(x - 14)} ${top - 14}h28v28h-28z` }));
    parts.push(shape("text", { class: "label", x, y: bottom + 34, "text-anchor": "middle" }, name));
    parts.push(shape("text", { class: "label", x, y: bottom + 62, "text-anchor": "middle" }, cents === null ? "" : `${cents > 0 ? "+" : cents < 0 ? "−" : ""}${Math.abs(cents).toFixed(1)}`));
  });
  at("listen-drawn").setAttribute("viewBox", `0 0 ${width} 300`);
  at("listen-drawn").replaceChildren(...parts);
}
