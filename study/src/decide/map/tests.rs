use super::axis::FreeSetting;
use crate::vary::SweepValue;
use motefield_rig::setup::{EMBEDDED, EMBEDDED_NAME, Setup};

fn rig() -> Setup {
    Setup::from_text::<&str>(EMBEDDED_NAME, EMBEDDED, &[]).unwrap()
}

fn texts(axis: &FreeSetting) -> Vec<String> {
    axis.values().into_iter().map(|v| v.text).collect()
}

#[test]
fn without_a_range_an_axis_runs_from_a_quarter_to_four_times_the_setups_value() {
    let axis = FreeSetting::new(&rig(), "light.pulse_length", None).unwrap();
    let texts = texts(&axis);
    assert_eq!(texts.len(), 9);
    assert_eq!([&texts[0], &texts[4], &texts[8]], ["50 us", "200 us", "800 us"]);
    assert!(axis.log);
    // The setup's own value may come from the command line.
    let changed = Setup::from_text(EMBEDDED_NAME, EMBEDDED, &[("light.pulse_length", "1ms")]).unwrap();
    let axis = FreeSetting::new(&changed, "light.pulse_length", None).unwrap();
    assert_eq!(axis.values()[4].text, "1 ms");
}

#[test]
fn counts_stay_whole_and_f_numbers_keep_their_form() {
    let axis = FreeSetting::new(&rig(), "camera.bits", None).unwrap();
    assert!(
        texts(&axis).iter().all(|t| t.parse::<u32>().is_ok()),
        "{:?}",
        texts(&axis)
    );
    let axis = FreeSetting::new(&rig(), "lens.aperture", Some("f/2..f/8:log:3")).unwrap();
    assert_eq!(texts(&axis), ["f/2", "f/4", "f/8"]);
}

#[test]
fn a_range_is_even_when_narrow_and_by_factors_when_wide() {
    let narrow = FreeSetting::new(&rig(), "sheet.thickness", Some("1mm..2mm")).unwrap();
    assert!(!narrow.log);
    assert_eq!(texts(&narrow)[4], "1.5 mm");
    let wide = FreeSetting::new(&rig(), "sheet.thickness", Some("1mm..1cm:5")).unwrap_err();
    assert!(wide.to_string().contains("for example"), "{wide}");
    let wide = FreeSetting::new(&rig(), "sheet.thickness", Some("1mm..1cm")).unwrap();
    assert!(wide.log);
    assert_eq!(texts(&wide)[4], "3.16 mm");
}

#[test]
fn bad_axes_say_what_to_write() {
    for (key, range) in [
        ("light.pulse_length", Some("20us")),
        ("light.pulse_length", Some("1ms..20us")),
        ("light.pulse_length", Some("a,b")),
        ("light.source", None),
    ] {
        let message = FreeSetting::new(&rig(), key, range).unwrap_err().to_string();
        let remedy = range.map_or("give its range", |_| "write for example");
        assert!(message.contains(remedy) && message.contains(key), "{message}");
    }
    let unknown = FreeSetting::new(&rig(), "lens.apertur", None).unwrap_err();
    assert_eq!(
        unknown.to_string(),
        "lens.apertur: not a key of a setup; did you mean lens.aperture?"
    );
}

#[test]
fn an_axis_grows_on_the_side_of_its_border_only_if_nobody_chose_the_range() {
    let mut open = FreeSetting::new(&rig(), "light.pulse_length", None).unwrap();
    assert!(!open.grow(&SweepValue::new("200 us")));
    assert!(open.grow(&SweepValue::new("800 us")));
    let longer = texts(&open);
    assert_eq!(longer.len(), 12);
    assert_eq!([&longer[0], &longer[8]], ["50 us", "800 us"]);
    assert!(open.grow(&SweepValue::new("50 us")));
    assert_eq!(texts(&open)[3], "50 us");
    let mut chosen = FreeSetting::new(&rig(), "light.pulse_length", Some("50us..800us")).unwrap();
    assert!(!chosen.grow(&SweepValue::new("800 us")));
}

#[test]
fn neighbours_lie_a_share_of_a_step_away_and_inside_the_range() {
    let axis = FreeSetting::new(&rig(), "light.pulse_length", Some("100us..400us:log:3")).unwrap();
    let about = |v: &str| {
        let near = axis.about(&SweepValue::new(v), 0.5);
        near.into_iter().map(|v| v.text).collect::<Vec<_>>()
    };
    assert_eq!(about("200 us"), ["141 us", "200 us", "283 us"]);
    assert_eq!(about("100 us"), ["100 us", "141 us"]);
    let steps = axis.steps(&SweepValue::new("100 us"), &SweepValue::new("200 us"));
    assert!((steps - 1.0).abs() < 1e-12, "{steps}");
}
