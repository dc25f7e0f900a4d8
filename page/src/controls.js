// Controls made from the key table: each value is edited where it stands, with its unit.
import { html } from "./draw.js";

/** @param {import("./main.js").Bench} bench @param {HTMLElement} into */
export function controls(bench, into) {
  const section = bench.keys?.sections.find((/** @type {any} */ s) => s.name === bench.open);
  into.hidden = !section;
  if (!section || !bench.plan) return into.replaceChildren();
  if (into.contains(document.activeElement) && into.dataset.section === section.name)
    return refresh(bench, into);
  into.dataset.section = section.name;
  const given = new Map(bench.plan.given);
  const flow = String(given.get("flow.kind") ?? "");
  const simple = section.keys.filter(
    (/** @type {any} */ k) =>
      !["tables", "file"].includes(k.kind) &&
      !k.path.includes("[]") &&
      (k.flows.length === 0 || k.flows.includes(flow)),
  );
  const stated = simple.filter((/** @type {any} */ k) => given.has(k.path));
  const others = simple.filter((/** @type {any} */ k) => !given.has(k.path));
  into.replaceChildren(
    html("h2", {}, `${section.name}: ${section.title}`),
    html(
      "div",
      { class: "keys" },
      ...stated.map((/** @type {any} */ k) => control(bench, k, given.get(k.path))),
    ),
    html(
      "details",
      { class: "more" },
      html("summary", {}, `${others.length} more, not stated`),
      html(
        "div",
        { class: "keys" },
        ...others.map((/** @type {any} */ k) => control(bench, k, undefined)),
      ),
    ),
  );
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
  const name = key.path.split(".").slice(1).join(".").replaceAll("_", " ");
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

/** Arrows and wheel: 5 % a step, with Shift 1 %. @param {import("./main.js").Bench} bench
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
