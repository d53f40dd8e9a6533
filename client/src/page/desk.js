// The harpist's page: shows the token once, then follows the station and sends wishes.
import { drawBow, drawHarp } from "./harp.js";

const at = (id) => document.getElementById(id);
const text = (id, words) => { at(id).textContent = words ?? ""; };

// The string that a mark is meant for: the one that was chosen, else the one in hand.
let chosen = null;
let picture = null;

function post(target, body) {
  const headers = { "Content-Type": "application/json", "X-Consort": "1" };
  return fetch(target, { method: "POST", headers, body: JSON.stringify(body) });
}

function inCents(cents) {
  const size = Math.abs(cents) < 10 ? Math.abs(cents).toFixed(1) : Math.abs(cents).toFixed(0);
  return `${Number(size) === 0 ? "" : cents < 0 ? "−" : "+"}${size} cents`;
}

// Every text is only ever set as text, never as markup.
function show(now) {
  picture = now;
  text("who", `${now.name} · ${now.harp}`);
  text("tuning", now.tuning);
  text("harp-says", now.says);
  text("name", now.string?.name ?? "–");
  at("name").className = now.string?.letter === "C" ? "c" : now.string?.letter === "F" ? "f" : "";
  text("place", now.place);
  text("word", now.word);
  text("far", now.far);
  text("cents", now.string && now.string.cents !== null ? inCents(now.string.cents) : "");
  text("why", now.why);
  text("message", now.message);
  at("message").className = now.urgent ? "urgent" : "";
  at("join").hidden = !now.may_join;
  drawBow(at("bow"), now.string);
  drawHarp(at("harp"), now.strings, now.string?.string, choose);
  list(now);
  at("notices").replaceChildren(...now.notices.map((notice) => {
    const item = document.createElement("li");
    item.textContent = notice;
    return item;
  }));
}

function list(now) {
  const lines = now.strings.map((string) => `${string.name}: ${string.says}`);
  if (at("strings").childElementCount !== lines.length) {
    at("strings").replaceChildren(...lines.map(() => document.createElement("li")));
    at("chosen").replaceChildren(...now.strings.map((string) => new Option("", string.string)));
  }
  lines.forEach((line, index) => {
    // An unchanged text is left alone, so that an open list does not jump.
    for (const item of [at("strings").children[index], at("chosen").options[index]]) {
      if (item.textContent !== line) item.textContent = line;
    }
  });
  const meant = chosen ?? now.string?.string;
  if (meant && document.activeElement !== at("chosen")) at("chosen").value = meant;
}

function choose(string) {
  chosen = string;
  at("chosen").value = string;
}

at("chosen").addEventListener("change", () => choose(Number(at("chosen").value)));

async function wish(body, button) {
  button.disabled = true;
  const answer = await post("/wish", body).catch(() => null);
  button.disabled = false;
  const why = answer?.ok ? "" : (await answer?.json().catch(() => null))?.why;
  text("answer", answer?.ok ? "" : why ?? "The station did not take this.");
  return answer?.ok;
}

at("mark").addEventListener("submit", async (event) => {
  event.preventDefault();
  const mark = event.submitter.value || null;
  await wish({ wish: "mark", string: Number(at("chosen").value), mark }, event.submitter);
  chosen = null;
});

at("join").addEventListener("submit", async (event) => {
  event.preventDefault();
  const link = new FormData(at("join")).get("link");
  if (await wish({ wish: "join", link }, event.submitter)) at("join").reset();
});

// Spoken advice comes whole, when it has changed, and not faster than it can be heard.
setInterval(() => {
  if (picture && at("sentence").textContent !== picture.sentence) text("sentence", picture.sentence);
}, 2500);

const token = location.hash.slice(1);
if (token) {
  await post("/enter", { token });
  // The token need not stay where somebody could read it off the screen.
  history.replaceState(null, "", "/");
}
const first = await fetch("/desk.json");
if (first.ok) {
  show(await first.json());
  const live = new EventSource("/live");
  live.onmessage = (event) => show(JSON.parse(event.data));
  live.onerror = () => {
    text("message", "The station has ended, or does not answer. Start it again.");
    at("message").className = "urgent";
  };
} else {
  text("word", "Open this page by the address that the station printed.");
}
