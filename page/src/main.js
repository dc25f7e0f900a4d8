// The bench: one state, four views of it that move together.
import { History, fromAddress, toAddress, usualView } from "./state.js";
import { Hand, moduleBytes } from "./crew.js";
import { html, part } from "./draw.js";
import * as answer from "./answer.js";
import * as details from "./details.js";
import * as light from "./light.js";
import * as pictures from "./pictures.js";
import * as strip from "./time.js";
import { Study } from "./study.js";

export class Bench {
  /** @param {Uint8Array} module */
  constructor(module) {
    this.module = module;
    this.front = new Hand(module);
    this.study = new Study(module, () => answer.draw(this));
    this.history = new History();
    /** @type {import("./state.js").State} */
    this.state = { setup: "", view: usualView() };
    /** @type {any} */ this.keys = null;
    /** @type {any} */ this.plan = null;
    /** @type {any} */ this.pair = null;
    /** @type {any} */ this.field = null;
    /** @type {any} */ this.plane = null;
    /** @type {any[]} */ this.faults = [];
    /** @type {ImageData[] | null} */ this.images = null;
    /** @type {any} */ this.pinnedAnswer = null;
    /** @type {any} */ this.timeScale = null;
    /** @type {any} */ this.heldScale = null;
    this.open = "";
    this.frame = 0;
    this.drawn_ms = 0;
    this.wanted = "";
    this.working = false;
    this.paused = false;
    this.pointing = false;
    /** @type {number[] | null} */ this.at = null;
    /** @type {[string, string, string][]} */ this.edits = [];
  }

  async begin() {
    this.keys = (await this.front.ask({ do: "keys" })).json;
    const from = await fromAddress(location.hash.slice(1));
    const inside = part("rig").textContent.trim();
    if (from) this.state = from;
    else this.state.setup = inside ? JSON.parse(inside) : this.keys.starts[0].setup;
    this.starts();
    pictures.buttons(this);
    this.ground();
    await this.change(this.state.setup, "");
    this.blinks();
  }

