//! The seeding of a study that varies the windows.

use motefield_rig::keys::processing;
use motefield_rig::plan::plan;
use motefield_rig::setup::{Setup, SetupError, Value};

/// The setup with its seeding density stated, where `varied` are keys that change the last window
/// and the setup states the particles per window: what is chosen is how the pictures are measured,
/// and the pictures stay what they are. `None` where nothing needs to be held, or the setup cannot
/// be planned as it stands.
///
/// # Errors
/// None that the setup as it stands does not have.
pub fn held<'a>(
    setup: &Setup,
    varied: impl IntoIterator<Item = &'a str>,
) -> Result<Option<Setup>, SetupError> {
    let changes_windows = varied
        .into_iter()
        .any(|key| key == processing::WINDOW.path || key.starts_with(processing::PASSES.path));
    let follows = setup.tracer.particles_per_window.is_some() && setup.image.seeding_density_ppp.is_none();
    if !(changes_windows && follows) {
        return Ok(None);
    }
    let Ok(planned) = plan(setup) else { return Ok(None) };
    let density = format!("{:?} ppp", planned.scene.seeding_density_ppp);
    let key = motefield_rig::keys::image::SEEDING_DENSITY.path;
    setup.with(key, Value::parse(&density)).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SCENE: &str = "[image]\nsize = [64, 64]\nparticle_diameter = \"2 px\"\nelectrons = \"900 e\"\n\
        [tracer]\nparticles_per_window = 10\n[flow]\nkind = \"uniform\"\ndisplacement = [\"3 px\", \"0 px\"]\n";

    fn density(setup: &Setup) -> f64 {
        plan(setup).unwrap().scene.seeding_density_ppp
    }

    /// Ten particles in 32 x 32 px, whatever window is tried; of other keys the seeding follows.
    #[test]
    fn windows_are_tried_in_the_same_pictures() {
        let setup = Setup::from_text::<&str>("scene", SCENE, &[]).unwrap();
        let of_window = |setup: &Setup, window: &str| {
            density(&setup.with("processing.window", Value::parse(window)).unwrap())
        };
        assert!((of_window(&setup, "16") - 10.0 / 256.0).abs() < 1e-12);
        let held = held(&setup, ["processing.weighting", "processing.window"])
            .unwrap()
            .unwrap();
        for window in ["16", "32", "48"] {
            assert_eq!(of_window(&held, window), density(&setup), "{window}");
        }
        assert!((density(&setup) - 10.0 / 1024.0).abs() < 1e-12);
    }

    #[test]
    fn nothing_else_is_held() {
        let setup = Setup::from_text::<&str>("scene", SCENE, &[]).unwrap();
        assert!(held(&setup, ["processing.weighting"]).unwrap().is_none());
        let stated = setup
            .with("image.seeding_density", Value::parse("0.02 ppp"))
            .unwrap();
        assert!(held(&stated, ["processing.window"]).unwrap().is_none());
    }
}
