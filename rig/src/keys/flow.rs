//! `[flow]`: the kinds of flow, and the keys that each of them uses.

use super::choices::{Align, Body, Layout, YAxis, words};
use super::kind::{Choice, LAB_OR_PICTURE, SPEED_OR_DISPLACEMENT};
use super::{Key, Kind, NEEDED, Range, section};
use crate::quantity::Dimension as D;

const VELOCITY: Kind = Kind::Quantity {
    dimensions: SPEED_OR_DISPLACEMENT,
    range: Range::Any,
};
const RATE: Kind = Kind::Quantity {
    dimensions: &[D::Frequency],
    range: Range::Any,
};
const PLACE: Kind = Kind::Quantity {
    dimensions: LAB_OR_PICTURE,
    range: Range::Any,
};

/// A velocity, shown in m/s.
const fn velocity(path: &'static str) -> Key {
    Key::quantity(path, SPEED_OR_DISPLACEMENT, Range::Any, "m/s").slider(-2.0, 2.0)
}

/// A length above 0, shown in mm.
const fn length(path: &'static str) -> Key {
    Key::quantity(path, LAB_OR_PICTURE, Range::AboveZero, "mm").log_slider(0.1, 1000.0)
}

/// A place along an axis of the picture, from its middle, shown in mm.
const fn place(path: &'static str) -> Key {
    Key::quantity(path, LAB_OR_PICTURE, Range::Any, "mm").slider(-100.0, 100.0)
}

/// Declares the kinds of flow, each with its word and what it is.
macro_rules! flow_kinds {
    ($($Kind:ident = $word:literal, $about:literal;)*) => {
        /// Kinds of flow; `motefield_generator::flow` has the formulas.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum FlowKind {
            $(#[doc = concat!($about, ".")] $Kind,)*
        }

        impl FlowKind {
            /// What it is, in one line.
            pub fn about(self) -> &'static str {
                match self {
                    $(FlowKind::$Kind => $about,)*
                }
            }
        }

        words!(FlowKind { $($word => $Kind),* });
    };
}

flow_kinds! {
    Uniform = "uniform", "The same velocity everywhere";
    LinearShear = "linear-shear", "Plane shear: the velocity changes in proportion to y";
    SinusoidalShear = "sinusoidal-shear", "Shear as a sine of y, for the spatial response";
    SolidRotation = "solid-rotation", "Solid-body rotation about the centre";
    PlaneStrain = "plane-strain", "Plane strain about the centre, which is at rest";
    Rankine = "rankine", "Rankine vortex at the centre";
    LambOseen = "lamb-oseen", "Lamb–Oseen vortex at the centre";
    BurgersVortex = "burgers-vortex",
        "Burgers vortex at the centre: the Lamb–Oseen vortex, stretched along its axis, as over a drain";
    TaylorGreen = "taylor-green", "Taylor–Green array of vortices, one of them at the centre";
    VortexPair = "vortex-pair",
        "Two Lamb–Oseen vortices of opposite sense, one above the other: with a positive velocity they \
         travel to the right, and pass the centre midway between the pulses";
    VortexStreet = "vortex-street", "Double row of Lamb–Oseen vortices along x about the centre";
    VortexRing = "vortex-ring",
        "Vortex ring that travels along x, its axis, and passes the centre midway between the pulses";
    Channel = "channel", "Laminar flow between two walls along x (Poiseuille's parabola)";
    BlasiusLayer = "blasius-layer", "Laminar boundary layer above a wall along x (Blasius)";
    TurbulentLayer = "turbulent-layer",
        "Mean velocity of a turbulent boundary layer above a wall along x (Spalding's law)";
    Cylinder = "cylinder", "Potential flow along x round a cylinder at the centre";
    BickleyJet = "bickley-jet", "Plane laminar jet along x (Bickley)";
    MixingLayer = "mixing-layer",
        "Mixing layer between two streams along x (hyperbolic tangent)";
    Wake = "wake", "Plane wake along x, far behind a body (Gaussian deficit)";
    DepthShear = "depth-shear",
        "Shear through the sheet: the velocity along x and y changes in proportion to z";
    Wall = "wall",
        "Fluid at rest above a wall along x, toward which the fields beside it fall to zero";
    Turbulence = "turbulence",
        "Isotropic turbulence-like field: random Fourier modes with von Kármán's spectrum";
    Imported = "imported", "Velocity field from a file";
}

