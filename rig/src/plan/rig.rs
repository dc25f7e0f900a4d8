//! A setup with all that follows from it before its light is known, worked out once.

use std::fmt;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use motefield_generator::Flow;
use motefield_generator::flow::Uniform;

use super::facts::Facts;
use super::flow::{Scale, flow};
use super::lens::{ParticleImage, RigLens, rig_lens};
use super::motion::LitMotion;
use super::sampling::{Moved, moved};
use super::straddle::Straddle;
use super::timing::Speeds;
use super::{scene, wanted};
use crate::keys;
use crate::setup::{Faults, FlowSetup, KeyAt, Setup, SetupError, Value};

/// Thickness, px, of the sheet of a scene that names none: nothing but the scale of depth, for
/// flows that do not change with it.
const USUAL_THICKNESS_PX: f64 = 10.0;

/// What stands in the lab, with lens, scale, timing, flow and speeds worked out.
#[derive(Debug, Clone)]
pub struct Rig {
    /// The setup, its pulse separation known if anything gives it.
    pub setup: Setup,
    /// How far the field moves between the pulses.
    pub speeds: Speeds,
    /// The pair in time, if the setup gives pulse and separation.
    pub straddle: Option<Straddle>,
    pub(super) size: [usize; 2],
    pub(super) lens: Option<RigLens>,
    pub(super) image: Option<ParticleImage>,
    pub(super) thickness_px: f64,
    pub(super) motion: Arc<FluidMotion>,
    motions: Arc<Motions>,
}

/// How the fluid moves in the picture: all that takes long to work out.
pub(super) struct FluidMotion {
    pub(super) flow: Arc<dyn Flow>,
    /// Over the picture.
    pub(super) moved: Vec<Moved>,
    /// What the sheets that were looked at last see of it.
    pub(super) lit: LitMotion,
    speeds: Speeds,
    separation_s: Option<f64>,
    follows_separation: OnceLock<bool>,
    by: MovedBy,
}

impl fmt::Debug for FluidMotion {
    /// Without what is worked out where it is asked for.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("FluidMotion")
            .field("flow", &self.flow)
            .field("moved", &self.moved)
            .field("separation_s", &self.separation_s)
            .finish_non_exhaustive()
    }
}

/// All that decides how the fluid moves in the picture.
#[derive(Debug, Clone, PartialEq)]
struct MovedBy {
    flow: FlowSetup,
    out_of_plane: f64,
    /// As the setup states them.
    separation_s: Option<f64>,
    displacement_px: Option<f64>,
    size: [usize; 2],
    px_per_m: Option<f64>,
    thickness_px: f64,
}

impl MovedBy {
    fn of(scale: &Scale, size: [usize; 2], thickness_px: f64) -> MovedBy {
        let setup = scale.setup;
        MovedBy {
            flow: setup.flow.clone(),
            out_of_plane: setup.sheet.out_of_plane,
            // What a wanted displacement gives is no statement of its own.
            separation_s: setup.separation_s.filter(|_| setup.displacement_px.is_none()),
            displacement_px: setup.displacement_px,
            size,
            px_per_m: scale.px_per_m,
            thickness_px,
        }
    }
}

impl FluidMotion {
    fn of(flow: Arc<dyn Flow>, separation_s: Option<f64>, by: MovedBy) -> FluidMotion {
        let moved = moved(by.size, flow.as_ref());
        FluidMotion {
            flow,
            speeds: Speeds::of(&moved),
            moved,
            lit: LitMotion::default(),
            separation_s,
            follows_separation: OnceLock::new(),
            by,
        }
    }
}

/// The motions of a rig and of those changed from it, the one used last at the end: few settings
/// change the motion.
#[derive(Default)]
struct Motions(Mutex<Vec<Arc<FluidMotion>>>);

impl fmt::Debug for Motions {
    /// What else was worked out says nothing of a rig.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Motions")
    }
}

impl Motions {
    /// A search for a proposal alternates between a few motions: those with separation or thickness
    /// a little aside, and that of a measured picture. Of data from a file each may take many
    /// megabytes, so no more are kept.
    const MOST: usize = 6;

    fn known(&self, by: &MovedBy) -> Option<Arc<FluidMotion>> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let place = all.iter().rposition(|motion| motion.by == *by)?;
        let motion = all.remove(place);
        all.push(Arc::clone(&motion));
        Some(motion)
    }

    fn add(&self, motion: &Arc<FluidMotion>) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() == Motions::MOST {
            all.remove(0);
        }
        all.push(Arc::clone(motion));
    }
}

impl Rig {
    /// Works out the rig of a setup.
    ///
    /// # Errors
    /// What lens, sheet or flow lack or cannot be, by the key.
    pub fn of(setup: &Setup) -> Result<Rig, SetupError> {
        Rig::with_motions(setup, Arc::default())
    }

