// The harpist's desk: the string in hand, which way and how far, and the whole harp. Every text is only set as text.
import { at, enter, follow, make, otherTheme, post, say, showQuestions, speak, still } from "./follow.js";
import { openEar, showEar, wireEar } from "./ear.js";
import { drawLarge, drawLink, sign } from "./large.js";
import { openSetup, wireSetup } from "./setup.js";
import { colour, drawHarp, shape } from "./strings.js";
import { movePedals, showPedals } from "./stand.js";
import { silence, sound, sounds } from "./tone.js";

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
// How often the size of the page has changed.
let sized = 0;

// The question that she has turned to, where there are several; without one, or once it is answered, the most pressing.
let turnedTo = null;

// One question at a time has a place; the others are counted, and come as she turns to them or answers.
function showOneOf(questions) {
  const found = questions.findIndex(({ says }) => says === turnedTo);
  if (found < 0) turnedTo = null;
  const one = questions.slice(Math.max(found, 0)).slice(0, 1);
  const others = { count: questions.length - 1, turn: turnOn };
  showQuestions(at("questions"), one.map((question) => (others.count > 0 ? { ...question, others } : question)), wish);
}

function turnOn() {
  const { questions } = now;
  const place = questions.findIndex(({ says }) => says === turnedTo);
  turnedTo = questions[(Math.max(place, 0) + 1) % questions.length]?.says ?? null;
  showOneOf(questions);
  at("questions").querySelector(".others")?.focus();
}

function showName(string) {
  const name = string?.name ?? "";
  const written = `${name}${string?.accidental ?? ""}`;
  if (at("name").dataset.written === written) return;
  at("name").dataset.written = written;
  if (!string) return at("name").replaceChildren();
  const [before, after] = name.split(string.letter);
  const parts = [make("span", colour(string.letter), string.letter), sign(string.accidental)];
  if (before) parts.unshift(make("span", "octave before", before));
  if (after) parts.push(make("span", "octave", after));
  at("name").replaceChildren(...parts);
}