/// Most fields that add.
pub const MOST_FIELDS: usize = 10;

const SHEARS: &[&str] = &["uniform", "linear-shear", "sinusoidal-shear", "depth-shear"];
const WALLED: &[&str] = &["wall", "channel", "blasius-layer", "turbulent-layer", "cylinder"];
const STRAINED: &[&str] = &["plane-strain", "burgers-vortex"];
const PEAKED: &[&str] = &[
    "rankine",
    "lamb-oseen",
    "burgers-vortex",
    "taylor-green",
    "vortex-pair",
    "vortex-street",
    "channel",
    "bickley-jet",
];

section! {
    "flow", "what moves", scene: false;

    KIND = Key::choice::<FlowKind>("flow.kind")
        .about("the flow, one of those above")
        .otherwise(NEEDED, "");

    CARRIED_BY = Key::list("flow.carried_by", &VELOCITY, [2, 3], "m/s")
        .about("velocity [x, y] or [x, y, z] at which the whole flow is carried along")
        .default("[\"0 px\", \"0 px\"]", "")
        .slider(-2.0, 2.0);

    DRIFT = Key::list("flow.drift", &VELOCITY, [2, 3], "m/s")
        .about("velocity [x, y] or [x, y, z] at which the pattern moves through the picture, without \
                adding to the velocity of the fluid: of turbulence on a stream that a field beside it \
                gives, that stream's")
        .default("[\"0 px\", \"0 px\"]", "")
        .slider(-2.0, 2.0);

    ANGLE = Key::quantity("flow.angle", &[D::Angle], Range::Any, "deg")
        .about("angle by which the flow is turned about its centre, or else about the middle of \
                the image; positive from x toward y (clockwise on the screen)")
        .default("\"0 deg\"", "")
        .slider(-180.0, 180.0);

    VELOCITY_VECTOR = Key::list("flow.velocity", &VELOCITY, [2, 3], "m/s")
        .about("velocity [x, y] or [x, y, z]: everywhere, on the line y = centre_y of a linear \
                shear, the mean of a sinusoidal one, or in the plane z = depth of one through the \
                sheet")
        .otherwise("needed by a uniform flow, else 0", "")
        .flows(SHEARS)
        .needed_by(&["uniform"])
        .slider(-2.0, 2.0);

    DISPLACEMENT_VECTOR = Key::list("flow.displacement", &VELOCITY, [2, 3], "px")
        .about("the same, by custom as the displacement between the pulses")
        .otherwise("flow.velocity", "")
        .instead_of("flow.velocity")
        .flows(SHEARS)
        .slider(-20.0, 20.0);

    SHEAR = Key::number("flow.shear", Range::Any)
        .about("du/dy as a displacement: px per px")
        .otherwise(NEEDED, "")
        .flows(&["linear-shear"])
        .slider(-0.2, 0.2);

    SHEAR_RATE = Key::quantity("flow.shear_rate", &[D::Frequency], Range::Any, "/s")
        .about("du/dy as a velocity: 1/s")
        .otherwise("flow.shear", "")
        .instead_of("flow.shear")
        .flows(&["linear-shear"])
        .slider(-100.0, 100.0);

    DEPTH_SHEAR = Key::list("flow.depth_shear", &Kind::Number(Range::Any), [2, 2], "")
        .about("[du/dz, dv/dz] as displacements: px per px")
        .otherwise(NEEDED, "")
        .flows(&["depth-shear"])
        .slider(-0.2, 0.2);

    DEPTH_SHEAR_RATE = Key::list("flow.depth_shear_rate", &RATE, [2, 2], "/s")
        .about("[du/dz, dv/dz] as velocities: 1/s")
        .otherwise("flow.depth_shear", "")
        .instead_of("flow.depth_shear")
        .flows(&["depth-shear"])
        .slider(-100.0, 100.0);

    STRAIN = Key::number("flow.strain", Range::Any)
        .about("du/dx = -dv/dy, of a stretched vortex dw/dz, as a displacement: px per px")
        .otherwise(NEEDED, "")
        .flows(STRAINED)
        .slider(-0.2, 0.2);

    STRAIN_RATE = Key::quantity("flow.strain_rate", &[D::Frequency], Range::Any, "/s")
        .about("the same as a velocity: 1/s")
        .otherwise("flow.strain", "")
        .instead_of("flow.strain")
        .flows(STRAINED)
        .slider(-100.0, 100.0);

    ROTATION = Key::quantity("flow.rotation", &[D::Angle], Range::Any, "deg")
        .about("angle turned between the pulses; positive is clockwise on the screen")
        .otherwise(NEEDED, "")
        .flows(&["solid-rotation"])
        .slider(-10.0, 10.0);

    ANGULAR_VELOCITY = Key::quantity("flow.angular_velocity", &[D::Frequency], Range::Any, "/s")
        .about("the same as an angular velocity: rad per second")
        .otherwise("flow.rotation", "")
        .instead_of("flow.rotation")
        .flows(&["solid-rotation"])
        .slider(-100.0, 100.0);

    PEAK_VELOCITY = velocity("flow.peak_velocity")
        .about("largest speed: about the centre of each vortex alone (positive is clockwise on the \
                screen, in a pair for the lower vortex, in a street for the upper row), or on the \
                axis of a channel or jet")
        .otherwise(NEEDED, "")
        .flows(PEAKED);

    PEAK_DISPLACEMENT = Key::quantity("flow.peak_displacement", SPEED_OR_DISPLACEMENT, Range::Any, "px")
        .about("the same, by custom as the displacement between the pulses")
        .otherwise("flow.peak_velocity", "")
        .instead_of("flow.peak_velocity")
        .flows(PEAKED)
        .slider(-20.0, 20.0);

    FREE_STREAM = velocity("flow.free_stream")
        .about("velocity along x far from the wall, the cylinder or the axis of a wake")
        .otherwise(NEEDED, "")
        .flows(&["blasius-layer", "turbulent-layer", "cylinder", "wake"]);

    DEFICIT = velocity("flow.deficit")
        .about("what is missing of flow.free_stream on the axis of a wake")
        .otherwise(NEEDED, "")
        .flows(&["wake"]);

    FRICTION_VELOCITY = velocity("flow.friction_velocity")
        .about("friction velocity of the wall; between 1/44 and 1 of flow.free_stream, usually \
                about 1/25")
        .otherwise(NEEDED, "")
        .flows(&["turbulent-layer"]);

    CENTRE_VELOCITY = velocity("flow.centre_velocity")
        .about("velocity in the middle of the ring")
        .otherwise(NEEDED, "")
        .flows(&["vortex-ring"]);

    VELOCITY_ABOVE = velocity("flow.velocity_above")
        .about("velocity of the upper stream (smaller y)")
        .otherwise(NEEDED, "")
        .flows(&["mixing-layer"]);

    VELOCITY_BELOW = velocity("flow.velocity_below")
        .about("velocity of the lower stream")
        .otherwise(NEEDED, "")
        .flows(&["mixing-layer"]);

    AMPLITUDE = velocity("flow.amplitude")
        .about("amplitude of u as a sine of y")
        .otherwise(NEEDED, "")
        .flows(&["sinusoidal-shear"]);

    RMS_VELOCITY = velocity("flow.rms_velocity")
        .about("root mean square of each component of the velocity")
        .otherwise(NEEDED, "")
        .flows(&["turbulence"]);

    CENTRE = Key::list("flow.centre", &PLACE, [2, 2], "mm")
        .about("[x, y] of the flow's centre, from the middle of the image; of an imported field, \
                the middle of its points")
        .default("[\"0 px\", \"0 px\"]", "")
        .flows(&[
            "solid-rotation", "plane-strain", "rankine", "lamb-oseen", "burgers-vortex", "taylor-green", "vortex-pair",
            "vortex-street", "vortex-ring", "cylinder", "imported",
        ])
        .slider(-100.0, 100.0);

    CENTRE_Y = place("flow.centre_y")
        .about("y of the flow's middle, from that of the image: of a linear shear the line of \
                flow.velocity, of a sinusoidal one the line of flow.phase, else the axis")
        .default("\"0 px\"", "")
        .flows(&["linear-shear", "sinusoidal-shear", "channel", "bickley-jet", "mixing-layer", "wake"]);

    WALL_Y = place("flow.wall_y")
        .about("y of the wall, from the middle of the image; there is no fluid below it")
        .otherwise(NEEDED, "")
        .flows(&["wall", "blasius-layer", "turbulent-layer"]);

    WALL_LAYER = length("flow.wall_layer")
        .about("distance from this field's wall at which the fields beside it have 99 % of their \
                velocity; at the wall they have none")
        .otherwise("needed by a wall; else flow.thickness, or a tenth of flow.height or flow.radius", "")
        .flows(WALLED)
        .needed_by(&["wall"]);

    DEPTH = place("flow.depth")
        .about("z of the ring's axis, or where a shear through the sheet has flow.velocity, from the \
                middle of the sheet, positive toward the camera")
        .default("\"0 px\"", "the sheet cuts the ring through its axis")
        .flows(&["vortex-ring", "depth-shear"]);

    WAVELENGTH = length("flow.wavelength")
        .about("wavelength of the sine, or of the array along x and y (two vortices)")
        .otherwise(NEEDED, "")
        .flows(&["sinusoidal-shear", "taylor-green"]);

    PHASE = Key::quantity("flow.phase", &[D::Angle], Range::Any, "deg")
        .about("phase of the sine at y = centre_y")
        .default("\"0 deg\"", "")
        .flows(&["sinusoidal-shear"])
        .slider(-180.0, 180.0);

    CORE_RADIUS = length("flow.core_radius")
        .about("distance from the centre of a vortex at which its largest speed is reached, or \
                radius of the core of the ring (at least 0.02 of flow.radius)")
        .otherwise(NEEDED, "")
        .flows(&["rankine", "lamb-oseen", "burgers-vortex", "vortex-pair", "vortex-street", "vortex-ring"]);

    RADIUS = length("flow.radius")
        .about("radius of the ring or the cylinder")
        .otherwise(NEEDED, "")
        .flows(&["vortex-ring", "cylinder"]);

    SPACING = length("flow.spacing")
        .about("distance between the two vortices of a pair, between the vortices of a row, or \
                between the nodes of an imported `.npy` field, which has no coordinates")
        .otherwise("needed; by an imported field only from an .npy file", "")
        .flows(&["vortex-pair", "vortex-street", "imported"])
        .needed_by(&["vortex-pair", "vortex-street"]);

    EACH_ROW = Key::whole("flow.each_row", 1, 20)
        .about("number of vortices in each row")
        .default("3", "")
        .flows(&["vortex-street"])
        .slider(1.0, 20.0);

    ROW_DISTANCE = length("flow.row_distance")
        .about("distance between the two rows")
        .otherwise(NEEDED, "")
        .flows(&["vortex-street"]);

    HEIGHT = length("flow.height")
        .about("distance between the walls")
        .otherwise(NEEDED, "")
        .flows(&["channel"]);

    THICKNESS = length("flow.thickness")
        .about("thickness of the layer: of a laminar one the 99 % thickness in the middle of the \
                image")
        .otherwise(NEEDED, "")
        .flows(&["blasius-layer", "turbulent-layer"]);

    LEADING_EDGE = length("flow.leading_edge")
        .about("distance from the leading edge of the plate, upstream of the picture, to the \
                middle of the image")
        .otherwise("infinite", "a layer that does not grow along the wall")
        .flows(&["blasius-layer"]);

    HALF_WIDTH = length("flow.half_width")
        .about("distance from the axis at which the velocity of a jet, in the middle of the image, or \
                the deficit of a wake is half of that on the axis")
        .otherwise(NEEDED, "")
        .flows(&["bickley-jet", "wake"]);

    VIRTUAL_ORIGIN = length("flow.virtual_origin")
        .about("distance from the jet's virtual origin, upstream of the picture, to the middle of \
                the image")
        .otherwise("infinite", "a jet that does not spread")
        .flows(&["bickley-jet"]);

    VORTICITY_THICKNESS = length("flow.vorticity_thickness")
        .about("difference of the two velocities over the largest du/dy")
        .otherwise(NEEDED, "")
        .flows(&["mixing-layer"]);

    INTEGRAL_SCALE = length("flow.integral_scale")
        .about("longitudinal integral length scale")
        .otherwise(NEEDED, "")
        .flows(&["turbulence"]);

    SMALLEST_SCALE = length("flow.smallest_scale")
        .about("shortest wavelength of the field; at most half of flow.integral_scale")
        .otherwise("a tenth of flow.integral_scale", "")
        .flows(&["turbulence"]);

    SEED = Key::whole("flow.seed", 0, 1 << 53)
        .about("number that picks one of all such fields, the same in all pairs of a study")
        .default("1", "")
        .flows(&["turbulence"]);

    FILE = Key::file("flow.file")
        .about("the field: `.npy`, a table (`.csv`, `.txt`, `.dat`, `.tsv`), `.vtk`, `.vti`, `.vtr` or \
                `.vtu`")
        .otherwise(NEEDED, "")
        .flows(&["imported"]);

    VELOCITY_UNIT = Key::unit_of("flow.velocity_unit", SPEED_OR_DISPLACEMENT)
        .about("unit of the velocities in the file, or \"px\" for displacements between the pulses")
        .otherwise(NEEDED, "")
        .flows(&["imported"]);

    VELOCITY_SCALE = Key::number("flow.velocity_scale", Range::Any)
        .about("factor by which they are multiplied")
        .default("1", "")
        .flows(&["imported"])
        .slider(-10.0, 10.0);

    LENGTH_UNIT = Key::unit_of("flow.length_unit", LAB_OR_PICTURE)
        .about("unit of the coordinates in the file (not of an `.npy` file)")
        .otherwise("needed, but for .npy files", "")
        .flows(&["imported"]);

    LENGTH_SCALE = Key::number("flow.length_scale", Range::AboveZero)
        .about("factor by which they are multiplied (not of an `.npy` file)")
        .default("1", "")
        .flows(&["imported"])
        .log_slider(0.01, 100.0);

    Y_AXIS = Key::choice::<YAxis>("flow.y_axis")
        .about("where y points in the file: down as in the picture, or up, when rows and vertical \
                velocities are mirrored")
        .default("\"down\"", "")
        .flows(&["imported"]);

    ALIGN = Key::choice::<Align>("flow.align")
        .about("where the field lies: the middle of its points at flow.centre, or its coordinates \
                as those of the picture in pixels, from the centre of the upper-left one")
        .default("\"middle\"", "")
        .flows(&["imported"]);

    LAYOUT = Key::choice::<Layout>("flow.layout")
        .about("how the points of a table are arranged (tables only)")
        .otherwise("found out from the points", "")
        .flows(&["imported"]);

    BODY = Key::choice::<Body>("flow.body")
        .about("what is a body in an imported field, where there are neither particles nor a truth: \
                holes of a mesh, velocities that are not known (NaN) and blocks at rest (exactly 0) \
                alike, the holes and gaps only, or nothing")
        .default("\"found\"", "")
        .flows(&["imported"]);

    ARRAY = Key::text("flow.array")
        .about("name of the array (VTK files only)")
        .otherwise("the first of 3 components", "")
        .flows(&["imported"]);
}
