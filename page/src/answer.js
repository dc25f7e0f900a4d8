// The answer in a sentence, what is known of it, and how far the measuring is.
import { ranking } from "./choice.js";
import { bestOf, curve, points } from "./curve.js";
import { html, named, part, renew, time, timeText, typeset } from "./draw.js";
import { map } from "./map.js";

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  say(bench);
  offer(bench);
  const { answer, question } = bench.study;
  if (question === "choice" && answer) {
    part("curve").style.minHeight = "0";
    renew(part("curve"), ranking(bench, answer));
  } else if (
    answer?.keys?.length > 1 &&
    answer.trials?.some((/** @type {any} */ t) => t.relative_error > 0)
  ) {
    part("curve").style.minHeight = "0";
    renew(part("curve"), map(bench, answer));
  } else curve(bench);
}

/** The best setting, to be taken with a press. @param {import("./main.js").Bench} bench */
function offer(bench) {
  const { answer, finished, question } = bench.study;
  const button = part("take");
  const best = bestOf(answer);
  const now = question === "pulse-length" ? bench.plan?.pulse : undefined;
  button.hidden =
    !finished || !answer?.best || (now !== undefined && Math.abs(now / best - 1) < 0.005);
  if (button.hidden) return;
  const [keys, values] = answer.points
    ? [["light.pulse_length"], [timeText(best)]]
    : [answer.keys, answer.best.values.map(String)];
  button.textContent = answer.points
    ? `set the pulse to ${time(best)}`
    : `set ${keys.map((/** @type {string} */ key, /** @type {number} */ k) => `${named(key)} ${typeset(values[k])}`).join(" and ")}`;
  button.onclick = () => bench.take(keys, values);
}

/** The sentence, what is known of it, and how far the measuring is.
 * @param {import("./main.js").Bench} bench */
function say(bench) {
  const { study } = bench;
  const lines = (study.words ?? "").split("\n").filter(Boolean);
  let sentence = "";
  let rest = /** @type {string[]} */ ([]);
  if (study.fault) sentence = study.fault;
  else if (study.finished) [sentence, ...rest] = lines;
  else if (study.stopped) sentence = "Stopped before the end: no setting is recommended.";
  else sentence = study.done ? "Measuring: no setting is recommended yet." : "Measuring begins.";
  const line = part("sentence");
  if (line.textContent !== typeset(sentence)) line.textContent = typeset(sentence);
  // What is indented belongs to the line above it. The interval of the answer and the bounds about
  // it stand open.
  const fold = /** @type {HTMLDetailsElement} */ (part("more-known").parentElement);
  const lists = [rest.slice(0, 4), rest.slice(4)].map((some) =>
    some.map((text) => {
      const deep = text.search(/\S/) / 2;
      return html(
        "li",
        { class: `deep-${Math.min(2, Math.max(0, Math.floor(deep)))}` },
        typeset(text.trim()),
      );
    }),
  );
  part("known").replaceChildren(...lists[0]);
  part("more-known").replaceChildren(...lists[1]);
  fold.hidden = lists[1].length === 0;
  const left =
    study.rate > 0 && !study.stopped ? duration((study.expected - study.done) / study.rate) : "";
  const of = `${study.done} of about ${study.expected} pairs`;
  const measured =
    study.part === ""
      ? `${study.measured} pairs measured`
      : study.part === "answer"
        ? `${of}${interval(study)}${left}`
        : `${BESIDE[study.part]}: ${of}${left}`;
  part("progress").textContent = study.fault || study.expected === 0 ? "" : measured;
  const bar = part("bar");
  bar.hidden = study.part === "";
  bar.value = study.expected ? study.done / study.expected : 0;
  part("stop").textContent = study.stopped ? "go on" : "stop";
  part("stop").hidden = study.part === "";
  part("more-pairs").hidden = !study.finished;
  const limit = part("limit");
  limit.placeholder = study.question === "pulse-length" ? "0.1 px" : "none";
  if (limit !== document.activeElement) limit.value = bench.state.view.limit;
}

/** What is measured after the answer. */
const BESIDE = { enough: "what would be enough", worth: "what the assumptions are worth" };

/** How long it will be about, in words. @param {number} seconds */
function duration(seconds) {
  const s = Math.max(1, Math.ceil(seconds));
  const [n, unit] =
    s < 100 ? [s, "s"] : s < 6000 ? [Math.ceil(s / 60), "min"] : [Math.ceil(s / 3600), "h"];
  return `, about ${n}\u202f${unit} left`;
}

/** How closely the smallest error is known so far. @param {import("./study.js").Study} study */
function interval(study) {
  const all = points(study.answer);
  if (!study.answer?.points || all.length === 0) return "";
  const least = all.reduce((a, p) => (p.y < a.y ? p : a));
  const half = (100 * (least.hi - least.lo)) / 2 / least.y;
  return half < 1000 ? `, ±\u202f${Math.max(1, Math.round(half))}\u202f% at the least` : "";
}
