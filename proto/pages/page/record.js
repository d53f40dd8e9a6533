// The harp's record: findings first, then how its strings are found, one string's history, and what is written down.
import { at, enter, make, otherTheme, post, say, speak } from "./follow.js";
import { colour, curve, drawHarp, shape } from "./strings.js";

// What was tuned or written meanwhile is asked for so often while somebody looks.
const ASK_EVERY_MS = 10_000;
// So many entries stand open; the older ones are a click away.
const LATELY = 8;

const tell = speak("sentence");
let now = null;
let chosen = null;
let harp = new URLSearchParams(location.search).get("harp");
let asking = null;
let allowing = null;
let plotted = "";

const query = (more) => new URLSearchParams([["harp", harp], ["regulation", at("regulation").value], ...Object.entries(more)].filter(([, value]) => value)).toString();

async function ask() {
  clearTimeout(asking);
  asking = setTimeout(ask, ASK_EVERY_MS);
  if (document.hidden && now) return;
  const answer = await fetch(`record.json?${query({ since: now?.version })}`).catch(() => null);
  if (answer?.status === 204) return;
  if (answer?.ok) return show(await answer.json());
  const told = await answer?.json().catch(() => null);
  const lost = answer ? "Open the desk by the address that the station printed, and come here from there." : "The station has ended, or does not answer. Start it again.";
  say("about", told?.why ?? lost);
  tell(at("about").textContent);
}

// One small drawing for each cause: what the string does from tuning to tuning, or what is wrong with it.
const teeth = (depths, width = 60) => {
  const step = width / depths.length;
  return depths.map((depth, i) => `M${6 + step * i} 16L${6 + step * (i + 1)} ${16 + depth}V16`).join("");
};
const DRAWINGS = {
  "slipping-pin": () => [["away", `${teeth([34, 40, 30, 44])}z`], ["line gut", teeth([34, 40, 30, 44])], ["line ink", "M4 16H68"]],
  "new-string": () => [["line gut", teeth([46, 26, 14, 7])], ["line ink", "M4 16H68"]],
  "new-strings": () => [["line gut", teeth([46, 26, 14, 7])], ["line ink", "M4 16H68"]],
  "false-string": () => [["away", `${curve(36, 8, 64, 11)}z`], ["line gut", curve(36, 8, 64, 11)], ["line gut", curve(36, 8, 64, -4)], ["line gut", curve(36, 8, 64, 5)], ["line ink", "M28 8H44M28 64H44"]],
  turned: () => [["away", "M34 16V50H68V16z"], ["line gut", "M4 16H34V50H68"], ["line ink", "M4 16H68"]],
  "wrong-gauge": () => [["line gut", curve(18, 8, 64, 0)], ["line gut thick", curve(36, 8, 64, 0)], ["line gut", curve(54, 8, 64, 0)], ["line ink", "M8 8H64M8 64H64"]],
  pedal: () => [["line gut", "M14 8V64M28 14V64M42 20V64M56 26V64"], ["mark full", "M8 26h12v6h-12zM22 32h12v6h-12zM36 38h12v6h-12zM50 44h12v6h-12z"], ["line ink", "M6 64H66"]],
  step: () => [["line gut", "M20 8V64M52 8V64M36 8V64"], ["mark full", "M27 30h18v7h-18z"], ["line ink", "M8 8H64M8 64H64"]],
  room: () => [12, 24, 36, 48, 60].map((x) => ["line gut", curve(x, 8, 64, -4)]).concat([["line ink", "M4 8H68M4 64H68"]]),
  old: () => [["line gut dotted", "M20 8V64M36 8V64M52 8V64"], ["line ink", "M8 8H64M8 64H64"]],
  dull: () => [["away", `${curve(36, 8, 64, 9)}z`], ["line gut", curve(36, 8, 64, 9)], ["line ink", "M28 8H44M28 64H44"]],
  "too-early": () => [["line gut dotted", curve(36, 8, 64, -8)], ["line ink", "M28 8H44M28 64H44"]],
};