  /** Another value under a key. @param {string} key @param {string} value @param {string} kind changes of one kind in a row are one step */
  set(key, value, kind) {
    this.edits = this.edits.filter(([other]) => other !== key);
    this.edits.push([key, value, kind]);
    this.study.hold();
    this.work();
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

  /** Plans and renders the newest setup; what comes in meanwhile is taken when that is done. */
  async work() {
    if (this.working) return;
    this.working = true;
    while (this.wanted || this.edits.length) {
      const begun = performance.now();
      const edit = this.edits.shift();
      if (edit) {
        const [key, value, kind] = edit;
        const edited = (await this.front.ask({ do: "edit", setup: this.state.setup, key, value })).json;
        if (edited.faults) {
          this.faults = edited.faults;
          details.faults(this);
          continue;
        }
        this.history.keep(this.state.setup, kind);
        this.state.setup = edited.setup;
        if (this.edits.length) continue;
      }
      this.wanted = "";
      await this.refresh(begun);
    }
    this.working = false;
  }

  /** @param {number} begun ms */
  async refresh(begun) {
    const { setup, view } = this.state;
    const area = part("setup");
    if (area.value !== setup) area.value = setup;
    // Both are asked at once, the pictures first: a hand that moves looks at them.
    const asked = [this.front.ask({ do: "pair", setup, seed: view.seed }), this.front.ask({ do: "plan", setup })];
    const { json, bytes } = await asked[0];
    if (!json.faults) {
      const half = bytes.length / 2;
      this.pair = { ...json, levels: [new Uint16Array(bytes.buffer, 0, half / 2), new Uint16Array(bytes.buffer, half, half / 2)] };
      pictures.draw(this);
      this.drawn_ms = performance.now() - begun;
    }
    const plan = (await asked[1]).json;
    this.faults = plan.faults ?? [];
    details.faults(this);
    if (plan.faults) {
      this.study.release();
      return this.keep();
    }
    this.plan = plan;
    light.draw(this);
    strip.draw(this);
    answer.draw(this);
    if (!json.faults) {
      pictures.say(this);
      const [x, y] = this.at ?? this.pair.size.map((/** @type {number} */ n) => n / 2);
      this.point(x, y);
    }
    details.draw(this);
    this.keep();
    this.later();
  }

  /** What need not move with the hand: the study and the vectors. */
  later() {
    clearTimeout(this.timer);
    this.timer = setTimeout(async () => {
      await this.study.of(this.state.setup, this.state.view.seed);
      this.study.release();
      if (part("vectors-fold").open) await this.measure();
    }, 350);
  }

  async measure() {
    const { json } = await this.front.ask({ do: "vectors", setup: this.state.setup });
    this.field = json.faults ? null : json;
    details.vectors(this);
  }

  /** Looks at a place of the pictures, px. @param {number} x @param {number} y */
  async point(x, y) {
    this.at = [x, y];
    pictures.lens(this, x, y);
    if (this.pointing) return;
    this.pointing = true;
    const { json } = await this.front.ask({ do: "plane", setup: this.state.setup, x, y });
    this.pointing = false;
    this.plane = json.faults ? null : json;
    pictures.lens(this, this.at[0], this.at[1]);
    pictures.plane(this);
  }

  /** Another view of the same setup. @param {object} change */
  look(change) {
    const seed = this.state.view.seed;
    Object.assign(this.state.view, change);
    pictures.buttons(this);
    this.ground();
    this.blinks();
    if (seed !== this.state.view.seed) this.show(this.state.setup);
    else {
      pictures.draw(this);
      pictures.say(this);
    }
    this.keep();
  }

  ground() {
    document.documentElement.dataset.ground = this.state.view.ground;
    part("ground").textContent = this.state.view.ground === "day" ? "laboratory" : "day";
  }

  blinks() {
    clearInterval(this.blinking);
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    if (!still && !this.paused) this.blinking = setInterval(() => pictures.blink(this), 1000 / this.state.view.rate);
  }

  /** @param {string} section */
  openSection(section) {
    this.open = section;
    light.draw(this);
  }

  async keep() {
    const address = await toAddress(this.state);
    history.replaceState(null, "", `#${address}`);
  }

  starts() {
    const list = part("starts");
    list.replaceChildren(...this.keys.starts.map((/** @type {any} */ start) =>
      html("button", { onclick: () => this.change(start.setup, "") }, start.about)),
      html("button", { onclick: () => part("file").click() }, "a setup file of yours"));
  }
}

const NARROW = matchMedia("(max-width: 760px)");

/** Puts the views into the document in the order in which they stand on the screen, so that the Tab
 * key and a screen reader go through the page as the eye does: in one column the answer leads, on a
 * wide screen the light path. */
function arrange() {
  const wide = ["path", "strip", "pictures", "answer", "folds"];
  const narrow = ["answer", "pictures", "strip", "path", "folds"];
  const held = /** @type {HTMLElement | null} */ (document.activeElement);
  const main = /** @type {HTMLElement} */ (document.querySelector("main"));
  const order = NARROW.matches ? narrow : wide;
  main.append(...order.map((name) => /** @type {Node} */ (main.querySelector(`:scope > .${name}`))));
  // What is moved loses the focus.
  if (held && main.contains(held)) held.focus({ preventScroll: true });
}

/** Everything that is there once. @param {Bench} bench */
function wire(bench) {
  NARROW.addEventListener("change", arrange);
  arrange();
  const on = (/** @type {string} */ id, /** @type {string} */ event, /** @type {(e: any) => any} */ act) => part(id).addEventListener(event, act);
  on("undo", "click", () => back(bench, bench.history.undo(bench.state.setup)));
  on("redo", "click", () => back(bench, bench.history.redo(bench.state.setup)));
  on("ground", "click", () => bench.look({ ground: bench.state.view.ground === "day" ? "laboratory" : "day" }));
  on("stop", "click", () => bench.study.toggle());
  on("more-pairs", "click", () => bench.study.more());
  on("pin", "click", () => pin(bench));
  on("save", "click", () => save(bench.state.setup));
  on("setup", "input", (e) => bench.change(e.target.value, "text"));
  on("vectors-fold", "toggle", () => part("vectors-fold").open && bench.measure());
  on("file", "change", async (e) => e.target.files[0] && take(bench, e.target.files[0]));
  addEventListener("dragover", (e) => e.preventDefault());
  addEventListener("drop", (e) => {
    e.preventDefault();
    const file = e.dataTransfer?.files[0];
    if (file) take(bench, file);
  });
  addEventListener("keydown", (e) => {
    const typing = /input|textarea|select|button|summary/i.test(/** @type {Element} */ (e.target).tagName);
    if (e.key === " " && !typing) {
      e.preventDefault();
      bench.paused = true;
      bench.blinks();
      pictures.blink(bench);
    }
    if ((e.ctrlKey || e.metaKey) && e.key === "z" && !/textarea/i.test(/** @type {Element} */ (e.target).tagName)) {
      e.preventDefault();
      part(e.shiftKey ? "redo" : "undo").click();
    }
  });
  on("frames", "pointermove", (e) => {
    if (!bench.pair) return;
    const box = e.target.getBoundingClientRect();
    const x = (((e.clientX - box.left) / box.width) * e.target.width) % (bench.pair.size[0] + 8);
    bench.point(x, ((e.clientY - box.top) / box.height) * e.target.height);
  });
  let resizing = 0;
  addEventListener("resize", () => {
    clearTimeout(resizing);
    resizing = setTimeout(() => (strip.draw(bench), answer.draw(bench)), 100);
  });
  addEventListener("hashchange", async () => {
    const from = await fromAddress(location.hash.slice(1));
    if (from && from.setup !== bench.state.setup) bench.change(from.setup, "");
  });
}

/** @param {Bench} bench @param {string | undefined} setup */
function back(bench, setup) {
  if (setup) bench.show(setup);
}

/** @param {Bench} bench @param {File} file */
async function take(bench, file) {
  if (file.size > 1 << 20) {
    bench.faults = [{ message: `${file.name} is larger than any setup` }];
    return details.faults(bench);
  }
  part("text-fold").open = true;
  await bench.change(await file.text(), "");
}

/** @param {Bench} bench */
function pin(bench) {
  const holds = bench.state.view.pinned;
  bench.pinnedAnswer = holds ? null : bench.study.answer;
  part("pin").textContent = holds ? "pin this setup" : "let go of the pinned setup";
  bench.look({ pinned: holds ? "" : bench.state.setup });
  answer.draw(bench);
}

/** @param {string} text */
function save(text) {
  const link = html("a", { href: URL.createObjectURL(new Blob([text], { type: "text/plain" })), download: "rig.toml" });
  link.click();
}

async function start() {
  if (typeof WebAssembly !== "object" || typeof Worker !== "function" || typeof DecompressionStream !== "function") {
    part("sentence").textContent = "This browser lacks WebAssembly, workers or decompression; a version of 2023 or later has them.";
    return;
  }
  try {
    const bench = new Bench(await moduleBytes());
    /** @type {any} */ (globalThis).bench = bench;
    wire(bench);
    await bench.begin();
    document.body.dataset.ready = "yes";
  } catch (error) {
    part("sentence").textContent = `The page could not begin: ${error instanceof Error ? error.message : error}.`;
  }
}

start();
