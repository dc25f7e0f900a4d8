// One value restores everything: the setup's text and the view. It lives in the address, deflated.
import { inflate } from "./crew.js";

/** A setup has at most 1 MB; an address that inflates to more is no setup of ours. */
const MOST_BYTES = 1 << 20;

/**
 * @typedef {object} View
 * @property {string} ground day or laboratory
 * @property {string} show blink, side, overlay or pinned
 * @property {boolean} stretched whether grey levels fill the scale
 * @property {boolean} vectors whether measured vectors stand over the picture
 * @property {boolean} whole whether a large picture is rendered whole
 * @property {number[]} at middle of the part of a large picture, in shares of width and height
 * @property {number} seed
 * @property {number} rate blinks per second
 * @property {string} limit error that the answer is to keep within, or "" for the usual one
 * @property {string[]} free two settings to map, or none
 * @property {string[]} choose settings to choose from lists, as KEY or KEY=a,b,c, or none
 * @property {string} pinned setup to compare with, or ""
 */

/** @typedef {{ setup: string, view: View }} State */

/** @returns {View} */
export const usualView = () => ({
  ground: "day",
  show: "blink",
  stretched: true,
  vectors: false,
  whole: false,
  at: [0.5, 0.5],
  seed: 1,
  rate: 3,
  limit: "",
  free: [],
  choose: [],
  pinned: "",
});

/** @param {State} state @returns {Promise<string>} */
export async function toAddress(state) {
  const text = new TextEncoder().encode(JSON.stringify(state));
  const stream = new Blob([text]).stream().pipeThrough(new CompressionStream("deflate-raw"));
  const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
  const binary = Array.from(bytes, (b) => String.fromCharCode(b)).join("");
  return btoa(binary).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

/** @param {string} address @returns {Promise<State | null>} */
export async function fromAddress(address) {
  try {
    const binary = atob(address.replaceAll("-", "+").replaceAll("_", "/"));
    const packed = Uint8Array.from(binary, (c) => c.charCodeAt(0));
    const found = JSON.parse(
      new TextDecoder().decode(await inflate(packed, "deflate-raw", MOST_BYTES)),
    );
    return checked(found);
  } catch {
    return null;
  }
}

/** What an address may hold, and nothing else. @param {any} found @returns {State | null} */
function checked(found) {
  if (typeof found?.setup !== "string") return null;
  const given = found.view ?? {};
  const usual = usualView();
  const one = (/** @type {string} */ value, /** @type {string[]} */ of) =>
    of.includes(value) ? value : of[0];
  const yes = (/** @type {"stretched" | "vectors" | "whole"} */ name) =>
    typeof given[name] === "boolean" ? given[name] : usual[name];
  const within = (/** @type {any} */ n, /** @type {number} */ low, /** @type {number} */ high) =>
    Number.isFinite(n) ? Math.min(high, Math.max(low, n)) : NaN;
  const texts = (/** @type {any} */ list) => (Array.isArray(list) ? list.map(String) : []);
  const keys = texts(given.free);
  return {
    setup: found.setup,
    view: {
      ground: one(given.ground, ["day", "laboratory"]),
      show: one(given.show, ["blink", "side", "overlay", "pinned"]),
      stretched: yes("stretched"),
      vectors: yes("vectors"),
      whole: yes("whole"),
      at: [0, 1].map((k) => within(given.at?.[k], 0, 1)).map((n) => (n >= 0 ? n : 0.5)),
      seed: Number.isSafeInteger(given.seed) && given.seed >= 0 ? given.seed : usual.seed,
      rate: within(given.rate, 0.5, 8) || usual.rate,
      // Once a number of px.
      limit: String(given.limit ?? given.limit_px ?? usual.limit).slice(0, 40),
      free: keys.length === 2 ? keys : [],
      choose: texts(given.choose).slice(0, 2),
      pinned: typeof given.pinned === "string" ? given.pinned : "",
    },
  };
}

/** Setups before and after the present one. */
export class History {
  constructor() {
    /** @type {string[]} */
    this.past = [];
    /** @type {string[]} */
    this.future = [];
    this.last = "";
  }

  /** Keeps a setup that is about to change; changes of one kind in a row are one step.
   * @param {string} setup @param {string} kind */
  keep(setup, kind) {
    if (kind && kind === this.last) return;
    this.last = kind;
    this.past.push(setup);
    if (this.past.length > 200) this.past.shift();
    this.future = [];
  }

  /** @param {string} now */
  undo(now) {
    const back = this.past.pop();
    if (back !== undefined) this.future.push(now);
    this.last = "";
    return back;
  }

  /** @param {string} now */
  redo(now) {
    const on = this.future.pop();
    if (on !== undefined) this.past.push(now);
    this.last = "";
    return on;
  }
}
