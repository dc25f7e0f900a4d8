// The pictures: frames A and B blinking in place, side by side or over each other; a lens of 16 × 16 pixels follows the
// pointer.
import { html, part, short } from "./draw.js";

/** A frame's grey levels on the screen. @param {any} pair @param {Uint16Array} levels @param {boolean} stretched */
function picture(pair, levels, stretched) {
  const [width, height] = pair.size;
  const image = new ImageData(width, height);
  const pixels = new Uint32Array(image.data.buffer);
  const [black, white] = range(pair, stretched);
  // A power for each level in place of one for each pixel.
  const shown = Uint32Array.from({ length: pair.most + 1 }, (_, v) => {
    const share = Math.min(1, Math.max(0, (v - black) / (white - black)));
    return 0xff000000 + 0x010101 * Math.round(255 * (stretched ? share ** (1 / 2.2) : share));
  });
  for (let k = 0; k < levels.length; k++) pixels[k] = shown[levels[k]];
  return image;
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

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { pair, state } = bench;
  if (!pair) return;
  const { show, stretched } = state.view;
  const canvas = part("frames");
  const [width, height] = pair.size;
  const images = pair.levels.map((/** @type {Uint16Array} */ levels) => picture(pair, levels, stretched));
  bench.images = images;
  canvas.width = show === "side" ? 2 * width + 8 : width;
  canvas.height = height;
  const on = canvas.getContext("2d");
  if (show === "overlay") on.putImageData(overlay(images[0], images[1]), 0, 0);
  else on.putImageData(images[show === "blink" ? bench.frame : 0], 0, 0);
  if (show === "side") on.putImageData(images[1], width + 8, 0);
  part("which").hidden = show !== "blink";
  histogram(bench);
}

/** What the pictures show, in words. @param {import("./main.js").Bench} bench */
export function say(bench) {
  const { pair, plan } = bench;
  if (!pair) return;
  const [width, height] = pair.size;
  const streak = plan?.pulse && plan.straddle ? (plan.fast_px * plan.pulse) / plan.straddle.separation_s : NaN;
  const [black, white] = range(pair, bench.state.view.stretched);
  part("pictures-say").replaceChildren(
    `${width} × ${height} px, drawn in ${Math.round(bench.drawn_ms)} ms. Streak in the fastest tenth ${short(streak)}\u202fpx, particle image `
    + `${short(plan?.diameter_px)}\u202fpx, ${short(plan?.particles_ppp)}\u202fparticles per pixel. Grey from ${short(black)} to ${short(white)}\u202fDN.`);
}

/** Blinks, unless the reader wants nothing to move. @param {import("./main.js").Bench} bench */
export function blink(bench) {
  const { pair, state, images } = bench;
  if (!pair || !images || state.view.show !== "blink") return;
  bench.frame = 1 - bench.frame;
  part("frames").getContext("2d").putImageData(images[bench.frame], 0, 0);
  part("which").textContent = bench.frame ? "B" : "A";
}

/** How often each grey level occurs. @param {import("./main.js").Bench} bench */
function histogram(bench) {
  const { pair } = bench;
  const canvas = part("histogram");
  const on = canvas.getContext("2d");
  const bins = new Float64Array(128);
  const top = Math.max(pair.white * 1.5, 2);
  for (const v of pair.levels[0]) bins[Math.min(127, Math.floor((127 * v) / top))]++;
  const most = Math.log1p(Math.max(...bins));
  on.clearRect(0, 0, canvas.width, canvas.height);
  on.fillStyle = getComputedStyle(document.body).getPropertyValue("--faint");
  bins.forEach((n, k) => {
    const h = (canvas.height * Math.log1p(n)) / most;
    on.fillRect(2 * k, canvas.height - h, 2, h);
  });
}

