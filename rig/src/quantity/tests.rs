//! Reading and writing quantities: every form a setup file may use, the message for every mistake,
//! and the round trip.

use super::{Dimension, Dimension::*, QuantityError, format, parse, parse_as, parse_as_any};

/// Conversions by the SI brochure's definitions; values compared to the last bit, since each is one
/// correctly rounded literal.
#[test]
fn reads_the_forms_a_setup_file_uses() {
    let degree = std::f64::consts::PI / 180.0;
    for (text, dimension, value) in [
        ("120 us", Time, 120e-6),
        ("120us", Time, 120e-6),
        (" 120  us ", Time, 120e-6),
        ("120 µs", Time, 120e-6),
        ("120 μs", Time, 120e-6),
        ("1.2e2 us", Time, 120e-6),
        ("+120E0us", Time, 120e-6),
        ("2 min", Time, 120.0),
        ("532 nm", Length, 532e-9),
        ("0.532 um", Length, 0.532e-6),
        ("1.5 mm", Length, 1.5e-3),
        ("-2 cm", Length, -0.02),
        (".5 m", Length, 0.5),
        ("5e-6 m", Length, 5e-6),
        ("2.2 px", Pixels, 2.2),
        ("0.3 m/s", Speed, 0.3),
        ("0.3 m / s", Speed, 0.3),
        ("300 mm/s", Speed, 0.3),
        ("100 Hz", Frequency, 100.0),
        ("12 1/s", Frequency, 12.0),
        ("2.5 kHz", Frequency, 2500.0),
        ("15 deg", Angle, 15.0 * degree),
        ("15°", Angle, 15.0 * degree),
        ("0.2 rad", Angle, 0.2),
        ("4 W", Power, 4.0),
        ("250 mW", Power, 0.25),
        ("1.2 mJ", Energy, 1.2e-3),
        ("20 degC", Temperature, 20.0 + 273.15),
        ("20 °C", Temperature, 20.0 + 273.15),
        ("20 C", Temperature, 20.0 + 273.15),
        ("293.15 K", Temperature, 293.15),
        ("1050 kg/m3", Density, 1050.0),
        ("1.05 g/cm^3", Density, 1050.0),
        ("1050 kg/m³", Density, 1050.0),
        ("12 mg/l", Density, 0.012),
        ("1 mPa s", Viscosity, 1e-3),
        ("1 mPa·s", Viscosity, 1e-3),
        ("8.7 /mm3", NumberDensity, 8.7e9),
        ("8.7 1/mm^3", NumberDensity, 8.7e9),
        ("0.02 ppp", SeedingDensity, 0.02),
        ("20000 e", Electrons, 20000.0),
        ("20000e", Electrons, 20000.0),
        ("20_000 e-", Electrons, 20000.0),
        ("2e4e", Electrons, 20000.0),
        ("20 ke", Electrons, 20000.0),
        ("5 e/s", ElectronRate, 5.0),
        ("64 DN", GreyLevels, 64.0),
        ("0.5 DN/e", Gain, 0.5),
        ("f/4", Aperture, 4.0),
        ("F/2.8", Aperture, 2.8),
        ("f/ 5.6", Aperture, 5.6),
        ("25 %", Fraction, 0.25),
        ("25%", Fraction, 0.25),
    ] {
        let quantity = parse(text).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!((quantity.dimension, quantity.value), (dimension, value), "{text}");
        assert_eq!(parse_as(text, dimension), Ok(value));
    }
    let km_h = parse_as("3.6 km/h", Speed).unwrap();
    assert!((km_h - 1.0).abs() < 1e-15);
}

/// One of every other unit, by the SI brochure's prefixes and definitions.
#[test]
fn units_are_what_they_say() {
    for (text, value) in [
        ("1 s", 1.0),
        ("1 ms", 1e-3),
        ("1 ns", 1e-9),
        ("1 ps", 1e-12),
        ("1 h", 3600.0),
        ("1 m", 1.0),
        ("1 km", 1e3),
        ("1 um/s", 1e-6),
        ("1 cm/s", 1e-2),
        ("1 MHz", 1e6),
        ("1 /s", 1.0),
        ("1 mrad", 1e-3),
        ("1 MW", 1e6),
        ("1 kW", 1e3),
        ("1 uW", 1e-6),
        ("1 J", 1.0),
        ("1 uJ", 1e-6),
        ("1 nJ", 1e-9),
        ("1 pJ", 1e-12),
        ("1 g/m3", 1e-3),
        ("1 mg/m3", 1e-6),
        ("1 g/ml", 1e3),
        ("1 g/l", 1.0),
        ("1 Pa s", 1.0),
        ("1 uPa s", 1e-6),
        ("1 cP", 1e-3),
        ("1 /cm3", 1e6),
        ("1 /m3", 1.0),
        ("1 /ml", 1e6),
        ("1 /l", 1e3),
    ] {
        assert_eq!(parse(text).unwrap().value, value, "{text}");
    }
}

