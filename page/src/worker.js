// A worker with a module of its own. A request that breaks the module is answered with its fault,
// and the module is made anew.
import { ask } from "./bytes.js";

/** @type {WebAssembly.Module} */
let compiled;
/** @type {import("./bytes.js").Exports} */
let module;

const start = async () => {
  const instance = await WebAssembly.instantiate(compiled, {});
  module = /** @type {any} */ (instance.exports);
};

/** @type {Promise<void>} */
let turn = Promise.resolve();

onmessage = ({ data }) => {
  turn = turn.then(async () => {
    try {
      if (data.module) {
        compiled = await WebAssembly.compile(data.module);
        await start();
        postMessage({ id: data.id, json: {}, bytes: new Uint8Array(0) });
        return;
      }
      const { json, bytes } = ask(module, data.request, data.bytes);
      postMessage({ id: data.id, json, bytes }, { transfer: [bytes.buffer] });
    } catch (error) {
      await start().catch(() => {});
      const message = `the module failed: ${error instanceof Error ? error.message : error}`;
      postMessage({
        id: data.id,
        json: { faults: [{ message }], broken: true },
        bytes: new Uint8Array(0),
      });
    }
  });
};
