// Below the fold: rules, figures, vectors and errors, the setup's text.
import { html, part, short, svg, typeset } from "./draw.js";

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { plan } = bench;
  if (!plan) return;
  const order = ["fail", "warn", "pass"];
  const rules = [...plan.rules].sort((a, b) => order.indexOf(a.verdict) - order.indexOf(b.verdict));
  part("rules").replaceChildren(html("p", {}, plan.verdict), html("table", {}, html("thead", {}, html("tr", {}, ...["", "what", "value", "limit", "change"].map((t) => html("th", { scope: "col" }, t)))),
    html("tbody", {}, ...rules.map((r) => html("tr", { class: r.status }, html("td", {}, { pass: "kept", warn: "bent", fail: "broken" }[/** @type {"pass"} */ (r.status)] ?? r.status), html("td", {}, r.label), html("td", { class: "n" }, typeset(r.shown)), html("td", { class: "n", title: r.source }, typeset(r.limit)),
      html("td", {}, !r.fix ? "" : r.fix.key ? html("button", { onclick: () => bench.set(r.fix.key, r.fix.value, "") }, typeset(r.fix.words)) : typeset(r.fix.words)))))));
  part("facts").replaceChildren(...plan.parts.map((/** @type {any} */ p) => html("section", {}, html("h3", {}, p.heading), html("table", {}, html("tbody", {}, ...p.facts.map((/** @type {any} */ f) => html("tr", {}, html("td", {}, f.label), html("td", { class: "n" }, typeset(f.shown)), html("td", { class: "help" }, f.how))))))));
}

/** @param {import("./main.js").Bench} bench */
export function vectors(bench) {
  const found = bench.field;
  const into = part("vectors");
  if (!found || !bench.pair) return into.replaceChildren();
  const [width, height] = bench.pair.size;
  const good = found.vectors.filter((/** @type {any} */ v) => v[4]);
  const errors = good.map((/** @type {any} */ v) => Math.hypot(v[4][0], v[4][1]));
  const most = errors.slice().sort((/** @type {number} */ a, /** @type {number} */ b) => a - b)[Math.floor(errors.length * 0.95)] || 0.1;
  const longest = Math.max(...good.map((/** @type {any} */ v) => Math.hypot(v[2], v[3])), 1e-9);
  // Every vector has its cell; arrows only as many as the eye tells apart.
  const every = Math.max(1, Math.ceil(found.columns / 32), Math.ceil(found.rows / 32));
  const reach = (0.9 * every * Math.max(...found.spacing)) / longest;
  const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, class: "field", role: "img", "aria-label": `Vectors on a ground coloured by their true error, from 0 to ${short(most)} px` });
  const [cells, arrows] = [svg("g"), svg("g")];
  const [stepX, stepY] = found.spacing;
  for (const [k, v] of found.vectors.entries()) {
    const [x, y, u, w, error, uncertainty, status] = v;
    const size = error ? Math.hypot(error[0], error[1]) : NaN;
    const bad = status !== "valid" || size > 1;
    if (!bad) {
      const cell = svg("rect", { x: x - stepX / 2, y: y - stepY / 2, width: stepX, height: stepY, class: "cell" });
      cell.style.setProperty("--t", Math.min(1, size / most).toFixed(2));
      cells.append(cell);
    }
    const drawn = bad || ((k % found.columns) % every === 0 && Math.floor(k / found.columns) % every === 0);
    if (drawn) arrows.append(svg("path", { d: arrow(x, y, u * reach, w * reach), class: bad ? "vector bad" : "vector" },
      svg("title", {}, `${short(u)}, ${short(w)} px; error ${short(size)} px${uncertainty ? `, estimated ${short(Math.hypot(uncertainty[0], uncertainty[1]))} px` : ""}; ${status}`)));
  }
  picture.append(cells, arrows);
  const rms = Math.sqrt(errors.reduce((/** @type {number} */ s, /** @type {number} */ e) => s + e * e, 0) / errors.length);
  const estimated = Math.sqrt(good.filter((/** @type {any} */ v) => v[5]).reduce((/** @type {number} */ s, /** @type {any} */ v) => s + v[5][0] ** 2 + v[5][1] ** 2, 0) / errors.length);
  const words = `${found.vectors.length} vectors of one pair; true error ${short(rms)}\u202fpx, estimated by correlation statistics ${short(estimated)}\u202fpx (root mean square). Ground pale where the error is 0, strong where it is ${short(most)}\u202fpx and more.`;
  into.replaceChildren(html("p", {}, words), picture, bars(good));
}

/** A vector from its place, with a head. @param {number} x @param {number} y @param {number} u @param {number} v */
function arrow(x, y, u, v) {
  const side = (/** @type {number} */ turn) => `${(-0.35 * (u - turn * v)).toFixed(1)} ${(-0.35 * (v + turn * u)).toFixed(1)}`;
  const [tipX, tipY] = [(x + u).toFixed(1), (y + v).toFixed(1)];
  return `M${x} ${y}L${tipX} ${tipY}l${side(0.5)}M${tipX} ${tipY}l${side(-0.5)}`;
}

/** How often an error occurs, along x and along y. @param {any[]} good */
function bars(good) {
  const all = good.flatMap((v) => v[4]);
  const spread = Math.sqrt(all.reduce((s, e) => s + e * e, 0) / all.length) * 4 || 1;
  const bins = new Array(41).fill(0);
  for (const e of all) bins[Math.min(40, Math.max(0, Math.round(20 + (20 * e) / spread)))]++;
  const most = Math.max(...bins);
  const picture = svg("svg", { viewBox: "0 0 420 120", class: "bars", role: "img", "aria-label": `Errors from ${short(-spread)} to ${short(spread)} px` });
  bins.forEach((n, k) => picture.append(svg("rect", { x: 10 * k + 5, y: 90 - (86 * n) / most, width: 9, height: (86 * n) / most, class: "bar" })));
  for (const [x, v] of [[10, -spread], [210, 0], [410, spread]]) picture.append(svg("text", { x, y: 108, class: "label", "text-anchor": x < 99 ? "start" : x > 300 ? "end" : "middle" }, `${short(v).replace("-", "−")}${v ? "" : " px error"}`));
  return picture;
}

/** Faults of the setup's text, each with its line. @param {import("./main.js").Bench} bench */
export function faults(bench) {
  const area = part("setup");
  const all = bench.faults;
  // A fault inside a closed fold would not be seen.
  if (all.length > 0) part("text-fold").open = true;
  area.setAttribute("aria-invalid", String(all.length > 0));
  document.body.classList.toggle("stale", all.length > 0);
  part("faults").replaceChildren(...all.map((/** @type {any} */ f) => {
    const lines = area.value.split("\n");
    return html("li", {}, f.message, ...(f.line ? [html("code", {}, `${f.line}: ${lines[f.line - 1] ?? ""}`)] : []));
  }));
  const lines = area.value.split("\n");
  const wrong = new Set(all.map((/** @type {any} */ f) => f.line));
  part("setup-back").replaceChildren(...lines.map((/** @type {string} */ line, /** @type {number} */ k) => html("span", { class: wrong.has(k + 1) ? "wrong" : "" }, `${line}\n`)));
}
