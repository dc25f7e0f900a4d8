// The error curve, which grows as pairs are measured. A marker on it is the present setting and can
// be dragged.
import * as draw from "./draw.js";
const { logScale, logTicks, part, plain, renew, short, svg, time, timeText, timeTick } = draw;

/** @typedef {{ x: number, y: number, lo: number, hi: number, pairs: number }} Point */

const KINDS = /** @type {Record<string, { key: string, axis: string }>} */ ({
  "pulse-length": { key: "light.pulse_length", axis: "pulse length" },
  separation: { key: "timing.separation", axis: "pulse separation" },
  exposure: { key: "camera.exposure", axis: "exposure" },
});

const UNITS = /** @type {Record<string, number>} */ ({
  s: 1,
  ms: 1e-3,
  us: 1e-6,
  ns: 1e-9,
  ps: 1e-12,
});

/** A number with its unit of time, in seconds. @param {any} text */
export function seconds(text) {
  const found = /^([\d.e+-]+)\s*([a-z]*)$/.exec(String(text));
  return found ? Number(found[1]) * (UNITS[found[2]] ?? 1) : NaN;
}

/** Points of an answer in px, or of a map over one setting in per cent. @param {any} answer
 * @returns {Point[]} */
export function points(answer) {
  const of = answer?.points
    ? answer.points.map((/** @type {any} */ p) => ({
        x: p.pulse_s,
        pairs: p.pairs,
        y: p.total_px.value,
        lo: p.total_px.lo,
        hi: p.total_px.hi,
      }))
    : (answer?.trials ?? []).map((/** @type {any} */ t) => ({
        x: seconds(t.values[0]),
        pairs: t.pairs,
        y: 100 * t.relative_error,
        lo: 100 * t.relative_error_lo,
        hi: 100 * t.relative_error_hi,
      }));
  return of
    .filter((/** @type {Point} */ p) => p.y > 0 && Number.isFinite(p.x))
    .sort((/** @type {Point} */ a, /** @type {Point} */ b) => a.x - b.x);
}

/** The limit in the unit of the curve, where it has one: px, or % where other settings than the
 * pulse length are free.
 * @param {any} answer @returns {number | undefined} */
const limitOf = (answer) =>
  answer.limit_px ?? (answer.limit?.endsWith("%") ? parseFloat(answer.limit) : undefined);

/** What the best setting of an answer is, s. @param {any} answer */
export const bestOf = (answer) =>
  answer?.best?.pulse_s ?? (answer?.best ? seconds(answer.best.values?.[0]) : undefined);

/** The error between measured points, straight on logarithmic axes.
 * @param {Point[]} all @param {number} s */
export function between(all, s) {
  const k = all.findIndex((p) => p.x >= s);
  if (k <= 0) return all[k < 0 ? all.length - 1 : 0].y;
  const [a, b] = [all[k - 1], all[k]];
  const share = Math.log(s / a.x) / Math.log(b.x / a.x);
  return Math.exp(Math.log(a.y) + share * Math.log(b.y / a.y));
}

/**
 * @typedef {object} Plot
 * @property {any} picture
 * @property {any} x
 * @property {(v: number) => number} y kept within the frame
 * @property {{ left: number, right: number, top: number, bottom: number }} frame
 * @property {number} low the least error that the frame holds
 */

/** @param {import("./main.js").Bench} bench */
export function curve(bench) {
  const { study, pinned } = bench;
  const into = part("curve");
  const all = points(study.answer);
  const kind = KINDS[study.question] ?? KINDS["pulse-length"];
  const width = Math.max(280, bench.printWidth || into.clientWidth || 560);
  const height = Math.round(Math.min(420, Math.max(260, width * 0.62)));
  // The place is kept while there is nothing to draw, so that nothing below jumps.
  into.style.minHeight = study.fault ? "0" : `${height}px`;
  if (all.length < 2) return into.replaceChildren();
  const beside =
    pinned && pinned.study.question === study.question ? points(pinned.study.answer) : [];
  const most = limitOf(study.answer);
  const plot = frame(
    width,
    height,
    all,
    beside,
    most,
    kind.axis,
    !!study.answer.points,
  );
  band(plot, all);
  if (most) limit(plot, all, most, study.answer.points ? "px" : "%");
  const best = bestOf(study.answer);
  lines(plot, all, best, study);
  if (beside.length > 1) other(plot, beside);
  dots(plot, all);
  if (best && study.finished) diamond(plot, all, best);
  marker(bench, plot, all, kind, study.answer.points ? "px" : "%");
  renew(into, plot.picture);
}

