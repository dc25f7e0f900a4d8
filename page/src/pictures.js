// The pictures: frames A and B blinking in place, side by side or over each other; with the
// measured vectors over them if wanted.
import { arrowPath, reachOf } from "./field.js";
import { colour, html, part, renew, sharp, short, svg } from "./draw.js";

/** A frame's grey levels on the screen. @param {any} pair @param {Uint16Array} levels
 * @param {boolean} stretched */
function picture(pair, levels, stretched) {
  const [width, height] = pair.size;
  const image = new ImageData(width, height);
  const pixels = new Uint32Array(image.data.buffer);
  const grey = greys(pair, stretched);
  // A power for each level in place of one for each pixel.
  const shown = Uint32Array.from(
    { length: pair.most + 1 },
    (_, v) => 0xff000000 + 0x010101 * grey(v),
  );
  for (let k = 0; k < levels.length; k++) pixels[k] = shown[levels[k]];
  return image;
}

/** The same of frame k of a pair, made once: a large one takes a while.
 * @param {any} pair @param {number} k @param {boolean} stretched @returns {ImageData} */
function imageOf(pair, k, stretched) {
  if (pair.stretched !== stretched) pair.images = [];
  pair.stretched = stretched;
  return (pair.images[k] ??= picture(pair, pair.levels[k], stretched));
}

/** Grey of a level, 0 to 255. @param {any} pair @param {boolean} stretched */
export function greys(pair, stretched) {
  const [black, white] = range(pair, stretched);
  return (/** @type {number} */ v) => {
    const share = Math.min(1, Math.max(0, (v - black) / (white - black)));
    return Math.round(255 * (stretched ? share ** (1 / 2.2) : share));
  };
}

/** @param {any} pair @param {boolean} stretched */
const range = (pair, stretched) => (stretched ? [pair.black, pair.white] : [0, pair.most]);

/** Frame A in amber, frame B in blue. @param {ImageData} a @param {ImageData} b */
function overlay(a, b) {
  const image = new ImageData(a.width, a.height);
  for (let k = 0; k < a.data.length; k += 4) {
    image.data[k] = a.data[k];
    image.data[k + 1] = 0.62 * a.data[k] + 0.55 * b.data[k];
    image.data[k + 2] = b.data[k];
    image.data[k + 3] = 255;
  }
  return image;
}

/** Pixels between two pictures beside each other. */
export const GAP = 8;

/** Whether two pictures stand beside each other. @param {string} show */
export const beside = (show) => show === "side" || show === "pinned";

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { pair, state } = bench;
  if (!pair) return;
  const { stretched } = state.view;
  const show = shown(bench);
  const image = (/** @type {number} */ k) => imageOf(pair, k, stretched);
  const canvas = part("frames");
  const [width, height] = pair.size;
  const second = show === "pinned" ? imageOf(bench.pinned?.pair, 0, stretched) : image(show === "side" ? 1 : bench.frame);
  canvas.width = beside(show) ? width + GAP + second.width : width;
  canvas.height = beside(show) ? Math.max(height, second.height) : height;
  part("frame").style.setProperty("--ratio", String(canvas.width / canvas.height));
  const on = canvas.getContext("2d");
  if (show === "overlay") on.putImageData(overlay(image(0), image(1)), 0, 0);
  else on.putImageData(image(show === "blink" ? bench.frame : 0), 0, 0);
  if (beside(show)) on.putImageData(second, width + GAP, 0);
  const names = /** @type {Record<string, string[]>} */ ({
    blink: [bench.frame ? "B" : "A"],
    side: ["A", "B"],
    overlay: ["A amber, B blue"],
    pinned: ["now, A", "pinned, A"],
  })[show];
  part("which").textContent = names[0];
  part("which-2").textContent = names[1] ?? "";
  part("which-2").hidden = !names[1];
  part("which-2").style.left = `calc(${(100 * (width + GAP)) / canvas.width}% + 8px)`;
  over(bench);
}

