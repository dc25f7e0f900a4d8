// Puts style, script and module into one file that needs nothing beside it.
// node bundle.mjs MODULE.wasm VERSION OUT.html
import { createHash } from "node:crypto";
import { mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { dirname } from "node:path";
import { gzipSync } from "node:zlib";
import { build } from "esbuild";

const [modulePath, version, out] = process.argv.slice(2);
const here = new URL(".", import.meta.url).pathname;

/** @param {string} entry @param {Record<string, string>} define */
async function bundled(entry, define) {
  const options = {
    entryPoints: [`${here}src/${entry}`],
    bundle: true,
    minify: true,
    format: "iife",
    target: "es2022",
    write: false,
    define,
  };
  return (await build(/** @type {any} */ (options))).outputFiles[0].text;
}

const imports = WebAssembly.Module.imports(await WebAssembly.compile(readFileSync(modulePath)));
if (imports.length)
  throw new Error(
    `the module asks for imports (${imports[0].module}): a crate in it is made for JavaScript`,
  );

const worker = await bundled("worker.js", {});
const script = (
  await bundled("main.js", { "globalThis.WORKER_TEXT": JSON.stringify(worker) })
).replaceAll("</script", "<\\/script");
const style = readFileSync(`${here}src/style.css`, "utf8");
const hash = (/** @type {string} */ text) =>
  `'sha256-${createHash("sha256").update(text).digest("base64")}'`;
// Nothing is fetched; scripts and styles are those of this file; workers come from it as blobs.
const policy = `default-src 'none'; script-src ${hash(script)} 'wasm-unsafe-eval' blob:; style-src ${hash(style)}; worker-src blob:; img-src blob: data:; base-uri 'none'; form-action 'none'`;
const module = gzipSync(readFileSync(modulePath), { level: 9 }).toString("base64");
const parts = { POLICY: policy, STYLE: style, SCRIPT: script, MODULE: module, VERSION: version };
const page = readFileSync(`${here}src/index.html`, "utf8").replace(
  /POLICY|STYLE|SCRIPT|MODULE|VERSION/g,
  (name) => parts[/** @type {keyof parts} */ (name)],
);
mkdirSync(dirname(out), { recursive: true });
writeFileSync(out, page);
console.log(`${out}: ${(page.length / 1e6).toFixed(2)} MB`);
