// Where the pedals or levers stand, by the harpist's word: strings are then compared as they sound, and not turned.
import { at, make, say } from "./follow.js";

const SIGN = { flat: "♭", natural: "♮", sharp: "♯" };
const ASCII = { flat: "b", natural: "", sharp: "#" };

let shown = "";

// The row of pedals opens and closes; while one is not in flat it stays.
export function movePedals() {
  at("pedals").hidden = !at("pedals").hidden;
  press();
  at("pedals").scrollIntoView({ block: "nearest" });
}

const press = () => at("open-pedals").setAttribute("aria-pressed", String(!at("pedals").hidden));

function letter({ letter: name, may, stands }, { levers, letters }, wish) {
  const next = may[(may.indexOf(stands) + 1) % may.length];
  const button = make("button", "", `${name}${SIGN[stands]}`);
  button.type = "button";
  button.setAttribute("aria-label", `${name} ${levers ? "levers" : "pedal"}: ${stands}. Press to move`);
  button.addEventListener("click", () => {
    const setting = letters.map((one) => one.letter + ASCII[one.letter === name ? next : one.stands]);
    wish({ wish: "pedals", setting: setting.join(" ") });
  });
  return button;
}

// Every button says where its pedal stands, so that the row is drawn anew when one has moved.
export function showPedals(pedals, wish) {
  at("open-pedals").hidden = !pedals;
  if (!pedals) return;
  if (pedals.says) at("pedals").hidden = false;
  press();
  say(at("open-pedals").firstChild, pedals.levers ? "Levers " : "Pedals ");
  const told = JSON.stringify(pedals);
  if (told === shown) return;
  shown = told;
  const focused = [...at("pedals").children].indexOf(document.activeElement);
  at("pedals").setAttribute("aria-label", pedals.levers ? "Levers" : "Pedals");
  const parts = pedals.letters.map((one) => letter(one, pedals, wish));
  // Feet: the left one has D C B, the right one the rest.
  if (!pedals.levers) parts.splice(pedals.letters.findIndex((one) => one.letter === "E"), 0, make("span", "between"));
  const open = make("button", "all", pedals.levers ? "All levers are down" : "All pedals are in flat");
  open.type = "button";
  open.disabled = !pedals.says;
  open.addEventListener("click", () => {
    wish({ wish: "pedals", setting: pedals.letters.map((one) => one.letter + ASCII[one.may[0]]).join(" ") });
    at("pedals").hidden = true;
  });
  at("pedals").replaceChildren(...parts, open);
  at("pedals").children[focused]?.focus();
}