/** What is shown: without a pinned setup nothing of it. @param {import("./main.js").Bench} bench */
const shown = ({ state: { view }, pinned }) =>
  view.show === "pinned" && !pinned?.pair ? "blink" : view.show;

/** Over frame A: the measured vectors, and the window under the pointer.
 * @param {import("./main.js").Bench} bench */
export function over(bench) {
  const { pair, field, plane } = bench;
  if (!pair) return;
  const canvas = part("frames");
  const picture = part("over");
  picture.setAttribute("viewBox", `0 0 ${canvas.width} ${canvas.height}`);
  const all = [];
  if (bench.state.view.vectors && field) {
    const { reach, every } = reachOf(field);
    const strokes = { true: "", false: "" };
    field.vectors.forEach((/** @type {any} */ v, /** @type {number} */ k) => {
      const bad = v[6] !== "valid" || !v[4] || Math.hypot(v[4][0], v[4][1]) > 1;
      const due = (k % field.columns) % every === 0 && Math.floor(k / field.columns) % every === 0;
      if (bad || due)
        strokes[bad ? "true" : "false"] += arrowPath(v[0], v[1], v[2] * reach, v[3] * reach);
    });
    // Where they are those of a part, its border.
    const [left, top] = field.origin;
    const [width, height] = field.size;
    if (String(field.size) !== String(pair.size))
      all.push(svg("rect", { x: left, y: top, width, height, class: "window" }));
    all.push(
      svg("path", { d: strokes.false, class: "over-vector" }),
      svg("path", { d: strokes.true, class: "over-vector bad" }),
    );
  }
  if (plane?.window) {
    const [x, y] = plane.corner;
    all.push(
      svg("rect", {
        x: x - 0.5,
        y: y - 0.5,
        width: plane.window[0],
        height: plane.window[1],
        class: "window",
      }),
    );
  }
  picture.replaceChildren(...all);
}

/** What the pictures show, in words. @param {import("./main.js").Bench} bench */
export function say(bench) {
  const { pair, plan } = bench;
  if (!pair) return;
  const size = (/** @type {number[]} */ [w, h]) => `${w} × ${h}`;
  const part_ = size(pair.size) === size(pair.whole) ? "" : ` of ${size(pair.whole)}`;
  const streak =
    plan?.pulse && plan.straddle ? (plan.fast_px * plan.pulse) / plan.straddle.separation_s : NaN;
  const [black, white] = range(pair, bench.state.view.stretched);
  part("pictures-say").textContent =
    `${size(pair.size)}${part_} px, drawn in ${Math.round(bench.drawn_ms)} ms. Streak in the fastest tenth ` +
    `${short(streak)}\u202fpx, particle image ${short(plan?.diameter_px)}\u202fpx, ` +
    `${short(plan?.particles_ppp)}\u202fparticles per pixel. Grey from ${short(black)} to ${short(white)}\u202fDN.`;
  histogram(bench);
}

/** Blinks, unless the reader wants nothing to move. @param {import("./main.js").Bench} bench */
export function blink(bench) {
  const { pair } = bench;
  if (!pair || shown(bench) !== "blink") return;
  bench.frame = 1 - bench.frame;
  const image = imageOf(pair, bench.frame, bench.state.view.stretched);
  part("frames").getContext("2d").putImageData(image, 0, 0);
  part("which").textContent = bench.frame ? "B" : "A";
}

/** @param {Uint16Array} levels */
function counts(levels) {
  const all = new Uint32Array(1 << 16);
  for (let k = 0; k < levels.length; k++) all[levels[k]]++;
  return all;
}

