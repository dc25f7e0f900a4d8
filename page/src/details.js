// Below the fold: rules, figures of the plan, the setup's text and its faults.
import { html, part, renew, typeset } from "./draw.js";

const STATUS = /** @type {Record<string, string>} */ ({
  fail: "broken",
  warn: "bent",
  pass: "kept",
});

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { plan } = bench;
  if (!plan) return;
  const order = Object.keys(STATUS);
  const rules = [...plan.rules].sort((a, b) => order.indexOf(a.status) - order.indexOf(b.status));
  const head = ["", "what", "value", "limit", "change"].map((t) => html("th", { scope: "col" }, t));
  renew(
    part("rules"),
    html("p", {}, plan.verdict),
    html(
      "table",
      {},
      html("thead", {}, html("tr", {}, ...head)),
      html("tbody", {}, ...rules.map((r) => rule(bench, r))),
    ),
  );
  part("facts").replaceChildren(
    ...plan.parts.map((/** @type {any} */ p) =>
      html(
        "section",
        {},
        html("h3", {}, p.heading),
        html("table", {}, html("tbody", {}, ...p.facts.map(fact))),
      ),
    ),
  );
}

/** A rule, with the change that would meet it. @param {import("./main.js").Bench} bench
 * @param {any} r */
function rule(bench, r) {
  const change = !r.fix
    ? ""
    : r.fix.key
      ? html(
          "button",
          { onclick: () => bench.set(r.fix.key, r.fix.value, "") },
          typeset(r.fix.words),
        )
      : typeset(r.fix.words);
  return html(
    "tr",
    { class: r.status },
    html("td", {}, STATUS[r.status] ?? r.status),
    html("td", {}, r.label),
    html("td", { class: "n" }, typeset(r.shown)),
    html("td", { class: "n", title: r.source }, typeset(r.limit)),
    html("td", {}, change),
  );
}

/** @param {any} f */
const fact = (f) =>
  html(
    "tr",
    {},
    html("td", {}, f.label),
    html("td", { class: "n" }, typeset(f.shown)),
    html("td", { class: "help" }, f.how),
  );

/** Faults of the setup's text, each with its line; the first also where it is seen at once.
 * @param {import("./main.js").Bench} bench */
export function faults(bench) {
  const area = part("setup");
  const all = bench.faults;
  if (all.length > 0) part("text-fold").open = true;
  area.setAttribute("aria-invalid", String(all.length > 0));
  document.body.classList.toggle("stale", all.length > 0);
  notice(bench);
  const lines = area.value.split("\n");
  part("faults").replaceChildren(
    ...all.map((/** @type {any} */ f) =>
      html(
        "li",
        {},
        f.message,
        ...(f.line ? [html("code", {}, `${f.line}: ${lines[f.line - 1] ?? ""}`)] : []),
      ),
    ),
  );
  const wrong = new Set(all.map((/** @type {any} */ f) => f.line));
  part("setup-back").replaceChildren(
    ...lines.map((/** @type {string} */ line, /** @type {number} */ k) =>
      html("span", { class: wrong.has(k + 1) ? "wrong" : "" }, `${line}\n`),
    ),
  );
}

/** @param {import("./main.js").Bench} bench */
function notice(bench) {
  const [first, ...others] = bench.faults;
  part("notice").hidden = !first;
  if (!first) return;
  const empty = part("setup").value.trim() === "";
  if (empty) part("starts-fold").open = true;
  part("show-fault").hidden = empty;
  const message = /[.!?]$/.test(first.message) ? first.message : `${first.message}.`;
  const more = others.length ? ` And ${others.length} more.` : "";
  const words = empty
    ? "The setup is empty: take a starting point below, or drop a setup file on the page."
    : `${message}${more} The page shows the last setup without faults.`;
  // Announced once, not at every key.
  if (part("fault").textContent !== words) part("fault").textContent = words;
}

/** Selects the line of the first fault in the text. @param {import("./main.js").Bench} bench */
export function select(bench) {
  const area = part("setup");
  const line = bench.faults[0]?.line ?? 1;
  const lines = area.value.split("\n");
  const from = lines
    .slice(0, line - 1)
    .reduce((/** @type {number} */ n, /** @type {string} */ l) => n + l.length + 1, 0);
  area.setSelectionRange(from, from + (lines[line - 1] ?? "").length);
  area.scrollTop = Math.max(0, (line - 4) * 18);
}
