// Beside the rows: who needs a hand, how the harps agree, and a called string on all of them.
import { at, make, say } from "./follow.js";
import { drawCalled, drawHand, drawStrands } from "./section.js";
import { shape } from "./strings.js";

// More than this are only counted: nobody sees to four things at once.
const HANDS_MOST = 3;

// Replaces what is in `list` by `items()` only when what is told has changed.
function renew(list, told, items) {
  const text = JSON.stringify(told);
  if (list.dataset.told === text) return;
  list.dataset.told = text;
  list.replaceChildren(...items());
}

export function showHands(hands, people) {
  // A wall that everybody sees shows no personal faults.
  const seen = people === "seats" ? hands.filter((hand) => !hand.personal) : hands;
  const told = seen.slice(0, HANDS_MOST);
  at("hands").hidden = seen.length === 0;
  renew(at("hands").querySelector("ul"), [told, people], () => told.map((hand) => {
    const item = make("li");
    const svg = shape("svg", { viewBox: "0 0 24 24", "aria-hidden": "true" });
    drawHand(svg, hand.kind);
    const says = make("p");
    const name = people === "names" ? `${hand.seat} ${hand.name}` : `Seat ${hand.seat}`;
    says.append(make("b", "", `${name}: ${hand.what}`), make("span", "why", hand.why));
    item.append(svg, says);
    return item;
  }));
  const more = seen.length - told.length;
  at("more-hands").hidden = more === 0;
  say("more-hands", more ? `and ${more} more` : "");
}

export function showTogether(together, people) {
  at("together").hidden = !together;
  if (!together) return;
  renew(at("together").querySelector("ul"), together.registers, () => together.registers.map((register) => {
    const item = make("li", register.wide ? "wide" : "");
    const svg = shape("svg", { viewBox: "0 0 120 150", "aria-hidden": "true" });
    drawStrands(svg, register);
    item.append(make("span", "register", register.name), svg, make("span", "figure", String(register.apart)));
    return item;
  }));
  say("together-says", [together.says, people && together.who].filter(Boolean).join(" "));
}

// More harps than this side by side are lines that nobody can tell apart: then the sentence stands alone.
const BESIDE_MOST = 64;

export function showCalled(called) {
  at("called").hidden = !called;
  if (!called) return;
  say("called-title", called.says);
  at("called-strings").style.display = called.harps.length > BESIDE_MOST ? "none" : "";
  if (called.harps.length > BESIDE_MOST) return;
  renew(at("called-strings"), called.harps, () => drawCalled(at("called-strings"), called.harps));
}

// What would remain out of tune if it began now, and in some minutes: a row each, a column for each register.
export function showRemains(remains) {
  at("remains").hidden = !remains;
  if (!remains) return;
  say("remains-title", remains.title);
  renew(at("remains").querySelector("table"), remains, () => {
    const heading = (scope, text) => Object.assign(make("th", "", text), { scope });
    const line = (...cells) => {
      const row = make("tr");
      row.append(...cells);
      return row;
    };
    const [head, body] = [make("thead"), make("tbody")];
    head.append(line(make("td"), ...remains.columns.map((name) => heading("col", name))));
    body.append(...remains.rows.map(({ says, cells }) => line(heading("row", says), ...cells.map((cell) => make("td", "", String(cell))))));
    return [head, body];
  });
  say(at("remains").querySelector("p"), remains.note);
}

// What the room did to most harps, which is a reason to tune once more.
export function showRoom(room) {
  at("room").hidden = room.length === 0;
  renew(at("room"), room, () => room.map((says) => make("li", "", says)));
}
