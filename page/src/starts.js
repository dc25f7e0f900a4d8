// Rigs to start from, each with a small picture of what it shows.
import { html, part } from "./draw.js";
import { greys } from "./pictures.js";

/** Side of the small pictures, px. */
const SIDE = 96;

/** @param {import("./main.js").Bench} bench */
export function wire(bench) {
  const fold = part("starts-fold");
  const start = (/** @type {any} */ { about, setup }) =>
    html(
      "button",
      { onclick: () => bench.change(setup, "") },
      html("canvas", { width: SIDE, height: SIDE, "aria-hidden": "true" }),
      html("span", {}, about),
    );
  part("starts").replaceChildren(
    ...bench.keys.starts.map(start),
    html("button", { class: "own", onclick: () => part("file").click() }, "a setup file of yours"),
  );
  fold.addEventListener("toggle", () => fold.open && pictures(bench), { once: true });
}

/** @param {import("./main.js").Bench} bench */
async function pictures(bench) {
  for (const [k, canvas] of [...part("starts").querySelectorAll("canvas")].entries()) {
    const { json, bytes } = await bench.aside.ask({
      do: "pair",
      setup: bench.keys.starts[k].setup,
      seed: 1,
      most: SIDE,
    });
    if (json.faults) continue;
    const [width, height] = json.size;
    const levels = new Uint16Array(bytes.buffer, 0, width * height);
    const image = new ImageData(width, height);
    const grey = greys(json, true);
    new Uint32Array(image.data.buffer).forEach(
      (_, at, pixels) => (pixels[at] = 0xff000000 + 0x010101 * grey(levels[at])),
    );
    [canvas.width, canvas.height] = [width, height];
    canvas.getContext("2d").putImageData(image, 0, 0);
  }
}
