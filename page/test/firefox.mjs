// The page in Firefox, shorter: it opens from disk, its frame and figures are the native program's,
// keys move it, and nothing overflows. node --experimental-websocket test/firefox.mjs MOTEFIELD
// [PAGE]. Spoken is WebDriver BiDi (W3C), which Firefox has without a driver beside it.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { RIG, figures } from "./rig.mjs";

const program = process.argv[2];
const file = process.argv[3] ?? new URL("../dist/motefield.html", import.meta.url).pathname;
const folder = mkdtempSync(join(tmpdir(), "motefield-firefox-"));
const native = (/** @type {string[]} */ ...args) =>
  execFileSync(program, args, { cwd: folder, stdio: "ignore" });
const pause = (/** @type {number} */ ms) => new Promise((done) => setTimeout(done, ms));

mkdirSync(join(folder, "profile"));
const browser = spawn(
  process.env.FIREFOX ?? "firefox-esr",
  [
    "--headless",
    "--remote-debugging-port",
    "0",
    "--profile",
    join(folder, "profile"),
    "--no-remote",
  ],
  { stdio: ["ignore", "ignore", "pipe"], env: { ...process.env, HOME: folder } },
);
const address = await new Promise((found, fail) => {
  browser.on("exit", () => fail(new Error("Firefox ended")));
  createInterface({ input: browser.stderr }).on(
    "line",
    (line) => /WebDriver BiDi listening on (.*)/.exec(line) && found(line.split(" on ")[1]),
  );
});
const socket = new WebSocket(`${address}/session`);
await new Promise((open) => (socket.onopen = open));
const waiting = new Map();
const faults = /** @type {string[]} */ ([]);
socket.onmessage = ({ data }) => {
  const message = JSON.parse(data);
  if (message.method === "log.entryAdded" && message.params.level === "error")
    faults.push(message.params.text);
  if (
    message.method === "network.beforeRequestSent" &&
    !/^(file|blob|data|about|chrome|resource):/.test(message.params.request.url)
  )
    faults.push(message.params.request.url);
  waiting.get(message.id)?.(message);
};
let count = 0;
const send = async (/** @type {string} */ method, /** @type {object} */ params) => {
  const id = ++count;
  const answer = await new Promise((done) => {
    waiting.set(id, done);
    socket.send(JSON.stringify({ id, method, params }));
  });
  if (answer.type === "error") throw new Error(`${method}: ${answer.message}`);
  return answer.result;
};

let passed = 0;
const check = async (/** @type {string} */ name, /** @type {() => Promise<void>} */ act) => {
  await act();
  passed++;
  console.log(`ok  Firefox: ${name}`);
};

try {
  writeFileSync(join(folder, "rig.toml"), RIG);
  await send("session.new", { capabilities: {} });
  await send("session.subscribe", { events: ["log.entryAdded", "network.beforeRequestSent"] });
  const { context } = await send("browsingContext.create", { type: "tab" });
  /** What an expression is worth in the page, by JSON. @param {string} expression */
  const run = async (expression) => {
    const { result, exceptionDetails } = await send("script.evaluate", {
      expression: `(async () => JSON.stringify(await (${expression})))()`,
      target: { context },
      awaitPromise: true,
    });
    assert.equal(exceptionDetails, undefined, exceptionDetails?.text);
    return result.value === undefined ? undefined : JSON.parse(result.value);
  };
  const until = async (/** @type {string} */ holds, limit_s = 120) => {
    for (const end = Date.now() + 1000 * limit_s; !(await run(holds)); await pause(100))
      assert.ok(Date.now() < end, `waited ${limit_s} s for ${holds}`);
  };
  await send("browsingContext.setViewport", { context, viewport: { width: 1280, height: 800 } });
  await send("browsingContext.navigate", { context, url: `file://${file}`, wait: "complete" });
  await until("document.body.dataset.ready === 'yes'");
  await run(`bench.change(${JSON.stringify(RIG)}, "")`);

  await check("frame A is the native program's to the byte", async () => {
    native("render", "rig.toml", "--pairs", "1", "--seed", "1", "--out", "pairs");
    const wanted = createHash("sha256")
      .update(readFileSync(join(folder, "pairs/pair-00000-a.tif")))
      .digest("hex");
    assert.equal(
      await run(
        `bench.front.ask({ do: "pair", setup: bench.state.setup, seed: 1, hash: true }).then((a) => a.json.sha256_a)`,
      ),
      wanted,
    );
  });
  await check(
    "ten figures of the answer are the command line's to their printed digits",
    async () => {
      native("decide", "rig.toml", "--no-worth", "--out", "decision");
      await until("bench.study.finished", 300);
      assert.deepEqual(
        figures(await run("bench.study.answer")),
        figures(JSON.parse(readFileSync(join(folder, "decision/decision.json"), "utf8"))),
      );
    },
  );
  await check("the right arrow lengthens the pulse by 5 %", async () => {
    const before = await run("bench.plan.pulse");
    await run(`document.querySelector('[aria-label="Pulse length"]').focus()`);
    const key = ["keyDown", "keyUp"].map((type) => ({ type, value: "\uE014" }));
    await send("input.performActions", {
      context,
      actions: [{ type: "key", id: "keys", actions: key }],
    });
    await until(`Math.abs(bench.plan.pulse / ${before} - 1.05) < 2e-3`);
  });
  await check("nothing overflows at 360 and 1280 px", async () => {
    for (const width of [360, 1280]) {
      await send("browsingContext.setViewport", { context, viewport: { width, height: 800 } });
      await pause(1000);
      assert.ok((await run("document.documentElement.scrollWidth")) <= width, `${width} px`);
    }
  });
  if (process.env.SHOT)
    writeFileSync(
      process.env.SHOT,
      Buffer.from(
        (await send("browsingContext.captureScreenshot", { context, origin: "document" })).data,
        "base64",
      ),
    );
  await check("no error on the console and no request", async () => assert.deepEqual(faults, []));
  console.log(`${passed} checks passed`);
} finally {
  socket.close();
  browser.kill();
  await pause(1000);
  rmSync(folder, { recursive: true, force: true });
}
