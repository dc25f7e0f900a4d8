//! Progress on standard error: a bar at a terminal, elsewhere a line every ten seconds.

use std::sync::Mutex;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};
use motefield_study::run::Progress;

use crate::output::say;

/// A bar that counts pairs and tells the time left.
pub struct Bar {
    bar: ProgressBar,
    begun: Instant,
    /// When a line was last written, and the widest interval that is still to be narrowed.
    told: Mutex<(Instant, f64)>,
}

/// Time between two lines where there is no terminal.
const BETWEEN_LINES: Duration = Duration::from_secs(10);

/// Pairs after which the time left is worth telling.
const WORTH_TELLING: u64 = 4;

impl Bar {
    /// A bar under way.
    pub fn new() -> Bar {
        let style = ProgressStyle::with_template("{wide_bar} {pos}/{len} pairs, {msg}")
            .expect("a template that was tried");
        let bar = ProgressBar::new(0).with_style(style);
        bar.enable_steady_tick(std::time::Duration::from_millis(500));
        Bar {
            bar,
            begun: Instant::now(),
            told: Mutex::new((Instant::now(), f64::INFINITY)),
        }
    }

    /// Pairs done so far.
    pub fn pairs(&self) -> usize {
        self.bar.position() as usize
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }

    /// Lets something be printed without the bar in its way.
    pub fn above<T>(&self, print: impl FnOnce() -> T) -> T {
        self.bar.suspend(print)
    }

    /// All pairs take about the same time, so what is left follows from what was spent.
    fn tell(&self) {
        let (done, all) = (self.bar.position(), self.bar.length().unwrap_or(0));
        if done >= WORTH_TELLING {
            let left = self.begun.elapsed().as_secs_f64() / done as f64 * all.saturating_sub(done) as f64;
            self.bar.set_message(left_words(left));
            if self.bar.is_hidden() {
                self.tell_line(done, all, left);
            }
        }
    }

    fn tell_line(&self, done: u64, all: u64, left_s: f64) {
        let mut told = self.told.lock().expect("no thread panics with the lock");
        if told.0.elapsed() >= BETWEEN_LINES {
            told.0 = Instant::now();
            say(&line(done, all, told.1, left_s));
        }
    }
}

fn left_words(left_s: f64) -> String {
    match left_s {
        s if s < 100.0 => format!("about {s:.0} s left"),
        s if s < 6000.0 => format!("about {:.0} min left", s / 60.0),
        s => format!("about {:.1} h left", s / 3600.0),
    }
}

/// "24 of 88 pairs, errors known to 9 % so far, about 40 s left". How many pairs there will be is
/// an estimate, of which nothing is told once it is reached; an error known to no more than its own
/// size is not known.
fn line(done: u64, all: u64, half_width: f64, left_s: f64) -> String {
    let known = match half_width < 1.0 {
        true => format!(", errors known to {:.0} % so far", 100.0 * half_width),
        false => String::new(),
    };
    match done < all {
        true => format!("{done} of {all} pairs{known}, {}", left_words(left_s)),
        false => format!("{done} pairs{known}, the last ones"),
    }
}

impl Progress for Bar {
    fn expect(&self, pairs: usize) {
        self.bar.set_length(pairs as u64);
        self.tell();
    }
    fn done(&self) {
        self.bar.inc(1);
        self.tell();
    }
    fn reached(&self, half_width: f64) {
        self.told.lock().expect("no thread panics with the lock").1 = half_width;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_tells_what_is_done_known_and_left() {
        assert_eq!(
            line(24, 88, 0.091, 40.4),
            "24 of 88 pairs, errors known to 9 % so far, about 40 s left"
        );
        assert_eq!(
            line(4, 88, f64::INFINITY, 7200.0),
            "4 of 88 pairs, about 2.0 h left"
        );
        assert_eq!(line(45, 40, 1.06, 0.0), "45 pairs, the last ones");
    }
}
