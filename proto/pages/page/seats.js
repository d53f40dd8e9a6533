// Who plays: how to join, where to look, and every harp with what the leader may do for it.
import { at, clock, make, say, showQuestions } from "./follow.js";
import { decide, order, state } from "./draft.js";
import { drawHarp, shape } from "./strings.js";

at("new-code").addEventListener("click", () => order({ order: "code" }));
// The tones that players listen to at their desks.
at("tones").addEventListener("click", () => order({ order: "tones", allowed: state.now.silenced }));
at("joining").addEventListener("click", () => order({ order: "joining", open: !state.now.joining }));

async function copy(button, text) {
  const done = await navigator.clipboard.writeText(text).then(() => true, () => false);
  const before = button.textContent;
  button.textContent = done ? "Copied" : "Select and copy it by hand";
  setTimeout(() => { button.textContent = before; }, 2500);
}

at("copy-join").addEventListener("click", () => copy(at("copy-join"), state.now.links.join));
at("copy-board").addEventListener("click", () => copy(at("copy-board"), state.now.links.board));

function drawQr(svg, qr) {
  svg.toggleAttribute("hidden", !qr);
  svg.style.display = qr ? "" : "none";
  if (!qr || svg.dataset.path === qr.path) return;
  svg.dataset.path = qr.path;
  svg.setAttribute("viewBox", `-4 -4 ${qr.side + 8} ${qr.side + 8}`);
  svg.replaceChildren(shape("path", { d: qr.path, "shape-rendering": "crispEdges" }));
}

export function showJoining(page) {
  say("joining-says", page.joining_says);
  say("joining", page.joining ? "Close joining" : "Open joining");
  say("code", page.code);
  at("code").hidden = !page.code;
  say("code-says", page.code_says);
  say("newcomer", page.newcomer);
  showQuestions(at("questions"), page.questions, order);
  say("address", page.links.address);
  say("tag", page.links.tag);
  say("join", page.links.join);
  say("board", page.links.board);
  at("board").href = page.links.board;
  at("board").target = "_blank";
  at("board").rel = "noreferrer";
  // A deputy changes the agreement; who joins is the leader's business.
  document.querySelector("aside").hidden = page.links.join === "";
  drawQr(at("join-qr"), page.links.join_qr);
  drawQr(at("board-qr"), page.links.board_qr);
}

// Harps.

const rows = new Map();

// A deputy knows no keys, and only looks at the harps.
const keyOf = ({ station, seat }) => (state.now.links.join === "" ? `seat ${seat}` : station);
const stationOf = (key) => state.now.stations.find((one) => keyOf(one) === key);

// One seat earlier or later: those around it change numbers, here, on the board and on the wall.
function move(key, by) {
  const stations = state.now.stations.filter((one) => !one.removed).map(({ station }) => station);
  const at = stations.indexOf(key);
  if (at < 0 || !(at + by in stations)) return;
  [stations[at], stations[at + by]] = [stations[at + by], stations[at]];
  order({ order: "order", stations });
}

function row(key) {
  const parts = { item: make("li", "harp"), drawn: "" };
  for (const name of ["seat", "name", "says"]) parts[name] = make("span", name);
  for (const name of ["harp", "presence"]) parts[name] = make("small");
  for (const name of ["player", "left"]) parts[name] = make("span");
  parts.name.append(parts.player, parts.harp);
  parts.says.append(parts.left, parts.presence);
  parts.svg = shape("svg", { "aria-hidden": "true" });
  parts.unseen = make("p", "unseen");
  parts.notes = make("p", "notes");
  parts.button = make("button");
  parts.button.type = "button";
  parts.button.addEventListener("click", () => {
    const station = stationOf(key);
    if (station.removed) order({ order: "let-back", station: station.station });
    else decide("remove", { station: station.station, name: station.name }, null);
  });
  parts.deputy = make("button", "", "Let it change the agreement");
  parts.deputy.type = "button";
  parts.deputy.addEventListener("click", () => {
    const station = stationOf(key);
    order({ order: "deputy", station: station.station, granted: !station.deputy });
  });
  parts.buttons = make("span", "buttons");
  for (const [name, says, by] of [["earlier", "↑", -1], ["later", "↓", 1]]) {
    parts[name] = make("button", "", says);
    parts[name].type = "button";
    parts[name].addEventListener("click", () => move(key, by));
  }
  parts.buttons.append(parts.earlier, parts.later, parts.deputy, parts.button);
  parts.item.append(parts.seat, parts.name, parts.says, parts.svg, parts.unseen, parts.notes, parts.buttons);
  rows.set(key, parts);
  return parts;
}

export function showHarps() {
  say("headline", [state.now.board.headline_names.replace("{time}", clock(state.now.board.headline_in_s)), state.now.board.count].filter(Boolean).join(" · "));
  const { room } = state.now.board;
  at("room").hidden = room.length === 0;
  if (at("room").textContent !== room.join("")) at("room").replaceChildren(...room.map((says) => make("li", "", says)));
  at("tones").setAttribute("aria-pressed", String(state.now.silenced));
  // A deputy changes the agreement; what the desks may do, who stays and who sits where is the leader's.
  const deputy = state.now.links.join === "";
  at("tones").hidden = deputy;
  const items = state.now.stations.map((station) => {
    const parts = rows.get(keyOf(station)) ?? row(keyOf(station));
    const harp = state.now.board.harps.find((one) => one.seat === station.seat);
    say(parts.seat, String(station.seat));
    say(parts.player, station.name);
    say(parts.harp, [harp?.harp, deputy ? null : `tag ${station.tag}`].filter(Boolean).join(" · "));
    say(parts.left, harp?.says ?? "");
    const when = harp?.state === "tuning" ? harp.when.replace("{time}", clock(harp.ready_in_s?.[1])) : null;
    say(parts.presence, station.presence_says ?? when);
    say(parts.notes, [harp?.help, ...(harp?.aside ?? [])].filter(Boolean).join(" · "));
    say(parts.unseen, harp?.strings_say);
    say(parts.button, station.removed ? "Let back in" : "Turn away");
    parts.button.setAttribute("aria-label", `${parts.button.textContent}: ${station.name}`);
    parts.buttons.hidden = deputy;
    parts.deputy.hidden = station.removed;
    const seated = state.now.stations.filter((one) => !one.removed);
    for (const [name, end, says] of [["earlier", 0, "One seat earlier"], ["later", seated.length - 1, "One seat later"]]) {
      parts[name].hidden = station.removed || seated.length < 2;
      parts[name].disabled = seated.indexOf(station) === end;
      parts[name].setAttribute("aria-label", `${says}: ${station.name}`);
      parts[name].title = says;
    }
    parts.deputy.setAttribute("aria-pressed", String(station.deputy));
    parts.deputy.setAttribute("aria-label", `${parts.deputy.textContent}: ${station.name}`);
    parts.svg.style.display = harp ? "" : "none";
    const picture = harp ? JSON.stringify([harp.strings, harp.state]) : "";
    if (harp && parts.drawn !== picture) {
      parts.drawn = picture;
      const strings = harp.strings.map(([name, standing, cents]) => ({ name, letter: name.at(-1), standing, cents }));
      drawHarp(parts.svg, strings, { width: 640, height: 140, unheard: harp.state === "unheard" });
    }
    return parts.item;
  });
  const list = at("harps");
  if (items.length !== list.children.length || items.some((item, place) => list.children[place] !== item)) {
    const held = document.activeElement;
    list.replaceChildren(...items);
    // Whoever moves a seat by several places goes on with the same button.
    if (list.contains(held)) held.focus();
  }
}
