// The light path: a station for each step from the lamp to the grey level, and beneath the one that is open its
// controls. The band between stations is as wide as the logarithm of what passes.
import { html, part, short, svg, typeset } from "./draw.js";
import { controls } from "./controls.js";

/** Station: name, section of its controls, figure it shows. */
const STATIONS = /** @type {[string, string, string[]][]} */ ([
  ["lamp", "light", ["pulse_energy_j"]],
  ["sheet", "sheet", ["fluence_j_m2", "delivered_energy_j"]],
  ["particle", "tracer", ["collected_energy_j"]],
  ["lens", "lens", ["photons"]],
  ["sensor", "camera", ["electrons_e"]],
  ["grey level", "processing", ["peak_grey_dn", "peak_electrons_e"]],
]);

/** Rules that speak of a station. */
const RULES = /** @type {Record<string, string[]>} */ ({
  lamp: ["source_on_time", "source_energy", "source_duty"],
  sheet: ["out_of_plane", "quarter_out_of_plane"],
  particle: ["pairs_first_window", "pairs_final_window", "overlap", "stokes_number", "settling"],
  lens: ["particle_image_diameter", "depth_of_field"],
  sensor: ["saturation", "frame_rate", "straddling"],
  "grey level": ["peak_snr", "measured_factor"],
});

/** What each link passes against what is usual (common practice, no source): the weakest is marked. @param {any} plan */
function weakest(plan) {
  const given = new Map(plan.given);
  const share = (/** @type {string} */ key) => {
    const text = String(given.get(key) ?? "");
    const number = parseFloat(text);
    return text.includes("%") ? number / 100 : number;
  };
  const stop = parseFloat(String(given.get("lens.aperture") ?? "").replace("f/", ""));
  const links = /** @type {[string, number, string][]} */ ([
    ["sheet", share("light.delivery"), "of the light reaches the sheet"],
    ["lens", (2.8 / stop) ** 2, "of what f/2.8 would gather"],
    ["sensor", share("camera.quantum_efficiency") / 0.6, "of the usual quantum efficiency"],
  ]);
  const known = links.filter(([, passes]) => Number.isFinite(passes) && passes < 0.9);
  return known.sort((a, b) => a[1] - b[1])[0];
}

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { plan } = bench;
  if (!plan) return;
  const facts = new Map(plan.parts.flatMap((/** @type {any} */ p) => p.facts).map((/** @type {any} */ f) => [f.name, f]));
  const shown = STATIONS.map(([name, section, ids]) => ({ name, section, fact: ids.map((id) => facts.get(id)).find(Boolean) }));
  const weak = weakest(plan);
  const list = part("light-path");
  list.replaceChildren(
    ...shown.map(({ name, section, fact }, k) => {
      const broken = plan.rules.find((/** @type {any} */ r) => r.status !== "pass" && RULES[name]?.includes(r.name));
      const open = bench.open === section;
      const note = broken ? broken.label : weak?.[0] === name ? `weakest: ${short(100 * weak[1])}\u202f% ${weak[2]}` : "";
      const value = fact ? typeset(fact.shown) + (fact.name === "photons" ? " photons" : "") : "not stated";
      return html("li", {},
        html("button", { class: `station${broken ? " broken" : ""}`, "aria-expanded": open, onclick: () => bench.openSection(open ? "" : section) },
          html("span", { class: "name" }, name),
          html("span", { class: "value" }, value + (name === "grey level" && plan.bits ? ` of ${2 ** plan.bits - 1}` : ""))),
        k + 1 < shown.length ? band(shown.map((s) => s.fact?.value), k) : "",
        ...(note ? [html("span", { class: `note${broken ? " broken" : ""}` }, note)] : []));
    }));
  const caution = part("caution");
  caution.textContent = plan.caution ?? "";
  caution.hidden = !plan.caution;
  controls(bench, part("controls"));
}

/** Half the width of the band after station k, px: photons or electrons on a logarithmic scale. @param {number[]} values @param {number} k */
function band(values, k) {
  const photon = 4e-19;
  const count = (/** @type {number} */ i) => (i < 3 ? (values[i] ?? photon) / photon : (values[i] ?? 1));
  const width = (/** @type {number} */ i) => Math.max(1, Math.min(22, 1.3 * Math.log10(Math.max(count(i), 1.5))));
  const [a, b] = [width(k), width(k + 1)];
  return svg("svg", { class: "band", viewBox: "0 0 40 48", preserveAspectRatio: "none", "aria-hidden": "true" },
    svg("path", { d: `M0 ${24 - a}L40 ${24 - b}V${24 + b}L0 ${24 + a}Z` }));
}
