// Draws strings: a line held at both ends, the further from its pitch the further its middle bows, straight in tune.

const NS = "http://www.w3.org/2000/svg";

function shape(name, attributes) {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}

// How far the middle bows: to the left when flat, fine near the pitch, and no further beyond 50 cents.
export function belly(cents, most) {
  return Math.sign(cents) * most * Math.min(1, Math.abs(cents) / 50) ** 0.6;
}

// A curve through the point `bend` beside its own middle; a quadratic passes half way to its handle.
function bowed(x, top, bottom, bend) {
  return `M${x} ${top} Q${x + 2 * bend} ${(top + bottom) / 2} ${x} ${bottom}`;
}

function colour(letter) {
  return letter === "C" ? "c" : letter === "F" ? "f" : "gut";
}

// The string in hand, large.
export function drawBow(svg, string) {
  if (!string) return svg.replaceChildren();
  const [top, bottom] = [30, 570];
  const known = string.cents !== null;
  const bend = known ? belly(string.cents, 232) : 0;
  const parts = [];
  if (known) {
    const pod = belly(string.within, 232);
    parts.push(shape("path", { class: "pod", d: `${bowed(0, top, bottom, -pod)} Q${2 * pod} ${(top + bottom) / 2} 0 ${top}` }));
    if (Math.abs(string.cents) > string.within) {
      parts.push(shape("path", { class: "away", d: `${bowed(0, top, bottom, bend)} Z` }));
    }
  }
  const state = known ? string.standing : "not-heard";
  parts.push(shape("path", { class: `string large ${colour(string.letter)} ${state}`, d: bowed(0, top, bottom, bend) }));
  parts.push(...pin(0, top, state, 12));
  parts.push(shape("circle", { class: "pin filled", cx: 0, cy: bottom, r: 6 }));
  svg.replaceChildren(...parts);
}

// The whole harp, the longest string on the left as a harpist sees it from the back.
export function drawHarp(svg, strings, inHand, choose) {
  const gap = 1400 / Math.max(1, strings.length);
  const parts = strings.map((string, index) => {
    const x = 1440 - 20 - gap * (index + 0.5);
    const bottom = 60 + 140 * ((index + 1) / strings.length) ** 0.7;
    const bend = string.cents === null ? 0 : belly(string.cents, gap * 0.9);
    const group = shape("g", { class: string.string === inHand ? "one in-hand" : "one" });
    group.append(shape("rect", { class: "reach", x: x - gap / 2, y: 0, width: gap, height: 250 }));
    if (string.standing !== "missing") {
      group.append(shape("path", { class: `string ${colour(string.letter)} ${string.standing}`, d: bowed(x, 20, bottom, bend) }));
    }
    group.append(...pin(x, 20, string.standing, 5));
    if (string.standing === "moved") group.append(shape("circle", { class: "pin", cx: x, cy: bottom, r: 6 }));
    if (string.standing === "will-not-hold") {
      group.append(shape("path", { class: "pin filled", d: `M${x} ${bottom - 8} l6 8 l-6 8 l-6 -8 Z` }));
    }
    if (string.letter === "C" || string.letter === "F") {
      const text = shape("text", { class: colour(string.letter), x, y: bottom + 28 });
      text.textContent = string.name;
      group.append(text);
    }
    if (string.string === inHand) {
      group.append(shape("path", { class: "here", d: `M${x} ${bottom + 34} l9 14 h-18 Z` }));
    }
    group.addEventListener("click", () => choose(string.string));
    return group;
  });
  svg.replaceChildren(...parts);
}

// The pin says by its filling what the string is: open, half, or full.
function pin(x, y, standing, size) {
  const open = shape("circle", { class: standing === "missing" ? "pin gone" : "pin", cx: x, cy: y, r: size });
  if (standing === "holds") return [shape("circle", { class: "pin filled", cx: x, cy: y, r: size })];
  if (standing === "set-once") {
    return [open, shape("path", { class: "pin filled", d: `M${x - size} ${y} a${size} ${size} 0 0 0 ${2 * size} 0 Z` })];
  }
  if (standing === "new") return [shape("rect", { class: "pin", x: x - size, y: y - size, width: 2 * size, height: 2 * size })];
  return [open];
}
