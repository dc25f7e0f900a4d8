// The answer: the error curve, which grows as pairs are measured; a marker on it is the present setting and can be
// dragged. Above it the answer in a sentence.
import { html, logScale, logTicks, part, plain, short, svg, time, timeText, timeTick, typeset } from "./draw.js";

const KINDS = /** @type {Record<string, { key: string, axis: string, unit: (v: number) => string }>} */ ({
  "pulse-length": { key: "light.pulse_length", axis: "pulse length", unit: time },
  separation: { key: "timing.separation", axis: "pulse separation", unit: time },
  exposure: { key: "camera.exposure", axis: "exposure", unit: time },
});

/** Points of either kind of answer. @param {any} answer */
function points(answer) {
  if (answer.points)
    return answer.points.map((/** @type {any} */ p) => ({ x: p.pulse_s, y: p.total_px.value, lo: p.total_px.lo, hi: p.total_px.hi, pairs: p.pairs,
      random: Math.hypot(p.random_x_px?.value ?? NaN, p.random_y_px?.value ?? NaN), bias: Math.hypot(p.bias_x_px.value, p.bias_y_px.value) }));
  const rows = answer.trials ?? [];
  return rows.filter((/** @type {any} */ t) => t.relative_error).map((/** @type {any} */ t) => ({ x: seconds(t.values[0]), at: t.values, y: 100 * t.relative_error,
    lo: 100 * t.relative_error_lo, hi: 100 * t.relative_error_hi, pairs: t.pairs, random: NaN, bias: NaN }))
    .sort((/** @type {any} */ a, /** @type {any} */ b) => a.x - b.x);
}

