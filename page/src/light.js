// The light path: a station for each step from the lamp to the grey level, and beneath them the
// controls of the one that is open. The band between stations is as wide as the logarithm of what
// passes.
import { controls } from "./controls.js";
import { html, part, renew, short, svg, three, typeset } from "./draw.js";

/** Station: name, section of its controls, figure it shows, what the band's width follows. */
const STATIONS = /** @type {[string, string, string[], string][]} */ ([
  ["lamp", "light", ["pulse_energy_j"], "pulse_energy_j"],
  ["sheet", "sheet", ["fluence_j_m2", "delivered_energy_j"], "delivered_energy_j"],
  ["particle", "tracer", ["collected_energy_j"], "collected_energy_j"],
  ["lens", "lens", ["photons"], "photons"],
  ["sensor", "camera", ["electrons_e"], "electrons_e"],
  ["grey level", "processing", ["peak_grey_dn", "peak_electrons_e"], "peak_electrons_e"],
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

/** What each link passes against what is usual (common practice, no source): the weakest is marked.
 * @param {any} plan */
function weakest(plan) {
  if (measured(plan)) return;
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

/** Whether the brightness is that of a recorded picture, whatever it comes from.
 * @param {any} plan */
const measured = (plan) =>
  plan.given.some((/** @type {any} */ [key]) => key === "light.measured_grey");

/** @param {import("./main.js").Bench} bench */
export function draw(bench) {
  const { plan } = bench;
  if (!plan) return;
  const all = plan.parts.flatMap((/** @type {any} */ p) => p.facts);
  const facts = new Map(all.map((/** @type {any} */ f) => [f.name, f]));
  const weak = weakest(plan);
  const passes = STATIONS.map(([, , , id]) => facts.get(id)?.value);
  renew(
    part("light-path"),
    ...STATIONS.map(([name, section, ids], k) => {
      const fact = ids.map((id) => facts.get(id)).find(Boolean);
      return html(
        "li",
        {},
        station(bench, name, section, fact),
        k + 1 < STATIONS.length ? band(passes, k) : "",
        ...note(plan, name, weak),
      );
    }),
  );
  sections(bench);
  const caution = part("caution");
  caution.textContent = plan.caution ?? "";
  caution.hidden = !plan.caution;
  controls(bench, part("controls"));
}

/** The parts of the rig that are no station of the light.
 * @param {import("./main.js").Bench} bench */
function sections(bench) {
  const given = bench.plan.given.map((/** @type {any} */ [key]) => key.split(/[.[]/)[0]);
  const shown = new Set(STATIONS.map(([, section]) => section));
  const others = bench.keys.sections
    .map((/** @type {any} */ s) => s.name)
    .filter((/** @type {string} */ name) => !shown.has(name));
  const order = [
    ...others.filter((/** @type {string} */ n) => given.includes(n)),
    ...others.filter((/** @type {string} */ n) => !given.includes(n)),
  ];
  renew(
    part("sections"),
    html("span", {}, "also"),
    ...order.map((name) =>
      html(
        "button",
        {
          "aria-expanded": bench.open === name,
          onclick: () => bench.openSection(bench.open === name ? "" : name),
        },
        name,
      ),
    ),
  );
}

/** Whether a rule that speaks of a station is bent or broken. @param {any} plan
 * @param {string} name */
const broken = (plan, name) =>
  plan.rules.find((/** @type {any} */ r) => r.status !== "pass" && RULES[name]?.includes(r.name));

/** @param {import("./main.js").Bench} bench @param {string} name @param {string} section
 * @param {any} fact */
function station(bench, name, section, fact) {
  const open = bench.open === section;
  const unit = fact?.name === "photons" ? " photons" : "";
  const range = name === "grey level" && bench.plan.bits ? ` of ${2 ** bench.plan.bits - 1}` : "";
  const value = fact
    ? three(typeset(fact.shown)) + unit + range
    : measured(bench.plan)
      ? "as measured"
      : "not stated";
  const of = {
    class: `station${broken(bench.plan, name) ? " broken" : ""}`,
    "aria-expanded": open,
    onclick: () => bench.openSection(open ? "" : section),
  };
  return html(
    "button",
    of,
    html("span", { class: "name" }, name),
    html("span", { class: "value" }, value),
  );
}

/** What is to be said of a station. @param {any} plan @param {string} name @param {any} weak */
function note(plan, name, weak) {
  const rule = broken(plan, name);
  if (rule) return [html("span", { class: "note broken" }, rule.label)];
  if (weak?.[0] !== name) return [];
  return [html("span", { class: "note" }, `weakest: ${short(100 * weak[1])}\u202f% ${weak[2]}`)];
}

/** The band after station k: from the lamp to the particle energy counted in photons of 500 nm,
 * then photons, then electrons. @param {(number | undefined)[]} values @param {number} k */
function band(values, k) {
  const photon = 4e-19;
  const count = (/** @type {number} */ i) =>
    i < 3 ? (values[i] ?? photon) / photon : (values[i] ?? 1);
  const half = (/** @type {number} */ i) =>
    Math.max(1, Math.min(22, 1.3 * Math.log10(Math.max(count(i), 1.5))));
  const [a, b] = [half(k), half(k + 1)];
  const known = values[k] !== undefined && values[k + 1] !== undefined;
  return svg(
    "svg",
    { class: "band", viewBox: "0 0 40 48", preserveAspectRatio: "none", "aria-hidden": "true" },
    svg("path", { d: known ? `M0 ${24 - a}L40 ${24 - b}V${24 + b}L0 ${24 + a}Z` : "" }),
  );
}
