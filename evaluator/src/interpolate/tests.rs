use super::*;

/// Slow plain reference: a row sampled many pixels at a time has the bits of its pixels sampled one
/// by one, where the whole part of the displacement is one for all, changes from pixel to pixel or
/// comes back, points beyond the border, or is not a number.
#[test]
fn rows_have_the_bits_of_their_pixels() {
    let size = [45, 21];
    let pixels: Vec<f32> = (0..size[0] * size[1]).map(|n| ((n * 37) % 101) as f32).collect();
    let frame = FrameView {
        size,
        pixels: &pixels,
    };
    let fields: [fn(f32, f32) -> [f32; 2]; 4] = [
        |_, _| [3.3, -1.8],
        |x, y| [0.6 * x - 9.0, 0.4 * (y - x)],
        |x, y| [(1.7 * x).sin() + 2.0, (2.3 * x + y).cos()],
        |x, y| [if x == 13.0 { f32::NAN } else { 30.0 - 3.0 * x }, 2.0 * y - 30.0],
    ];
    for interpolator in Interpolator::ALL {
        let mut image = Interpolated::new(size, *interpolator);
        image.load(frame);
        for (n, field) in fields.iter().enumerate() {
            for (from, factor) in [(0, 0.5), (3, -0.5)] {
                for y in 0..size[1] {
                    let d: Vec<[f32; 2]> = (from..size[0]).map(|x| field(x as f32, y as f32)).collect();
                    let [dx, dy] = [0, 1].map(|k| d.iter().map(|d| d[k]).collect::<Vec<f32>>());
                    let mut row = vec![-1.0; d.len()];
                    image.sample_row([from, y], factor, [&dx, &dy], &mut row);
                    for (k, value) in row.iter().enumerate() {
                        let alone = sample(&image, [from + k, y], d[k].map(|d| factor * d));
                        assert!(
                            value.to_bits() == alone.to_bits() || value.is_nan() && alone.is_nan(),
                            "{interpolator}, field {n}, pixel {} of row {y}: {value}, {alone}",
                            from + k
                        );
                    }
                }
            }
        }
    }
}
