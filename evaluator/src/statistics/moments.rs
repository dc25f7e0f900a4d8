//! Moments of grey values.

/// Mean and standard deviation of the pixels, in double precision; zero for none.
pub(crate) fn mean_and_deviation(pixels: &[f32]) -> [f64; 2] {
    let count = pixels.len().max(1) as f64;
    let mean = pixels.iter().map(|p| f64::from(*p)).sum::<f64>() / count;
    let variance = pixels.iter().map(|p| (f64::from(*p) - mean).powi(2)).sum::<f64>() / count;
    [mean, variance.sqrt()]
}

#[cfg(test)]
mod tests {
    use super::mean_and_deviation;

    /// By hand: 2, 4, 4, 4, 5, 5, 7, 9 have the mean 5 and the variance 4 over all eight.
    #[test]
    fn by_hand() {
        let pixels = [2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0];
        assert_eq!(mean_and_deviation(&pixels), [5.0, 2.0]);
        assert_eq!(mean_and_deviation(&[]), [0.0, 0.0]);
    }
}
