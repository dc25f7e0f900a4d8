//! The smallest step of the fewest settings that keeps linear rules.

use super::FARTHEST;

/// A rule as a row: the sum of slopes times steps is at most `most`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub slopes: Vec<f64>,
    pub most: f64,
}

/// Most settings that are sought out one combination after the other; beyond it all are moved.
const MOST_SOUGHT: usize = 4;
/// Sweeps over the rows.
const SWEEPS: usize = 400;
/// How closely a row must be kept.
const CLOSE: f64 = 1e-3;

/// Steps of all settings, from the place where they stand; each stays within [`FARTHEST`] of where
/// it began. As few settings as can be are newly moved, and of these the combination with the
/// smallest sum of steps is taken. `None` where no step keeps all rows.
pub(super) fn least_step(rows: &[Row], at: &[f64]) -> Option<Vec<f64>> {
    let moved: Vec<usize> = (0..at.len()).filter(|k| at[*k] != 0.0).collect();
    let acts = |k: &usize| rows.iter().any(|row| row.slopes[*k] != 0.0);
    let fresh: Vec<usize> = (0..at.len()).filter(|k| at[*k] == 0.0).filter(acts).collect();
    for size in 0..=MOST_SOUGHT.min(fresh.len()) {
        let mut best: Option<(f64, Vec<f64>)> = None;
        combinations(&fresh, size, &mut |chosen| {
            let keys: Vec<usize> = moved.iter().chain(chosen).copied().collect();
            if let Some(step) = shortest(rows, at, &keys) {
                let size = step.iter().map(|x| x.abs()).sum();
                if best.as_ref().is_none_or(|(so_far, _)| size < *so_far) {
                    best = Some((size, step));
                }
            }
        });
        if let Some((_, step)) = best {
            return Some(step);
        }
    }
    let all: Vec<usize> = moved.iter().chain(&fresh).copied().collect();
    shortest(rows, at, &all)
}

/// Calls `with` each choice of `size` entries.
fn combinations(all: &[usize], size: usize, with: &mut dyn FnMut(&[usize])) {
    fn choose(all: &[usize], size: usize, chosen: &mut Vec<usize>, with: &mut dyn FnMut(&[usize])) {
        if size == 0 {
            return with(chosen);
        }
        for (k, entry) in all.iter().enumerate() {
            chosen.push(*entry);
            choose(&all[k + 1..], size - 1, chosen, with);
            chosen.pop();
        }
    }
    choose(all, size, &mut Vec::new(), with);
}

/// The step of some settings with the least sum of squares that keeps all rows: Hildreth's method,
/// which moves onto one row after the other along its normal and takes back what later rows make
/// superfluous (Hildreth 1957, Naval Res. Logist. Q. 4, 79; memory).
fn shortest(rows: &[Row], at: &[f64], keys: &[usize]) -> Option<Vec<f64>> {
    let farthest = FARTHEST.ln();
    let mut all: Vec<(Vec<f64>, f64)> = (rows.iter())
        .map(|row| (keys.iter().map(|k| row.slopes[*k]).collect(), row.most))
        .collect();
    for (place, k) in keys.iter().enumerate() {
        for sign in [1.0, -1.0] {
            let mut slopes = vec![0.0; keys.len()];
            slopes[place] = sign;
            all.push((slopes, farthest - sign * at[*k]));
        }
    }
    let mut step = vec![0.0; keys.len()];
    let mut pushes = vec![0.0; all.len()];
    let excess = |slopes: &[f64], most: f64, step: &[f64]| -> f64 {
        slopes.iter().zip(step).map(|(a, x)| a * x).sum::<f64>() - most
    };
    for _ in 0..SWEEPS {
        for (push, (slopes, most)) in pushes.iter_mut().zip(&all) {
            let square: f64 = slopes.iter().map(|a| a * a).sum();
            if square < 1e-12 {
                continue;
            }
            let next = f64::max(0.0, *push + excess(slopes, *most, &step) / square);
            for (x, a) in step.iter_mut().zip(slopes) {
                *x -= (next - *push) * a;
            }
            *push = next;
        }
    }
    if all
        .iter()
        .any(|(slopes, most)| excess(slopes, *most, &step) > CLOSE)
    {
        return None;
    }
    let mut whole = vec![0.0; at.len()];
    for (k, x) in keys.iter().zip(&step) {
        whole[*k] = *x;
    }
    Some(whole)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(slopes: &[f64], most: f64) -> Row {
        Row {
            slopes: slopes.to_vec(),
            most,
        }
    }

    /// The nearest point of a half-plane lies on its normal; one setting that does alone is taken
    /// before two that share the way (geometry).
    #[test]
    fn one_setting_that_does_is_enough() {
        // x + y at least 1.
        let rows = [row(&[-1.0, -1.0], -1.0)];
        let step = least_step(&rows, &[0.0, 0.0]).unwrap();
        let mut sorted = step.clone();
        sorted.sort_by(f64::total_cmp);
        assert!(
            (sorted[0]).abs() < 1e-9 && (sorted[1] - 1.0).abs() < 1e-6,
            "{step:?}"
        );
        // Both stand moved already: they share it.
        let step = least_step(&rows, &[0.1, 0.1]).unwrap();
        assert!(step.iter().all(|x| (x - 0.5).abs() < 1e-6), "{step:?}");
    }

    /// Rows that cross need both settings: x + y at least 1 and x at most -0.5 give y = 1.5.
    #[test]
    fn two_rules_are_kept_by_two_settings() {
        let rows = [row(&[-1.0, -1.0], -1.0), row(&[1.0, 0.0], -0.5)];
        let step = least_step(&rows, &[0.0, 0.0]).unwrap();
        assert!(
            (step[0] + 0.5).abs() < 2e-3 && (step[1] - 1.5).abs() < 2e-3,
            "{step:?}"
        );
    }

    /// What excludes each other, or lies farther than a factor of thirty, whose logarithm is
    /// 3.4012, has no step.
    #[test]
    fn rules_that_exclude_each_other_have_no_step() {
        let both = [row(&[1.0], -0.1), row(&[-1.0], -0.1)];
        assert_eq!(least_step(&both, &[0.0]), None);
        assert_eq!(least_step(&[row(&[-1.0], -3.45)], &[0.0]), None);
        assert!(least_step(&[row(&[-1.0], -3.35)], &[0.0]).is_some());
    }
}