function drawing(cause) {
  const svg = shape("svg", { viewBox: "0 0 72 72", "aria-hidden": "true" });
  for (const [kind, d] of (DRAWINGS[cause] ?? DRAWINGS["too-early"])()) {
    const thick = kind.includes("thick") ? 9 : kind.includes("ink") ? 3.5 : 3;
    const path = shape("path", { class: kind, d, "stroke-width": thick });
    if (kind.includes("dotted")) {
      path.setAttribute("stroke-dasharray", "0 7");
      path.setAttribute("stroke-linecap", "round");
    }
    svg.append(path);
  }
  return svg;
}

function showFindings() {
  say("nothing", now.nothing);
  at("findings").replaceChildren(...now.findings.map((finding) => {
    const item = make("li");
    const head = make("h3");
    if (finding.string) {
      const button = make("button", "", finding.says);
      button.type = "button";
      button.addEventListener("click", () => choose(finding.string, true));
      head.append(button);
    } else {
      head.append(finding.says);
    }
    const text = make("div");
    text.append(head, make("p", "evidence", finding.evidence), make("p", "action", finding.action));
    const doubt = make("details");
    doubt.append(make("summary", "", "What would change this"), make("p", "", finding.doubt));
    item.append(drawing(finding.cause), text, doubt);
    return item;
  }));
}

function showHarp() {
  const narrow = at("usual").clientWidth < 600;
  const [width, height, letters] = narrow ? [720, 250, 27] : [1000, 230, 16];
  const place = drawHarp(at("usual"), now.strings, { width, height, letters, hand: chosen });
  const gap = (width * 0.97) / now.strings.length;
  const below = letters * 2.2;
  const tall = letters * 3;
  at("usual").setAttribute("viewBox", `0 0 ${width} ${height + below + tall}`);
  now.strings.forEach((string, index) => {
    const { x } = place(index);
    if (string.served !== null) {
      const high = tall * Math.min(1, Math.max(0.05, string.served));
      at("usual").append(shape("rect", { class: string.served >= 1 ? "served all" : "served", x: x - gap * 0.28, y: height + below, width: gap * 0.56, height: high }));
    }
    const reach = shape("rect", { class: "reach", x: x - gap / 2, y: 0, width: gap, height: height + below + tall });
    reach.addEventListener("click", () => choose(string.string));
    at("usual").append(reach);
  });
  at("served").hidden = now.strings.every((string) => string.served === null);
}

function named(cell, name, letter) {
  cell.className = `string ${colour(letter)}`;
  cell.textContent = name;
  return cell;
}

function showPlan() {
  at("plan").hidden = now.plan.length === 0;
  at("plan-rows").replaceChildren(...now.plan.map((entry) => {
    const row = make("tr");
    const when = make("td");
    when.append(entry.now ? make("mark", "", entry.when) : entry.when);
    row.append(named(make("td"), entry.name, entry.letter), make("td", "", entry.fitted ?? "not known"), make("td", "", entry.why), when);
    return row;
  }));
  at("plan-says").replaceChildren(...now.plan_says.map((sentence) => make("p", "", sentence)));
}

function showSteps() {
  at("steps-part").hidden = !now.steps;
  if (!now.steps) return;
  const { says, letters, rows } = now.steps;
  say("steps-says", says);
  at("steps").hidden = rows.length === 0;
  const place = (letter) => (letter === "E" && letters[0] === "D" ? "pedal-e" : "");
  at("steps-letters").replaceChildren(make("td"), ...letters.map((letter) => {
    const head = make("th", `${colour(letter)} ${place(letter)}`, letter);
    head.scope = "col";
    return head;
  }));
  at("steps-rows").replaceChildren(...rows.map(({ octave, cells }) => {
    const row = make("tr");
    const head = make("th", "", octave);
    head.scope = "row";
    row.append(head, ...cells.map((cell, index) => {
      const shown = make("td", place(letters[index]));
      for (const [step, text] of (cell?.steps ?? []).entries()) {
        const line = make("span");
        line.append(cell.off[step] ? make("mark", "", text) : text);
        shown.append(line);
      }
      return shown;
    }));
    return row;
  }));
}

