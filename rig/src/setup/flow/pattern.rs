//! What a flow may be, as the setup states it: [`motefield_generator::flow`] has the formulas.

use std::path::PathBuf;

use crate::import::{Format, Layout};
use crate::keys::choices::Body;

/// A length in the lab or in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Extent {
    /// px.
    Px(f64),
    /// m, in the plane of the sheet.
    M(f64),
}

/// A velocity in the lab, or the displacement it makes between the pulses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Motion {
    /// px per pulse separation.
    Px(f64),
    /// m/s.
    MS(f64),
}

/// A rate of shear, strain or rotation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rate {
    /// Displacement over distance, or the angle turned between the pulses in rad.
    PerPair(f64),
    /// 1/s or rad/s.
    PerSecond(f64),
}

/// A place from the image's middle.
pub type PlaceFromMiddle = [Extent; 2];

/// A vortex with a core.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vortex {
    /// From the image's middle.
    pub centre: PlaceFromMiddle,
    /// Largest speed about the centre of this vortex alone.
    pub peak: Motion,
    /// Where it is reached.
    pub core_radius: Extent,
}

/// The pattern of a flow. Places are measured from the image's middle.
#[derive(Debug, Clone, PartialEq)]
pub enum FlowPattern {
    /// The same velocity everywhere.
    Uniform {
        /// x, y, z.
        motion: [Motion; 3],
    },
    /// Plane shear.
    LinearShear {
        /// On the line y = centre.
        motion: [Motion; 3],
        /// ∂u/∂y.
        shear: Rate,
        /// y of that line.
        centre_y: Extent,
    },
    /// Shear as a sine of y.
    SinusoidalShear {
        /// Mean.
        motion: [Motion; 3],
        /// Of the wave.
        amplitude: Motion,
        /// Of the wave.
        wavelength: Extent,
        /// y at which the phase is the one given.
        centre_y: Extent,
        /// There.
        phase_rad: f64,
    },
    /// Solid rotation.
    SolidRotation {
        /// Of the rotation.
        centre: PlaceFromMiddle,
        /// Angle or angular velocity.
        rotation: Rate,
    },
    /// Plane strain.
    PlaneStrain {
        /// The point at rest.
        centre: PlaceFromMiddle,
        /// ∂u/∂x.
        strain: Rate,
    },
    /// A Rankine vortex.
    Rankine(Vortex),
    /// A Lamb–Oseen vortex.
    LambOseen(Vortex),
    /// An array of vortices.
    TaylorGreen {
        /// Of one vortex.
        centre: PlaceFromMiddle,
        /// Largest speed.
        peak: Motion,
        /// Two vortices.
        wavelength: Extent,
    },
    /// Two vortices of opposite sense.
    VortexPair {
        /// One of them, and the middle of the pair.
        vortex: Vortex,
        /// Between them.
        spacing: Extent,
    },
    /// A double row of vortices along x.
    VortexStreet {
        /// One of them, and the middle of the street.
        vortex: Vortex,
        /// Vortices in each row.
        each_row: usize,
        /// Between vortices of a row.
        spacing: Extent,
        /// Between the rows.
        row_distance: Extent,
    },
    /// A vortex ring that moves along x.
    VortexRing {
        /// Of the ring, in the plane of the sheet.
        centre: PlaceFromMiddle,
        /// Of the ring from the sheet's middle, toward the camera.
        depth: Extent,
        /// Of the ring.
        radius: Extent,
        /// Of its core.
        core_radius: Extent,
        /// In the ring's middle.
        centre_motion: Motion,
    },
    /// Flow between two walls along x.
    Channel {
        /// y of the middle.
        centre_y: Extent,
        /// Between the walls.
        height: Extent,
        /// In the middle.
        peak: Motion,
    },
    /// A laminar boundary layer.
    BlasiusLayer {
        /// y of the wall.
        wall_y: Extent,
        /// Far from the wall.
        free_stream: Motion,
        /// δ₉₉ in the image's middle.
        thickness: Extent,
        /// Distance from the leading edge to there.
        leading_edge: Option<Extent>,
    },
    /// The mean of a turbulent boundary layer.
    TurbulentLayer {
        /// y of the wall.
        wall_y: Extent,
        /// From the layer's edge on.
        free_stream: Motion,
        /// Friction velocity.
        friction: Motion,
        /// Of the layer.
        thickness: Extent,
    },
    /// Potential flow round a cylinder.
    Cylinder {
        /// Of the cylinder.
        centre: PlaceFromMiddle,
        /// Of the cylinder.
        radius: Extent,
        /// Far from it, along x.
        free_stream: Motion,
    },
    /// A plane laminar jet along x.
    BickleyJet {
        /// y of the axis.
        centre_y: Extent,
        /// On the axis in the image's middle.
        peak: Motion,
        /// Where the speed is half of that, there.
        half_width: Extent,
        /// Distance from the virtual origin to there.
        virtual_origin: Option<Extent>,
    },
    /// A mixing layer along x.
    MixingLayer {
        /// y of its middle.
        centre_y: Extent,
        /// Of the stream above.
        above: Motion,
        /// Of the stream below.
        below: Motion,
        /// Vorticity thickness.
        thickness: Extent,
    },
    /// A turbulence-like field.
    Turbulence {
        /// Root mean square of each component.
        rms: Motion,
        /// Longitudinal integral scale.
        integral_scale: Extent,
        /// Shortest wavelength.
        smallest_scale: Option<Extent>,
        /// Which of all such fields.
        seed: u64,
    },
    /// A field from a file.
    Imported(Imported),
}

/// A field from a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported {
    /// The file.
    pub path: PathBuf,
    /// Its format.
    pub format: Format,
    /// How a table's points stand; found out where not given.
    pub layout: Option<Layout>,
    /// Name of the array in a VTK file.
    pub array: Option<String>,
    /// What a length of 1 in the file is, scaled.
    pub length: Extent,
    /// What a velocity of 1 in the file is, scaled.
    pub velocity: Motion,
    /// Whether y points up in the file.
    pub y_up: bool,
    /// Where the field stands.
    pub stands: Stands,
    /// What counts as a body in it.
    pub body: Body,
}

/// Where an imported field stands in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stands {
    /// The middle of its points at this place.
    Middle(PlaceFromMiddle),
    /// Its coordinates are those of the picture, from the centre of the upper-left pixel.
    Pixels,
}
