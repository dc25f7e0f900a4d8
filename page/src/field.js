// Vectors and errors over the field.
import { html, part, short, svg } from "./draw.js";

/** A vector from its place, with a head. @param {number} x @param {number} y @param {number} u
 * @param {number} v */
export function arrowPath(x, y, u, v) {
  const side = (/** @type {number} */ turn) =>
    `${(-0.35 * (u - turn * v)).toFixed(1)} ${(-0.35 * (v + turn * u)).toFixed(1)}`;
  const tip = `${(x + u).toFixed(1)} ${(y + v).toFixed(1)}`;
  return `M${x} ${y}L${tip}l${side(0.5)}M${tip}l${side(-0.5)}`;
}

/** Screen px of a displacement of one px, and of how many vectors one is drawn: as many as the eye
 * tells apart. @param {any} field */
export function reachOf(field) {
  const lengths = field.vectors
    .filter((/** @type {any} */ v) => v[6] === "valid")
    .map((/** @type {any} */ v) => Math.hypot(v[2], v[3]));
  const longest = lengths.reduce((/** @type {number} */ a, /** @type {number} */ b) => Math.max(a, b), 1e-9);
  const every = Math.max(1, Math.ceil(field.columns / 32), Math.ceil(field.rows / 32));
  return { every, reach: (0.9 * every * Math.max(...field.spacing)) / longest };
}

const rms = (/** @type {number[]} */ all) =>
  Math.sqrt(all.reduce((s, e) => s + e * e, 0) / all.length);

/** @param {import("./main.js").Bench} bench */
export function vectors(bench) {
  const found = bench.field;
  const into = part("vectors");
  if (!found || !bench.pair) return into.replaceChildren();
  const good = found.vectors.filter((/** @type {any} */ v) => v[4]);
  const errors = good.map((/** @type {any} */ v) => Math.hypot(v[4][0], v[4][1]));
  const sorted = errors.slice().sort((/** @type {number} */ a, /** @type {number} */ b) => a - b);
  const most = sorted[Math.floor(errors.length * 0.95)] || 0.1;
  const estimated = rms(
    good
      .filter((/** @type {any} */ v) => v[5])
      .map((/** @type {any} */ v) => Math.hypot(v[5][0], v[5][1])),
  );
  const size = (/** @type {number[]} */ [w, h]) => `${w} × ${h}`;
  const { whole } = bench.pair;
  const of_ = size(found.size) === size(whole) ? "" : ` in ${size(found.size)} of ${size(whole)}\u202fpx`;
  const words =
    `${found.vectors.length} vectors of one pair${of_}; true error ${short(rms(errors))}\u202fpx, estimated by correlation ` +
    `statistics ${short(estimated)}\u202fpx (root mean square).`;
  into.replaceChildren(
    html("p", {}, words),
    scale(most),
    html("div", { class: "field-row" }, picture(found, most), bars(good)),
  );
}

/** What the ground's colours mean. @param {number} most px */
function scale(most) {
  const steps = Array.from({ length: 24 }, (_, k) => {
    const cell = svg("rect", { x: 5 * k, y: 0, width: 5.5, height: 10, class: "cell" });
    cell.style.setProperty("--t", (k / 23).toFixed(2));
    return cell;
  });
  return html(
    "p",
    { class: "help scale" },
    "error 0 ",
    svg("svg", { width: 120, height: 10, "aria-hidden": "true" }, ...steps),
    ` ${short(most)}\u202fpx and more; dashed: an outlier or a vector that was replaced`,
  );
}

/** @param {any} found @param {number} most px */
function picture(found, most) {
  const { reach, every } = reachOf(found);
  const picture = svg("svg", {
    viewBox: [...found.origin, ...found.size].join(" "),
    class: "field",
    role: "img",
    "aria-label": `Vectors on a ground coloured by their true error, from 0 to ${short(most)} px`,
  });
  const [cells, arrows] = [svg("g"), svg("g")];
  const [stepX, stepY] = found.spacing;
  for (const [k, v] of found.vectors.entries()) {
    const [x, y, u, w, error, uncertainty, status] = v;
    const size = error ? Math.hypot(error[0], error[1]) : NaN;
    const bad = status !== "valid" || size > 1;
    if (!bad) {
      const cell = svg("rect", {
        x: x - stepX / 2,
        y: y - stepY / 2,
        width: stepX,
        height: stepY,
        class: "cell",
      });
      cell.style.setProperty("--t", Math.min(1, size / most).toFixed(2));
      cells.append(cell);
    }
    const due = (k % found.columns) % every === 0 && Math.floor(k / found.columns) % every === 0;
    if (!bad && !due) continue;
    const estimate = uncertainty
      ? `, estimated ${short(Math.hypot(uncertainty[0], uncertainty[1]))} px`
      : "";
    arrows.append(
      svg(
        "path",
        { d: arrowPath(x, y, u * reach, w * reach), class: bad ? "vector bad" : "vector" },
        svg(
          "title",
          {},
          `${short(u)}, ${short(w)} px; error ${short(size)} px${estimate}; ${status}`,
        ),
      ),
    );
  }
  picture.append(cells, arrows);
  return picture;
}

/** How often an error occurs, along x and along y. @param {any[]} good */
function bars(good) {
  const all = good.flatMap((v) => v[4]);
  const spread = rms(all) * 4 || 1;
  const bins = new Array(41).fill(0);
  for (const e of all) bins[Math.min(40, Math.max(0, Math.round(20 + (20 * e) / spread)))]++;
  const most = Math.max(...bins);
  const picture = svg("svg", {
    viewBox: "0 0 420 120",
    class: "bars",
    role: "img",
    "aria-label": `How often errors occur, from ${short(-spread)} to ${short(spread)} px`,
  });
  bins.forEach((n, k) =>
    picture.append(
      svg("rect", {
        x: 10 * k + 5,
        y: 90 - (86 * n) / most,
        width: 9,
        height: (86 * n) / most,
        class: "bar",
      }),
    ),
  );
  const ends = /** @type {[number, number, string][]} */ ([
    [10, -spread, "start"],
    [210, 0, "middle"],
    [410, spread, "end"],
  ]);
  for (const [x, v, anchor] of ends) {
    const words = `${short(v).replace("-", "−")}${v ? "" : " px error, along x and y"}`;
    picture.append(svg("text", { x, y: 108, class: "label", "text-anchor": anchor }, words));
  }
  return picture;
}