// Which letters are allowed for, and what that does to each string of the one that is looked at.
function showAllowances() {
  at("allow-part").hidden = !now.allowances;
  if (!now.allowances) return;
  const { says, caution, positions, foremost, letters } = now.allowances;
  say("allow-intro", says);
  say("allow-caution", caution);
  const looked = letters.find(({ letter }) => letter === allowing) ?? letters.find(({ letter }) => letter === foremost);
  allowing = looked.letter;
  at("allow-letters").replaceChildren(...letters.map(({ letter, on }) => {
    const button = make("button", on ? "allowed" : "", letter);
    button.type = "button";
    button.setAttribute("aria-pressed", String(letter === allowing));
    if (on) button.setAttribute("aria-label", `${letter}, allowed for`);
    button.addEventListener("click", () => {
      allowing = letter;
      showAllowances();
      [...at("allow-letters").children].find((one) => one.textContent === letter)?.focus();
    });
    return button;
  }));
  say("allow-says", looked.says);
  at("allow-head").replaceChildren(...["String", "Open string moves", ...positions].map((text) => {
    const head = make("th", "", text);
    head.scope = "col";
    return head;
  }));
  at("allow-rows").replaceChildren(...looked.strings.map((string) => {
    const row = make("tr");
    const moves = make("td", string.stays ? "note" : "", string.stays ?? string.moves);
    row.append(named(make("td"), string.name, looked.letter), moves);
    // The figures that hold now stand out; the others are what they were, or would be.
    for (const [index, before] of string.before.entries()) {
      const cell = make("td");
      const [was, is] = [before ?? "?", string.after[index] ?? "?"].map((text, place) => make(looked.on === Boolean(place) ? "strong" : "span", "", text));
      const then = make("span", "then");
      then.append("→ ", is);
      cell.append(was, " ", then);
      row.append(cell);
    }
    return row;
  }));
  say("allow-do", looked.changes);
  at("allow-do").hidden = Boolean(now.only_read);
}

at("allow-do").addEventListener("click", () => {
  const looked = now.allowances.letters.find(({ letter }) => letter === allowing);
  write({ write: looked.on ? "allow-no-longer" : "allow", name: looked.letter });
});

function showShelf() {
  at("shelf-part").hidden = now.shelf.length === 0 && now.shopping.length === 0;
  at("shelf").replaceChildren(...now.shelf.map(({ name, what, left, cut, bad }) => {
    const line = make("li");
    const head = make("p");
    head.append(make("strong", "", name), ` ${what}: ${left}`);
    line.append(head);
    if (cut) line.append(make("p", "note", `Cut from it: ${cut}`));
    if (bad) line.append(make("p", "told", bad));
    return line;
  }));
  at("shopping-head").hidden = now.shopping.length === 0;
  at("save-shopping").hidden = now.shopping.length === 0;
  at("save-shopping").href = `shopping?${query({})}`;
  at("shopping").replaceChildren(...now.shopping.map((line) => make("li", "", line)));
  fill(at("lengths"), now.shelf.map(({ name }) => [name, name]));
  at("known-lengths").replaceChildren(...now.shelf.filter(({ bad }) => !bad).map(({ name }) => new Option(name, name)));
}

function fill(select, options) {
  const told = JSON.stringify(options);
  if (select.dataset.told === told) return;
  const kept = select.value;
  select.dataset.told = told;
  select.replaceChildren(...options.map(([value, text]) => new Option(text, value)));
  if (options.some(([value]) => String(value) === kept)) select.value = kept;
}

// What was written down can be taken out again, whenever that was.
function entry(line) {
  const item = make("li", "", line);
  if (now.only_read) return item;
  const button = make("button", "out", "Take out");
  button.type = "button";
  button.setAttribute("aria-label", `Take out: ${line}`);
  button.addEventListener("click", () => write({ write: "taken-out", name: line }));
  item.append(button);
  return item;
}

