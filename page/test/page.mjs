// The page in Chromium, opened from disk: what a visitor does, and that figures and pictures are
// those of the native program. node test/page.mjs MOTEFIELD [PAGE], the program built natively.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { RIG, figures } from "./rig.mjs";
import { parts } from "./parts.mjs";
import { views } from "./views.mjs";

const program = process.argv[2];
const file = process.argv[3] ?? new URL("../dist/motefield.html", import.meta.url).pathname;
const folder = mkdtempSync(join(tmpdir(), "motefield-page-"));
const native = (/** @type {string[]} */ ...args) => {
  try {
    return execFileSync(program, args, {
      cwd: folder,
      encoding: "utf8",
      stdio: ["ignore", "pipe", "ignore"],
    });
  } catch (error) {
    if (error.status === 1) return error.stdout;
    throw error;
  }
};

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox"],
});
const faults = /** @type {string[]} */ ([]);
const open = async (/** @type {number} */ width, /** @type {string} */ at = "") => {
  const page = await browser.newPage({
    viewport: { width, height: Math.max(640, Math.round(0.6 * width)) },
  });
  page.on("console", (m) => m.type() === "error" && faults.push(m.text()));
  page.on("pageerror", (e) => faults.push(e.message));
  page.on(
    "request",
    (r) => /^(file|blob|data):/.test(r.url()) || faults.push(`asked for ${r.url()}`),
  );
  await page.goto(`file://${file}${at}`);
  await page.waitForSelector("body[data-ready]", { timeout: 60_000 });
  return page;
};
const bench = (
  /** @type {any} */ page,
  /** @type {(b: any, a?: any) => any} */ act,
  /** @type {any} */ argument,
) => page.evaluate(`(${act})(globalThis.bench, ${JSON.stringify(argument) ?? "undefined"})`);

/** Waits until something holds of the bench; the page's policy forbids what would wait inside
 * it. */
const until = async (
  /** @type {any} */ page,
  /** @type {(b: any, a?: any) => any} */ holds,
  /** @type {any} */ argument,
  limit_s = 60,
) => {
  for (
    const end = Date.now() + 1000 * limit_s;
    !(await bench(page, holds, argument));
    await page.waitForTimeout(50)
  )
    assert.ok(Date.now() < end, `waited ${limit_s} s for ${holds}`);
};

/** The address that holds the page's state, when it does. */
const address = async (/** @type {any} */ page) => {
  await bench(page, (b) => b.keep());
  return new URL(page.url()).hash;
};

let passed = 0;
const check = async (/** @type {string} */ name, /** @type {() => Promise<void>} */ act) => {
  await act();
  passed++;
  console.log(`ok  ${name}`);
};

