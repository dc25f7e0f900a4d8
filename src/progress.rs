//! The progress bar, on standard error; silent when that is not a terminal.

use std::time::Instant;

use indicatif::{ProgressBar, ProgressStyle};
use motefield_study::run::Progress;

/// A bar that counts pairs and tells the time left.
pub struct Bar {
    bar: ProgressBar,
    begun: Instant,
}

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
        }
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
            self.bar.set_message(match left {
                s if s < 100.0 => format!("about {s:.0} s left"),
                s if s < 6000.0 => format!("about {:.0} min left", s / 60.0),
                s => format!("about {:.1} h left", s / 3600.0),
            });
        }
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
}
