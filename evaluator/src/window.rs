//! Interrogation windows: where they lie and how their pixels are weighted.

use crate::named::named;

named! {
    /// How the pixels of a window are weighted before correlation. The weight is a product of one
    /// along x and one along y.
    ///
    /// Both frames are multiplied by the taper w, so a displacement is an average over the window
    /// with w² (see [`window_weights`]), and the resolution follows from w², not from w. With t
    /// from -1 to 1 across the window:
    pub enum Weighting {
        /// w = 1.
        TopHat = "top-hat",
        /// w = exp(-t²): w² falls to e⁻² at the border and has a standard deviation of 0.22 D. The
        /// border is low enough that particles cut by it hardly matter, and the window still uses
        /// most of its light.
        Gaussian = "gaussian",
        /// w = 0.42 + 0.5 cos πt + 0.08 cos 2πt (Blackman & Tukey 1958).
        Blackman = "blackman",
        /// w = 1 - |t|.
        Triangular = "triangular",
    }
}

impl Weighting {
    /// The factor on each frame's pixels along one side of a window of `length` px, with the
    /// samples at the pixel centres.
    pub fn taper(self, length: usize) -> Vec<f64> {
        use std::f64::consts::PI;
        (0..length)
            .map(|i| {
                let t = (2 * i + 1) as f64 / length as f64 - 1.0;
                match self {
                    Weighting::TopHat => 1.0,
                    Weighting::Gaussian => (-t * t).exp(),
                    Weighting::Blackman => 0.42 + 0.5 * (PI * t).cos() + 0.08 * (2.0 * PI * t).cos(),
                    Weighting::Triangular => 1.0 - t.abs(),
                }
            })
            .collect()
    }
}

/// The weights along one side of a window with which a displacement averages the flow: the taper
/// squared, normalised to the sum 1.
///
/// Weight `i` belongs to the window's pixel `i`; the weight of a pixel of the window is the product
/// of the weights along x and y. This holds to first order in the displacement differences within
/// the window, for particles of equal brightness.
///
/// ```
/// use motefield_evaluator::{Weighting, window_weights};
///
/// assert_eq!(window_weights(Weighting::TopHat, 4), [0.25; 4]);
/// let gaussian = window_weights(Weighting::Gaussian, 32);
/// assert!((gaussian.iter().sum::<f64>() - 1.0).abs() < 1e-12 && gaussian[16] > gaussian[0]);
/// ```
pub fn window_weights(weighting: Weighting, length: usize) -> Vec<f64> {
    let squared: Vec<f64> = weighting.taper(length).iter().map(|w| w * w).collect();
    let sum: f64 = squared.iter().sum();
    squared.into_iter().map(|w| w / sum).collect()
}

/// The regular grid of interrogation windows of one pass.
///
/// The spacing is `round(window (1 - overlap))`, at least 1 px. As many whole windows are placed as
/// fit into the image, and the grid is centred so that opposite margins are equal (to the pixel).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grid {
    /// Number of windows along x.
    pub columns: usize,
    /// Number of windows along y.
    pub rows: usize,
    /// Width and height of a window, px.
    pub window: [usize; 2],
    /// Distance between neighbouring windows along x and y, px.
    pub spacing: [usize; 2],
    /// First column and row of pixels that the first window covers.
    pub origin: [usize; 2],
}

impl Grid {
    /// The grid of `window` (width, height in px) with `overlap` in an image of `width` x `height`
    /// px. The overlap must lie in 0..1 (see
    /// [`Processing::validate`](crate::Processing::validate)); a window that does not fit into the
    /// image gives an empty grid.
    ///
    /// ```
    /// use motefield_evaluator::Grid;
    ///
    /// let grid = Grid::new(64, 48, [32, 32], 0.5);
    /// assert_eq!((grid.columns, grid.rows, grid.spacing), (3, 2, [16, 16]));
    /// assert_eq!(grid.centre(0, 0), [15.5, 15.5]);
    /// ```
    pub fn new(width: usize, height: usize, window: [usize; 2], overlap: f64) -> Self {
        let spacing = window.map(|side| ((side as f64 * (1.0 - overlap)).round() as usize).max(1));
        let image = [width, height];
        let count = [0, 1].map(|k| {
            image[k]
                .checked_sub(window[k])
                .map_or(0, |room| room / spacing[k] + 1)
        });
        let origin = [0, 1].map(|k| match count[k] {
            0 => 0,
            n => (image[k] - window[k] - (n - 1) * spacing[k]) / 2,
        });
        Self {
            columns: count[0],
            rows: count[1],
            window,
            spacing,
            origin,
        }
    }

    /// Centre of the window in `column` and `row`, px. The window over the pixels i to i+D-1 has
    /// its centre at i+(D-1)/2.
    pub fn centre(&self, column: usize, row: usize) -> [f64; 2] {
        let corner = self.corner(column, row);
        [0, 1].map(|k| corner[k] as f64 + (self.window[k] as f64 - 1.0) / 2.0)
    }

    /// Column and row of the upper-left pixel of the window in `column` and `row`.
    pub fn corner(&self, column: usize, row: usize) -> [usize; 2] {
        [
            self.origin[0] + column * self.spacing[0],
            self.origin[1] + row * self.spacing[1],
        ]
    }

    /// Number of windows.
    pub fn len(&self) -> usize {
        self.columns * self.rows
    }

    /// Whether no window fits.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}
