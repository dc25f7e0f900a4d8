// The study: one worker leads, as many as there are cores measure. Every one runs the same study
// over the measurements that all of them made, so that results do not depend on their number. After
// the answer follow its other parts, where they are wanted: what would be enough, and what each
// assumption is worth.
import { Hand } from "./crew.js";

/** @typedef {"answer" | "enough" | "worth"} Part */

export class Study {
  /** @param {Uint8Array} module @param {() => void} changed */
  constructor(module, changed) {
    this.module = module;
    this.changed = changed;
    this.workers = Math.max(1, Math.min(16, navigator.hardwareConcurrency || 2));
    /** @type {Hand | null} */ this.lead = null;
    /** @type {Hand[]} */ this.crew = [];
    this.round = 0;
    this.expected = 0;
    this.done = 0;
    this.measured = 0;
    this.rate = 0;
    this.out = 0;
    this.fresh = 0;
    this.begun = 0;
    this.looked = 0;
    /** @type {[Part, number, number][]} */ this.jobs = [];
    /** Which parts follow the answer: wanted, and there to be had. */
    this.wanted = { enough: false, worth: false };
    this.open = { enough: false, worth: false };
    /** @type {Part | ""} */ this.part = "answer";
    this.precision = 0.05;
    this.reset();
  }

  reset() {
    this.round++;
    /** @type {any} */ this.answer = null;
    this.words = "";
    this.question = "pulse-length";
    this.key = "";
    this.finished = false;
    this.stopped = false;
    this.fault = "";
    this.part = "answer";
    this.open = { enough: false, worth: false };
    /** @type {any} */ this.enough = null;
    /** @type {any} */ this.worth = null;
    this.expected = 0;
    this.done = 0;
    this.rate = 0;
    this.held = false;
    this.jobs = [];
    this.out = 0;
    this.fresh = 0;
    this.looking = false;
  }

  /** What an answer depends on. Where it is the pulse length, the one that the setup states is not.
   * @param {string} setup @param {import("./state.js").View} view */
  keyOf(setup, { seed, limit, free, choose }) {
    // A brightness that was measured belongs to the pulse length that is stated.
    const anchored = setup.includes("measured_grey");
    const asks = this.question === "pulse-length" && !free.length && !choose.length && !anchored;
    const text = asks ? setup.replace(/^(\s*pulse_length\s*=).*$/m, "$1") : setup;
    return JSON.stringify([seed, limit, free, choose, text]);
  }

  /** Takes up the study of a setup, unless it is that of the present one.
   * @param {string} setup @param {import("./state.js").View} view */
  async of(setup, view) {
    if (this.keyOf(setup, view) === this.key) return;
    const { seed, limit, free, choose } = view;
    this.precision = 0.05;
    const { precision } = this;
    const taken = this.take({ do: "study", setup, seed, limit, free, choose, precision });
    // Known now as far as it can be, and wholly when the question is.
    const round = this.round;
    this.key = this.keyOf(setup, view);
    await taken;
    if (round === this.round) this.key = this.keyOf(setup, view);
  }

  /** Lets go of everything. */
  end() {
    this.reset();
    for (const hand of [this.lead, ...this.crew]) hand?.worker.terminate();
    this.lead = null;
    this.crew = [];
  }

  /** @param {object} request */
  async take(request) {
    this.request = request;
    this.reset();
    const round = this.round;
    this.lead ??= new Hand(this.module);
    while (this.crew.length < this.workers) this.crew.push(new Hand(this.module));
    const all = [this.lead, ...this.crew];
    const [first] = await Promise.all(all.map((hand) => hand.ask(request)));
    if (round !== this.round) return;
    if (first.json.faults) {
      this.fault = first.json.faults[0].message;
      return this.changed();
    }
    this.question = first.json.question;
    this.begun = performance.now();
    await this.look();
  }

  /** What the study says now, and what it misses. */
  async look() {
    const { part } = this;
    if (this.looking || !this.lead || !part) return;
    this.looking = true;
    this.fresh = 0;
    const round = this.round;
    const { json } = await this.lead.ask({ do: "look", part });
    if (round !== this.round) return;
    this.looking = false;
    if (json.faults) this.fail(part, json.faults[0].message);
    else {
      const { finished, expected, done } = json;
      Object.assign(this, { expected, done });
      if (part === "answer") {
        const { answer, words, has_worth, is_unmet } = json;
        const open = { enough: is_unmet, worth: has_worth };
        Object.assign(this, { answer, words, finished, open, measured: done });
      } else this[part] = json;
      this.jobs.push(...json.jobs.map((/** @type {[number, number]} */ job) => [part, ...job]));
      this.rate = this.done / Math.max(0.5, (performance.now() - this.begun) / 1000);
      if (finished) this.part = "";
    }
    this.changed();
    this.send();
    if (!this.part) this.go();
    // What came in meanwhile may have been the last that the study waits for.
    else if (this.out === 0 && this.fresh > 0) this.look();
  }

  /** Takes up the next part that is wanted and open. */
  go() {
    if (this.part || !this.finished) return;
    const next = /** @type {const} */ (["enough", "worth"]).find(
      (part) => this.wanted[part] && this.open[part] && !this[part],
    );
    if (!next) return;
    Object.assign(this, { part: next, expected: 0, done: 0, rate: 0, begun: performance.now() });
    this[next] = { finished: false };
    this.changed();
    this.look();
  }

  /** Whatever breaks beside the answer leaves that as it is.
   * @param {Part} part @param {string} message */
  fail(part, message) {
    if (part === "answer") this.fault = message;
    else this[part] = { finished: true, fault: message };
    this.part = "";
    this.jobs = [];
  }

  send() {
    if (this.stopped || this.held) return;
    for (const hand of this.crew) if (!hand.measuring && this.jobs.length) this.measure(hand);
  }

  /** @param {Hand} hand */
  async measure(hand) {
    const round = this.round;
    const [part, experiment, number] = /** @type {[Part, number, number]} */ (this.jobs.shift());
    this.out++;
    hand.measuring = true;
    const { json, bytes } = await hand.ask({ do: "measure", part, experiment, number });
    hand.measuring = false;
    if (round !== this.round) return this.send();
    this.out--;
    if (json.faults) {
      this.fail(part, json.faults[0].message);
      return this.changed();
    }
    // Into every worker's study: what comes next follows from it.
    for (const other of this.crew) other.ask({ do: "enter", part }, bytes);
    this.send();
    await this.lead?.ask({ do: "enter", part }, bytes);
    if (round !== this.round) return;
    this.fresh++;
    if (this.out === 0 || performance.now() - this.looked > 700) {
      this.looked = performance.now();
      this.look();
    }
  }

  /** Leaves the processors to the pictures while a hand moves. */
  hold() {
    this.held = true;
  }

  release() {
    this.held = false;
    this.send();
  }

  toggle() {
    this.stopped = !this.stopped;
    this.changed();
    this.send();
  }

  /** The same, known more closely. */
  more() {
    this.precision /= 2;
    this.take({ .../** @type {any} */ (this.request), precision: this.precision });
  }
}
