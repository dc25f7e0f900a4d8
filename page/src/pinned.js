// A pinned setup beside the present one: its curve, its picture, and what differs.
import { bestOf, points } from "./curve.js";
import { html, part, short, three, time, typeset } from "./draw.js";
import { Study } from "./study.js";

/** Figures set beside each other, by their names in the plan. */
const FIGURES = [
  "pulse_energy_j",
  "fluence_j_m2",
  "photons",
  "electrons_e",
  "peak_grey_dn",
  "peak_snr",
  "longest_streak_px",
];

/**
 * @typedef {object} Pinned
 * @property {string} setup
 * @property {any} plan
 * @property {any} pair
 * @property {any} study what its study says; that of the present setup as it stood, or its own
 */

/** Pins the present setup, or lets go of the pinned one.
 * @param {import("./main.js").Bench} bench */
export function toggle(bench) {
  const { study, state } = bench;
  if (state.view.pinned) {
    bench.pinned?.study.end?.();
    bench.pinned = null;
    return bench.look({
      pinned: "",
      show: state.view.show === "pinned" ? "blink" : state.view.show,
    });
  }
  const { answer, question, words } = study;
  if (study.finished)
    bench.pinned = {
      setup: state.setup,
      plan: bench.plan,
      pair: bench.pair,
      study: { answer, question, words, finished: true },
    };
  bench.look({ pinned: state.setup });
  restore(bench);
}

/** Makes what is missing of the pinned setup: after the page was opened by an address, or where it
 * was pinned before its answer stood. @param {import("./main.js").Bench} bench */
export async function restore(bench) {
  const setup = bench.state.view.pinned;
  if (!setup) return;
  if (bench.pinned?.setup !== setup) {
    const { seed } = bench.state.view;
    const [plan, pair] = await Promise.all([
      bench.aside.ask({ do: "plan", setup }),
      bench.aside.ask({ do: "pair", setup, seed, most: bench.most }),
    ]);
    if (plan.json.faults || pair.json.faults || bench.state.view.pinned !== setup) return;
    const half = pair.bytes.length / 4;
    const levels = [0, 1].map((k) => new Uint16Array(pair.bytes.buffer, 2 * k * half, half));
    const study = new Study(bench.module, () => bench.drawAnswer());
    bench.pinned = { setup, plan: plan.json, pair: { ...pair.json, levels }, study };
    bench.redraw();
  }
  // Its own study waits for that of the present setup.
  const { study } = /** @type {Pinned} */ (bench.pinned);
  if (study instanceof Study && bench.study.finished)
    await study.of(setup, { ...bench.state.view, free: [], choose: [] });
}

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { pinned, plan, study } = bench;
  part("pin").textContent = bench.state.view.pinned
    ? "let go of the pinned setup"
    : "pin this setup";
  const into = part("compare");
  into.hidden = !pinned || !plan;
  if (!pinned || !plan) return;
  const given = [plan, pinned.plan].map((p) => new Map(p.given));
  const changed = [...new Set([...given[0].keys(), ...given[1].keys()])].filter(
    (key) => String(given[0].get(key)) !== String(given[1].get(key)),
  );
  const facts = [plan, pinned.plan].map(
    (p) =>
      new Map(
        p.parts
          .flatMap((/** @type {any} */ q) => q.facts)
          .map((/** @type {any} */ f) => [f.name, f]),
      ),
  );
  const row = (/** @type {string} */ name, /** @type {string[]} */ values) =>
    html(
      "tr",
      {},
      html("th", { scope: "row" }, name),
      ...values.map((v) => html("td", { class: "n" }, v)),
    );
  const figures = FIGURES.filter(
    (id) => facts.every((f) => f.has(id)) && facts[0].get(id).value !== facts[1].get(id).value,
  );
  const answers = [study, pinned.study].map(said);
  into.replaceChildren(
    html("h2", {}, "Beside the pinned setup"),
    html(
      "table",
      {},
      html(
        "thead",
        {},
        html(
          "tr",
          {},
          html("td", {}),
          html("th", { scope: "col" }, "now"),
          html("th", { scope: "col" }, "pinned"),
        ),
      ),
      html(
        "tbody",
        {},
        ...changed.map((key) =>
          row(
            key,
            given.map((g) => typeset(String(g.get(key) ?? "not stated"))),
          ),
        ),
        ...figures.map((id) =>
          row(
            facts[0].get(id).label,
            facts.map((f) => three(typeset(f.get(id).shown))),
          ),
        ),
        row(
          "best setting",
          answers.map((a) => a.best),
        ),
        row(
          "error at the best",
          answers.map((a) => a.error),
        ),
      ),
    ),
    html(
      "button",
      { onclick: () => bench.change(pinned.setup, "") },
      "go back to the pinned setup",
    ),
  );
}

/** The best setting and its error, in words. @param {any} study */
function said({ answer, finished, question }) {
  const best = bestOf(answer);
  if (!finished || !(best > 0)) return { best: finished ? "none" : "measuring", error: "–" };
  const total = answer.best.total_px;
  const { y } = points(answer).reduce((a, p) =>
    Math.abs(p.x - best) < Math.abs(a.x - best) ? p : a,
  );
  return {
    best: `${time(best)} ${question === "pulse-length" ? "pulse" : question}`,
    error: answer.points
      ? `${short(total.value)} (${short(total.lo)} to ${short(total.hi)})\u202fpx`
      : `${short(y)}\u202f%`,
  };
}
