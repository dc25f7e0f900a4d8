// The bench: one state, four views of it that move together.
import * as answer from "./answer.js";
import * as assumed from "./assumed.js";
import * as choice from "./choice.js";
import * as details from "./details.js";
import * as enough from "./enough.js";
import * as field from "./field.js";
import * as lens from "./lens.js";
import * as light from "./light.js";
import * as map from "./map.js";
import * as pictures from "./pictures.js";
import * as pinned from "./pinned.js";
import * as starts from "./starts.js";
import * as strip from "./time.js";
import { Hand, moduleBytes } from "./crew.js";
import { part } from "./draw.js";
import { History, fromAddress, toAddress, usualView } from "./state.js";
import { Study } from "./study.js";
import { wire } from "./wire.js";

/** Largest side of a part of a picture that is rendered at once, px; less on a slow machine. */
const MOST = [512, 256];
/** Time to the redrawn picture beyond which a machine is slow, ms. */
const SLOW_MS = 300;

export class Bench {
  /** @param {Uint8Array} module */
  constructor(module) {
    this.module = module;
    this.front = new Hand(module);
    /** @type {Hand | null} */ this.spare = null;
    this.study = new Study(module, () => this.drawAnswer());
    this.study.wanted.enough = true;
    this.history = new History();
    /** @type {import("./state.js").State} */
    this.state = { setup: "", view: usualView() };
    /** @type {any} */ this.keys = null;
    /** @type {any} */ this.plan = null;
    /** @type {any} */ this.pair = null;
    /** @type {any} */ this.field = null;
    /** @type {any} */ this.plane = null;
    /** @type {any[]} */ this.faults = [];
    /** @type {any[]} */ this.assumed = [];
    /** @type {import("./pinned.js").Pinned | null} */ this.pinned = null;
    /** @type {any} */ this.timeScale = null;
    /** @type {any} */ this.heldScale = null;
    this.open = "";
    this.frame = 0;
    this.under = 0;
    this.most = MOST[0];
    this.printWidth = 0;
    this.drawn_ms = 0;
    /** @type {number[]} */ this.lately = [];
    /** @type {string | null} */ this.wanted = null;
    this.working = false;
    this.paused = false;
    this.pointing = false;
    /** @type {number[] | null} */ this.at = null;
    /** @type {[string, string, string][]} */ this.edits = [];
    /** @type {Promise<string> | null} */ this.kept = null;
  }

  /** A worker for what is looked at beside the present setup. */
  get aside() {
    return (this.spare ??= new Hand(this.module));
  }

  async begin() {
    this.keys = (await this.front.ask({ do: "keys" })).json;
    const from = await fromAddress(location.hash.slice(1));
    const inside = part("rig").textContent.trim();
    if (from) this.state = from;
    else this.state.setup = inside ? JSON.parse(inside) : this.keys.starts[0].setup;
    starts.wire(this);
    this.dress();
    await this.show(this.state.setup);
    this.blinks();
    pinned.restore(this);
  }

  /** Another value under a key; changes of one kind in a row are one step.
   * @param {string} key @param {string} value @param {string} kind */
  set(key, value, kind) {
    this.edits = this.edits.filter(([other]) => other !== key);
    this.edits.push([key, value, kind]);
    return this.work();
  }

  /** Other values under some keys, as one step. @param {string[]} keys @param {any[]} values */
  take(keys, values) {
    const kind = `take ${performance.now()}`;
    keys.forEach((key, k) => this.set(key, String(values[k]), kind));
  }

  /** Another kind of flow in field k, one more, or without a kind one less.
   * @param {number} number @param {string | null} kind */
  async flow(number, kind) {
    const request = { do: "field", setup: this.state.setup, number, kind };
    const { setup, faults } = (await this.front.ask(request)).json;
    if (!faults) return this.change(setup, "");
    this.faults = faults;
    details.faults(this);
  }