function showForms() {
  const strings = now.strings.map(({ string, name }) => [string, name]);
  for (const select of document.querySelectorAll(".of-strings")) {
    fill(select, select.classList.contains("or-none") ? [["", "the whole harp"], ...strings] : strings);
  }
  fill(at("chosen"), strings);
  for (const day of document.querySelectorAll('#forms input[name="day"]')) day.value ||= now.today;
  const editing = document.activeElement?.closest?.("#sheet");
  if (!editing) {
    at("pins").value = now.pins;
    at("player").value = now.player;
    at("made").value = now.made ?? "";
    at("concert-days").value = now.concert_days;
  }
  at("forms").hidden = Boolean(now.only_read);
  at("undo").hidden = Boolean(now.only_read);
  at("written").replaceChildren(...now.written.slice(0, LATELY).map(entry));
  at("written-before").replaceChildren(...now.written.slice(LATELY).map(entry));
  at("earlier").hidden = now.written.length <= LATELY;
}

function show(page) {
  const first = !now;
  now = page;
  document.title = `Record · ${now.harp}`;
  say("harp", now.harp);
  say("about", now.about);
  at("only-read").hidden = !now.only_read;
  say("only-read", now.only_read);
  at("which").hidden = now.harps.length < 2;
  fill(at("harps"), now.harps.map((name) => [name, name]));
  at("harps").value = now.harp;
  at("save-harp").href = `plot?${query({ file: "yes" })}`;
  at("print").href = `sheet?${query({})}`;
  if (first) chosen = now.findings.find((finding) => finding.string)?.string ?? now.strings.find((string) => string.standing !== "not-heard")?.string ?? 1;
  if (!now.strings.some((string) => string.string === chosen)) chosen = 1;
  showFindings();
  showHarp();
  const lines = now.strings.map((string) => make("li", "", `${string.name}: ${string.says}`));
  at("strings").replaceChildren(...lines);
  showPlan();
  showShelf();
  showSteps();
  showAllowances();
  showForms();
  choose(chosen);
  tell(now.findings.length ? now.findings.map((finding) => finding.says).join(". ") : now.nothing);
}

// One string's history, drawn by the station for the width that is there.
async function choose(string, there) {
  chosen = string;
  at("chosen").value = string;
  showHarp();
  const wide = Math.round(Math.min(1000, Math.max(340, at("plot").clientWidth)));
  at("save").href = `plot?${query({ string, file: "yes" })}`;
  if (there) at("history-part").scrollIntoView({ block: "start" });
  const wanted = query({ string, wide, version: now.version });
  if (wanted === plotted) return;
  plotted = wanted;
  const answer = await fetch(`plot?${wanted}`).catch(() => null);
  if (!answer?.ok || wanted !== plotted) return;
  const svg = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
  at("plot").replaceChildren(document.adoptNode(svg));
}

at("chosen").addEventListener("change", () => choose(Number(at("chosen").value)));
addEventListener("resize", () => { if (now) choose(chosen); });
addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });

function anew() {
  now = null;
  ask();
}

at("harps").addEventListener("change", () => {
  harp = at("harps").value;
  anew();
});

at("technician").addEventListener("submit", (event) => {
  event.preventDefault();
  const kept = chosen;
  now = null;
  ask().then(() => { if (now) choose(kept); });
});

// What is written down: each form sends its name and what was typed; an empty field is left out.
async function write(body) {
  const answer = await post("write", { harp, ...body }).catch(() => null);
  const told = await answer?.json().catch(() => null);
  say("answer", answer?.ok ? told?.says ?? "" : told?.why ?? "The station did not take this.");
  if (answer?.ok) await ask();
  return Boolean(answer?.ok);
}

for (const form of document.querySelectorAll("#forms form")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const typed = Object.fromEntries([...new FormData(form)].map(([name, value]) => [name, value.trim()]).filter(([, value]) => value));
    if (await write({ write: form.id, ...typed })) {
      form.querySelectorAll('input:not([type="date"])').forEach((input) => { input.value = ""; });
    }
  });
}

at("undo").addEventListener("click", () => write({ write: "undo" }));
at("theme").addEventListener("click", otherTheme);

await enter("../enter");
ask();
