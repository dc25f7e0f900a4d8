use super::*;

/// Quantiles of the standard normal distribution from scipy.special.ndtri.
#[test]
fn normal_quantiles_match_the_tables() {
    for (p, z) in [
        (1e-9, -5.997_807_015_007_686_5),
        (1e-5, -4.264_890_793_922_825),
        (0.01, -2.326_347_874_040_840_8),
        (0.2, -0.841_621_233_572_914_3),
        (0.5, 0.0),
        (0.9, 1.281_551_565_544_600_4),
        (0.975, 1.959_963_984_540_054),
    ] {
        assert!((normal_quantile(p) - z).abs() <= 2e-7 * f64::abs(z), "{p}");
    }
}

/// The normal numbers of words to their relative error of 1e-6, against scipy.special.ndtri at
/// (word + ½)/2³².
#[test]
fn normal_numbers_match_the_tables() {
    for (word, z) in [
        (0, -6.337_957_754_553_79),
        (5, -5.957_507_662_988_573),
        (1000, -5.039_851_125_968_712),
        (429_496, -3.719_016_620_502_299),
        (42_949_672, -2.326_347_878_059_358_7),
        (858_993_459, -0.841_621_233_323_419),
        (2_147_483_648, 2.918_099_372_916_623e-10),
        (3_000_000_000, 0.520_068_061_848_876_2),
        (4_252_017_623, 2.326_347_878_059_358_7),
        (4_294_967_290, 5.957_507_662_988_573),
        (u32::MAX, 6.337_957_754_553_79),
    ] {
        let got = f64::from(normals(&[word])[0]);
        // In the middle the word itself is known only to half a unit of single precision.
        let rounding = 1e-9;
        assert!(
            (got - z).abs() <= 1e-6 * f64::abs(z) + rounding,
            "{word}: {got} for {z}"
        );
    }
}
