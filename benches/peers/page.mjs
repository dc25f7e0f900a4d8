// The live page's module, alone in Node on one thread, decides a rig: prints the processor time of
// that, s, and the best pulse length, s. node page.mjs MODULE.wasm RIG.toml
import { readFileSync } from "node:fs";
import { ask } from "../../page/src/bytes.js";

const [file, rig] = process.argv.slice(2);
const module = (await WebAssembly.instantiate(readFileSync(file), {})).instance.exports;
const setup = readFileSync(rig, "utf8");

const asked = (request, bytes) => {
  const answer = ask(module, request, bytes);
  if (answer.json.faults) throw new Error(answer.json.faults[0].message);
  return answer;
};

const decide = (precision) => {
  asked({ do: "study", setup, seed: 1, limit: "", free: [], choose: [], precision });
  for (;;) {
    const { finished, jobs, answer } = asked({ do: "look", part: "answer" }).json;
    if (finished) return answer.best.pulse_s;
    for (const [experiment, number] of jobs) {
      const { bytes } = asked({ do: "measure", part: "answer", experiment, number });
      asked({ do: "enter", part: "answer" }, bytes);
    }
  }
};

// The engine compiles once more what runs often.
decide(0.3);
const before = process.cpuUsage();
const best = decide(0.05);
const { user, system } = process.cpuUsage(before);
console.log((user + system) / 1e6, best);