/** How often each grey level occurs. @param {import("./main.js").Bench} bench */
export function histogram(bench) {
  const { pair } = bench;
  if (!pair) return;
  const [width, height] = [256, 80];
  const on = sharp(part("histogram"), width, height);
  const bins = new Float64Array(128);
  const top = Math.max(pair.white * 1.5, 2);
  pair.counts ??= counts(pair.levels[0]);
  pair.counts.forEach(
    (/** @type {number} */ n, /** @type {number} */ v) =>
      (bins[Math.min(127, Math.floor((127 * v) / top))] += n),
  );
  const most = Math.log1p(Math.max(...bins));
  on.fillStyle = colour("--faint");
  bins.forEach((n, k) => {
    const h = (height * Math.log1p(n)) / most;
    on.fillRect(2 * k, height - h, 2, h);
  });
  part("histogram-say").textContent =
    `grey levels of frame A, 0 to ${short(top)}\u202fDN; counts on a logarithmic scale`;
}

/** The buttons above the pictures. @param {import("./main.js").Bench} bench */
export function buttons(bench) {
  const { view } = bench.state;
  const press = (
    /** @type {string} */ words,
    /** @type {boolean} */ pressed,
    /** @type {object} */ change,
  ) => html("button", { "aria-pressed": pressed, onclick: () => bench.look(change) }, words);
  const choice = (/** @type {string} */ value, /** @type {string} */ words) =>
    press(words, view.show === value, { show: value });
  const rate = html("input", {
    type: "number",
    min: 0.5,
    max: 8,
    step: 0.5,
    value: view.rate,
    "aria-label": "blinks per second",
    onchange: (/** @type {any} */ e) =>
      bench.look({ rate: Math.min(8, Math.max(0.5, Number(e.target.value) || 3)) }),
  });
  const large = bench.pair && bench.pair.whole[0] * bench.pair.whole[1] > bench.most ** 2;
  renew(
    part("pictures-buttons"),
    html(
      "span",
      { class: "pair" },
      choice("blink", "blink"),
      rate,
      html("span", { class: "faint" }, "per second"),
    ),
    choice("side", "side by side"),
    choice("overlay", "overlay"),
    ...(view.pinned ? [choice("pinned", "beside the pinned")] : []),
    press("vectors", view.vectors, { vectors: !view.vectors }),
    press("stretch greys", view.stretched, { stretched: !view.stretched }),
    ...(large ? [press("whole picture", view.whole, { whole: !view.whole })] : []),
    html("button", { onclick: () => bench.look({ seed: view.seed + 1 }) }, "other particles"),
  );
}

/** Where in a large picture the part shown stands: a small map of the whole, in which it is moved.
 * @param {import("./main.js").Bench} bench */
export function place(bench) {
  const { pair } = bench;
  const into = part("place");
  into.hidden = !pair || String(pair.size) === String(pair.whole);
  if (into.hidden) return;
  const [w, h] = pair.whole;
  const to = (/** @type {number[]} */ at) =>
    bench.look({ at: at.map((n) => Math.min(1, Math.max(0, n))) });
  const middle = [0, 1].map((k) => (pair.origin[k] + pair.size[k] / 2) / pair.whole[k]);
  const box = svg(
    "svg",
    {
      viewBox: `0 0 ${w} ${h}`,
      width: 96,
      height: (96 * h) / w,
      tabindex: 0,
      role: "slider",
      "aria-label": "Part of the picture",
      "aria-valuetext": `from column ${pair.origin[0]}, row ${pair.origin[1]}`,
      "aria-valuenow": Math.round(100 * middle[0]),
    },
    svg("rect", { width: w, height: h, class: "whole" }),
    svg("rect", {
      x: pair.origin[0],
      y: pair.origin[1],
      width: pair.size[0],
      height: pair.size[1],
      class: "part",
    }),
  );
  box.addEventListener("pointerdown", (/** @type {PointerEvent} */ e) => {
    const of = box.getBoundingClientRect();
    to([(e.clientX - of.left) / of.width, (e.clientY - of.top) / of.height]);
  });
  box.addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[
      e.key
    ];
    if (!step) return;
    e.preventDefault();
    to(middle.map((m, k) => m + (0.5 * step[k] * pair.size[k]) / pair.whole[k]));
  });
  renew(
    into,
    box,
    html(
      "p",
      { class: "help" },
      "The part shown. Press where another is wanted, or use the arrow keys.",
    ),
  );
}