/** Axes that hold all points. @param {number} width @param {number} height @param {Point[]} all
 * @param {Point[]} beside @param {number | undefined} limit @param {string} axis
 * @param {boolean} pixels @returns {Plot} */
function frame(width, height, all, beside, limit, axis, pixels) {
  const [left, right, top, bottom] = [48, width - 12, 26, height - 40];
  const every = [...all, ...beside];
  const ends = [Math.min(...every.map((p) => p.x)) * 0.9, Math.max(...every.map((p) => p.x)) * 1.1];
  const most = Math.max(...every.map((p) => p.y), limit ?? 0) * 1.4;
  // What lies far above limit and best is cut off.
  const high = Math.min(most, Math.max(5 * (limit ?? 0), 20 * Math.min(...every.map((p) => p.y))));
  const least = Math.min(...every.map((p) => (p.lo > 0 ? p.lo : p.y)));
  // The limit is shown, unless it lies so far below that little room would be left to the curve.
  const near = limit && limit > 0.03 * least ? limit : high;
  const low = Math.min(0.8 * least, 0.5 * high, 0.6 * near);
  const [x, y] = [logScale(ends[0], ends[1], left, right), logScale(low, high, bottom, top)];
  const picture = svg("svg", {
    viewBox: `0 0 ${width} ${height}`,
    width,
    height,
    role: "group",
    "aria-label": `Error against ${axis}`,
  });
  for (const t of logTicks(low, high))
    picture.append(
      svg("path", { d: `M${left} ${y(t)}H${right}`, class: "grid" }),
      svg("text", { x: left - 6, y: y(t) + 4, "text-anchor": "end", class: "label" }, plain(t)),
    );
  let last = -99;
  for (const t of logTicks(ends[0], ends[1])) {
    if (x(t) - last < 54) continue;
    last = x(t);
    picture.append(
      svg("path", { d: `M${x(t)} ${bottom}v5`, class: "tick" }),
      svg(
        "text",
        { x: x(t), y: bottom + 18, "text-anchor": "middle", class: "label" },
        timeTick(t),
      ),
    );
  }
  const title = pixels ? "total error, px" : "error of the velocity, % of its mean";
  picture.append(
    svg(
      "text",
      { x: (left + right) / 2, y: height - 4, "text-anchor": "middle", class: "label" },
      axis,
    ),
    svg("text", { x: 0, y: 12, class: "label" }, title),
  );
  const clamp = (/** @type {number} */ v) => Math.min(Math.max(y(v), top), bottom);
  return { picture, x, y: clamp, frame: { left, right, top, bottom }, low };
}

/** @param {Plot} plot @param {Point[]} all @param {(p: Point) => number} of */
const path = ({ x, y }, all, of) =>
  all.map((p, k) => `${k ? "L" : "M"}${x(p.x).toFixed(1)} ${y(of(p)).toFixed(1)}`).join("");

/** The intervals: a band between the points, and a whisker at each. @param {Plot} plot
 * @param {Point[]} all */
function band(plot, all) {
  const upper = path(plot, all, (p) => p.hi ?? p.y);
  const lower = path(plot, all.slice().reverse(), (p) => (p.lo > 0 ? p.lo : 1e-12)).replace(
    "M",
    "L",
  );
  plot.picture.append(svg("path", { d: `${upper}${lower}Z`, class: "interval" }));
}

