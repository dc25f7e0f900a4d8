//! Linear and logarithmic axes, and their ticks.

/// How values are spread along an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AxisScale {
    /// In proportion to the value.
    Linear,
    /// By their logarithm; the range lies above zero.
    Log,
}

/// Least and greatest of values; the first above the second where there are none.
pub fn ends(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| {
        [low.min(v), high.max(v)]
    })
}

/// Values along a line of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// How values are spread.
    pub scale: AxisScale,
    /// First and last value; first < last.
    pub range: [f64; 2],
    /// Where the two lie in the picture, px (x, or y which runs down).
    pub place: [f64; 2],
}

/// A tick of an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Where it lies, px.
    pub at: f64,
    /// What it says; nothing on the ticks between.
    pub label: Option<String>,
}

impl Axis {
    /// Where a value lies, px; beyond the ends for values outside the range.
    ///
    /// ```
    /// use motefield_report::figure::{Axis, AxisScale};
    ///
    /// let axis = Axis { scale: AxisScale::Log, range: [1.0, 1000.0], place: [100.0, 700.0] };
    /// assert_eq!(axis.at(10.0), 300.0);
    /// ```
    pub fn at(&self, value: f64) -> f64 {
        let [low, high] = self.range;
        let share = match self.scale {
            AxisScale::Linear => (value - low) / (high - low),
            AxisScale::Log => (value / low).log10() / (high / low).log10(),
        };
        self.place[0] + share * (self.place[1] - self.place[0])
    }

    /// Where a value lies, px; at the nearer end when it is outside the range, at the first when it
    /// is not a number.
    pub fn clamped(&self, value: f64) -> f64 {
        let [low, high] = self.range;
        self.at(if value > low { value.min(high) } else { low })
    }

    /// Whether the value lies in the range.
    pub fn holds(&self, value: f64) -> bool {
        (self.range[0]..=self.range[1]).contains(&value)
    }

    /// Ticks at round values: as many labels as fit when each takes `room` px along the axis, and
    /// on a logarithmic axis ticks without labels between them.
    pub fn ticks(&self, label: impl Fn(f64) -> String, room: impl Fn(&str) -> f64) -> Vec<Tick> {
        let fits = |values: &[f64]| {
            let spans: Vec<[f64; 2]> = values
                .iter()
                .map(|&v| (self.at(v), 0.5 * room(&label(v))))
                .map(|(at, half)| [at - half, at + half])
                .collect();
            spans.windows(2).all(|w| w[0][1] <= w[1][0] || w[1][1] <= w[0][0])
        };
        let mut choices = self.choices();
        let labelled = match choices
            .iter()
            .position(|values| values.len() <= 12 && fits(values))
        {
            Some(best) => choices.swap_remove(best),
            None => Vec::new(),
        };
        let between = match self.scale {
            AxisScale::Linear => Vec::new(),
            AxisScale::Log => self.steps(&[1, 2, 3, 4, 5, 6, 7, 8, 9]),
        };
        let unlabelled = between
            .into_iter()
            .filter(|v| !labelled.contains(v))
            .map(|v| (v, None));
        let mut marks: Vec<(f64, Option<String>)> = labelled
            .iter()
            .map(|&v| (v, Some(label(v))))
            .chain(unlabelled)
            .collect();
        marks.sort_by(|a, b| a.0.total_cmp(&b.0));
        marks
            .into_iter()
            .map(|(value, label)| Tick {
                at: self.at(value),
                label,
            })
            .collect()
    }

    /// Sets of round values inside the range, the densest first.
    fn choices(&self) -> Vec<Vec<f64>> {
        let [low, high] = self.range;
        if self.scale == AxisScale::Log && high / low > 6.0 {
            let decades: &[&[u32]] = &[
                &[1, 2, 3, 4, 5, 6, 7, 8, 9],
                &[1, 2, 3, 5, 7],
                &[1, 2, 5],
                &[1, 3],
                &[1],
            ];
            return decades.iter().map(|steps| self.steps(steps)).collect();
        }
        let exponent = (high - low).log10().floor() as i32;
        let steps = [(1, -1), (2, -1), (5, -1), (1, 0), (2, 0), (5, 0)];
        let evenly = |(digit, power): (i32, i32)| {
            let step = decimal(f64::from(digit), exponent + power);
            // The slack keeps an end that is itself round; `holds` has the last word.
            let (first, last) = (
                (low / step - 1e-9).ceil() as i64,
                (high / step + 1e-9).floor() as i64,
            );
            // Multiples as decimals, so that 3 × 0.1 is 0.3.
            (first..=last)
                .map(|k| decimal((k * i64::from(digit)) as f64, exponent + power))
                .filter(|v| self.holds(*v))
                .collect()
        };
        steps.into_iter().map(evenly).collect()
    }

    /// These multiples of each power of ten, inside the range.
    fn steps(&self, digits: &[u32]) -> Vec<f64> {
        let exponents = self.range.map(|v| v.log10().floor() as i32);
        (exponents[0]..=exponents[1])
            .flat_map(|e| digits.iter().map(move |&d| decimal(f64::from(d), e)))
            .filter(|v| self.holds(*v))
            .collect()
    }
}

/// `digits` × 10^`exponent`, rounded once.
fn decimal(digits: f64, exponent: i32) -> f64 {
    format!("{digits}e{exponent}").parse().unwrap_or(f64::NAN)
}