    /// The rig of another setup that reads the same files: a motion that is known is not worked out
    /// anew.
    ///
    /// # Errors
    /// As [`of`](Rig::of).
    pub fn changed(&self, setup: &Setup) -> Result<Rig, SetupError> {
        Rig::with_motions(setup, Arc::clone(&self.motions))
    }

    fn with_motions(setup: &Setup, motions: Arc<Motions>) -> Result<Rig, SetupError> {
        let size = picture_size(setup)?;
        let lens = rig_lens(setup, size);
        let scale = Scale {
            setup,
            px_per_m: lens.as_ref().map(|lens| lens.px_per_m),
            separation_s: setup.separation_s,
            field: None,
        };
        let mut faults = Faults::default();
        let image = faults.or_default(ParticleImage::of(setup, lens.as_ref()));
        let rig = |motion: Arc<FluidMotion>| {
            let mut with_separation = setup.clone();
            with_separation.separation_s = motion.separation_s;
            Rig {
                speeds: motion.speeds,
                straddle: Straddle::of(&with_separation),
                size,
                lens,
                image,
                thickness_px: motion.by.thickness_px,
                motion,
                motions: Arc::clone(&motions),
                setup: with_separation,
            }
        };
        let motion =
            thickness_px(&scale).and_then(|thickness_px| fluid_motion(&scale, size, thickness_px, &motions));
        match motion {
            Ok(motion) => {
                faults.none()?;
                Ok(rig(motion))
            }
            Err(error) => {
                // The rest needs no flow to be looked at, unless the flow decides the separation.
                if setup.displacement_px.is_none() {
                    scene(
                        &rig(Arc::new(still(&scale, size))),
                        None,
                        &mut Facts::default(),
                        &mut faults,
                    );
                }
                Err(faults.with(error))
            }
        }
    }

    /// The rig with another value under a key, or under an entry of a list.
    ///
    /// # Errors
    /// As [`Setup::with`] and [`of`](Rig::of).
    pub fn with(&self, key: impl Into<KeyAt>, value: Value) -> Result<Rig, SetupError> {
        self.changed(&self.setup.with(key.into().path(), value)?)
    }

    /// Pixels per metre in the plane of the sheet, where the setup has a lens.
    pub fn px_per_m(&self) -> Option<f64> {
        self.lens.as_ref().map(|lens| lens.px_per_m)
    }

    /// Whether the displacement follows the pulse separation: half of it moves the fastest fluid by
    /// less than three quarters.
    pub fn follows_separation(&self) -> bool {
        *self.motion.follows_separation.get_or_init(|| {
            let halved = (self.setup.separation_s).and_then(|s| self.fastest_px_at(0.5 * s).ok());
            halved.is_some_and(|px| px < 0.75 * self.speeds.fastest_px)
        })
    }

    /// From the lab's units to the picture's.
    pub(super) fn scale(&self) -> Scale<'_> {
        Scale {
            setup: &self.setup,
            px_per_m: self.px_per_m(),
            separation_s: self.setup.separation_s,
            field: None,
        }
    }

    /// The fastest displacement in the picture if the pulses were `separation_s` apart, px.
    pub(super) fn fastest_px_at(&self, separation_s: f64) -> Result<f64, SetupError> {
        let scale = self.scale().at(Some(separation_s));
        wanted::fastest_px(&scale, self.size, self.thickness_px)
    }
}

/// How the fluid moves in a sheet of this thickness, worked out where it is not known yet.
fn fluid_motion(
    scale: &Scale,
    size: [usize; 2],
    thickness_px: f64,
    known: &Motions,
) -> Result<Arc<FluidMotion>, SetupError> {
    let by = MovedBy::of(scale, size, thickness_px);
    if let Some(motion) = known.known(&by) {
        return Ok(motion);
    }
    let scale = scale.at(wanted::separation_s(scale, size, thickness_px)?);
    let flow = flow(&scale, size, thickness_px)?;
    let motion = Arc::new(FluidMotion::of(flow, scale.separation_s, by));
    known.add(&motion);
    Ok(motion)
}

/// Fluid at rest, in the place of one whose motion cannot be worked out.
fn still(scale: &Scale, size: [usize; 2]) -> FluidMotion {
    let rest = Uniform {
        displacement_px: [0.0; 3],
    };
    let by = MovedBy::of(scale, size, USUAL_THICKNESS_PX);
    FluidMotion::of(Arc::new(rest), scale.separation_s, by)
}

fn picture_size(setup: &Setup) -> Result<[usize; 2], SetupError> {
    setup.image.size.or(setup.camera.size).ok_or_else(|| {
        setup.error(
            keys::camera::SIZE,
            "is missing: write for example size = [1024, 1024] under [camera] or [image]",
        )
    })
}

fn thickness_px(scale: &Scale) -> Result<f64, SetupError> {
    match scale.setup.sheet.thickness {
        Some(thickness) => scale.extent(thickness, keys::sheet::THICKNESS),
        None => Ok(USUAL_THICKNESS_PX),
    }
}
