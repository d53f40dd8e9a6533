// A string that everyone is asked for: called at once, since it changes nothing and is taken back at once.
import { at, say } from "./follow.js";
import { order, state } from "./draft.js";

at("call").addEventListener("click", () => order({ order: "call", string: at("call-string").value }));
at("call-none").addEventListener("click", async () => {
  const held = document.activeElement === at("call-none");
  if (await order({ order: "call", string: null }) && held) at("call").focus();
});

// Middle C, where there is one, is what ensembles mostly begin with.
const FIRST = "4C";

export function showCall() {
  const { callable, called, board } = state.now;
  const list = at("call-string");
  if (list.dataset.told !== callable.join()) {
    const chosen = list.value || called || FIRST;
    list.dataset.told = callable.join();
    list.replaceChildren(...callable.map((name) => new Option(name, name)));
    list.value = callable.includes(chosen) ? chosen : callable[0] ?? "";
  }
  at("call").disabled = callable.length === 0;
  at("call-none").disabled = called === null;
  say("called-says", board.called?.says ?? (called === null ? "None is called." : ""));
}
