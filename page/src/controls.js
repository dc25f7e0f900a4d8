// Controls made from the key table: each value is edited where it stands, with its unit.
import { html, named, part } from "./draw.js";

/** @param {import("./main.js").Bench} bench @param {HTMLElement} into */
export function controls(bench, into) {
  const section = bench.keys?.sections.find((/** @type {any} */ s) => s.name === bench.open);
  into.hidden = !section;
  if (!section || !bench.plan) return into.replaceChildren();
  const given = new Map(bench.plan.given);
  const kinds = section.name === "flow" ? kindsOf(given) : [];
  // Other keys belong to other kinds of flow.
  const shown = [section.name, ...kinds].join(" ");
  const held = /** @type {HTMLElement} */ (document.activeElement);
  const inside = into.contains(held);
  if (inside && into.dataset.section === shown) return refresh(bench, into);
  into.dataset.section = shown;
  const { id } = held;
  into.replaceChildren(
    html("h2", {}, `${section.name}: ${section.title}`),
    ...(kinds.length ? fields(bench, section, given, kinds) : keysOf(bench, section.keys, given)),
  );
  if (inside) (part(id) ?? into.querySelector("button, input, select"))?.focus({ preventScroll: true });
}

/** The kind of each field that adds. @param {Map<any, any>} given @returns {string[]} */
function kindsOf(given) {
  if (given.has("flow.kind")) return [String(given.get("flow.kind"))];
  const kinds = [];
  while (given.has(`flow[${kinds.length}].kind`)) kinds.push(String(given.get(`flow[${kinds.length}].kind`)));
  return kinds;
}

/** Fields of the flow that add: each with its keys, one more, one less.
 * @param {import("./main.js").Bench} bench @param {any} section @param {Map<any, any>} given
 * @param {string[]} kinds */
function fields(bench, section, given, kinds) {
  const listed = given.has("flow[0].kind");
  const words = section.keys
    .find((/** @type {any} */ k) => k.path === "flow.kind")
    .words.filter((/** @type {string} */ word) => word !== "imported");
  const select = (/** @type {string} */ id, /** @type {string} */ name, /** @type {string} */ now, /** @type {(kind: string) => void} */ to) =>
    html(
      "select",
      { id, "aria-label": name, onchange: (/** @type {any} */ e) => to(e.target.value) },
      ...(words.includes(now) ? words : [now, ...words]).map((/** @type {string} */ w) =>
        html("option", { value: w, selected: w === now }, w || "add a field …"),
      ),
    );
  const one = (/** @type {string} */ kind, /** @type {number} */ k) => {
    const name = kinds.length > 1 ? `field ${k + 1} of ${kinds.length}` : "the flow";
    const remove = html(
      "button",
      { id: `field-${k}-remove`, "aria-label": `remove ${name}, ${kind}`, onclick: () => bench.flow(k, null) },
      "remove",
    );
    const keys = section.keys
      .filter((/** @type {any} */ key) => key.path !== "flow.kind")
      .filter((/** @type {any} */ key) => key.flows.length === 0 || key.flows.includes(kind))
      .map((/** @type {any} */ key) =>
        listed ? { ...key, path: key.path.replace("flow.", `flow[${k}].`) } : key,
      );
    return html(
      "section",
      { class: "one-field", "aria-label": `${name}: ${kind}` },
      html(
        "div",
        { class: "row" },
        html("h3", {}, name),
        select(`field-${k}-kind`, `kind of ${name}`, kind, (to) => bench.flow(k, to)),
        ...(kinds.length > 1 ? [remove] : []),
      ),
      ...keysOf(bench, keys, given),
    );
  };
  return [
    ...kinds.map(one),
    html(
      "div",
      { class: "row" },
      select("field-add", "add a field", "", (kind) => bench.flow(kinds.length, kind)),
      html("span", { class: "help" }, "Velocities of all fields add. A new one begins with values of its own: change them."),
    ),
  ];
}

/** Controls of keys: what is stated, and folded what is not.
 * @param {import("./main.js").Bench} bench @param {any[]} keys @param {Map<any, any>} given */
function keysOf(bench, keys, given) {
  const simple = keys.filter((k) => !["tables", "file"].includes(k.kind) && !k.path.includes("[]"));
  const stated = simple.filter((k) => given.has(k.path));
  const others = simple.filter((k) => !given.has(k.path));
  const all = (/** @type {any[]} */ of) =>
    html("div", { class: "keys" }, ...of.map((k) => control(bench, k, given.get(k.path))));
  return [
    all(stated),
    html(
      "details",
      { class: "more" },
      html("summary", {}, `${others.length} more, not stated`),
      all(others),
    ),
  ];
}