/** @param {Plot} plot @param {Point[]} all */
function dots({ picture, x, y }, all) {
  for (const p of all) {
    const words = `${time(p.x)}: ${short(p.y)} (${short(p.lo)} to ${short(p.hi)}), ${p.pairs} pairs`;
    const [high, low] = [y(p.hi ?? p.y), y(p.lo > 0 ? p.lo : 1e-12)];
    picture.append(
      svg("path", {
        d: `M${x(p.x)} ${high}V${low}m-3 0h6M${x(p.x) - 3} ${high}h6`,
        class: "whisker",
      }),
      svg("circle", { cx: x(p.x), cy: y(p.y), r: 2.5, class: "point" }, svg("title", {}, words)),
    );
  }
}

/** The limit, its words where the curve is farthest from it. @param {Plot} plot
 * @param {Point[]} all @param {number} px @param {string} unit */
function limit({ picture, x, y, frame: { left, right, bottom }, low }, all, px, unit) {
  const words = `limit ${short(px)}\u202f${unit}`;
  if (px < low) {
    const at = { x: (left + right) / 2, y: bottom - 8, "text-anchor": "middle" };
    picture.append(svg("text", { ...at, class: "label halo" }, `${words} ▾`));
    return;
  }
  const half = 4 * words.length;
  const away = (/** @type {number} */ at) =>
    Math.min(
      ...[-half, 0, half].map((dx) => Math.abs(y(between(all, x.inverse(at + dx))) - y(px))),
    );
  const places = [0.12, 0.25, 0.5, 0.75, 0.88].map((t) => left + t * (right - left));
  const at = places.reduce((best, place) => (away(place) > away(best) + 4 ? place : best));
  picture.append(
    svg("path", { d: `M${left} ${y(px)}H${right}`, class: "limit" }),
    svg("text", { x: at, y: y(px) - 5, "text-anchor": "middle", class: "label halo" }, words),
  );
}

/** The curve: on either side of the best in the colour of what limits there. @param {Plot} plot
 * @param {Point[]} all @param {number | undefined} best @param {any} study */
function lines(plot, all, best, study) {
  const dashed = study.finished ? "" : " unfinished";
  const draw = (/** @type {Point[]} */ of, /** @type {string} */ name) =>
    of.length > 1 &&
    plot.picture.append(
      svg("path", { d: path(plot, of, (p) => p.y), class: `total ${name}${dashed}` }),
    );
  if (study.question !== "pulse-length") return void draw(all, "plain");
  const split = best ?? all.reduce((a, p) => (p.y < a.y ? p : a)).x;
  draw(
    all.filter((p) => p.x <= split * 1.0001),
    "by-light",
  );
  draw(
    all.filter((p) => p.x >= split * 0.9999),
    "by-blur",
  );
  const { left, right, bottom } = plot.frame;
  const side = (
    /** @type {number} */ x,
    /** @type {string} */ end,
    /** @type {string} */ words,
    /** @type {string} */ name,
  ) =>
    plot.picture.append(
      svg("text", { x, y: bottom - 8, "text-anchor": end, class: `label halo ${name}` }, words),
    );
  // Words only where the curve leaves them room at the foot of the frame.
  const free = (/** @type {number} */ from, /** @type {number} */ to) =>
    [from, (from + to) / 2, to].every(
      (at) => plot.y(between(all, plot.x.inverse(at))) < bottom - 28,
    );
  if (all[0].x < split * 0.6 && free(left, left + 80))
    side(left + 8, "start", "◂ less light", "light");
  if (all[all.length - 1].x > split * 1.6 && free(right - 80, right))
    side(right - 8, "end", "more blur ▸", "blur");
}

/** The curve of the pinned setup. @param {Plot} plot @param {Point[]} beside */
function other(plot, beside) {
  const end = beside[beside.length - 1];
  plot.picture.append(
    svg("path", { d: path(plot, beside, (p) => p.y), class: "pinned" }),
    svg(
      "text",
      {
        x: plot.x(end.x) - 4,
        y: Math.max(plot.y(end.y) - 8, 40),
        "text-anchor": "end",
        class: "label halo",
      },
      "pinned",
    ),
  );
}

