// What follows the answer, as the command line says it: what would be enough, what assumptions are
// worth, a choice from lists; fields of a flow that add; and large cameras.
import assert from "node:assert/strict";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { RIG } from "./rig.mjs";

/** A limit that no pulse length keeps, and three changes of the rig do. */
const LIMIT = "0.08 px";
/** The present pulse saturates no window that is tried. */
const SHORT = RIG.replace("60 us", "30 us");

/** @param {any} tools of page.mjs */
export async function parts({ check, open, bench, until, address, native, folder }) {
  const page = await open(1280);
  const take = async (/** @type {string} */ text) => {
    await bench(page, (b, text) => b.change(text, ""), text);
    await until(page, (b) => !b.working);
  };
  const decided = (/** @type {string} */ name, /** @type {string[]} */ ...options) => {
    writeFileSync(join(folder, "short.toml"), SHORT);
    native("decide", "short.toml", "--out", name, ...options);
    return JSON.parse(readFileSync(join(folder, name, "decision.json"), "utf8"));
  };
  const digits = (/** @type {any} */ e) => [e.value, e.lo, e.hi].map((v) => v.toPrecision(3));

  await check("what would be enough is the command line's, and is taken with a press", async () => {
    await take(SHORT);
    await page.locator("#limit").fill(LIMIT);
    await page.locator("#limit").press("Enter");
    await until(page, (b) => b.study.finished && b.study.answer.limit_px === 0.08, null, 240);
    assert.ok(await page.locator("#enough").isVisible());
    const { enough } = decided("enough", "--limit", LIMIT, "--no-worth");
    await until(page, (b) => b.study.enough?.finished, null, 400);
    const found = await bench(page, (b) => b.study.enough);
    const of = (/** @type {any} */ e) =>
      e.solutions.map((/** @type {any} */ s) => [s.kind, s.settings, digits(s.total_px)]);
    assert.ok(enough.solutions.length === 4, "no light is enough, three changes are");
    assert.deepEqual(of(found), of(enough));
    assert.equal(found.pairs, enough.pairs);
    // Each with its interval, and the settings of the first into the setup as one step.
    const shown = await page.locator("#ways li").allInnerTexts();
    assert.equal(shown.length, 4);
    for (const [k, text] of shown.entries()) {
      const { lo } = enough.solutions[k].total_px;
      assert.ok(text.replaceAll("\u202f", " ").includes(`(${lo.toPrecision(3)} to `), text);
    }
    const button = page.locator("#ways button").first();
    await button.focus();
    await page.keyboard.press("Enter");
    const [first] = enough.solutions[1].settings;
    await until(
      page,
      (b, [key, value]) => !b.working && String(new Map(b.plan.given).get(key)) === value,
      [first.key, first.value],
    );
    await until(page, (b) => b.study.finished && b.study.open.enough === false, null, 240);
    assert.match(await page.locator("#sentence").innerText(), /^Use a pulse/);
    assert.ok(await page.locator("#enough").isHidden());
    await page.locator("#undo").click();
    await until(page, (b, text) => b.state.setup === text && !b.working, SHORT);
  });

  await check("what each assumption is worth is the command line's", async () => {
    await take(SHORT);
    await page.locator("#limit").fill("");
    await page.locator("#limit").press("Enter");
    await page.locator("#assumed-fold > summary").click();
    const { assumed } = decided("worth");
    await until(page, (b) => b.study.finished && b.study.worth?.finished, null, 300);
    const found = await bench(page, (b) => b.study.worth);
    const wanted = assumed.filter((/** @type {any} */ a) => a.worth);
    assert.ok(wanted.length > 5);
    assert.deepEqual(
      found.worths.map((/** @type {any} */ w) => w.key).sort(),
      wanted.map((/** @type {any} */ a) => a.key).sort(),
    );
    for (const { key, says, moves } of found.worths) {
      const { worth } = wanted.find((/** @type {any} */ a) => a.key === key);
      const { value, lo, hi } = worth.error_ratio;
      const shown = /([\d.]+) \(([\d.]+) to ([\d.]+)\) times the error/.exec(says)?.slice(1) ?? [];
      // But for the rounding of the Fourier code on another instruction set, which few pairs and
      // lost vectors magnify at the ends of the interval.
      for (const [k, wanted] of [value, lo, hi].entries())
        assert.ok(Math.abs(Number(shown[k]) / wanted - 1) < (k ? 0.05 : 0.01), `${key}: ${says}, not ${wanted}`);
      assert.equal(moves, worth.changes_error || worth.best.some((/** @type {any} */ m) => m.moves));
    }
    assert.match(await page.locator("#worth").innerText(), /^Check lens\.blur first/);
    assert.match(await page.locator("#assumed li").first().innerText(), /\nWith .* times the error/);
    await page.locator("#assumed-fold > summary").click();
  });

  await check("a choice from a list is the command line's ranking", async () => {
    await take(SHORT);
    await page.locator("#choice-fold > summary").click();
    await page.getByLabel("second setting to choose").selectOption("processing.peak_fit");
    await page.getByLabel("values of the first setting").fill("32, 48");
    await page.getByRole("button", { name: "rank these" }).focus();
    await page.keyboard.press("Enter");
    const wanted = decided("choice", "--for", "processing.window=32,48", "--for", "processing.peak_fit");
    await until(page, (b) => b.study.finished && b.study.question === "choice", null, 300);
    const found = await bench(page, (b) => b.study.answer);
    const ranks = (/** @type {any} */ a) =>
      a.trials.map((/** @type {any} */ t) => [...t.values, t.state, digits(t.relative_error)]);
    assert.deepEqual(ranks(found), ranks(wanted));
    assert.equal(await page.locator(".ranking tbody tr").count(), wanted.trials.length);
    // From the address too; and a press takes the settings.
    const again = await open(1280, await address(page));
    assert.deepEqual(await bench(again, (b) => b.state.view.choose), [
      "processing.window=32, 48",
      "processing.peak_fit",
    ]);
    await again.close();
    await page.locator(".ranking button").first().click();
    await until(page, (b) => !b.working && b.state.setup.includes("peak_fit"));
    await page.getByRole("button", { name: "back to the curve" }).click();
    await until(page, (b) => b.study.question === "pulse-length", null, 60);
    await page.locator("#choice-fold > summary").click();
  });

  await check("fields of a flow that add are added, changed and taken out", async () => {
    await take(SHORT);
    await page.locator("#sections button", { hasText: "flow" }).click();
    const kinds = () =>
      bench(page, (b) =>
        b.plan.given.filter((g) => /^flow.*kind$/.test(g[0])).map((g) => g.join(" ")),
      );
    assert.deepEqual(await kinds(), ["flow.kind uniform"]);
    await page.getByLabel("add a field").focus();
    await page.getByLabel("add a field").selectOption("lamb-oseen");
    await until(page, (b) => !b.working && b.plan.given.some((g) => g[0] === "flow[1].kind"));
    assert.deepEqual(await kinds(), ["flow[0].kind uniform", "flow[1].kind lamb-oseen"]);
    // The velocity of a point is that of both.
    const truth = () => bench(page, async (b) => (await b.front.ask({ do: "plane", setup: b.state.setup, x: 80, y: 64 })).json.truth_px);
    const both = await truth();
    assert.equal(await page.evaluate(() => document.activeElement?.id), "field-add");
    await page.getByLabel("kind of field 2 of 2").selectOption("solid-rotation");
    await until(page, (b) => !b.working && b.plan.given.some((g) => g[1] === "solid-rotation"));
    const turned = await truth();
    assert.ok(Math.hypot(turned[0] - both[0], turned[1] - both[1]) > 0.01);
    // A key of the second field alone.
    const angle = page.locator("[data-key='flow[1].angle']");
    await angle.evaluate((e) => (e.closest("details").open = true));
    await angle.fill("10 deg");
    await angle.press("Enter");
    await until(page, (b) => !b.working && b.plan.given.some((g) => g.join() === "flow[1].angle,10 deg"));
    await page.getByRole("button", { name: "remove field 2 of 2, solid-rotation" }).click();
    await until(page, (b) => !b.working && !b.plan.given.some((g) => g[0] === "flow[1].kind"));
    // A uniform flow: 0.2 and 0.03 m/s for 1.5 ms, magnified 0.1 times onto pixels of 5.5 µm.
    const alone = await truth();
    for (const [k, speed] of [0.2, 0.03].entries())
      assert.ok(Math.abs(alone[k] - (speed * 1.5e-3 * 0.1) / 5.5e-6) < 1e-9);
    await take(SHORT);
  });

  await check("a camera of 4096 × 3000 px is measured by tiles, and the page stays at hand", async () => {
    await page.evaluate(() => {
      globalThis.longest = 0;
      new PerformanceObserver((list) => {
        for (const e of list.getEntries()) globalThis.longest = Math.max(globalThis.longest, e.duration);
      }).observe({ type: "longtask" });
    });
    const long = async (/** @type {string} */ what) => {
      const ms = await page.evaluate("[globalThis.longest, globalThis.longest = 0][0]");
      console.log(`    ${what}: at most ${Math.round(ms)} ms without an answer to the hand`);
    };
    await take(await bench(page, (b) => b.keys.starts[4].setup));
    await until(page, (b) => b.pair.whole.join() === "4096,3000");
    await page.getByRole("button", { name: "whole picture" }).click();
    await until(page, (b) => !b.working && b.pair.size[0] === 4096, null, 120);
    await long("the whole picture");
    await page.getByRole("button", { name: "vectors", exact: true }).click();
    await until(page, (b) => b.field?.size.join() === "512,512", null, 120);
    const [low, high] = await bench(page, (b) => {
      const x = b.field.vectors.map((v) => v[0]);
      return [x.reduce((a, n) => Math.min(a, n)), x.reduce((a, n) => Math.max(a, n))];
    });
    assert.ok(low > 4096 / 2 - 256 && high < 4096 / 2 + 256, `vectors from ${low} to ${high} px`);
    await long("its vectors");
    await page.getByRole("button", { name: "vectors", exact: true }).click();
    await page.getByRole("button", { name: "whole picture" }).click();
    await until(page, (b) => !b.working && b.pair.size[0] === 512, null, 120);
    await bench(page, (b) => b.look({ free: ["camera.exposure", "timing.displacement"] }));
    await until(page, (b) => b.study.question === "settings" && b.study.done >= 4, null, 240);
    await long("a map");
    assert.match(await bench(page, (b) => b.study.words), /Measured so far/);
    await bench(page, (b) => b.look({ free: [] }));
  });
  await page.close();
}