  /** Another setup text. @param {string} setup @param {string} kind */
  change(setup, kind) {
    this.history.keep(this.state.setup, kind);
    return this.show(setup);
  }

  /** @param {string} setup */
  async show(setup) {
    this.state.setup = setup;
    this.wanted = setup;
    await this.work();
  }

  /** A state from an address. @param {import("./state.js").State} from */
  async come(from) {
    if (from.setup !== this.state.setup) this.history.keep(this.state.setup, "");
    this.state = from;
    this.dress();
    this.blinks();
    await this.show(from.setup);
    pinned.restore(this);
  }

  /** Plans and renders the newest setup; what comes in meanwhile is taken when that is done. */
  async work() {
    // The processors are the pictures' while a hand moves.
    this.study.hold();
    if (this.working) return;
    this.working = true;
    while (this.wanted !== null || this.edits.length) {
      const begun = performance.now();
      const edit = this.edits.shift();
      if (edit) {
        const [key, value, kind] = edit;
        const request = { do: "edit", setup: this.state.setup, key, value };
        const edited = (await this.front.ask(request)).json;
        if (edited.faults) {
          this.faults = edited.faults;
          details.faults(this);
          this.study.release();
          continue;
        }
        this.history.keep(this.state.setup, kind);
        this.state.setup = edited.setup;
        if (this.edits.length) continue;
      }
      this.wanted = null;
      await this.refresh(begun);
    }
    this.working = false;
  }

  /** @param {number} begun ms */
  async refresh(begun) {
    const { setup, view } = this.state;
    const area = part("setup");
    if (area.value !== setup) area.value = setup;
    // Both are asked at once, the pictures first: a hand that moves looks at them. A whole large
    // one takes seconds, for which the rest does not wait.
    const asks = [() => this.takePair(begun), () => this.takePlan()];
    if (view.whole) asks.reverse();
    const there = await Promise.all(asks.map((ask) => ask()));
    if (view.whole) there.reverse();
    const [pair, plan] = there;
    if (!plan) {
      this.study.release();
      return this.keep();
    }
    if (pair) {
      pictures.buttons(this);
      pictures.place(this);
      pictures.say(this);
      const [x, y] = this.at ?? this.pair.size.map((/** @type {number} */ n) => n / 2);
      this.point(x, y, this.under);
    }
    details.draw(this);
    if (part("map-fold").open) map.settings(this, part("map-choice"));
    if (part("choice-fold").open) choice.settings(this);
    this.keep();
    this.later();
  }

  /** The pictures of the setup, drawn; whether there are any. @param {number} begun ms */
  async takePair(begun) {
    const { json, bytes } = await this.pairOf(this.state.setup);
    if (json.faults) return false;
    const first = !this.pair;
    if (String(this.pair?.size) !== String(json.size)) this.at = null;
    const half = bytes.length / 4;
    const levels = [0, 1].map((k) => new Uint16Array(bytes.buffer, 2 * k * half, half));
    this.pair = { ...json, levels };
    pictures.draw(this);
    this.timed(performance.now() - begun, first || this.state.view.whole);
    return true;
  }

  /** The plan of the setup, drawn; whether it has one. */
  async takePlan() {
    const plan = (await this.front.ask({ do: "plan", setup: this.state.setup })).json;
    this.faults = plan.faults ?? [];
    details.faults(this);
    if (plan.faults) return false;
    this.plan = plan;
    light.draw(this);
    strip.draw(this);
    this.drawAnswer();
    return true;
  }

  /** @param {string} setup */
  pairOf(setup) {
    const { seed, whole, at } = this.state.view;
    return this.front.ask({ do: "pair", setup, seed, ...(whole ? {} : { most: this.most, at }) });
  }

  /** Keeps in mind how long a picture takes; of a slow machine less is asked.
   * @param {number} ms @param {boolean} apart whether it says nothing about the next one */
  timed(ms, apart) {
    this.drawn_ms = ms;
    if (apart || this.most === MOST[1]) return;
    this.lately = [...this.lately, ms].slice(-5);
    if (this.lately.length === 5 && this.lately.every((t) => t > SLOW_MS)) this.most = MOST[1];
  }

