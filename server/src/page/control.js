// The leader's page: shows the token once, then follows the session and sends orders.
import { follow } from "./board.js";

const say = (text) => { document.getElementById("answer").textContent = text; };

function post(target, body) {
  const headers = { "Content-Type": "application/json", "X-Consort": "1" };
  return fetch(target, { method: "POST", headers, body: JSON.stringify(body) });
}

// What each form sends.
const orders = {
  pitch: (form) => ({ hz: Number(form.get("hz")) }),
  temperament: (form) => ({ name: form.get("name") }),
  setting: (form) => ({ key: form.get("key") }),
  start: (form) => ({ in_s: 60 * Number(form.get("minutes")) }),
  round: () => ({}),
  undo: () => ({}),
};

for (const form of document.querySelectorAll("form")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const order = form.dataset.order;
    const answer = await post("/order", { order, ...orders[order](new FormData(form)) });
    const { line, why } = await answer.json().catch(() => ({ why: "The coordinator did not take this." }));
    say(why ?? line);
  });
}

const token = location.hash.slice(1);
if (token) {
  await post("/enter", { token });
  // The token need not stay where a projector would show it.
  history.replaceState(null, "", "/");
}
const links = await fetch("/link.json");
if (links.ok) {
  const { join, board, temperaments } = await links.json();
  document.getElementById("join").textContent = join;
  document.getElementById("board").textContent = board;
  document.getElementById("temperaments").replaceChildren(...temperaments.map((name) => new Option(name)));
  follow();
} else {
  say("Open this page by the address that the coordinator printed.");
}