/** New values into controls that stay, so that the one in hand is not lost.
 * @param {import("./main.js").Bench} bench @param {HTMLElement} into */
function refresh(bench, into) {
  const given = new Map(bench.plan.given);
  for (const field of /** @type {NodeListOf<HTMLInputElement>} */ (
    into.querySelectorAll("[data-key]")
  )) {
    if (field === document.activeElement) continue;
    const value = given.get(field.dataset.key ?? "");
    if (value !== undefined && field.type !== "range") field.value = String(value);
  }
}

/** @param {import("./main.js").Bench} bench @param {any} key @param {any} value */
function control(bench, key, value) {
  const name = named(key.path);
  const id = `key-${key.path}`;
  const assumed = value === undefined;
  const shown = assumed ? "" : String(value);
  const set = (/** @type {string} */ text) =>
    text.trim() && bench.set(key.path, text.trim(), key.path);
  const hint = key.default ?? key.otherwise;
  let field;
  if (key.kind === "choice" || key.kind === "switch") {
    const words = key.kind === "switch" ? ["false", "true"] : key.words;
    field = html(
      "select",
      { id, "data-key": key.path, onchange: (/** @type {any} */ e) => set(e.target.value) },
      ...(assumed ? [html("option", { value: "", selected: true }, hint || "–")] : []),
      ...words.map((/** @type {string} */ w) =>
        html("option", { value: w, selected: w === shown }, w),
      ),
    );
  } else {
    field = html("input", {
      id,
      type: "text",
      value: shown,
      placeholder: hint || "",
      "data-key": key.path,
      spellcheck: "false",
      onchange: (/** @type {any} */ e) => set(e.target.value),
      onkeydown: (/** @type {KeyboardEvent} */ e) => step(bench, key, e),
      onwheel: (/** @type {WheelEvent} */ e) =>
        document.activeElement === e.target && step(bench, key, e),
    });
  }
  const help = [
    key.about,
    assumed && key.assumes ? `Assumed: ${key.assumes}.` : "",
    key.usual ? `Usual: ${String(key.usual).replaceAll('"', "")}.` : "",
  ];
  field.setAttribute("aria-describedby", `${id}-help`);
  return html(
    "div",
    { class: `key${assumed ? " assumed" : ""}` },
    html("label", { for: id }, name),
    field,
    slider(key, shown, set),
    html("p", { id: `${id}-help`, class: "help" }, help.filter(Boolean).join(" ")),
  );
}

/** @param {any} key @param {string} shown @param {(text: string) => any} set */
function slider(key, shown, set) {
  const number = parseFloat(shown.replace("f/", ""));
  if (
    !key.range ||
    !Number.isFinite(number) ||
    !shown.endsWith(key.unit === "f/" ? String(number) : key.unit)
  )
    return "";
  const [low, high] = key.range;
  const to = (/** @type {number} */ v) =>
    key.log ? Math.log(v / low) / Math.log(high / low) : (v - low) / (high - low);
  const from = (/** @type {number} */ t) =>
    key.log ? low * (high / low) ** t : low + t * (high - low);
  const text = (/** @type {number} */ v) => {
    const digits = Number(v.toPrecision(3));
    return key.unit === "f/"
      ? `f/${digits}`
      : `${key.kind === "whole" ? Math.round(v) : digits} ${key.unit}`.trim();
  };
  return html("input", {
    type: "range",
    min: 0,
    max: 1,
    step: 0.002,
    value: to(number),
    "aria-label": `${key.path}, by dragging`,
    oninput: (/** @type {any} */ e) => set(text(from(Number(e.target.value)))),
  });
}

/** Arrows and wheel: 5 % per step, with Shift 1 %. @param {import("./main.js").Bench} bench
 * @param {any} key @param {any} event */
function step(bench, key, event) {
  const up = event.key === "ArrowUp" || event.deltaY < 0;
  if (!up && event.key !== "ArrowDown" && !(event.deltaY > 0)) return;
  const field = event.target;
  const found = /^(f\/)?\s*(-?[\d.]+(?:e-?\d+)?)(.*)$/i.exec(field.value);
  if (!found) return;
  event.preventDefault();
  const share = event.shiftKey ? 1.01 : 1.05;
  const moved = Number(found[2]) * (up ? share : 1 / share);
  const digits =
    key.kind === "whole"
      ? Math.round(Number(found[2])) + (up ? 1 : -1)
      : Number(moved.toPrecision(4));
  field.value = `${found[1] ?? ""}${digits}${found[3]}`;
  bench.set(key.path, field.value, key.path);
}
