// What the tests of the page share: a rig, and figures of an answer.

/** A rig small enough to be decided within seconds. */
export const RIG = `[light]
source = "led"
power = "40 W"
pulse_length = "60 us"
wavelength = "530 nm"
delivery = 0.2
[sheet]
thickness = "3 mm"
height = "40 mm"
[tracer]
diameter = "40 um"
refractive_index = 1.5
particles_per_window = 10
[fluid]
kind = "water"
[lens]
magnification = 0.1
aperture = "f/4"
[camera]
size = [128, 128]
pixel = "5.5 um"
quantum_efficiency = 0.5
full_well = "10000 e"
dark_noise = "6 e"
bits = 12
[flow]
kind = "uniform"
velocity = ["0.2 m/s", "0.03 m/s"]
[timing]
separation = "1.5 ms"
[processing]
passes = [{ window = 32, overlap = 0.5 }]
`;

/** Ten figures of an answer, to printed digits. @param {any} answer */
export const figures = (answer) =>
  [
    answer.best.pulse_s,
    answer.best.pulse_s_lo,
    answer.best.pulse_s_hi,
    answer.best.total_px.value,
    answer.best.total_px.lo,
    answer.best.total_px.hi,
    ...answer.points.slice(0, 4).map((/** @type {any} */ p) => p.total_px.value),
  ].map((v) => Number(v).toPrecision(3));