const UNITS = /** @type {Record<string, number>} */ ({ s: 1, ms: 1e-3, us: 1e-6, ns: 1e-9, ps: 1e-12 });
/** @param {any} text */
function seconds(text) {
  const found = /^([\d.e+-]+)\s*([a-z]*)$/.exec(String(text));
  return found ? Number(found[1]) * (UNITS[found[2]] ?? 1) : NaN;
}

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { study } = bench;
  say(bench);
  const into = part("curve");
  const all = study.answer ? points(study.answer).filter((/** @type {any} */ p) => p.y > 0 && Number.isFinite(p.x)) : [];
  if (all.length < 2) return into.replaceChildren();
  if (study.answer.keys?.length === 2) return into.replaceChildren(map(study.answer));
  const kind = KINDS[study.question] ?? KINDS["pulse-length"];
  const [width, height] = [Math.max(300, into.clientWidth || 560), Math.round(Math.min(420, Math.max(260, (into.clientWidth || 560) * 0.62)))];
  const [left, right, top, bottom] = [52, width - 12, 26, height - 40];
  const x = logScale(all[0].x * 0.9, all[all.length - 1].x * 1.1, left, right);
  const limit = study.answer.limit_px;
  const low = Math.min(...all.map((/** @type {any} */ p) => p.lo > 0 ? p.lo : p.y)) * 0.8;
  const high = Math.min(Math.max(...all.map((/** @type {any} */ p) => p.y), limit ?? 0) * 1.4, 5 * (limit ?? 1e9));
  const y = logScale(Math.min(low, 0.5 * high), high, bottom, top);
  const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, role: "group", "aria-label": `Error against ${kind.axis}` });
  for (const t of logTicks(Math.min(low, 0.5 * high), high))
    picture.append(svg("path", { d: `M${left} ${y(t)}H${right}`, class: "grid" }), svg("text", { x: left - 6, y: y(t) + 4, "text-anchor": "end", class: "label" }, plain(t)));
  let last = -99;
  for (const t of logTicks(all[0].x * 0.9, all[all.length - 1].x * 1.1)) {
    if (x(t) - last < 54) continue;
    last = x(t);
    picture.append(svg("path", { d: `M${x(t)} ${bottom}v5`, class: "tick" }), svg("text", { x: x(t), y: bottom + 18, "text-anchor": "middle", class: "label" }, timeTick(t)));
  }
  picture.append(svg("text", { x: (left + right) / 2, y: height - 4, "text-anchor": "middle", class: "label" }, kind.axis),
    svg("text", { x: 0, y: 12, class: "label" }, study.answer.points ? "total error, px" : "error of the velocity, % of its mean"));
  const clamp = (/** @type {number} */ v) => Math.min(Math.max(y(v), top), bottom);
  const line = (/** @type {(p: any) => number} */ of) => all.filter((/** @type {any} */ p) => of(p) > 0).map((/** @type {any} */ p, /** @type {number} */ k) => `${k ? "L" : "M"}${x(p.x).toFixed(1)} ${clamp(of(p)).toFixed(1)}`).join("");
  const band = line((p) => p.hi ?? p.y) + all.slice().reverse().map((/** @type {any} */ p) => `L${x(p.x).toFixed(1)} ${(p.lo > 0 ? clamp(p.lo) : bottom).toFixed(1)}`).join("") + "Z";
  picture.append(svg("path", { d: band, class: "interval" }));
  if (limit) picture.append(svg("path", { d: `M${left} ${y(limit)}H${right}`, class: "limit" }), svg("text", { x: right, y: y(limit) - 4, "text-anchor": "end", class: "label halo" }, `limit ${short(limit)}\u202fpx`));
  const best = study.answer.best;
  const bestX = best?.pulse_s ?? (best ? seconds(best.values?.[0]) : undefined);
  const dashed = study.finished ? "" : " unfinished";
  const split = bestX ?? all.reduce((/** @type {any} */ a, /** @type {any} */ p) => (p.y < a.y ? p : a)).x;
  const side = (/** @type {(p: any) => boolean} */ keep, /** @type {string} */ name) => {
    const of = all.filter(keep);
    if (of.length > 1) picture.append(svg("path", { d: of.map((/** @type {any} */ p, /** @type {number} */ k) => `${k ? "L" : "M"}${x(p.x)} ${clamp(p.y)}`).join(""), class: `total ${name}${dashed}` }));
  };
  if (study.question === "pulse-length") {
    side((p) => p.x <= split * 1.0001, "by-light");
    side((p) => p.x >= split * 0.9999, "by-blur");
    if (all[0].x < split * 0.6) picture.append(svg("text", { x: left + 8, y: bottom - 8, class: "label light" }, "◂ less light"));
    if (all[all.length - 1].x > split * 1.6) picture.append(svg("text", { x: right - 8, y: bottom - 8, "text-anchor": "end", class: "label blur" }, "more blur ▸"));
  } else side(() => true, "plain");
  for (const p of all) picture.append(svg("circle", { cx: x(p.x), cy: clamp(p.y), r: 2.5, class: "point" }, svg("title", {}, `${kind.unit(p.x)}: ${short(p.y)} (${short(p.lo)} to ${short(p.hi)}), ${p.pairs} pairs`)));
  if (bench.pinnedAnswer) pinned(bench, picture, x, clamp);
  if (bestX && study.finished) {
    const p = all.reduce((/** @type {any} */ a, /** @type {any} */ q) => (Math.abs(Math.log(q.x / bestX)) < Math.abs(Math.log(a.x / bestX)) ? q : a));
    picture.append(svg("path", { d: `M${x(p.x)} ${clamp(p.y) - 8}l7 8l-7 8l-7-8z`, class: "best" }, svg("title", {}, `best: ${kind.unit(p.x)}`)));
  }
  marker(bench, picture, x, (s) => clamp(between(all, s)), [top, bottom], kind);
  const focused = into.contains(document.activeElement);
  into.replaceChildren(picture);
  if (focused) picture.querySelector("[tabindex]")?.focus();
}

/** The error between measured points, straight on logarithmic axes. @param {any[]} all @param {number} s */
function between(all, s) {
  const k = all.findIndex((p) => p.x >= s);
  if (k <= 0) return all[k < 0 ? all.length - 1 : 0].y;
  const [a, b] = [all[k - 1], all[k]];
  return Math.exp(Math.log(a.y) + ((Math.log(s / a.x)) / Math.log(b.x / a.x)) * Math.log(b.y / a.y));
}

