// One value restores everything: the setup's text and the view. It lives in the address, deflated.
import { inflate } from "./crew.js";

/** A setup has at most 1 MB; an address that inflates to more is no setup of ours. */
const MOST_BYTES = 1 << 20;

/**
 * @typedef {object} View
 * @property {string} ground day or laboratory
 * @property {string} show blink, side or overlay
 * @property {boolean} stretched whether grey levels fill the scale
 * @property {number} seed
 * @property {number} rate blinks per second
 * @property {string} pinned setup to compare with, or ""
 */

/** @typedef {{ setup: string, view: View }} State */

/** @returns {View} */
export const usualView = () => ({ ground: "day", show: "blink", stretched: true, seed: 1, rate: 3, pinned: "" });

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
    const found = JSON.parse(new TextDecoder().decode(await inflate(packed, "deflate-raw", MOST_BYTES)));
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
  const one = (/** @type {string} */ value, /** @type {string[]} */ of) => (of.includes(value) ? value : of[0]);
  return {
    setup: found.setup,
    view: {
      ground: one(given.ground, ["day", "laboratory"]),
      show: one(given.show, ["blink", "side", "overlay"]),
      stretched: typeof given.stretched === "boolean" ? given.stretched : usual.stretched,
      seed: Number.isSafeInteger(given.seed) && given.seed >= 0 ? given.seed : usual.seed,
      rate: Number.isFinite(given.rate) ? Math.min(8, Math.max(0.5, given.rate)) : usual.rate,
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

  /** Keeps a setup that is about to change; changes of one kind in a row are one step. @param {string} setup @param {string} kind */
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
