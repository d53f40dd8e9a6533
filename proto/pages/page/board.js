// The board: who is ready, when the others will be, and what there is to decide. Every text is only ever set as text.
import { at, clock, follow, make, say, speak } from "./follow.js";
import { drawCrowd, drawSection } from "./section.js";
import { drawHarp } from "./strings.js";
import { showReady, showRows } from "./rows.js";
import { showCalled, showHands, showRemains, showRoom, showTogether } from "./beside.js";

// A headline that changes is read anew: it waits so long, in milliseconds, unless harps come or go.
const HEADLINE_EVERY = 10_000;
// The most rows where single harps are no longer told.
const ROWS_OF_CROWD = 10;

const tell = speak("sentence");
let shown = null;
let headline = { at: 0, about: "", people: "" };
let drawn = "";

const people = () => document.body.dataset.people;

// Who somebody is, as far as this screen tells it.
const who = (harp) => (people() === "names" ? harp.name : people() === "initials" ? harp.initials : "");

function showHeadline(board) {
  const text = people() === "seats" ? board.headline : board.headline_names;
  const unheard = board.harps.filter((harp) => harp.state === "unheard").length;
  const ready = board.harps.filter((harp) => harp.state === "ready").length;
  const about = JSON.stringify([board.harps.length, unheard, ready, board.start_in_s === null, board.headline_in_s === null, people()]);
  if (about === headline.about && Date.now() - headline.at < HEADLINE_EVERY) return;
  headline = { at: Date.now(), about };
  say("headline", text.replace("{time}", clock(board.headline_in_s)));
}

function showCounts(board) {
  const start = board.start_in_s > 0 ? `${clock(board.start_in_s)}, ${board.start}` : board.start;
  const parts = [[start, "strong"], [board.count, "strong"], [board.unheard, ""], [board.spare, ""], [board.round, ""]];
  const counts = parts.filter(([text]) => text).map(([text, weight]) => make("span", weight, text));
  if (at("counts").textContent !== counts.map((part) => part.textContent).join("")) at("counts").replaceChildren(...counts);
}

function showSection(board) {
  const section = JSON.stringify(board.harps.map(({ seat, state, presence, against, left }) => [seat, state, presence, against, left]));
  if (section === drawn) return;
  drawn = section;
  if (board.crowd) drawCrowd(at("crowd-harps"), board.harps);
  else drawSection(at("section"), board.harps);
  at("section").style.visibility = board.harps.length && !board.crowd ? "" : "hidden";
}

function draw(board) {
  document.title = `Board · ${board.ensemble}`;
  const { classList } = document.body;
  const left = board.harps.filter((harp) => harp.state !== "ready").length;
  classList.toggle("crowd", board.crowd);
  classList.toggle("many", left > 10);
  classList.toggle("all-ready", left === 0 && board.harps.length > 0);
  classList.toggle("empty", board.harps.length === 0);
  say("ensemble", board.ensemble);
  say("agreement", board.agreement);
  // While no word comes, a window that changes its size shows the last picture again, and that it is the last.
  if (!classList.contains("lost")) {
    showHeadline(board);
    tell(board.sentence);
  }
  showCounts(board);
  say("trouble", board.trouble);
  at("trouble").hidden = !board.trouble;
  showSection(board);
  at("nobody").hidden = board.harps.length > 0;
  at("crowd").hidden = !board.crowd;
  showRows(board, who, board.crowd ? ROWS_OF_CROWD : Infinity);
  showReady(board, who);
  showRemains(board.remains);
  showRoom(board.room);
  showCalled(board.called);
  showHands(board.hands, people());
  showTogether(board.together, people() !== "seats");
}

// A wall is never scrolled: what does not fit there is told in fewer words, then with initials, then by seats.
const wall = matchMedia("(min-width: 1200px) and (min-height: 640px)");
const SHORTER = {
  names: [["names", false], ["names", true], ["initials", true], ["seats", false], ["seats", true]],
  initials: [["initials", false], ["initials", true], ["seats", false], ["seats", true]],
  seats: [["seats", false], ["seats", true]],
};
const SAID = { initials: "There is no room for names here: initials stand for them.", seats: "There is no room for names here: seat numbers stand for them." };
let chosen = "seats";
let fitted = "";
let step = 0;

export function show(board) {
  shown = board;
  document.body.classList.remove("lost");
  // Asking how high the page is lays it out: only what changes that is a reason to ask. A crowd is one picture.
  const states = !board.crowd && board.harps.map(({ seat, state, help }) => [seat, state, help]);
  const about = JSON.stringify([states, board.headline.length, board.unheard, board.spare, Math.min(board.hands.length, 4), board.room, board.called?.harps.length, board.together?.registers.length, board.remains?.rows.length, Boolean(board.remains?.note)]);
  if (about === fitted) return draw(board);
  fitted = about;
  fit(step);
  if (step > 0) moreWords(TRIES);
}

// In as many words as there is room for, no more than at the step `from`.
function fit(from) {
  const steps = wall.matches ? SHORTER[chosen] : SHORTER[chosen].slice(0, 1);
  for (step = Math.min(from, steps.length - 1); ; step += 1) {
    const [told, terse] = steps[step];
    document.body.dataset.people = told;
    document.body.classList.toggle("terse", terse);
    draw(shown);
    if (step === steps.length - 1 || document.documentElement.scrollHeight <= innerHeight) break;
  }
  const told = people();
  say("shorter", told === chosen ? "" : SAID[told]);
}

// Whether there is room for more words again is tried a little later, as often as it was so: no change waits for that. What
// still moves to its place may take up the room at first, so that it is tried more than once.
const MORE_WORDS_AFTER = 1000;
const TRIES = 3;
let later = null;
let tries = 0;
function moreWords(count) {
  tries = count;
  later ??= setTimeout(() => {
    later = null;
    const before = step;
    if (before === 0) return;
    fit(before - 1);
    if (step < before) moreWords(TRIES);
    else if (tries > 1) moreWords(tries - 1);
  }, MORE_WORDS_AFTER);
}

// Everything is fitted anew.
function again() {
  if (!shown) return;
  fit(0);
}

// What is shown may no longer be true, and says so.
function lost(seen, refused) {
  const gone = "This address of the board is not good any more, or there is no place left: ask the leader. This is how it was.";
  const since = seen && refused ? gone : seen ? "No word from the coordinator. This is how it was." : "The board is not open, or has no place left. Trying again.";
  document.body.classList.add("lost");
  headline.about = "";
  say("headline", since);
  tell(since);
}

function choose(wanted) {
  chosen = wanted;
  at("people").value = wanted;
  again();
}

// A harp of which nothing has been heard yet.
function drawNobody() {
  const letters = ["G", "F", "E", "D", "C", "B", "A"];
  const strings = Array.from({ length: 47 }, (_, place) => ({ letter: letters[place % 7], standing: "not-heard", cents: null }));
  drawHarp(at("nobody-harp"), strings, { width: 960, height: 320 });
}

if (at("people")) {
  drawNobody();
  // A wall shows seats and no personal faults; a phone in the hand shows people. Either can be chosen.
  const asked = new URLSearchParams(location.search).get("names");
  const wanted = { show: "names", initials: "initials", hide: "seats" }[asked];
  choose(wanted ?? (matchMedia("(max-width: 759px)").matches ? "names" : "seats"));
  at("people").addEventListener("change", () => choose(at("people").value));
  addEventListener("resize", again);
  // The coordinator says something at least every five seconds.
  follow(show, lost, 12_000);
}