/** @param {import("./main.js").Bench} bench @param {any} picture @param {any} x @param {(s: number) => number} y @param {number[]} span @param {any} kind */
function marker(bench, picture, x, y, [top, bottom], kind) {
  const pair = bench.plan?.straddle;
  const now = bench.study.question === "pulse-length" ? bench.plan?.pulse : bench.study.question === "separation" ? pair?.separation_s : pair?.pulses_s[0];
  if (!now) return;
  const at = x(now);
  const handle = svg("rect", { x: at - 14, y: top, width: 28, height: bottom - top, class: "grip edge", tabindex: 0, role: "slider", "aria-label": `Present ${kind.axis}`, "aria-valuetext": kind.unit(now), "aria-valuenow": now });
  picture.append(svg("path", { d: `M${at} ${top}V${bottom}`, class: "now" }), svg("circle", { cx: at, cy: y(now), r: 6, class: "now" }), svg("text", { x: at + 9, y: top + 12, class: "label now-text" }, kind.unit(now)), handle);
  const set = (/** @type {number} */ s) => bench.set(kind.key, timeText(s), kind.key);
  handle.addEventListener("pointerdown", (/** @type {PointerEvent} */ down) => {
    down.preventDefault();
    const left = picture.getBoundingClientRect().left;
    const most = bench.plan.longest_pulse ?? Infinity;
    const move = (/** @type {PointerEvent} */ e) => set(Math.min(x.inverse(e.clientX - left), kind.key === "light.pulse_length" ? most : Infinity));
    const up = () => (removeEventListener("pointermove", move), removeEventListener("pointerup", up));
    addEventListener("pointermove", move);
    addEventListener("pointerup", up);
  });
  handle.addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
    const right = e.key === "ArrowRight" || e.key === "ArrowUp";
    if (!right && e.key !== "ArrowLeft" && e.key !== "ArrowDown") return;
    e.preventDefault();
    const share = e.shiftKey ? 1.01 : 1.05;
    set(now * (right ? share : 1 / share));
  });
}

/** The curve of the pinned setup. @param {import("./main.js").Bench} bench @param {any} picture @param {any} x @param {any} y */
function pinned(bench, picture, x, y) {
  const of = points(bench.pinnedAnswer);
  picture.append(svg("path", { d: of.map((/** @type {any} */ p, /** @type {number} */ k) => `${k ? "L" : "M"}${x(p.x)} ${y(p.y)}`).join(""), class: "pinned" }), svg("text", { x: x(of[0].x), y: y(of[0].y) - 6, class: "label" }, "pinned"));
}

/** A map over two settings. @param {any} answer */
function map(answer) {
  const trials = answer.trials;
  const values = [0, 1].map((k) => [...new Set(trials.map((/** @type {any} */ t) => t.values[k]))].sort((a, b) => seconds(a) - seconds(b)));
  const errors = trials.map((/** @type {any} */ t) => t.relative_error).filter((/** @type {any} */ e) => e > 0);
  const [low, high] = [Math.log(Math.min(...errors)), Math.log(Math.max(...errors))];
  const table = html("table", { class: "map" }, html("caption", {}, `Error of the velocity, % of its mean: ${answer.keys[0]} across, ${answer.keys[1]} down`),
    html("tr", {}, html("td", {}), ...values[0].map((v) => html("th", { scope: "col" }, typeset(String(v))))));
  for (const row of values[1]) {
    const line = html("tr", {}, html("th", { scope: "row" }, typeset(String(row))));
    for (const column of values[0]) {
      const t = trials.find((/** @type {any} */ t) => t.values[0] === column && t.values[1] === row);
      const cell = html("td", {}, t?.relative_error ? short(100 * t.relative_error) : "–");
      if (t?.relative_error) cell.style.setProperty("--t", String((Math.log(t.relative_error) - low) / (high - low || 1)));
      if (t && answer.best && t.values.join() === answer.best.values.join()) cell.className = "best";
      line.append(cell);
    }
    table.append(line);
  }
  return table;
}

/** The sentence, what is known of it, and how far the measuring is. @param {import("./main.js").Bench} bench */
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
  // What is indented belongs to the line above it. The interval of the answer and the bounds about it stand open.
  const lists = [rest.slice(0, 4), rest.slice(4)].map((some) => some.map((text) => {
    const deep = text.search(/\S/) / 2;
    return html("li", { class: `deep-${Math.min(2, Math.max(0, Math.floor(deep)))}` }, typeset(text.trim()));
  }));
  part("known").replaceChildren(...lists[0]);
  part("more-known").replaceChildren(...lists[1]);
  part("more-known").parentElement.hidden = lists[1].length === 0;
  const left = study.rate > 0 && !study.finished ? `, about ${Math.ceil(Math.max(0, study.expected - study.done) / study.rate)}\u202fs left` : "";
  part("progress").textContent = study.fault ? "" : study.finished ? `${study.done} pairs measured` : `${study.done} of about ${study.expected} pairs${left}`;
  const bar = part("bar");
  bar.value = study.finished ? 1 : study.expected ? study.done / study.expected : 0;
  part("stop").textContent = study.stopped ? "go on" : "stop";
  part("stop").hidden = study.finished || !!study.fault;
  part("more-pairs").hidden = !study.finished;
}
