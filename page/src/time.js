// Time: pulses and exposures of one pair to scale. A pulse's edge sets its length, a pulse its
// separation.
import { arrows } from "./curve.js";
import { part, renew, scale, svg, time, timeText } from "./draw.js";

const HEIGHT = 132;

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const into = part("time");
  const pair = bench.plan?.straddle;
  if (!pair) return into.replaceChildren("The setup gives no pulse and separation.");
  const width = Math.max(280, bench.printWidth || into.clientWidth || 600);
  const [pulseA, pulseB] = pair.pulses_s;
  const end = pair.separation_s + pulseB;
  const before = 0.18 * end;
  const x = bench.heldScale ?? scale(-before, end + before, 0, width);
  bench.timeScale = x;
  const picture = svg("svg", {
    viewBox: `0 0 ${width} ${HEIGHT}`,
    width,
    height: HEIGHT,
    role: "group",
    "aria-label": "Pulses and exposures in time",
  });
  picture.append(hatch());
  const lengths = pair.exposures_s.map((/** @type {number | null} */ s) => s ?? 1e9);
  // In continuous light the exposures are the pulses.
  const [endA, startB] = pair.continuous
    ? [pulseA, pair.separation_s]
    : [pair.gap_s, pair.gap_s + pair.dead_s];
  exposure(picture, x, width, endA - lengths[0], endA, "A");
  exposure(picture, x, width, startB, startB + lengths[1], "B");
  cannot(bench, picture, x, pair);
  pulse(picture, x, 0, pulseA, "A");
  pulse(picture, x, pair.separation_s, pulseB, "B");
  handles(bench, picture, x, pair);
  const middle = x(pair.separation_s / 2);
  picture.append(
    svg("path", { d: `M${x(0)} 100H${x(pair.separation_s)}`, class: "measure" }),
    svg(
      "text",
      { x: middle, y: 116, class: "label", "text-anchor": "middle" },
      `separation ${time(pair.separation_s)}, start to start`,
    ),
  );
  if (pair.margin_s < 0)
    picture.append(
      svg(
        "text",
        { x: width / 2, y: 130, class: "label broken", "text-anchor": "middle" },
        `The exposures cut the pulses by ${time(-pair.margin_s)}.`,
      ),
    );
  renew(into, picture);
}

/** @param {any} picture @param {any} x @param {number} width @param {number} from
 * @param {number} to @param {string} name */
function exposure(picture, x, width, from, to, name) {
  const [a, b] = [Math.max(0, x(from)), Math.min(width, x(to))];
  if (b <= a) return;
  picture.append(svg("rect", { x: a, y: 66, width: b - a, height: 22, class: "exposure" }));
  const words = b - a > 80 ? `exposure ${name}` : b - a > 20 ? name : "";
  picture.append(
    svg("text", { x: (a + b) / 2, y: 81, class: "on-exposure", "text-anchor": "middle" }, words),
  );
  if (x(from) < 0) picture.append(broken(0));
  if (x(to) > width) picture.append(broken(width));
}

/** @param {any} picture @param {any} x @param {number} from @param {number} length
 * @param {string} name */
function pulse(picture, x, from, length, name) {
  const width = Math.max(1.5, x(from + length) - x(from));
  picture.append(
    svg("rect", { x: x(from), y: 24, width, height: 30, class: "pulse" }),
    svg("text", { x: x(from), y: 18, class: "label" }, `pulse ${name}`),
  );
}

/** Where no pulse A can end, with the reason. @param {import("./main.js").Bench} bench
 * @param {any} picture @param {any} x @param {any} pair */
function cannot(bench, picture, x, pair) {
  const longest = bench.plan.longest_pulse;
  const to = x(pair.separation_s);
  if (!longest || x(longest) >= to) return;
  const by = bench.plan.longest_pulse_by;
  const words = `at most ${time(longest)} by ${by ?? "the exposures"}`;
  const from = x(longest);
  picture.append(
    svg(
      "rect",
      { x: from, y: 24, width: to - from, height: 30, fill: "url(#hatch)", class: "cannot" },
      svg("title", {}, words),
    ),
  );
  // Before the hatching or on it, wherever there is room.
  const room = 6.2 * words.length;
  const free = from - x(pair.pulses_s[0]) - 110;
  if (free > room)
    picture.append(
      svg("text", { x: from - 6, y: 47, class: "label broken", "text-anchor": "end" }, words),
    );
  else if (to - from > room)
    picture.append(
      svg(
        "text",
        { x: (from + to) / 2, y: 43, class: "label broken halo", "text-anchor": "middle" },
        words,
      ),
    );
}

/** The second pulse is taken as a whole, the first by its edge.
 * @param {import("./main.js").Bench} bench @param {any} picture @param {any} x @param {any} pair */
function handles(bench, picture, x, pair) {
  const [pulseA, pulseB] = pair.pulses_s;
  const longest = bench.plan.longest_pulse ?? pair.separation_s;
  const slider = (
    /** @type {string} */ name,
    /** @type {number} */ now,
    /** @type {object} */ place,
  ) =>
    svg("rect", {
      ...place,
      tabindex: 0,
      role: "slider",
      "aria-label": name,
      "aria-valuetext": time(now),
      "aria-valuenow": now,
    });
  const edge = slider("Pulse length", pulseA, {
    x: x(pulseA) - 14,
    y: 12,
    width: 28,
    height: 54,
    class: "grip edge",
  });
  const whole = slider("Pulse separation", pair.separation_s, {
    x: x(pair.separation_s) - 12,
    y: 20,
    width: Math.max(24, x(pulseB) - x(0) + 24),
    height: 38,
    class: "grip",
  });
  const length = pair.continuous ? "camera.exposure" : "light.pulse_length";
  grip(bench, edge, length, pulseA, (s) => Math.min(Math.max(s, 1e-9), longest));
  grip(bench, whole, "timing.separation", pair.separation_s, (s) => Math.max(s, pulseA));
  picture.append(
    edge,
    whole,
    svg("path", { d: `M${x(pulseA)} 20V60`, class: "handle" }),
    svg("text", { x: x(pulseA) + 8, y: 47, class: "label halo" }, `pulse ${time(pulseA)}`),
  );
}

/** @param {import("./main.js").Bench} bench @param {any} handle @param {string} key
 * @param {number} value @param {(s: number) => number} within */
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
      for (const [name, act] of listened) removeEventListener(name, /** @type {any} */ (act));
      draw(bench);
    };
    const listened = /** @type {const} */ ([
      ["pointermove", move],
      ["pointerup", up],
      ["pointercancel", up],
    ]);
    for (const [name, act] of listened) addEventListener(name, /** @type {any} */ (act));
  });
  arrows(handle, (share) => set(value * share));
}

/** Where an exposure goes on beyond the strip. @param {number} x */
const broken = (x) => svg("path", { d: `M${x - 3} 62l3 8l-3 8l3 8l-3 8`, class: "break" });

const hatch = () =>
  svg(
    "defs",
    {},
    svg(
      "pattern",
      {
        id: "hatch",
        width: 7,
        height: 7,
        patternUnits: "userSpaceOnUse",
        patternTransform: "rotate(45)",
      },
      svg("path", { d: "M0 0V7", class: "hatch" }),
    ),
  );