try {
  writeFileSync(join(folder, "rig.toml"), RIG);
  const page = await open(1280);
  await bench(page, (b, text) => b.change(text, ""), RIG);

  await check("frame A is the native program's to the byte", async () => {
    native("render", "rig.toml", "--pairs", "1", "--seed", "1", "--out", "pairs");
    const wanted = createHash("sha256")
      .update(readFileSync(join(folder, "pairs/pair-00000-a.tif")))
      .digest("hex");
    const found = await bench(
      page,
      async (b) =>
        (await b.front.ask({ do: "pair", setup: b.state.setup, seed: 1, hash: true })).json
          .sha256_a,
    );
    assert.equal(found, wanted);
  });

  await check("the answer is the command line's to its printed digits", async () => {
    const printed = native("decide", "rig.toml", "--out", "decision");
    await until(page, (b) => b.study.finished, null, 240);
    const wanted = JSON.parse(readFileSync(join(folder, "decision/decision.json"), "utf8"));
    const found = await bench(page, (b) => ({
      words: b.study.words,
      answer: b.study.answer,
      sentence: document.getElementById("sentence")?.textContent,
    }));
    assert.deepEqual(figures(found.answer), figures(wanted));
    assert.equal(found.answer.points.length, wanted.points.length);
    assert.ok(
      printed.startsWith(found.words.split("\n")[0]),
      `${found.words.split("\n")[0]} | ${printed.split("\n")[0]}`,
    );
    const most = Math.max(
      ...found.answer.points.map((/** @type {any} */ p, /** @type {number} */ k) =>
        Math.abs(p.total_px.value - wanted.points[k].total_px.value),
      ),
    );
    console.log(`    total errors differ by at most ${most.toExponential(1)} px`);
  });

  await check("the same with one worker", async () => {
    const before = await bench(page, (b) => b.study.words);
    await bench(page, (b) => {
      b.study.workers = 1;
      b.study.crew.splice(1);
      return b.study.take(b.study.request);
    });
    await until(page, (b) => b.study.finished, null, 240);
    assert.equal(await bench(page, (b) => b.study.words), before);
  });

  await check("dragging the pulse's edge lengthens it and redraws", async () => {
    const handle = page.getByRole("slider", { name: "Pulse length", exact: true });
    const box = await handle.boundingBox();
    const before = await bench(page, (b) => [
      b.plan.pulse,
      b.plan.fast_px,
      Array.from(b.pair.levels[0].slice(0, 4000)).join(),
    ]);
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    await page.mouse.move(x, y);
    await page.mouse.down();
    await page.mouse.move(x + 90, y, { steps: 6 });
    await page.mouse.up();
    await until(page, (b, was) => b.plan.pulse > 1.5 * was, before[0]);
    await until(page, (b) => !b.working, null);
    const after = await bench(page, (b) => [
      b.plan.pulse,
      b.plan.fast_px,
      Array.from(b.pair.levels[0].slice(0, 4000)).join(),
      Math.round(b.drawn_ms),
    ]);
    assert.notEqual(after[2], before[2]);
    console.log(`    redrawn in ${after[3]} ms`);
  });

  await check("arrows change it by 5 %, undo takes it back, the address restores it", async () => {
    const handle = page.getByRole("slider", { name: "Pulse length", exact: true });
    const before = await bench(page, (b) => b.plan.pulse);
    await handle.focus();
    await page.keyboard.press("ArrowRight");
    await until(page, (b, was) => Math.abs(b.plan.pulse / was - 1.05) < 2e-3, before);
    await until(page, (b) => !b.working, null);
    const setup = await bench(page, (b) => b.state.setup);
    const again = await open(1280, await address(page));
    assert.equal(await bench(again, (b) => b.state.setup), setup);
    await again.close();
    await page.keyboard.press("Control+z");
    await until(page, (b, was) => b.plan.pulse < was * 1.04, before);
  });

  await check("a faulty text is underlined, and the page keeps the last good rig", async () => {
    await page.locator("#text-fold > summary").click();
    const good = await bench(page, (b) => b.plan.pulse);
    await page.locator("#setup").fill(RIG.replace('"40 W"', "40"));
    await until(page, (b) => b.faults.length > 0, null);
    assert.match(await page.locator("#faults").innerText(), /no unit/);
    assert.equal(await page.locator("#setup-back .wrong").textContent(), "power = 40\n");
    assert.equal(await bench(page, (b) => b.plan.pulse), good);
    await page.locator("#setup").fill(RIG);
    await until(page, (b) => b.faults.length === 0, null);
  });

  await check("a hostile setup is text and nothing else", async () => {
    const hostile = `# </script><script>globalThis.broken = 1</script>\n[light]\nsource = "<img src=x onerror='globalThis.broken = 1'>"\n[flow]\nkind = "uniform"\nvelocity = ["1 m/s", "0 m/s"]\n`;
    const address = await bench(
      page,
      async (b, text) => {
        const bytes = new TextEncoder().encode(
          JSON.stringify({ setup: text, view: { ground: "<b>", seed: "x" } }),
        );
        const stream = new Blob([bytes]).stream().pipeThrough(new CompressionStream("deflate-raw"));
        return btoa(
          String.fromCharCode(...new Uint8Array(await new Response(stream).arrayBuffer())),
        );
      },
      hostile,
    );
    const other = await open(1280, `#${address}`);
    await other.waitForTimeout(500);
    assert.equal(await other.evaluate("globalThis.broken"), undefined);
    assert.equal(await other.locator("img").count(), 0);
    assert.match(await other.locator("#faults").textContent(), /<img/);
    await other.close();
    // What inflates beyond what a setup may hold is refused.
    const bomb = await bench(
      page,
      async () => {
        const stream = new Blob([new Uint8Array(1 << 24)])
          .stream()
          .pipeThrough(new CompressionStream("deflate-raw"));
        return btoa(
          String.fromCharCode(...new Uint8Array(await new Response(stream).arrayBuffer())),
        );
      },
      null,
    );
    const survived = await open(1280, `#${bomb}`);
    assert.ok(await bench(survived, (b) => b.plan));
    await survived.close();
  });

  await check("texts are read on both grounds (contrast AA)", async () => {
    for (const ground of ["day", "laboratory"]) {
      await bench(page, (b, g) => b.look({ ground: g }), ground);
      const low = await page.evaluate(() => {
        const light = (/** @type {string} */ hex) => {
          const [r, g, b] = [1, 3, 5]
            .map((k) => parseInt(hex.slice(k, k + 2), 16) / 255)
            .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
          return 0.2126 * r + 0.7152 * g + 0.0722 * b;
        };
        const of = (/** @type {string} */ name) =>
          light(getComputedStyle(document.documentElement).getPropertyValue(name).trim());
        const ratio = (/** @type {number} */ a, /** @type {number} */ b) =>
          (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        // WCAG 2.2, 1.4.3: 4.5 to 1 for text. The palette, then whatever text is there on the
        // page's own ground.
        const palette = ["--ink", "--faint", "--light", "--camera", "--blur", "--wrong"].filter(
          (name) => ratio(of(name), of("--paper")) < 4.5,
        );
        const grounds = [
          ["--on-exposure", "--exposure"],
          ["--on-map", "--map-low"],
          ["--on-map", "--map-high"],
        ].filter(([ink, ground]) => ratio(of(ink), of(ground)) < 4.5);
        const worn = [...document.querySelectorAll("body *:not(script)")].filter(
          (e) =>
            !e.closest(".stale, option, #setup-back") &&
            !e.classList.contains("which") &&
            !e.classList.contains("on-exposure") &&
            e.checkVisibility() &&
            [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim()),
        );
        const hex = (/** @type {string} */ rgb) =>
          `#${(rgb.match(/\d+/g) ?? [])
            .slice(0, 3)
            .map((c) => Number(c).toString(16).padStart(2, "0"))
            .join("")}`;
        const dim = worn.filter((e) => {
          const style = getComputedStyle(e);
          return (
            ratio(light(hex(e instanceof SVGElement ? style.fill : style.color)), of("--paper")) <
            4.5
          );
        });
        if (worn.length < 50) return [`only ${worn.length} texts`];
        return [
          ...palette,
          ...grounds.flat(),
          ...dim.map((e) => `${e.tagName}.${e.getAttribute("class")} ${e.textContent}`),
        ];
      });
      assert.deepEqual(low, [], ground);
    }
  });

  // WCAG 2.2, 2.1.1, 2.4.3 and 2.4.7: everything can be reached, in the order in which it is read,
  // and is seen to be.
  for (const width of [1280, 360])
    await check(`the Tab key goes through the page as it reads at ${width} px`, async () => {
      // The ground is the laboratory still, whose button leads back to day.
      const fresh = await open(width, await address(page));
      await until(fresh, (b) => b.study.finished, null, 240);
      const path = [];
      for (let k = 0; k < 60; k++) {
        await fresh.keyboard.press("Tab");
        const at = await fresh.evaluate(() => {
          const e = document.activeElement;
          if (!e || e === document.body) return null;
          const style = getComputedStyle(e);
          const name =
            e.getAttribute("aria-label") ?? e.closest("label")?.textContent ?? e.textContent ?? "";
          const shown = style.outlineStyle !== "none" || style.stroke !== "none";
          return { name: name.trim(), shown, y: e.getBoundingClientRect().top + scrollY };
        });
        if (!at) break;
        path.push(at);
      }
      await fresh.close();
      const names = path.map((p) => p.name);
      for (const wanted of [
        "undo",
        "redo",
        "save the setup",
        "day",
        "Pulse length",
        "Pulse separation",
        "blink",
        "side by side",
        "Present pulse length",
        "starting points",
        "rules of the trade",
        "the setup as text",
        "how to cite",
      ])
        assert.ok(names.includes(wanted), `${wanted} is not reached: ${names}`);
      assert.ok(
        names.some((name) => name.startsWith("lamp")),
        `${names}`,
      );
      assert.deepEqual(
        path.filter((p) => !p.shown),
        [],
      );
      // In one column what is lower comes later; beside each other stand pictures and answer.
      if (width === 360)
        for (let k = 1; k < path.length; k++)
          assert.ok(path[k].y > path[k - 1].y - 60, `${names[k]} comes after ${names[k - 1]}`);
      else
        assert.ok(
          names.indexOf("Pulse length") < names.indexOf("blink") &&
            names.indexOf("blink") < names.indexOf("Present pulse length"),
        );
    });

  await check("the lamp's power is changed where it stands", async () => {
    await page.setViewportSize({ width: 1280, height: 800 });
    await page.locator(".station").first().focus();
    await page.keyboard.press("Enter");
    const power = page.getByLabel("power", { exact: true });
    const before = await bench(
      page,
      (b) => b.plan.parts.flatMap((p) => p.facts).find((f) => f.name === "pulse_energy_j").value,
    );
    await power.fill("80 W");
    await power.press("Enter");
    await until(
      page,
      (b, was) =>
        Math.abs(
          b.plan.parts.flatMap((p) => p.facts).find((f) => f.name === "pulse_energy_j").value /
            was -
            2,
        ) < 1e-6,
      before,
    );
    await page.keyboard.press("Control+z");
    await until(page, (b) => b.state.setup.includes('"40 W"'));
  });

  await check("pictures of 512 × 512 px are drawn again after a change", async () => {
    const starts = await bench(page, (b) => b.keys.starts.map((s) => s.setup));
    const rigs = /** @type {[string, string][]} */ ([
      ["a small rig", RIG.replace("[128, 128]", "[512, 512]")],
      ["the embedded rig", starts[0].replace("[512, 384]", "[512, 512]")],
      ["a part of 4096 × 3000 px", starts[4]],
    ]);
    for (const [name, setup] of rigs) {
      await bench(page, (b, text) => b.change(text, ""), setup);
      await until(page, (b) => !b.working && b.pair.size.join() === "512,512");
      const key = setup === starts[4] ? "camera.exposure" : "light.pulse_length";
      const times = [];
      for (let k = 0; k < 7; k++) {
        const was = await bench(page, (b) => b.plan.pulse);
        await bench(page, (b, [key, value]) => void b.set(key, value, "test"), [
          key,
          `${200 + 10 * ((k % 3) + 1)} us`,
        ]);
        await until(page, (b, was) => !b.working && b.plan.pulse !== was, was);
        times.push(await bench(page, (b) => Math.round(b.drawn_ms)));
      }
      assert.match(
        await page.locator("#pictures-say").innerText(),
        /512 × 512 .*px, drawn in \d+ ms/,
      );
      times.sort((a, b) => a - b);
      // Said, not asserted: it is a matter of the machine. Wanted are 150 ms.
      console.log(`    ${name}: redrawn in ${times[3]} ms (median; ${times[0]} to ${times[6]})`);
    }
  });
  await page.close();

  const tools = { check, open, bench, until, address, native, folder };
  await views(tools);
  await parts(tools);

  for (const width of [360, 1280, 2560])
    await check(`nothing overflows at ${width} px`, async () => {
      const at = await open(width);
      for (const fold of await at.locator("details > summary").all())
        await fold.evaluate((s) => (s.parentElement.open = true));
      await at.locator(".station").first().click();
      await at.waitForTimeout(2500);
      assert.ok((await at.evaluate("document.documentElement.scrollWidth")) <= width);
      await at.close();
    });

  await check("no error on the console and no request", async () => assert.deepEqual(faults, []));
  console.log(`${passed} checks passed`);
} finally {
  await browser.close();
  rmSync(folder, { recursive: true });
}
