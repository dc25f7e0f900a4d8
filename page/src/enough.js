// What would be enough where no setting keeps within the limit: the least light and other changes,
// each to be taken with a press.
import { html, named, part, renew, typeset } from "./draw.js";

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { enough, open, stopped } = bench.study;
  const into = part("enough");
  into.hidden = !open.enough;
  if (!open.enough) return;
  const found = enough?.finished && !enough.fault;
  const say = found
    ? `For ${enough.aim}.`
    : (enough?.fault ??
      (stopped
        ? "Stopped before it was found."
        : "Looking for the least light and other changes with which the limit would be met."));
  if (part("enough-say").textContent !== typeset(say)) part("enough-say").textContent = typeset(say);
  const others = found && enough.nothing_else ? [html("li", {}, sentence(enough.nothing_else))] : [];
  const ways = found ? enough.solutions.map((/** @type {any} */ way) => row(bench, way)) : [];
  renew(part("ways"), ...ways, ...others);
}

/** @param {string} text */
const sentence = (text) => `${text[0].toUpperCase()}${typeset(text.slice(1))}.`;

/** @param {import("./main.js").Bench} bench @param {any} way */
function row(bench, way) {
  if (!way.settings) return html("li", {}, sentence(way.says));
  const keys = way.settings.map((/** @type {any} */ s) => s.key);
  const values = way.settings.map((/** @type {any} */ s) => s.value);
  const words = way.settings.map((/** @type {any} */ s) => `${named(s.key)} ${typeset(s.value)}`);
  return html(
    "li",
    {},
    html("p", {}, sentence(way.says)),
    html("p", { class: "help" }, typeset(way.gives)),
    html("button", { onclick: () => bench.take(keys, values) }, `set ${words.join(", ")}`),
  );
}
