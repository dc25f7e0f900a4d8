// What is under the pointer: 16 × 16 pixels with their grey levels, and the correlation plane of
// the window about them.
import { colour, part, sharp, short } from "./draw.js";
import { GAP, beside, greys } from "./pictures.js";

const SIDE = 16;

/** Moves with the pointer and by the arrow keys. @param {import("./main.js").Bench} bench */
export function wire(bench) {
  const canvas = part("frames");
  canvas.addEventListener("pointermove", (/** @type {PointerEvent} */ e) => {
    if (!bench.pair) return;
    const box = canvas.getBoundingClientRect();
    const at = ((e.clientX - box.left) / box.width) * canvas.width;
    const second = beside(bench.state.view.show) && at >= bench.pair.size[0] + GAP;
    const x = at - (second ? bench.pair.size[0] + GAP : 0);
    bench.point(x, ((e.clientY - box.top) / box.height) * canvas.height, second ? 1 : 0);
  });
  canvas.addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[
      e.key
    ];
    if (!step || !bench.at || !bench.pair) return;
    e.preventDefault();
    const far = e.shiftKey ? SIDE : 1;
    const [x, y] = bench.at.map((n, k) =>
      Math.min(bench.pair.size[k] - 1, Math.max(0, n + far * step[k])),
    );
    bench.point(x, y, 0);
  });
}

/** @param {import("./main.js").Bench} bench */
export function lens(bench) {
  const { pair, at } = bench;
  if (!pair || !at) return;
  const [width, height] = pair.size;
  const [x, y] = at.map((n, k) => Math.min(Math.max(0, n), pair.size[k] - 1));
  const [left, top] = [x, y].map((n, k) =>
    Math.min(Math.max(0, Math.round(n) - SIDE / 2), Math.max(0, pair.size[k] - SIDE)),
  );
  const on = sharp(part("lens"), 288, 288);
  const cell = 288 / SIDE;
  const grey = greys(pair, bench.state.view.stretched);
  // What blinks by itself is not read: frame A stays.
  const frame = bench.paused && bench.state.view.show === "blink" ? bench.frame : bench.under;
  const levels = pair.levels[frame];
  on.textAlign = "center";
  on.font = "9px system-ui, sans-serif";
  for (let j = 0; j < Math.min(SIDE, height); j++)
    for (let i = 0; i < Math.min(SIDE, width); i++) {
      const v = levels[(top + j) * width + left + i];
      const shade = grey(v);
      on.fillStyle = `rgb(${shade},${shade},${shade})`;
      on.fillRect(i * cell, j * cell, cell + 0.5, cell + 0.5);
      on.fillStyle = shade > 120 ? "#000" : "#ddd";
      on.fillText(String(v), (i + 0.5) * cell, (j + 0.5) * cell + 3);
    }
  const truth = bench.plane?.truth_px;
  if (truth) streak(bench, on, truth, [(x - left + 0.5) * cell, (y - top + 0.5) * cell], cell);
  part("under").textContent =
    `Frame ${frame ? "B" : "A"}, x ${Math.round(x) + pair.origin[0]}, y ${Math.round(y) + pair.origin[1]}\u202fpx: ` +
    `${levels[Math.round(y) * width + Math.round(x)] ?? "–"}\u202fDN` +
    (truth
      ? `. Moves ${short(truth[0])}, ${short(truth[1])}\u202fpx; the line is its path during a pulse.`
      : "");
}

/** The true path during a pulse. @param {import("./main.js").Bench} bench
 * @param {CanvasRenderingContext2D} on @param {number[]} truth px @param {number[]} at
 * @param {number} cell */
function streak(bench, on, truth, [x, y], cell) {
  const pulse = bench.plan?.pulse;
  const dt = bench.plan?.straddle?.separation_s;
  if (!pulse || !dt) return;
  const [u, v] = truth.map((d) => (0.5 * cell * d * pulse) / dt);
  on.lineCap = "round";
  for (const [width, ink] of /** @type {[number, string][]} */ ([
    [4, "#000"],
    [2, "#e0a03c"],
  ])) {
    on.lineWidth = width;
    on.strokeStyle = ink;
    on.beginPath();
    on.moveTo(x - u, y - v);
    on.lineTo(x + u, y + v);
    on.stroke();
  }
}

/** The correlation plane of the window about the pointer, with a ring at the true displacement.
 * @param {import("./main.js").Bench} bench */
export function plane(bench) {
  const found = bench.plane;
  const size = 192;
  const on = sharp(part("plane"), size, size);
  if (!found?.plane) return;
  const [rx, ry] = found.reach;
  const [w, h] = [2 * rx + 1, 2 * ry + 1];
  const [low, high] = [Math.min(...found.plane), Math.max(...found.plane)];
  const [cw, ch] = [size / w, size / h];
  // From the ground to strong: dark rooms stay dark.
  const dark = bench.state.view.ground === "laboratory";
  const [from, to] = dark
    ? [
        [13, 10, 8],
        [217, 190, 150],
      ]
    : [
        [250, 248, 240],
        [35, 58, 110],
      ];
  found.plane.forEach((/** @type {number} */ v, /** @type {number} */ k) => {
    const t = (v - low) / (high - low || 1);
    on.fillStyle = `rgb(${from.map((c, i) => Math.round(c + (to[i] - c) * t)).join(",")})`;
    on.fillRect((k % w) * cw, Math.floor(k / w) * ch, cw + 0.5, ch + 0.5);
  });
  if (!found.truth_px) return;
  const [x, y] = [(rx + found.truth_px[0] + 0.5) * cw, (ry + found.truth_px[1] + 0.5) * ch];
  on.strokeStyle = colour("--light");
  on.lineWidth = 1.5;
  on.beginPath();
  on.arc(x, y, 7, 0, 2 * Math.PI);
  on.stroke();
}
