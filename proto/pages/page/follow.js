// What every page does: take its theme from the address, show its token once, follow its program, send what is wished.

export const at = (id) => document.getElementById(id);

// Sets text only where it differs, so that a page which is being read does not jump. Never markup.
export function say(node, text) {
  const element = typeof node === "string" ? at(node) : node;
  const words = text ?? "";
  // What is one piece of text stays one, which costs a page less than another piece in its place.
  const piece = element.childNodes.length === 1 && element.firstChild.nodeType === Node.TEXT_NODE && words ? element.firstChild : null;
  if (piece) {
    if (piece.nodeValue !== words) piece.nodeValue = words;
  } else if (element.textContent !== words) {
    element.textContent = words;
  }
}

export function make(name, className, text) {
  const element = document.createElement(name);
  if (className) element.className = className;
  if (text !== undefined) element.textContent = text;
  return element;
}

// The time of day so many seconds from now, as this screen's own clock has it.
export function clock(seconds) {
  const then = new Date(Date.now() + (seconds ?? 0) * 1000);
  return `${then.getHours()}:${String(then.getMinutes()).padStart(2, "0")}`;
}

const wanted = new URLSearchParams(location.search);
if (["stage", "day"].includes(wanted.get("theme"))) document.documentElement.dataset.theme = wanted.get("theme");

// Nothing moves for those who asked for that, nor where `still=1` stands in the address.
const calm = matchMedia("(prefers-reduced-motion: reduce)");
export const still = () => wanted.get("still") === "1" || calm.matches;

export function otherTheme() {
  const dark = matchMedia("(prefers-color-scheme: dark)").matches;
  const now = document.documentElement.dataset.theme ?? (dark ? "stage" : "day");
  document.documentElement.dataset.theme = now === "stage" ? "day" : "stage";
}

// A key that is held down is one key: on a button, too, where a browser would press it again and again.
addEventListener("keydown", (event) => {
  if (event.repeat && event.key === "Enter") event.preventDefault();
}, true);

export function post(target, body) {
  const headers = { "Content-Type": "application/json", "X-Consort": "1" };
  return fetch(target, { method: "POST", headers, body: JSON.stringify(body) });
}

// Shows the token that stood behind the # of the address, and takes it out of sight of projectors and passers-by.
// A page in a folder names the way to its program's entrance.
export async function enter(entrance = "enter") {
  const token = location.hash.slice(1);
  if (!token) return;
  await post(entrance, { token }).catch(() => null);
  history.replaceState(null, "", location.pathname + location.search);
}

// Calls `show` with each picture, and `lost(everSeen, refused)` when none can be had; tries again by itself.
// With `patience`, in milliseconds, a stream that says nothing for so long counts as lost too: a phone that has left
// the network is told by nobody.
export function follow(show, lost, patience) {
  let seen = false;
  let watch = null;
  let again = null;
  let live = null;
  const open = () => {
    clearTimeout(again);
    live?.close();
    live = new EventSource("live");
    live.onmessage = ({ data }) => {
      if (!data) return;
      seen = true;
      wait();
      show(JSON.parse(data));
    };
    live.onerror = () => {
      // A stream that was refused does not come back by itself.
      const refused = live.readyState === EventSource.CLOSED;
      lost(seen, refused);
      live.close();
      again = setTimeout(open, refused ? 3000 : 700);
    };
  };
  const wait = () => {
    clearTimeout(watch);
    if (patience) watch = setTimeout(() => { lost(seen); open(); wait(); }, patience);
  };
  open();
  wait();
}

// One whole sentence at a time for those who hear the page: when it has changed, and not faster than it can be heard.
export function speak(id) {
  let next = "";
  setInterval(() => say(id, next), 2500);
  return (sentence) => { next = sentence; };
}

// What a person is asked: a sentence each, and buttons that send what the program has put there.
export function showQuestions(list, questions, send) {
  const told = JSON.stringify(questions);
  if (list.dataset.told === told) return;
  list.dataset.told = told;
  list.replaceChildren(...questions.map(({ says, answers, others }) => {
    const item = make("li");
    const buttons = make("span", "buttons");
    for (const answer of answers) {
      const button = make("button", "", answer.says);
      button.type = "button";
      button.setAttribute("aria-label", `${answer.says}: ${says}`);
      button.addEventListener("click", () => send(answer.body));
      buttons.append(button);
    }
    // Where one is shown of several, a button turns to the next.
    if (others) {
      const button = make("button", "others", `and ${others.count} more`);
      button.type = "button";
      button.addEventListener("click", others.turn);
      buttons.append(button);
    }
    item.append(make("p", "", says), buttons);
    return item;
  }));
}
