// Time: pulses and exposures of one pair to scale. A pulse's edge sets its length, a pulse its separation.
import { part, scale, svg, time, timeText } from "./draw.js";

const HEIGHT = 132;

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const into = part("time");
  const pair = bench.plan?.straddle;
  if (!pair) return into.replaceChildren("The setup gives no pulse and separation.");
  const width = Math.max(300, into.clientWidth || 600);
  const [pulseA, pulseB] = pair.pulses_s;
  const end = pair.separation_s + pulseB;
  const before = 0.18 * end;
  const held = bench.heldScale;
  const x = held ?? scale(-before, end + before, 0, width);
  bench.timeScale = x;
  const longest = bench.plan.longest_pulse;
  const picture = svg("svg", { viewBox: `0 0 ${width} ${HEIGHT}`, width, height: HEIGHT, role: "group", "aria-label": "Pulses and exposures in time" });
  picture.append(hatch());
  const gap = pair.gap_s;
  const exposure = (/** @type {number} */ from, /** @type {number} */ to, /** @type {string} */ name) => {
    const [a, b] = [Math.max(0, x(from)), Math.min(width, x(to))];
    if (b <= a) return;
    picture.append(svg("rect", { x: a, y: 66, width: b - a, height: 22, class: "exposure" }),
      svg("text", { x: Math.min(Math.max((a + b) / 2, a + 4), width - 4), y: 81, class: "on-exposure", "text-anchor": "middle" }, name));
    if (x(from) < 0) picture.append(broken(0));
    if (x(to) > width) picture.append(broken(width));
  };
  const lengths = pair.exposures_s.map((/** @type {number | null} */ s) => s ?? 1e9);
  exposure(gap - lengths[0], gap, "exposure A");
  exposure(gap + pair.dead_s, gap + pair.dead_s + lengths[1], "exposure B");
  if (longest) {
    const from = x(longest);
    if (from < x(pair.separation_s)) {
      picture.append(svg("rect", { x: from, y: 24, width: Math.max(0, x(pair.separation_s) - from), height: 30, fill: "url(#hatch)", class: "cannot" },
        svg("title", {}, `A longer pulse than ${time(longest)} is cut by its exposure or more than the source bears.`)));
    }
  }
  for (const [from, length, name] of /** @type {[number, number, string][]} */ ([[0, pulseA, "A"], [pair.separation_s, pulseB, "B"]])) {
    const w = Math.max(1.5, x(from + length) - x(from));
    picture.append(svg("rect", { x: x(from), y: 24, width: w, height: 30, class: "pulse" }), svg("text", { x: x(from), y: 18, class: "label" }, `pulse ${name}`));
  }
  // The second pulse is taken as a whole, the first by its edge.
  const whole = svg("rect", { x: x(pair.separation_s) - 12, y: 20, width: Math.max(24, x(pulseB) - x(0) + 24), height: 38, class: "grip",
    tabindex: 0, role: "slider", "aria-label": "Pulse separation", "aria-valuetext": time(pair.separation_s), "aria-valuenow": pair.separation_s });
  grip(bench, whole, "timing.separation", pair.separation_s, (s) => Math.max(s, pulseA));
  const edge = svg("rect", { x: x(pulseA) - 14, y: 12, width: 28, height: 54, class: "grip edge",
    tabindex: 0, role: "slider", "aria-label": "Pulse length", "aria-valuetext": time(pulseA), "aria-valuenow": pulseA });
  grip(bench, edge, pair.continuous ? "camera.exposure" : "light.pulse_length", pulseA, (s) => Math.min(Math.max(s, 1e-9), longest ?? pair.separation_s));
  picture.append(whole, edge, svg("path", { d: `M${x(pulseA)} 20V60`, class: "handle" }),
    svg("text", { x: x(pulseA) + 8, y: 47, class: "label" }, `pulse ${time(pulseA)}`),
    svg("path", { d: `M${x(0)} 100H${x(pair.separation_s)}`, class: "measure" }),
    svg("text", { x: x(pair.separation_s / 2), y: 116, class: "label", "text-anchor": "middle" }, `separation ${time(pair.separation_s)}, start to start`));
  if (pair.margin_s < 0) picture.append(svg("text", { x: width / 2, y: 130, class: "label broken", "text-anchor": "middle" }, `The exposures cut the pulses by ${time(-pair.margin_s)}.`));
  const focused = document.activeElement?.getAttribute("aria-label");
  into.replaceChildren(picture);
  if (focused) picture.querySelector(`[aria-label="${CSS.escape(focused)}"]`)?.focus();
}

/** @param {import("./main.js").Bench} bench @param {any} handle @param {string} key @param {number} value @param {(s: number) => number} within */
function grip(bench, handle, key, value, within) {
  const set = (/** @type {number} */ s) => bench.set(key, timeText(within(s)), key);
  handle.addEventListener("pointerdown", (/** @type {PointerEvent} */ down) => {
    down.preventDefault();
    const x = bench.timeScale;
    bench.heldScale = x;
    const left = part("time").getBoundingClientRect().left;
    const offset = down.clientX - left - x(value);
    const move = (/** @type {PointerEvent} */ e) => set(x.inverse(e.clientX - left - offset));
    const up = () => {
      bench.heldScale = null;
      removeEventListener("pointermove", move);
      removeEventListener("pointerup", up);
      draw(bench);
    };
    addEventListener("pointermove", move);
    addEventListener("pointerup", up);
  });
  handle.addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
    const up = e.key === "ArrowRight" || e.key === "ArrowUp";
    if (!up && e.key !== "ArrowLeft" && e.key !== "ArrowDown") return;
    e.preventDefault();
    const share = e.shiftKey ? 1.01 : 1.05;
    set(value * (up ? share : 1 / share));
  });
}

/** Where an exposure goes on beyond the strip. @param {number} x */
const broken = (x) => svg("path", { d: `M${x - 3} 62l3 8l-3 8l3 8l-3 8`, class: "break" });

const hatch = () =>
  svg("defs", {}, svg("pattern", { id: "hatch", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    svg("path", { d: "M0 0V7", class: "hatch" })));
