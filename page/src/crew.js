// Workers from blob URLs, each asked by promises.

/** Text of the bundled worker, put in by the build. */
const WORKER = /** @type {any} */ (globalThis).WORKER_TEXT;

export class Hand {
  /** @param {Uint8Array} module */
  constructor(module) {
    const url = URL.createObjectURL(new Blob([WORKER], { type: "text/javascript" }));
    this.worker = new Worker(url);
    /** @type {Map<number, (answer: { json: any, bytes: Uint8Array }) => void>} */
    this.waiting = new Map();
    this.count = 0;
    /** Whether it makes a measurement. */
    this.measuring = false;
    this.worker.onmessage = ({ data }) => {
      this.waiting.get(data.id)?.(data);
      this.waiting.delete(data.id);
    };
    this.ready = this.send({ module });
  }

  /** @param {object} message @returns {Promise<{ json: any, bytes: Uint8Array }>} */
  send(message) {
    return new Promise((done, fail) => {
      const id = ++this.count;
      this.waiting.set(id, done);
      this.worker.onerror = () => fail(new Error("the browser refuses workers"));
      this.worker.postMessage({ ...message, id });
    });
  }

  /** @param {object} request @param {Uint8Array} [bytes] */
  ask(request, bytes) {
    return this.send({ request, bytes });
  }
}

/** The module that stands in the page. @returns {Promise<Uint8Array>} */
export async function moduleBytes() {
  const text = document.getElementById("module")?.textContent ?? "";
  const packed = Uint8Array.from(atob(text.trim()), (c) => c.charCodeAt(0));
  return inflate(packed, "gzip", 1 << 26);
}

/**
 * @param {Uint8Array} packed @param {CompressionFormat} format @param {number} most bytes allowed
 * @returns {Promise<Uint8Array>}
 */
export async function inflate(packed, format, most) {
  const stream = new Blob([/** @type {any} */ (packed)])
    .stream()
    .pipeThrough(new DecompressionStream(format));
  const reader = stream.getReader();
  const parts = [];
  let length = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    length += value.length;
    if (length > most) {
      await reader.cancel();
      throw new Error("inflates to more than is allowed");
    }
    parts.push(value);
  }
  const all = new Uint8Array(length);
  let at = 0;
  for (const part of parts) {
    all.set(part, at);
    at += part.length;
  }
  return all;
}
