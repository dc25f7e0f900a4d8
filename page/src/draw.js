// Elements, numbers and axes: what every view draws with. Texts enter as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

/**
 * @param {string} name @param {Record<string, any>} [of] attributes; `on…` are listeners
 * @param {...(Node | string)} children
 * @returns {any}
 */
export function html(name, of = {}, ...children) {
  return fill(document.createElement(name), of, children);
}

/** @param {string} name @param {Record<string, any>} [of] @param {...(Node | string)} children
 * @returns {any} */
export function svg(name, of = {}, ...children) {
  return fill(document.createElementNS(SVG, name), of, children);
}

/** @param {Element} element @param {Record<string, any>} of @param {(Node | string)[]} children */
function fill(element, of, children) {
  for (const [key, value] of Object.entries(of)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key.startsWith("aria-")) element.setAttribute(key, String(value));
    else if (value !== undefined && value !== null && value !== false)
      element.setAttribute(key, value === true ? "" : String(value));
  }
  element.append(...children);
  return element;
}

const STOPS = "a[href], button, input, select, textarea, summary, [tabindex]";

/** Puts new children into an element; what had the focus has it again.
 * @param {Element} into @param {...(Node | string)} children */
export function renew(into, ...children) {
  const held = [...into.querySelectorAll(STOPS)].indexOf(
    /** @type {Element} */ (document.activeElement),
  );
  into.replaceChildren(...children);
  const stops = /** @type {NodeListOf<HTMLElement>} */ (into.querySelectorAll(STOPS));
  if (held >= 0) stops[Math.min(held, stops.length - 1)]?.focus({ preventScroll: true });
}

/** What the style sheet calls a colour. @param {string} name */
export const colour = (name) =>
  getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/** Ready to draw with CSS px, sharp on any screen. @param {any} canvas @param {number} width
 * @param {number} height @returns {CanvasRenderingContext2D} */
export function sharp(canvas, width, height) {
  const ratio = Math.max(1, Math.min(3, devicePixelRatio || 1));
  [canvas.width, canvas.height] = [Math.round(width * ratio), Math.round(height * ratio)];
  const on = canvas.getContext("2d");
  on.setTransform(ratio, 0, 0, ratio, 0, 0);
  return on;
}

/** A key without its section, as words. @param {string} key */
export const named = (key) => key.split(".").slice(1).join(" ").replaceAll("_", " ");

/** The first number of a text with three significant digits. @param {string} text */
export const three = (text) => text.replace(/\d+\.\d+|\d{4,}/, (found) => short(Number(found)));

/** @param {string} id @returns {any} */
export const part = (id) => document.getElementById(id);

/** A power of ten as raised digits. @param {string} power */
const raised = (power) =>
  [...String(Number(power))].map((c) => "⁰¹²³⁴⁵⁶⁷⁸⁹"[Number(c)] ?? "⁻").join("");

/** Three significant digits. @param {number} value */
export function short(value) {
  if (!Number.isFinite(value)) return "–";
  if (value === 0) return "0";
  const size = Math.abs(value);
  if (size >= 1e6 || size < 1e-4) {
    const [digits, power] = value.toExponential(2).split("e");
    return `${digits}×10${raised(power)}`;
  }
  const decimals = Math.max(0, 2 - Math.floor(Math.log10(size)));
  return Number(value.toPrecision(3)).toFixed(Math.min(decimals, 8));
}

/** A round number on an axis, without zeros that say nothing. @param {number} value */
export const plain = (value) =>
  value >= 1e5 || value < 1e-4 ? short(value) : String(Number(value.toPrecision(3)));

const TIMES = /** @type {[number, string][]} */ ([
  [1, "s"],
  [1e-3, "ms"],
  [1e-6, "µs"],
  [1e-9, "ns"],
  [1e-12, "ps"],
]);

/** @param {number} seconds */
export function time(seconds) {
  if (!Number.isFinite(seconds)) return "–";
  const [scale, unit] = TIMES.find(([scale]) => Math.abs(seconds) >= 0.9995 * scale) ?? [1, "s"];
  return `${short(seconds / scale)}\u202f${unit}`;
}

/** A time on an axis. @param {number} seconds */
export const timeTick = (seconds) =>
  time(seconds)
    .replace(/(\.\d*?)0+(?=\D|$)/, "$1")
    .replace(/\.(?=\D|$)/, "");

/** A quantity as a setup writes it, exactly enough. @param {number} seconds */
export const timeText = (seconds) => `${Number((seconds * 1e6).toPrecision(4))} us`;

/** With the signs that print has. @param {string} text */
export const typeset = (text) =>
  text
    .replace(/(\d)e([+-]?\d+)\b/g, (_, digit, power) => `${digit}×10${raised(power)}`)
    .replace(/\b([JW]\/[mc]?m)2\b/g, "$1²")
    .replace(/([\d⁰¹²³⁴⁵⁶⁷⁸⁹]) (?=[a-zA-Zµ%°/])/g, "$1\u202f")
    .replace(/\bu(?=[smWJ]\b)/g, "µ")
    .replace(/(^|[\s(])-(?=\d)/g, "$1−");

/** @param {number} from @param {number} to @param {number} a @param {number} b */
export const logScale = (from, to, a, b) => {
  const [l, h] = [Math.log(from), Math.log(to)];
  const at = (/** @type {number} */ v) => a + ((Math.log(v) - l) / (h - l)) * (b - a);
  at.inverse = (/** @type {number} */ p) => Math.exp(l + ((p - a) / (b - a)) * (h - l));
  return at;
};

/** @param {number} from @param {number} to @param {number} a @param {number} b */
export const scale = (from, to, a, b) => {
  const at = (/** @type {number} */ v) => a + ((v - from) / (to - from)) * (b - a);
  at.inverse = (/** @type {number} */ p) => from + ((p - a) / (b - a)) * (to - from);
  return at;
};

/** Ticks 1, 2, 5 of every decade within a range. @param {number} from @param {number} to */
export function logTicks(from, to) {
  const all = [];
  for (let e = Math.floor(Math.log10(from)); e <= Math.log10(to); e++)
    for (const m of [1, 2, 5]) {
      const v = Number(`${m}e${e}`);
      if (v >= from * 0.999 && v <= to * 1.001) all.push(v);
    }
  return all;
}