#[test]
fn either_of_two_dimensions_may_be_allowed() {
    let either = |text| parse_as_any(text, &[Pixels, Length]).map(|q| (q.dimension, q.value));
    assert_eq!(either("3 px"), Ok((Pixels, 3.0)));
    assert_eq!(either("3 um"), Ok((Length, 3e-6)));
    assert_eq!(
        either("3 s").unwrap_err().to_string(),
        "`\"3 s\"`: expected a distance in pixels such as \"2.2 px\" or a length such as \"1.5 mm\", found a time"
    );
}

fn message(text: &str, dimension: Dimension) -> String {
    parse_as(text, dimension).unwrap_err().with_key("key").to_string()
}

#[test]
fn mistakes_are_explained() {
    for (text, dimension, says) in [
        (
            "120",
            Time,
            "`key = \"120\"` has no unit: write for example \"120 us\"",
        ),
        (
            "4",
            Aperture,
            "`key = \"4\"` has no unit: write for example \"f/4\"",
        ),
        (
            "120 mm",
            Time,
            "`key = \"120 mm\"`: expected a time such as \"120 us\", found a length",
        ),
        (
            "120 usec",
            Time,
            "`key = \"120 usec\"` has the unknown unit `usec` (did you mean `us`?); a time is written with `s`, `ms`, \
             `us`, `ns`, `ps`, `min` or `h`",
        ),
        (
            "3 MM",
            Length,
            "`key = \"3 MM\"` has the unknown unit `MM` (did you mean `mm`?); a length is written with `m`, `mm`, \
             `um`, `nm`, `cm` or `km`",
        ),
        (
            "3 furlongs",
            Length,
            "`key = \"3 furlongs\"` has the unknown unit `furlongs`; a length is written with `m`, `mm`, `um`, `nm`, \
             `cm` or `km`",
        ),
        (
            "fast",
            Time,
            "`key = \"fast\"` is not a number with a unit: write for example \"120 us\"",
        ),
        (
            "",
            Time,
            "`key = \"\"` is not a number with a unit: write for example \"120 us\"",
        ),
        (
            "us",
            Time,
            "`key = \"us\"` is not a number with a unit: write for example \"120 us\"",
        ),
        (
            "f/",
            Aperture,
            "`key = \"f/\"` is not a number with a unit: write for example \"f/4\"",
        ),
        (
            "1,5 mm",
            Length,
            "`key = \"1,5 mm\"` has a decimal comma: write a point instead, for example \"1.5 mm\"",
        ),
        (
            "1e999 s",
            Time,
            "`key = \"1e999 s\"` is not a finite number: write for example \"120 us\"",
        ),
        (
            "1e307 km",
            Length,
            "`key = \"1e307 km\"` is not a finite number: write for example \"1.5 mm\"",
        ),
    ] {
        assert_eq!(message(text, dimension), says);
    }
    let number = QuantityError::missing_unit("120", &[Time]).with_key("pulse_length");
    assert_eq!(
        number.to_string(),
        "`pulse_length = 120` has no unit: write for example \"120 us\""
    );
}

/// Words that Rust's own number reader accepts, and fragments of numbers, are refused without a
/// panic.
#[test]
fn what_is_no_number_is_refused() {
    for text in [
        "nan us",
        "NaN s",
        "inf s",
        "-inf m",
        "infinity m",
        "+ s",
        "- s",
        ". s",
        "-. s",
        "e s",
        "e5 s",
        "1e s",
        "_ s",
        "1__ _s",
        "--1 s",
        "1.2.3 s",
        "f/f/4",
        "f/nan",
        "f/4 mm",
        "1e99999999999 s",
        "1e2147483647 km",
        "%",
        "µ",
        "²",
        "0x10 s",
        "\u{0}",
        "1 \u{1F600}",
        "١ s",
    ] {
        assert!(parse(text).is_err(), "{text} was read as {:?}", parse(text));
    }
}

