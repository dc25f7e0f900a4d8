// A map of the error over two settings.
import { html, named, short, typeset } from "./draw.js";

/** The unit of a number, where it has one. @param {string} text */
const number = (text) => {
  const found = /^(f\/)?\s*(-?[\d.]+(?:e[+-]?\d+)?)\s*([a-z%]*)/i.exec(text);
  const of = /** @type {Record<string, number>} */ ({
    ps: 1e-12,
    ns: 1e-9,
    us: 1e-6,
    ms: 1e-3,
    nm: 1e-9,
    um: 1e-6,
    mm: 1e-3,
    cm: 1e-2,
    mW: 1e-3,
    uJ: 1e-6,
    mJ: 1e-3,
  });
  return found ? Number(found[2]) * (of[found[3]] ?? 1) : NaN;
};

/** @param {import("./main.js").Bench} bench @param {any} answer */
export function map(bench, answer) {
  const { keys, best } = answer;
  // A third setting is shown at its best value.
  const trials = answer.trials.filter(
    (/** @type {any} */ t) => !best || t.values.slice(2).join() === best.values.slice(2).join(),
  );
  const values = [0, 1].map((k) =>
    [...new Set(trials.map((/** @type {any} */ t) => String(t.values[k])))].sort(
      (a, b) => number(a) - number(b),
    ),
  );
  const errors = trials
    .map((/** @type {any} */ t) => t.relative_error)
    .filter((/** @type {any} */ e) => e > 0);
  const [low, high] = [Math.log(Math.min(...errors)), Math.log(Math.max(...errors))];
  const caption =
    `Error of the velocity, % of its mean: ${named(keys[0])} across, ${named(keys[1])} down` +
    (keys[2] && best ? `, ${named(keys[2])} ${typeset(String(best.values[2]))}` : "") +
    ". Press a cell to take its settings.";
  const table = html(
    "table",
    { class: "map" },

    html(
      "tr",
      {},
      html("td", {}),
      ...values[0].map((v) => html("th", { scope: "col" }, typeset(v))),
    ),
  );
  const cell = (/** @type {string} */ column, /** @type {string} */ row) => {
    const t = trials.find(
      (/** @type {any} */ t) => String(t.values[0]) === column && String(t.values[1]) === row,
    );
    if (!(t?.relative_error > 0)) return html("td", { class: "faint" }, t ? "–" : "");
    const name = `${named(keys[0])} ${column}, ${named(keys[1])} ${row}: ${short(100 * t.relative_error)} %`;
    const take = html(
      "button",
      { "aria-label": name, onclick: () => bench.take(keys, t.values) },
      short(100 * t.relative_error),
    );
    const found = html(
      "td",
      { class: best && t.values.join() === best.values.join() ? "best" : "" },
      take,
    );
    found.style.setProperty("--t", String((Math.log(t.relative_error) - low) / (high - low || 1)));
    return found;
  };
  for (const row of values[1])
    table.append(
      html(
        "tr",
        {},
        html("th", { scope: "row" }, typeset(row)),
        ...values[0].map((column) => cell(column, row)),
      ),
    );
  return html(
    "div",
    {},
    html("p", { class: "help" }, caption),
    html("div", { class: "wide" }, table),
  );
}

/** Which two settings are mapped. @param {import("./main.js").Bench} bench
 * @param {HTMLElement} into */
export function settings(bench, into) {
  const { free } = bench.state.view;
  const given = new Map(bench.plan?.given ?? []);
  const counted = bench.keys.sections
    .flatMap((/** @type {any} */ s) => s.keys)
    .filter(
      (/** @type {any} */ k) =>
        given.has(k.path) &&
        !["choice", "switch", "tables", "file", "text"].includes(k.kind) &&
        number(String(given.get(k.path))) > 0,
    )
    .map((/** @type {any} */ k) => k.path);
  const usual = ["light.pulse_length", "timing.separation"];
  const chosen =
    free.length === 2 ? free : usual.map((key, k) => (counted.includes(key) ? key : counted[k]));
  const select = (/** @type {number} */ k) =>
    html(
      "select",
      { "aria-label": k ? "second setting" : "first setting" },
      ...counted.map((/** @type {string} */ key) =>
        html("option", { value: key, selected: key === chosen[k] }, key),
      ),
    );
  const [first, second] = [select(0), select(1)];
  const go = () =>
    first.value !== second.value && bench.look({ free: [first.value, second.value], choose: [] });
  into.replaceChildren(
    html(
      "p",
      { class: "help" },
      "Each from a quarter to four times its value, and beyond where the best lies there. A map takes some minutes.",
    ),
    html(
      "div",
      { class: "row" },
      first,
      second,
      html("button", { onclick: go }, "map these"),
      ...(free.length
        ? [html("button", { onclick: () => bench.look({ free: [] }) }, "back to the curve")]
        : []),
    ),
  );
}