/** @param {Plot} plot @param {Point[]} all @param {number} best */
function diamond({ picture, x, y }, all, best) {
  const far = (/** @type {Point} */ p) => Math.abs(Math.log(p.x / best));
  const p = all.reduce((a, q) => (far(q) < far(a) ? q : a));
  const d = `M${x(p.x)} ${y(p.y) - 8}l7 8l-7 8l-7-8z`;
  picture.append(svg("path", { d, class: "best" }, svg("title", {}, `best: ${time(p.x)}`)));
}

/** @param {import("./main.js").Bench} bench @param {Plot} plot @param {Point[]} all
 * @param {{ key: string, axis: string }} kind @param {string} unit */
function marker(bench, plot, all, kind, unit) {
  const { picture, x, y } = plot;
  const { top, bottom, left, right } = plot.frame;
  const pair = bench.plan?.straddle;
  const of = /** @type {Record<string, number>} */ ({
    "pulse-length": bench.plan?.pulse,
    separation: pair?.separation_s,
  });
  const now = of[bench.study.question] ?? pair?.pulses_s[0];
  if (!now) return;
  const at = Math.min(Math.max(x(now), left), right);
  const inside = now >= all[0].x && now <= all[all.length - 1].x;
  const error = inside ? between(all, now) : NaN;
  const words = `now ${time(now)}${inside ? `: ${short(error)}\u202f${unit}` : ""}`;
  const handle = svg("rect", {
    x: at - 14,
    y: top,
    width: 28,
    height: bottom - top,
    class: "grip edge",
    tabindex: 0,
    role: "slider",
    "aria-label": `Present ${kind.axis}`,
    "aria-valuetext": words,
    "aria-valuenow": now,
  });
  const end = at > (left + right) / 2;
  picture.append(
    svg("path", { d: `M${at} ${top}V${bottom}`, class: "now" }),
    svg(
      "text",
      {
        x: end ? at - 9 : at + 9,
        y: top + 12,
        "text-anchor": end ? "end" : "start",
        class: "label halo",
      },
      words,
    ),
    handle,
  );
  if (inside) picture.append(svg("circle", { cx: at, cy: y(error), r: 6, class: "now" }));
  const most =
    kind.key === "light.pulse_length" ? (bench.plan.longest_pulse ?? Infinity) : Infinity;
  const set = (/** @type {number} */ s) =>
    bench.set(kind.key, timeText(Math.min(s, most)), kind.key);
  drag(picture, handle, (place) => set(x.inverse(place)));
  arrows(handle, (share) => set(now * share));
}

/** While the pointer is down: its place in the picture, px. @param {any} picture
 * @param {any} handle @param {(x: number) => void} moved */
function drag(picture, handle, moved) {
  handle.addEventListener("pointerdown", (/** @type {PointerEvent} */ down) => {
    down.preventDefault();
    const left = picture.getBoundingClientRect().left;
    const move = (/** @type {PointerEvent} */ e) => moved(e.clientX - left);
    const up = () => {
      removeEventListener("pointermove", move);
      removeEventListener("pointerup", up);
      removeEventListener("pointercancel", up);
    };
    addEventListener("pointermove", move);
    addEventListener("pointerup", up);
    addEventListener("pointercancel", up);
  });
}

/** Arrow keys: 5 % per step, with Shift 1 %. @param {any} handle
 * @param {(share: number) => void} moved */
export function arrows(handle, moved) {
  handle.addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
    const up = e.key === "ArrowRight" || e.key === "ArrowUp";
    if (!up && e.key !== "ArrowLeft" && e.key !== "ArrowDown") return;
    e.preventDefault();
    const share = e.shiftKey ? 1.01 : 1.05;
    moved(up ? share : 1 / share);
  });
}
