// A choice from lists: which window, which sub-pixel fit, which aperture.
import { html, named, part, renew, short, typeset } from "./draw.js";

/** Most settings whose combinations are tried. */
const MOST = 2;

/** What is to be tried. @param {import("./main.js").Bench} bench */
export function settings(bench) {
  const into = part("choice-settings");
  // What is being written stays.
  const held = /** @type {HTMLElement} */ (document.activeElement);
  if (into.contains(held) && held.tagName !== "BUTTON") return;
  const { choose } = bench.state.view;
  const given = new Map(bench.plan?.given ?? []);
  const simple = ["choice", "switch", "quantity", "number", "whole", "share"];
  const keys = bench.keys.sections
    .flatMap((/** @type {any} */ s) => s.keys)
    .filter(
      (/** @type {any} */ k) =>
        simple.includes(k.kind) &&
        !k.path.includes("[]") &&
        (k.path.startsWith("processing.") || given.has(k.path)),
    )
    .map((/** @type {any} */ k) => k.path);
  const rows = Array.from({ length: MOST }, (_, k) => setting(keys, k, choose[k] ?? ""));
  const go = () => {
    const wanted = rows.map(({ key, values }) =>
      values.value.trim() ? `${key.value}=${values.value.trim()}` : key.value,
    );
    look(wanted.filter(Boolean));
  };
  const look = (/** @type {string[]} */ choose) => {
    bench.look({ choose, free: [] });
    settings(bench);
  };
  renew(
    into,
    html(
      "p",
      { class: "help" },
      "Every combination measures the same pairs. Values stand between commas; without any the usual ones are tried.",
    ),
    ...rows.map(({ key, values }) => html("div", { class: "row" }, key, values)),
    html(
      "div",
      { class: "row" },
      html("button", { onclick: go }, "rank these"),
      ...(choose.length
        ? [html("button", { onclick: () => look([]) }, "back to the curve")]
        : []),
    ),
  );
}

/** A key and its values. @param {string[]} keys @param {number} k @param {string} chosen */
function setting(keys, k, chosen) {
  const [path, ...values] = (chosen || (k ? "" : "processing.window")).split("=");
  const which = ["first", "second"][k];
  const option = (/** @type {string} */ key) =>
    html("option", { value: key, selected: key === path }, key || "no second setting");
  return {
    key: html(
      "select",
      { "aria-label": `${which} setting to choose` },
      ...(k ? ["", ...keys] : keys).map(option),
    ),
    values: html("input", {
      type: "text",
      value: values.join("="),
      placeholder: "usual values",
      spellcheck: "false",
      "aria-label": `values of the ${which} setting`,
    }),
  };
}

const STATES = /** @type {Record<string, string>} */ ({
  "not-reached": "not measured yet",
  refused: "cannot be planned",
});

/** Every combination by rising error. @param {import("./main.js").Bench} bench
 * @param {any} answer */
export function ranking(bench, answer) {
  const { keys, trials, best } = answer;
  const head = [
    ...keys.map(named),
    "error of the velocity, %",
    "displacement error, px",
    "valid, %",
    "",
  ];
  const row = (/** @type {any} */ t) => {
    const same = best && t.values.join() === best.values.join();
    const name = keys.map((/** @type {string} */ key, /** @type {number} */ k) => `${named(key)} ${t.values[k]}`);
    const take = html(
      "button",
      { "aria-label": `set ${name.join(", ")}`, onclick: () => bench.take(keys, t.values) },
      typeset(t.values[0]),
    );
    const interval = (/** @type {any} */ e, /** @type {number} */ by) =>
      e ? `${short(by * e.value)} (${short(by * e.lo)} to ${short(by * e.hi)})` : "–";
    return html(
      "tr",
      { class: same ? "chosen" : "" },
      html("td", {}, t.relative_error ? take : typeset(t.values[0])),
      ...t.values.slice(1).map((/** @type {string} */ v) => html("td", {}, typeset(v))),
      html("td", { class: "n" }, interval(t.relative_error, 100)),
      html("td", { class: "n" }, interval(t.total_px, 1)),
      html("td", { class: "n" }, t.valid === undefined ? "–" : short(100 * t.valid)),
      html("td", {}, remark(t, same, answer)),
    );
  };
  return html(
    "div",
    { class: "wide" },
    html("p", { class: "help" }, "By rising error, with 95 % intervals. Press one to take its settings."),
    html(
      "table",
      { class: "ranking" },
      html("thead", {}, html("tr", {}, ...head.map((t) => html("th", { scope: "col" }, t)))),
      html("tbody", {}, ...trials.map(row)),
    ),
  );
}

/** @param {any} t @param {boolean} same @param {any} answer */
function remark(t, same, answer) {
  if (t.reason) return typeset(t.reason);
  if (STATES[t.state]) return STATES[t.state];
  if (t.valid < answer.valid_fraction_asked) return "loses too many vectors";
  if (answer.stopped) return "";
  return same ? "best" : t.as_good_as_best ? "as good, as far as can be told" : "";
}
