// The harpist's desk: the string in hand, which way and how far, and the whole harp. Every text is only set as text.
import { at, enter, follow, make, otherTheme, post, say, showQuestions, speak, still } from "./follow.js";
import { colour, drawHarp, drawLarge, shape } from "./strings.js";

// The eye should see the string travel, not jump: within 120 ms nine tenths of the way are covered.
const EASE_MS = 50;
// Digits that flicker cannot be read: at most four times a second, and only when the pitch has moved, in cents.
const DIGITS_EVERY_MS = 250;
const DIGITS_STEP = 0.7;

const tell = speak("sentence");
let now = null;
// The string that a mark is meant for: the one that was chosen, else the one in hand.
let chosen = null;
let shown = null;
let frame = null;
let digits = { string: null, word: "", cents: null, at: 0 };
let harpDrawn = "";

function showName(string) {
  const name = string?.name ?? "";
  if (at("name").textContent === name) return;
  const letter = name.slice(-1);
  at("name").replaceChildren(make("span", "octave", name.slice(0, -1)), make("span", colour(letter), letter));
}

// Draws the large string where it is now on its way to where it was heard; a different string is there at once.
function glide(previous) {
  cancelAnimationFrame(frame);
  const { string } = now;
  const target = string?.cents ?? null;
  if (target === null || shown === null || previous?.string?.string !== string?.string || string.standing === "holds" || still()) {
    shown = target;
    return drawLarge(at("bow"), string, target);
  }
  let last = performance.now();
  const move = (time) => {
    shown += (target - shown) * (1 - Math.exp(-Math.max(0, time - last) / EASE_MS));
    last = time;
    const there = Math.abs(target - shown) < 0.05;
    if (there) shown = target;
    drawLarge(at("bow"), string, shown);
    if (!there) frame = requestAnimationFrame(move);
  };
  frame = requestAnimationFrame(move);
}

function showDigits() {
  const heard = now.string?.cents ?? null;
  // Inside the tolerance there is nothing to turn, and nothing to count.
  const cents = heard !== null && Math.abs(heard) > now.string.within ? heard : null;
  at("hand").classList.toggle("no-digits", cents === null);
  const fresh = digits.string !== now.string?.string || digits.word !== now.word || cents === null || digits.cents === null;
  const moved = !fresh && Math.abs(cents - digits.cents) >= DIGITS_STEP && performance.now() - digits.at >= DIGITS_EVERY_MS;
  if (!fresh && !moved) return;
  digits = { string: now.string?.string, word: now.word, cents, at: performance.now() };
  if (cents === null) {
    say("cents", "");
    say("unit", "");
    return;
  }
  const size = Math.abs(cents) < 10 ? Math.abs(cents).toFixed(1) : Math.abs(cents).toFixed(0);
  say("cents", size);
  say("unit", `${size === "1.0" ? "cent" : "cents"}${Number(size) === 0 ? "" : cents < 0 ? " flat" : " sharp"}`);
}

function showHarp() {
  const hand = now.string?.string ?? null;
  // On a phone the harp is drawn larger than its place would make it, so that its letters can be read.
  const [width, height, letters] = at("harp").clientWidth < 700 ? [720, 230, 27] : [1440, 250, 17];
  const picture = JSON.stringify([now.strings, hand, chosen, width]);
  if (picture === harpDrawn) return;
  harpDrawn = picture;
  const place = drawHarp(at("harp"), now.strings, { width, height, letters, hand });
  const gap = (width * 0.97) / now.strings.length;
  now.strings.forEach((string, index) => {
    const { x } = place(index);
    const reach = shape("rect", { class: "reach", x: x - gap / 2, y: 0, width: gap, height: height + 2 * letters });
    reach.addEventListener("click", () => choose(string.string));
    at("harp").append(reach);
  });
}

addEventListener("resize", () => { if (now) showHarp(); });