#[test]
fn results_are_readable() {
    for (value, dimension, text) in [
        (184e-6, Time, "184 us"),
        (1.8449e-4, Time, "184.5 us"),
        (999.96e-6, Time, "1 ms"),
        (0.0, Time, "0 s"),
        (-25e-9, Time, "-25 ns"),
        (0.31, Speed, "0.31 m/s"),
        (0.05, Speed, "50 mm/s"),
        (532e-9, Length, "532 nm"),
        (0.12, Length, "120 mm"),
        (2.2, Pixels, "2.2 px"),
        (0.000_012_345, Pixels, "1.234e-5 px"),
        (20000.0, Electrons, "20000 e"),
        (12_345.6, Electrons, "12346 e"),
        (1e12, Electrons, "1e12 e"),
        (293.15, Temperature, "20 degC"),
        (273.15, Temperature, "0 degC"),
        (8.7e9, NumberDensity, "8.7 /mm3"),
        (1050.0, Density, "1050 kg/m3"),
        (4.0, Aperture, "f/4"),
        (0.25, Fraction, "25 %"),
        (15f64.to_radians(), Angle, "15 deg"),
        (4.0, Power, "4 W"),
        (0.5, Power, "0.5 W"),
        (1.2e-3, Energy, "1.2 mJ"),
        (1.0016e-3, Viscosity, "1.002 mPa s"),
        (0.5, Gain, "0.5 DN/e"),
    ] {
        assert_eq!(format(value, dimension), text);
    }
    assert_eq!(format(f64::NAN, Time), "NaN s");
    assert!(parse(&format(f64::INFINITY, Length)).is_err());
}

#[test]
fn examples_are_read_as_what_they_show() {
    for dimension in Dimension::ALL {
        let quantity = parse(dimension.example()).unwrap();
        assert_eq!(quantity.dimension, dimension);
        assert_eq!(format(quantity.value, dimension), dimension.example());
    }
}

/// Each unit is read in its own dimension, is named once, and (but for Celsius and the f-number) is
/// linear.
#[test]
fn every_unit_is_read() {
    let mut names = std::collections::HashSet::new();
    for dimension in Dimension::ALL {
        for unit in dimension.units() {
            assert!(names.insert(unit), "{unit} twice");
            let text = |number: &str| match dimension {
                Aperture => format!("f/{number}"),
                _ => format!("{number} {unit}"),
            };
            let [zero, one, two] = ["0", "1", "2"].map(|n| parse_as(&text(n), dimension).unwrap());
            assert!((two - one - (one - zero)).abs() <= 1e-12 * two.abs(), "{unit}");
            assert!(one > zero);
        }
    }
}

/// Over 30 decades and all dimensions: what is written is read back to four digits (half a unit of
/// the fourth: 5e-4 of the value at worst; for temperatures, 0.5 mK more), and written again
/// without change.
#[test]
fn what_is_written_is_read_back() {
    // Weyl's sequence: spread evenly, the same in every run.
    let golden = 0.618_033_988_749_894_9;
    for dimension in Dimension::ALL {
        for k in 0..4000 {
            let place = (f64::from(k) * golden).fract();
            let magnitude = 10f64.powf(30.0 * place - 15.0);
            let value = if k % 7 == 0 { -magnitude } else { magnitude };
            let text = format(value, dimension);
            assert!(text.is_ascii());
            let back =
                parse_as(&text, dimension).unwrap_or_else(|e| panic!("{value} was written as {text}: {e}"));
            let (allowed, zero) = match dimension {
                Temperature => (5.1e-4, 273.15),
                _ => (0.0, 0.0),
            };
            assert!(
                (back - value).abs() <= allowed + 5.000_1e-4 * (value - zero).abs(),
                "{value} was written as {text}, read as {back}"
            );
            assert_eq!(format(back, dimension), text);
        }
    }
}

/// Any text at all is either read as a finite number or refused, never a panic.
#[test]
fn any_text_is_survived() {
    let pieces = [
        "1", "-", "e", ".", "µ", "s", " ", "/", "f/", "²", "°", "_", "9999", "m", "1e", ",", "%", "\u{301}",
    ];
    let mut state = 1u64;
    for _ in 0..20_000 {
        let mut text = String::new();
        for _ in 0..5 {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            text.push_str(pieces[(state >> 33) as usize % pieces.len()]);
        }
        match parse(&text) {
            Ok(quantity) => assert!(quantity.value.is_finite(), "{text}"),
            Err(error) => assert!(error.to_string().contains(text.trim()), "{text}"),
        }
    }
}