  /** The answer, and what stands beside it. */
  drawAnswer() {
    answer.draw(this);
    enough.draw(this);
    if (part("assumed-fold").open) assumed.draw(this);
    pinned.draw(this);
    if (this.pinned && this.study.finished) pinned.restore(this);
  }

  /** What need not move with the hand: the study and the vectors. */
  later() {
    clearTimeout(this.timer);
    this.timer = setTimeout(async () => {
      const { setup, view } = this.state;
      if (part("vectors-fold").open || view.vectors) this.measure();
      if (part("assumed-fold").open) assumed.list(this);
      const taken = this.study.of(setup, view);
      this.study.release();
      await taken;
    }, 350);
  }

  async measure() {
    // Of a large picture shown whole those about the place looked at.
    const at = this.at?.map((n, k) => n / this.pair.size[k]);
    const request = { do: "vectors", setup: this.state.setup, most: this.most, at };
    const { json } = await this.front.ask(request);
    this.field = json.faults ? null : json;
    if (part("vectors-fold").open) field.vectors(this);
    pictures.over(this);
  }

  /** Looks at a place of the picture, px of frame A (0) or B (1).
   * @param {number} x @param {number} y @param {number} under */
  async point(x, y, under) {
    this.at = [x, y];
    this.under = under;
    lens.lens(this);
    if (this.pointing) return;
    this.pointing = true;
    const { json } = await this.front.ask({ do: "plane", setup: this.state.setup, x, y });
    this.pointing = false;
    this.plane = json.faults ? null : json;
    lens.lens(this);
    lens.plane(this);
    pictures.over(this);
  }

  /** Another view of the same setup. @param {Partial<import("./state.js").View>} change */
  look(change) {
    Object.assign(this.state.view, change);
    this.dress();
    this.blinks();
    const named = Object.keys(change);
    if (named.some((name) => ["seed", "whole", "at"].includes(name))) this.show(this.state.setup);
    else {
      if (["limit", "free", "choose"].some((name) => named.includes(name))) this.later();
      if (change.vectors) this.measure();
      this.redraw();
    }
    this.keep();
  }

  /** All that is drawn from what is there. */
  redraw() {
    pictures.draw(this);
    pictures.say(this);
    lens.lens(this);
    lens.plane(this);
    strip.draw(this);
    this.drawAnswer();
  }

  /** Ground and buttons. */
  dress() {
    document.documentElement.dataset.ground = this.state.view.ground;
    part("ground").textContent = this.state.view.ground === "day" ? "laboratory" : "day";
    pictures.buttons(this);
  }

  blinks() {
    clearInterval(this.blinking);
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    if (!still && !this.paused)
      this.blinking = setInterval(() => pictures.blink(this), 1000 / this.state.view.rate);
  }

  /** @param {string} section */
  openSection(section) {
    this.open = section;
    light.draw(this);
    if (section) part("controls").scrollIntoView({ block: "nearest" });
  }

  /** Into the address; the newest state stays, whichever is deflated first. */
  keep() {
    const state = toAddress(this.state);
    this.kept = state;
    return state.then((address) => {
      if (this.kept === state) history.replaceState(null, "", `#${address}`);
    });
  }
}

async function start() {
  const there = [WebAssembly, Worker, DecompressionStream].map((part) => typeof part);
  if (there.includes("undefined"))
    throw new Error(
      "this browser lacks WebAssembly, workers or decompression; a version of 2023 or later has them",
    );
  const bench = new Bench(await moduleBytes());
  /** @type {any} */ (globalThis).bench = bench;
  wire(bench);
  await bench.begin();
  document.body.dataset.ready = "yes";
}

start().catch((error) => {
  const sentence = part("sentence");
  sentence.textContent = `The page could not begin: ${error instanceof Error ? error.message : error}.`;
});
