// What the page shows besides its four views, and its states: parts of large pictures, vectors, a
// pinned setup, two settings at once, what is assumed, starting points, limit, paper.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { RIG } from "./rig.mjs";

const LARGE = RIG.replace("[128, 128]", "[1024, 768]");

/** @param {any} tools of page.mjs */
export async function views({ check, open, bench, until, address, native, folder }) {
  const page = await open(1280);
  const take = async (/** @type {string} */ text) => {
    await bench(page, (b, text) => b.change(text, ""), text);
    await until(page, (b) => !b.working);
  };

  await check("a part of a large picture is the whole one's there", async () => {
    await take(LARGE);
    await until(page, (b) => b.pair.size[0] === 512);
    assert.match(await page.locator("#pictures-say").innerText(), /512 × 512 of 1024 × 768 px/);
    const differ = await bench(page, async (b) => {
      const ask = { do: "pair", setup: b.state.setup, seed: 1 };
      const whole = await b.front.ask(ask);
      const part = await b.front.ask({ ...ask, most: 512, at: [0.3, 0.9] });
      const [all, some] = [whole, part].map((a) => new Uint16Array(a.bytes.buffer));
      const { origin, size } = part.json;
      let [most, count] = [0, 0];
      for (const frame of [0, 1])
        for (let j = 0; j < size[1]; j++)
          for (let i = 0; i < size[0]; i++) {
            const d = Math.abs(
              some[(frame * size[1] + j) * size[0] + i] -
                all[(frame * 768 + origin[1] + j) * 1024 + origin[0] + i],
            );
            most = Math.max(most, d);
            count += d > 0 ? 1 : 0;
          }
      return { origin, size, most, count };
    });
    assert.deepEqual(
      [differ.origin, differ.size],
      [
        [51, 256],
        [512, 512],
      ],
    );
    // The renderer says that where an image is cut off may differ by a millionth of its light: less
    // than rounding to whole grey levels, so a level may turn over here and there.
    assert.ok(differ.most <= 1 && differ.count < 50, JSON.stringify(differ));
  });

  await check("in a part, too, the truth is that of the place in the whole picture", async () => {
    const [part, whole] = await bench(page, async (b) => {
      const setup = b.keys.starts[0].setup.replace("[512, 384]", "[1024, 768]");
      const truth = async (/** @type {object} */ of, /** @type {number[]} */ [x, y]) => {
        const { json } = await b.aside.ask({ do: "pair", setup, seed: 1, ...of });
        const { truth_px } = (await b.aside.ask({ do: "plane", setup, x, y })).json;
        const { vectors } = (await b.aside.ask({ do: "vectors", setup })).json;
        const at = vectors.map((v) => [
          v[0] + json.origin[0],
          v[1] + json.origin[1],
          ...(v[4] ? [v[2] - v[4][0], v[3] - v[4][1]] : []),
        ]);
        return { origin: json.origin, truth_px, at };
      };
      const part = await truth({ most: 512, at: [0.3125, 0.9] }, [100, 50]);
      return [
        part,
        await truth(
          {},
          [100, 50].map((n, k) => n + part.origin[k]),
        ),
      ];
    });
    assert.ok(Math.hypot(...part.truth_px) > 1);
    assert.deepEqual(part.truth_px, whole.truth_px);
    // Vectors of both at the same places. 1e-9 px: what the rounding of measured − error leaves.
    const known = new Map(whole.at.map((/** @type {number[]} */ v) => [`${v[0]} ${v[1]}`, v]));
    const pairs = part.at.map((/** @type {number[]} */ v) => [v, known.get(`${v[0]} ${v[1]}`)]);
    const both = pairs.filter(([v, w]) => w && v.length === 4 && w.length === 4);
    assert.ok(both.length > 100, `${both.length} places in common`);
    for (const [v, w] of both) for (const k of [2, 3]) assert.ok(Math.abs(v[k] - w[k]) < 1e-9);
  });

  await check("the part is moved by its small map, and the whole is there on request", async () => {
    await take(LARGE);
    const map = page.getByRole("slider", { name: "Part of the picture" });
    await map.focus();
    await page.keyboard.press("ArrowRight");
    await until(page, (b) => !b.working && b.pair.origin[0] === 512);
    assert.ok(await map.evaluate((e) => e === document.activeElement), "the map keeps the focus");
    await page.getByRole("button", { name: "whole picture" }).click();
    await until(page, (b) => !b.working && b.pair.size[0] === 1024);
    await page.getByRole("button", { name: "whole picture" }).click();
    await until(page, (b) => !b.working && b.pair.size[0] === 512);
  });

  await check(
    "measured vectors stand over the picture, with the truth of their place",
    async () => {
      await take(RIG);
      await page.getByRole("button", { name: "vectors", exact: true }).click();
      await page.locator("#over .over-vector").first().waitFor({ state: "attached" });
      // A uniform flow: 0.2 and 0.03 m/s for 1.5 ms, magnified 0.1 times onto pixels of 5.5 µm.
      const wanted = [0.2, 0.03].map((speed) => (speed * 1.5e-3 * 0.1) / 5.5e-6);
      const field = await bench(page, (b) => b.field.vectors.map((v) => [v[2], v[3], v[4]]));
      for (const [u, v, error] of field)
        for (const k of [0, 1]) assert.ok(Math.abs([u, v][k] - error[k] - wanted[k]) < 1e-9);
      // The place looked at is moved by keys.
      await page.locator("#frames").focus();
      const before = await bench(page, (b) => b.at[0]);
      await page.keyboard.press("Shift+ArrowRight");
      assert.equal(await bench(page, (b) => b.at[0]), before + 16);
      await page.getByRole("button", { name: "vectors", exact: true }).click();
    },
  );

  await check("what keeps within no limit is said, with what would help", async () => {
    await until(page, (b) => b.study.finished, null, 240);
    assert.match(await page.locator("#sentence").innerText(), /^Use a pulse/);
    await page.locator("#limit").fill("0.0002");
    await page.locator("#limit").press("Enter");
    await until(page, (b) => b.study.finished && b.study.answer.limit_px === 0.0002, null, 240);
    assert.match(await page.locator("#sentence").innerText(), /^No pulse length keeps/);
    assert.match(await page.locator("#enough").innerText(), /^What would be enough/);
    // Far below the curve the limit has no line; its words say where it lies.
    const limits = async () => [
      await page.locator("#curve text", { hasText: /^limit / }).allTextContents(),
      await page.locator("#curve path.limit").count(),
    ];
    assert.deepEqual(await limits(), [["limit 0.000200\u202fpx ▾"], 0]);
    // A limit in words that is none says so; that of another unit is the same in px.
    await page.locator("#limit").fill("2 s");
    await page.locator("#limit").press("Enter");
    await until(page, (b) => b.study.fault !== "");
    assert.match(await page.locator("#sentence").innerText(), /^The limit must be above 0, in px/);
    await page.locator("#limit").fill("0.1 px");
    await page.locator("#limit").press("Enter");
    await until(page, (b) => b.study.finished && b.study.answer.limit_px === 0.1, null, 240);
    assert.deepEqual(await limits(), [["limit 0.100\u202fpx"], 1]);
    // The line lies between the frame's top and its bottom.
    const [line, grid] = await Promise.all(
      ["path.limit", "path.grid"].map((kind) =>
        page.locator(`#curve ${kind}`).evaluateAll((all) => all.map((e) => e.getBoundingClientRect().y)),
      ),
    );
    const picture = await page.locator("#curve svg").boundingBox();
    assert.ok(grid.length && line[0] > picture.y + 20 && line[0] < picture.y + picture.height - 35);
  });

  await check("the best setting is taken with a press, as one step back", async () => {
    const best = await bench(page, (b) => b.study.answer.best.pulse_s);
    await page.locator("#take").click();
    await until(page, (b, best) => Math.abs(b.plan.pulse / best - 1) < 1e-3, best);
    assert.ok(await page.locator("#take").isHidden());
    await page.locator("#undo").click();
    await until(page, (b, text) => b.state.setup === text && !b.working, RIG);
  });

  await check("a pinned setup stands beside, also from the address", async () => {
    const wanted = await bench(page, (b) => b.study.answer.best.total_px.value);
    await page.locator("#pin").click();
    await bench(page, (b) => b.set("lens.aperture", "f/8", "test"));
    await until(
      page,
      (b) => b.study.finished && b.plan.given.some((g) => g[1] === "f/8"),
      null,
      240,
    );
    const table = page.locator("#compare");
    assert.match(await table.innerText(), /lens.aperture\s+f\/8\s+f\/4/);
    assert.equal(await page.locator("#curve .pinned").count(), 1);
    const again = await open(1280, await address(page));
    await until(again, (b) => b.pinned?.study.finished, null, 300);
    const found = await bench(again, (b) => b.pinned.study.answer.best.total_px.value);
    assert.equal(found.toPrecision(3), wanted.toPrecision(3));
    assert.equal(await again.locator("#curve .pinned").count(), 1);
    await again.getByRole("button", { name: "beside the pinned" }).click();
    assert.equal(await bench(again, () => document.querySelector("#frames").width), 2 * 128 + 8);
    await again.close();
    await page.getByRole("button", { name: "go back to the pinned setup" }).click();
    await until(page, (b, text) => b.state.setup === text, RIG);
    await page.locator("#pin").click();
    assert.ok(await table.isHidden());
  });

  await check("two settings at once: the map is the command line's", async () => {
    const keys = ["light.pulse_length", "lens.aperture"];
    native("decide", "rig.toml", "--free", keys.join(), "--no-worth", "--out", "map");
    const wanted = JSON.parse(readFileSync(join(folder, "map/decision.json"), "utf8"));
    await page.locator("#map-fold > summary").click();
    await page.getByLabel("first setting").selectOption(keys[0]);
    await page.getByLabel("second setting").selectOption(keys[1]);
    await page.getByRole("button", { name: "map these" }).click();
    await until(page, (b) => b.study.finished && b.study.answer.keys?.length === 2, null, 400);
    const found = await bench(page, (b) => b.study.answer);
    const digits = (/** @type {any} */ a) =>
      a.trials.map((/** @type {any} */ t) => [
        ...t.values,
        Number(t.relative_error).toPrecision(3),
      ]);
    assert.deepEqual(found.best.values, wanted.best.values);
    assert.deepEqual(digits(found), digits(wanted));
    // A cell takes its settings.
    await page.locator("#curve table button").first().click();
    await until(
      page,
      (b) => !b.working && b.state.setup.includes("pulse_length") && b.history.past.length > 0,
    );
    assert.notEqual(await bench(page, (b) => b.state.setup), RIG);
    await page.getByRole("button", { name: "back to the curve" }).click();
    await take(RIG);
  });

  await check("starting points are pictures, and what is assumed is listed", async () => {
    await page.locator("#starts-fold > summary").click();
    await page.locator("#assumed-fold > summary").click();
    const lit = () =>
      [...document.querySelectorAll("#starts canvas")].map((c) => {
        const { data } = c.getContext("2d").getImageData(0, 0, c.width, c.height);
        return data.some((v, k) => k % 4 === 0 && v > 100);
      });
    for (const end = Date.now() + 60_000; (await page.evaluate(lit)).includes(false);)
      assert.ok(Date.now() < end && !(await page.waitForTimeout(100)));
    await page.locator("#assumed li").nth(5).waitFor();
    assert.match(await page.locator("#assumed").innerText(), /light\.jitter/);
  });

  await check("a fault made by a control is seen there and taken back with a press", async () => {
    await page.locator(".station").first().focus();
    await page.keyboard.press("Enter");
    const still = await page.evaluate(() => document.activeElement?.textContent ?? "");
    assert.match(still, /^lamp/, "the station keeps the focus");
    await page.getByLabel("power", { exact: true }).fill("40");
    await page.keyboard.press("Enter");
    await page.locator("#notice").waitFor();
    assert.match(await page.locator("#fault").innerText(), /light\.power.*no unit/);
    await page.locator("#take-back").click();
    await page.locator("#notice").waitFor({ state: "hidden" });
    await page.locator("#setup").fill("");
    await page.locator("#notice").waitFor();
    assert.match(await page.locator("#fault").innerText(), /empty/);
    await page.locator("#undo").click();
    await page.locator("#notice").waitFor({ state: "hidden" });
  });

  await check("turned to one column, the document follows and the focus stays", async () => {
    const order = () =>
      [...document.querySelectorAll("main > section")].map((s) => s.className).join(" ");
    await page.locator("#stop, #more-pairs").filter({ visible: true }).first().focus();
    assert.equal(await page.evaluate(order), "path strip pictures answer folds");
    await page.setViewportSize({ width: 360, height: 640 });
    await page.waitForTimeout(300);
    assert.equal(await page.evaluate(order), "answer pictures strip path folds");
    assert.match(await page.evaluate(() => document.activeElement?.id ?? ""), /stop|more-pairs/);
    await page.setViewportSize({ width: 1280, height: 768 });
  });

  await check("on paper the answer leads, on white, with the setup", async () => {
    await until(page, (b) => !b.working && b.study.finished, null, 240);
    await bench(page, (b) => b.look({ ground: "laboratory" }));
    await page.evaluate(() => dispatchEvent(new Event("beforeprint")));
    await page.emulateMedia({ media: "print" });
    await page.setViewportSize({ width: 718, height: 1000 });
    await page.waitForTimeout(300);
    const seen = await page.evaluate(() => ({
      ground: getComputedStyle(document.documentElement).backgroundColor,
      first: document.querySelector("main > section")?.className,
      setup: document.querySelector("#setup-back")?.checkVisibility(),
      wide: document.documentElement.scrollWidth,
      label: document.querySelector("#curve text")?.getBoundingClientRect().height ?? 0,
    }));
    assert.deepEqual(
      { ...seen, label: 0 },
      { ground: "rgb(255, 255, 255)", first: "answer", setup: true, wide: 718, label: 0 },
    );
    // 12 px of type: some 7 px at least of it are seen, in print 5 pt.
    assert.ok(seen.label > 9, `labels are ${seen.label} px high`);
    await page.emulateMedia({ media: "screen" });
    await page.evaluate(() => dispatchEvent(new Event("afterprint")));
    assert.equal(await page.evaluate(() => document.documentElement.dataset.ground), "laboratory");
  });
  await page.close();
}
