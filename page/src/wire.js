// Buttons, keys, files, sizes: everything that is listened to once.
import * as assumed from "./assumed.js";
import * as choice from "./choice.js";
import * as details from "./details.js";
import * as lens from "./lens.js";
import * as map from "./map.js";
import * as pictures from "./pictures.js";
import * as pinned from "./pinned.js";
import { html, part } from "./draw.js";
import { fromAddress } from "./state.js";

const NARROW = matchMedia("(max-width: 760px)");

/** Puts the views into the document in the order in which they stand on the screen, so that the Tab
 * key and a screen reader go through the page as the eye does: in one column, as on paper, the
 * answer leads, on a wide screen the light path. @param {boolean} column */
function arrange(column) {
  const wide = ["path", "strip", "pictures", "answer", "folds"];
  const narrow = ["answer", "pictures", "strip", "path", "folds"];
  const held = /** @type {HTMLElement | null} */ (document.activeElement);
  const main = /** @type {HTMLElement} */ (document.querySelector("main"));
  const order = column ? narrow : wide;
  const of = (/** @type {string} */ name) =>
    /** @type {Node} */ (main.querySelector(`:scope > .${name}`));
  main.append(...order.map(of));
  // What is moved loses the focus.
  if (held && main.contains(held)) held.focus({ preventScroll: true });
}

const on = (
  /** @type {string} */ id,
  /** @type {string} */ event,
  /** @type {(e: any) => any} */ act,
) => part(id).addEventListener(event, act);

/** @param {import("./main.js").Bench} bench */
export function wire(bench) {
  NARROW.addEventListener("change", () => arrange(NARROW.matches));
  arrange(NARROW.matches);
  buttons(bench);
  folds(bench);
  files(bench);
  keys(bench);
  sizes(bench);
  lens.wire(bench);
  addEventListener("hashchange", async () => {
    const from = await fromAddress(location.hash.slice(1));
    if (from && JSON.stringify(from) !== JSON.stringify(bench.state)) bench.come(from);
  });
}

/** @param {import("./main.js").Bench} bench */
function buttons(bench) {
  const back = (/** @type {string | undefined} */ setup) =>
    setup !== undefined && bench.show(setup);
  on("undo", "click", () => back(bench.history.undo(bench.state.setup)));
  on("redo", "click", () => back(bench.history.redo(bench.state.setup)));
  on("take-back", "click", () => part("undo").click());
  on("show-fault", "click", () => {
    part("text-fold").open = true;
    part("setup").focus();
    details.select(bench);
  });
  on("ground", "click", () =>
    bench.look({ ground: bench.state.view.ground === "day" ? "laboratory" : "day" }),
  );
  on("stop", "click", () => bench.study.toggle());
  on("more-pairs", "click", () => bench.study.more());
  on("pin", "click", () => pinned.toggle(bench));
  on("save", "click", () => save(bench.state.setup));
  on("limit", "change", (e) => bench.look({ limit: e.target.value.trim().slice(0, 40) }));
  on("setup", "input", (e) => bench.change(e.target.value, "text"));
  // What underlines the faults lies behind the text and moves with it.
  on("setup", "scroll", (e) =>
    part("setup-back").scrollTo(e.target.scrollLeft, e.target.scrollTop),
  );
}

/** @param {import("./main.js").Bench} bench */
function folds(bench) {
  on("vectors-fold", "toggle", () => part("vectors-fold").open && bench.measure());
  on("assumed-fold", "toggle", () => {
    const { open } = part("assumed-fold");
    bench.study.wanted.worth = open;
    if (!open) return;
    assumed.list(bench);
    bench.study.go();
  });
  on("map-fold", "toggle", () => part("map-fold").open && map.settings(bench, part("map-choice")));
  on("choice-fold", "toggle", () => part("choice-fold").open && choice.settings(bench));
  part("more-known").parentElement.open = !NARROW.matches;
}

/** @param {import("./main.js").Bench} bench */
function files(bench) {
  const take = async (/** @type {File | undefined} */ file) => {
    if (!file) return;
    if (file.size > 1 << 20) {
      bench.faults = [{ message: `${file.name} is larger than any setup` }];
      return details.faults(bench);
    }
    await bench.change(await file.text(), "");
  };
  on("file", "change", (e) => take(e.target.files[0]));
  addEventListener("dragover", (e) => e.preventDefault());
  addEventListener("drop", (e) => {
    e.preventDefault();
    take(e.dataTransfer?.files[0]);
  });
}

/** @param {string} text */
function save(text) {
  const url = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
  html("a", { href: url, download: "rig.toml" }).click();
  setTimeout(() => URL.revokeObjectURL(url), 1000);
}

/** @param {import("./main.js").Bench} bench */
function keys(bench) {
  addEventListener("keydown", (e) => {
    const name = /** @type {Element} */ (e.target).tagName;
    if (e.key === " " && !/input|textarea|select|button|summary/i.test(name)) {
      e.preventDefault();
      bench.paused = true;
      bench.blinks();
      pictures.blink(bench);
      lens.lens(bench);
    }
    if ((e.ctrlKey || e.metaKey) && e.key.toLowerCase() === "z" && !/textarea/i.test(name)) {
      e.preventDefault();
      part(e.shiftKey ? "redo" : "undo").click();
    }
  });
}

/** @param {import("./main.js").Bench} bench */
function sizes(bench) {
  let resizing = 0;
  addEventListener("resize", () => {
    clearTimeout(resizing);
    resizing = setTimeout(() => bench.redraw(), 100);
  });
  // Paper is narrow and white, and nobody can open a fold on it.
  const folds = ["more-known", "rules", "setup"].map((id) => part(id).closest("details"));
  let open = folds.map((fold) => fold.open);
  addEventListener("beforeprint", () => {
    open = folds.map((fold) => fold.open);
    folds.forEach((fold) => (fold.open = true));
    document.documentElement.dataset.ground = "day";
    bench.printWidth = 680;
    arrange(true);
    bench.redraw();
  });
  addEventListener("afterprint", () => {
    folds.forEach((fold, k) => (fold.open = open[k]));
    document.documentElement.dataset.ground = bench.state.view.ground;
    bench.printWidth = 0;
    arrange(NARROW.matches);
    bench.redraw();
  });
}
