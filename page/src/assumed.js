// What is assumed, and what each assumption is worth for the answer: that is measured while the
// list is open.
import { html, part, renew, typeset } from "./draw.js";

/** Asks what the plan takes for granted because the setup leaves it open.
 * @param {import("./main.js").Bench} bench */
export async function list(bench) {
  const { json } = await bench.aside.ask({ do: "assumed", setup: bench.state.setup });
  bench.assumed = json.assumed ?? [];
  draw(bench);
}

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { worth } = bench.study;
  say(bench);
  const tried = /** @type {any[]} */ (worth?.worths ?? []);
  const place = (/** @type {any} */ a) => tried.findIndex((w) => w.key === a.key);
  // What moves the answer stands first, the rest as the plan lists it.
  const rank = (/** @type {any} */ a) => (place(a) < 0 ? tried.length : place(a));
  const all = [...bench.assumed].sort((a, b) => rank(a) - rank(b));
  renew(
    part("assumed"),
    ...(all.length
      ? all.map((a) => line(bench, a, tried[place(a)]))
      : [html("li", {}, "Nothing: the setup states all that the plan needs.")]),
  );
}

/** @param {import("./main.js").Bench} bench @param {any} a @param {any} worth */
function line(bench, a, worth) {
  const value = a.usual?.value?.replaceAll('"', "");
  const state =
    value &&
    html(
      "button",
      { title: a.usual.source, onclick: () => bench.set(a.key, value, "") },
      `state the usual ${typeset(value)}`,
    );
  const words = worth?.moves
    ? `With ${worth.usual}: ${worth.says}.`
    : `With ${worth?.usual}: no difference of more than 5 % that can be told.`;
  return html(
    "li",
    { class: worth?.moves ? "moves" : "" },
    typeset(a.says),
    " ",
    ...(state ? [state] : []),
    ...(worth ? [html("p", { class: "help" }, typeset(words))] : []),
  );
}

/** What to check first, and how far the measuring is. @param {import("./main.js").Bench} bench */
function say(bench) {
  const { worth, open, finished, question } = bench.study;
  const { stopped } = bench.study;
  let lines = [""];
  if (worth?.fault) lines = [worth.fault];
  else if (worth?.finished)
    lines = [
      worth.first ?? "None of these moves the answer by more than 5 % that can be told.",
      ...(worth.tolerances ?? []),
    ];
  else if (stopped) lines = ["Stopped: what each is worth is not known."];
  else if (!finished) lines = ["What each is worth is measured after the answer."];
  else if (open.worth) lines = ["What each is worth for the answer is being measured."];
  else if (question === "choice") lines = ["What each is worth is not measured for a choice from a list."];
  const into = part("worth");
  const words = lines.map(typeset);
  // Announced once, not at every measurement.
  if (into.textContent !== words.join(""))
    into.replaceChildren(...words.map((text) => html("p", {}, text)));
}
