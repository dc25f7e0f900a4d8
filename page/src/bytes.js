// Requests to the module and its answers, as bytes: page/wasm/src/lib.rs states their layout.

/**
 * @typedef {object} Exports
 * @property {WebAssembly.Memory} memory
 * @property {(bytes: number) => number} motefield_input
 * @property {() => number} motefield_answer
 * @property {() => number} motefield_output
 */

/**
 * @param {Exports} module
 * @param {object} request
 * @param {Uint8Array} [more]
 * @returns {{ json: any, bytes: Uint8Array }}
 */
export function ask(module, request, more = new Uint8Array(0)) {
  const text = new TextEncoder().encode(JSON.stringify(request));
  const input = new Uint8Array(text.length + 1 + more.length);
  input.set(text);
  input.set(more, text.length + 1);
  const at = module.motefield_input(input.length);
  new Uint8Array(module.memory.buffer).set(input, at);
  const length = module.motefield_answer();
  const output = new Uint8Array(module.memory.buffer).slice(
    module.motefield_output(),
    module.motefield_output() + length,
  );
  const end = 4 + new DataView(output.buffer).getUint32(0, true);
  return {
    json: JSON.parse(new TextDecoder().decode(output.subarray(4, end))),
    bytes: output.slice(end),
  };
}