function showList() {
  const lines = now.strings.map((string) => `${string.name}: ${string.says}`);
  if (at("strings").childElementCount !== lines.length) {
    at("strings").replaceChildren(...lines.map(() => make("li")));
    at("chosen").replaceChildren(...now.strings.map((string) => new Option("", string.string)));
  }
  lines.forEach((line, index) => {
    say(at("strings").children[index], line);
    say(at("chosen").options[index], line);
  });
  const meant = chosen ?? now.string?.string;
  if (meant && document.activeElement !== at("chosen")) at("chosen").value = meant;
}

function show(picture) {
  const previous = now;
  now = picture;
  document.title = `Desk · ${now.name}`;
  say("tuning", now.tuning);
  say("who", `${now.name} · ${now.harp}`);
  say("message", now.message);
  document.querySelector("header").classList.toggle("urgent", now.urgent);
  at("hand").classList.toggle("done", !now.string);
  showName(now.string);
  say("place", now.place);
  say("word", now.word);
  at("word").classList.toggle("long", now.word.length > 9);
  say("far", now.far);
  showDigits();
  // The large digits say it already.
  say("why", digits.cents !== null && /^[\d.]+ cents (flat|sharp)\.$/.test(now.why) ? "" : now.why);
  say("says", now.says);
  at("join").hidden = !now.may_join;
  showQuestions(at("questions"), now.questions, wish);
  at("help").hidden = now.help === null;
  at("help").setAttribute("aria-pressed", String(Boolean(now.help)));
  const notices = [...at("notices").children].map((item) => item.textContent).join("\n");
  if (notices !== now.notices.join("\n")) at("notices").replaceChildren(...now.notices.map((notice) => make("li", "", notice)));
  glide(previous);
  showHarp();
  showList();
  tell(now.sentence);
}

// Marks, and the code or link to join with.

function choose(string) {
  chosen = string;
  at("chosen").value = string;
}

at("chosen").addEventListener("change", () => choose(Number(at("chosen").value)));

async function wish(body) {
  const answer = await post("wish", body).catch(() => null);
  if (answer?.ok) {
    say("answer", "");
    return true;
  }
  const told = await answer?.json().catch(() => null);
  say("answer", told?.why ?? "The station did not take this.");
  return false;
}

async function mark(value) {
  const string = Number(at("chosen").value);
  if (string) await wish({ wish: "mark", string, mark: value || null });
  chosen = null;
}

at("mark").addEventListener("submit", (event) => {
  event.preventDefault();
  mark(event.submitter?.value);
});

at("join").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (await wish({ wish: "join", with: at("invitation").value })) at("join").reset();
});

const help = () => { if (now?.help !== null) wish({ wish: "help", wanted: !now.help }); };

at("help").addEventListener("click", help);
at("theme").addEventListener("click", otherTheme);

// Left is towards the long strings, as on the drawing.
function neighbour(by) {
  const next = Number(at("chosen").value) + by;
  if (next >= 1 && next <= at("chosen").options.length) choose(next);
}

const KEYS = {
  arrowleft: () => neighbour(1),
  arrowright: () => neighbour(-1),
  n: () => mark("new"),
  m: () => mark("missing"),
  0: () => mark(""),
  h: help,
  t: otherTheme,
};

addEventListener("keydown", (event) => {
  // Whoever types or picks from a list means that, and nothing else.
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || ["INPUT", "SELECT"].includes(event.target.tagName)) return;
  const does = KEYS[event.key.toLowerCase()];
  if (!does || !now) return;
  event.preventDefault();
  does();
});

function lost(seen, refused) {
  say("message", seen && !refused ? "The station has ended, or does not answer. Start it again." : "Open this page by the address that the station printed.");
  document.querySelector("header").classList.add("urgent");
  // What was heard last must not go on looking like advice.
  if (seen && now) show({ ...now, message: at("message").textContent, urgent: true, string: now.string && { ...now.string, cents: null }, word: "", far: null, why: "", sentence: at("message").textContent });
}

await enter();
follow(show, lost);