/** The lens under the pointer. @param {import("./main.js").Bench} bench @param {number} x @param {number} y picture px */
export function lens(bench, x, y) {
  const { pair } = bench;
  const [width, height] = pair.size;
  const [left, top] = [Math.min(Math.max(0, Math.round(x) - 8), width - 16), Math.min(Math.max(0, Math.round(y) - 8), height - 16)];
  const canvas = part("lens");
  const on = canvas.getContext("2d");
  const cell = canvas.width / 16;
  const [black, white] = range(pair, bench.state.view.stretched);
  const levels = pair.levels[bench.state.view.show === "blink" ? bench.frame : 0];
  on.textAlign = "center";
  on.font = "9px system-ui, sans-serif";
  for (let j = 0; j < 16; j++)
    for (let i = 0; i < 16; i++) {
      const v = levels[(top + j) * width + left + i];
      const grey = Math.round(255 * Math.min(1, Math.max(0, (v - black) / (white - black))) ** (1 / 2.2));
      on.fillStyle = `rgb(${grey},${grey},${grey})`;
      on.fillRect(i * cell, j * cell, cell + 1, cell + 1);
      on.fillStyle = grey > 128 ? "#000" : "#ddd";
      on.fillText(String(v), (i + 0.5) * cell, (j + 0.5) * cell + 3);
    }
  // The true path during the pulse.
  const pulse = bench.plan?.pulse, dt = bench.plan?.straddle?.separation_s, truth = bench.plane?.truth_px;
  if (truth && pulse && dt) {
    const [u, v] = truth.map((/** @type {number} */ d) => (d * pulse) / dt);
    const at = (/** @type {number} */ dx, /** @type {number} */ dy) => /** @type {[number, number]} */ ([(x - left + 0.5 + dx) * cell, (y - top + 0.5 + dy) * cell]);
    on.strokeStyle = "#e0a03c";
    on.lineWidth = 2;
    on.beginPath();
    on.moveTo(...at(-u / 2, -v / 2));
    on.lineTo(...at(u / 2, v / 2));
    on.stroke();
  }
  part("under").textContent = `x ${Math.round(x)}, y ${Math.round(y)} px: ${levels[Math.round(y) * width + Math.round(x)] ?? "–"} DN`
    + (truth ? `, moves ${short(truth[0])}, ${short(truth[1])} px` : "");
}

/** The correlation plane of the window about the pointer. @param {import("./main.js").Bench} bench */
export function plane(bench) {
  const canvas = part("plane");
  const found = bench.plane;
  const on = canvas.getContext("2d");
  on.clearRect(0, 0, canvas.width, canvas.height);
  if (!found?.plane) return;
  const [rx, ry] = found.reach;
  const [w, h] = [2 * rx + 1, 2 * ry + 1];
  const [low, high] = [Math.min(...found.plane), Math.max(...found.plane)];
  const [cw, ch] = [canvas.width / w, canvas.height / h];
  found.plane.forEach((/** @type {number} */ v, /** @type {number} */ k) => {
    const t = (v - low) / (high - low || 1);
    on.fillStyle = `rgb(${Math.round(250 - 215 * t)},${Math.round(248 - 190 * t)},${Math.round(240 - 130 * t)})`;
    on.fillRect((k % w) * cw, Math.floor(k / w) * ch, cw + 1, ch + 1);
  });
}

/** The buttons above the pictures. @param {import("./main.js").Bench} bench */
export function buttons(bench) {
  const choice = (/** @type {string} */ value, /** @type {string} */ words) =>
    html("button", { "aria-pressed": bench.state.view.show === value, onclick: () => bench.look({ show: value }) }, words);
  part("pictures-buttons").replaceChildren(
    choice("blink", "blink"), choice("side", "side by side"), choice("overlay", "overlay"),
    html("button", { "aria-pressed": bench.state.view.stretched, onclick: () => bench.look({ stretched: !bench.state.view.stretched }) }, "stretch greys"),
    html("button", { onclick: () => bench.look({ seed: bench.state.view.seed + 1 }) }, "other particles"),
    html("label", {}, "blinks per second ", html("input", { type: "number", min: 0.5, max: 8, step: 0.5, value: bench.state.view.rate,
      onchange: (/** @type {any} */ e) => bench.look({ rate: Math.min(8, Math.max(0.5, Number(e.target.value) || 3)) }) })));
}