// Draws the large string where it is now on its way to where it was heard; a different string is there at once.
function glide(previous) {
  cancelAnimationFrame(frame);
  const { string } = now;
  const target = string?.cents ?? null;
  if (target === null || shown === null || previous?.string?.string !== string?.string || string.standing === "holds" || still()) {
    shown = target;
    return drawLarge(at("bow"), string, target, now);
  }
  let last = performance.now();
  const move = (time) => {
    shown += (target - shown) * (1 - Math.exp(-Math.max(0, time - last) / EASE_MS));
    last = time;
    const there = Math.abs(target - shown) < 0.05;
    if (there) shown = target;
    drawLarge(at("bow"), string, shown, now);
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
  // What is doubted is drawn as if it had not been heard: its bow would look like advice here as well.
  const doubted = (string) => (["harp", "tuning"].includes(now.doubt) ? string.standing !== "missing" : now.doubt && now.doubt !== "pitch" && string.string === hand);
  const strings = now.strings.map((string) => (doubted(string) ? { ...string, standing: "not-heard", cents: null } : string));
  const picture = JSON.stringify([strings, hand, chosen, sized]);
  if (picture === harpDrawn) return;
  harpDrawn = picture;
  // On a phone the harp is drawn larger than its place would make it, so that its letters can be read.
  const [width, height, letters] = at("harp").clientWidth < 700 ? [720, 230, 27] : [1440, 196, 16];
  const [bow, harp] = [at("bow"), at("harp")].map((part) => part.getBoundingClientRect());
  const place = drawHarp(at("harp"), strings, { width, height, letters, hand });
  if (hand && width > 1000) showThread(place(hand - 1), width, bow, harp);
  const gap = (width * 0.97) / now.strings.length;
  now.strings.forEach((string, index) => {
    const { x } = place(index);
    const reach = shape("rect", { class: "reach", x: x - gap / 2, y: 0, width: gap, height: height + 2 * letters });
    reach.addEventListener("click", () => choose(string.string));
    at("harp").append(reach);
  });
}

// From the large string a thread leads to its pin on the harp, which is framed.
function showThread({ x, top }, width, bow, harp) {
  const { a: scale, e: left, f: above } = at("harp").getScreenCTM() ?? { a: harp.width / width, e: harp.left, f: harp.top };
  const [from, high] = [(bow.left + bow.width / 2 - left) / scale, (bow.bottom - above) / scale - 14];
  const [ends, half] = [top - 11, 9];
  const middle = (high + ends) / 2;
  at("harp").append(
    shape("path", { class: "thread", d: `M${from} ${high}C${from} ${middle} ${x} ${middle} ${x} ${ends}` }),
    shape("path", { class: "frame", d: `M${x - half} ${top - half}h${2 * half}v${2 * half}h${-2 * half}z` }),
  );
}

// Asking for a size lays the whole page out, which takes longer than all else: only when one has changed.
const sizes = new ResizeObserver(() => {
  sized += 1;
  if (now) showHarp();
});
for (const part of [document.body, at("bow"), at("harp")]) sizes.observe(part);

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

// The pitch stays in sight when a message takes the place of the rest.
function showTuning(tuning) {
  if (at("tuning").textContent === tuning) return;
  const [pitch, ...rest] = tuning.split(" · ");
  at("tuning").replaceChildren(pitch, make("span", "rest-of-it", rest.map((part) => ` · ${part}`).join("")));
}

function showTimes() {
  const time = new Date();
  const clock = `${time.getHours()}:${String(time.getMinutes()).padStart(2, "0")}`;
  say("clock", clock);
  say("dark-clock", clock);
}

setInterval(showTimes, 5000);
showTimes();

export function show(picture) {
  const previous = now;
  now = picture;
  if (previous?.name !== now.name) document.title = `Desk · ${now.name}`;
  showTuning(now.tuning);
  at("tuning").title = `${now.name} · ${now.harp}`;
  say("message", now.message);
  at("message").title = now.message;
  say("start", now.start);
  if (at("link").dataset.link !== now.link) {
    at("link").dataset.link = now.link;
    drawLink(at("link"), now.link);
  }
  document.querySelector("header").classList.toggle("urgent", now.urgent);
  at("dark").hidden = !now.dark;
  const { telling } = now;
  at("hand").classList.toggle("done", !now.string && !telling.plays);
  at("hand").classList.toggle("plays", telling.plays);
  showName(now.string);
  say("place", now.place);
  say("word", now.word);
  at("word").classList.toggle("long", now.word.length > 9);
  const { turn } = now;
  say("far", now.far);
  showDigits();
  // The large digits say it already.
  say("why", digits.cents !== null && /^[\d.]+ cents (flat|sharp)\.$/.test(now.why) ? "" : now.why);
  say("says", now.says);
  say("next", now.next && turn !== undefined ? `Next ${now.next}` : "");
  // Strings that no pedal or lever reaches stand as the piece wants them.
  const low = now.strings.filter(({ fixed }) => fixed).map(({ name, accidental }) => `${name}${{ flat: "♭", sharp: "♯" }[accidental] ?? "♮"}`);
  say("low", low.length ? `${now.name} · without discs ${low.join(", ")}` : now.name);
  const goesOn = now.may_go_on || now.may_see;
  at("goon").classList.toggle("none", !goesOn);
  at("goon").disabled = !goesOn;
  say(at("goon").firstChild, now.may_go_on ? now.doubt ? "I have looked " : "It was mine " : "I have seen it ");
  at("check").setAttribute("aria-pressed", String(telling.last_check));
  at("follow").setAttribute("aria-pressed", String(telling.chosen !== null));
  at("fresh").hidden = !telling.fresh;
  at("join").hidden = !now.may_join;
  showOneOf(now.questions);
  at("help").hidden = now.help === null;
  at("help").setAttribute("aria-pressed", String(Boolean(now.help)));
  // Who plays another tone disturbs those who listen: the leader has said so for everyone.
  if (now.no_tone || now.dark) silence();
  // The performance has begun: nothing lies open, and nothing is lit.
  if (now.dark) for (const id of ["caution", "listen", "setup"]) if (at(id).open) at(id).close();
  // A page that is opened while a check by ear is under way shows it: until it is closed nothing that sounds is a reading.
  if (!previous && now.listening) openEar(now);
  at("tone").disabled = Boolean(now.no_tone);
  say("no-tone", now.no_tone);
  showPedals(now.pedals, wish);
  const notices = [...at("notices").children].map((item) => item.textContent).join("\n");
  if (notices !== now.notices.join("\n")) {
    at("notices").replaceChildren(...now.notices.map((notice) => make("li", "", notice)));
    // What is more than its line is scrolled by the keys as well.
    if (now.notices.length > 1) at("told").tabIndex = 0;
    else at("told").removeAttribute("tabindex");
  }
  glide(previous);
  showHarp();
  showList();
  showEar(now.listening);
  tell(now.listening ? [now.listening.trouble ?? now.listening.found ?? now.listening.ask, now.listening.trouble ? null : now.listening.means].filter(Boolean).join(" ") : now.sentence);
}

// Marks, and the code or link to join with.

function choose(string) {
  chosen = string;
  at("chosen").value = string;
}

at("chosen").addEventListener("change", () => choose(Number(at("chosen").value)));

// Sends a wish; null when it was taken, else the sentence that says why not.
async function ask(body) {
  const answer = await post("wish", body).catch(() => null);
  if (answer?.ok) return null;
  const told = await answer?.json().catch(() => null);
  return told?.why ?? "The station did not take this.";
}

async function wish(body) {
  const why = await ask(body);
  say("answer", why ?? "");
  return why === null;
}

// A string that was marked stays meant for a moment: a key that is pressed twice marks nothing that comes next.
const MEANT_FOR_MS = 1000;
let marked = null;

function mark(value) {
  const string = Number(at("chosen").value);
  if (!string) return;
  choose(string);
  clearTimeout(marked);
  marked = setTimeout(() => {
    if (chosen !== string) return;
    chosen = null;
    showHarp();
    showList();
  }, MEANT_FOR_MS);
  wish({ wish: "mark", string, mark: value || null });
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
// The string that is chosen is followed alone, until it is done or is let go of.
function followAlone() {
  wish({ wish: "choose", string: now.telling.chosen === null ? Number(at("chosen").value) : null });
  chosen = null;
}

const check = () => wish({ wish: "last-check", on: !now.telling.last_check });

// What was doubted was looked at, what has changed was seen. The string is named, so that a key that is pressed twice
// says nothing of what comes next.
function goOn() {
  if (now.dark) wish({ wish: "wake" });
  else if (now.may_go_on && now.string) wish({ wish: "looked-at", string: now.string.string });
  else if (now.may_see) wish({ wish: "seen" });
}

// Before the first tone the caution, and nothing sounds until it was read.
let cautioned = false;

function tone() {
  if (now.no_tone) return at("caution").close();
  if (!cautioned && !at("caution").open) return at("caution").showModal();
  cautioned = true;
  at("caution").close();
  const told = () => at("tone").setAttribute("aria-pressed", String(sounds()));
  if (sounds()) silence();
  else sound(now.strings[Number(at("chosen").value) - 1].target_hz, told);
  told();
}

at("help").addEventListener("click", help);
at("theme").addEventListener("click", otherTheme);
at("follow").addEventListener("click", followAlone);
at("check").addEventListener("click", check);
at("open-pedals").addEventListener("click", movePedals);
at("goon").addEventListener("click", goOn);
at("tone").addEventListener("click", tone);
at("caution-sound").addEventListener("click", tone);
at("wrong").addEventListener("click", () => wish({ wish: "wrong" }));
at("dark").addEventListener("click", goOn);
wireSetup(ask, () => now);
wireEar(ask);
at("open-listen").addEventListener("click", () => openEar(now));

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
  f: followAlone,
  h: help,
  t: otherTheme,
  l: check,
  p: movePedals,
  r: tone,
  w: () => wish({ wish: "wrong" }),
  u: () => wish({ wish: "undo" }),
  s: () => openSetup(() => now),
  e: () => openEar(now),
  " ": goOn,
};

addEventListener("keydown", (event) => {
  // Whoever types or picks from a list means that, and nothing else.
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || ["INPUT", "SELECT"].includes(event.target.tagName) || at("setup").open || at("listen").open) return;
  if (now?.dark && event.key !== " ") return;
  if (at("caution").open && event.key.toLowerCase() !== "r") return;
  // Space on a button presses that button.
  if (event.key === " " && event.target.tagName === "BUTTON" && !now?.dark) return;
  const does = KEYS[event.key.toLowerCase()];
  if (!does || !now) return;
  event.preventDefault();
  does();
});

function lost(seen, refused) {
  silence();
  say("message", seen && !refused ? "The station has ended, or does not answer. Start it again." : "Open this page by the address that the station printed.");
  document.querySelector("header").classList.add("urgent");
  // What was heard last must not go on looking like advice.
  if (seen && now) show({ ...now, message: at("message").textContent, urgent: true, string: now.string && { ...now.string, cents: null }, word: "", far: null, turn: null, doubt: null, may_go_on: false, may_see: false, link: "lost", why: "", sentence: at("message").textContent });
}

await enter();
follow(show, lost);
