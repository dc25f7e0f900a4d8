//! The optimum's label, the words in the strip, the title and the legend.

use super::chart::{Chart, SERIES, TOTAL, has_interval, mark};
use super::{FRAME, PLOT, SIZE, drawable, time, window_words};
use crate::figure::legend::{self, LegendEntry};
use crate::figure::palette::{FAINT, INK, PAPER, YELLOW};
use crate::figure::{
    Anchor, Area, BOLD, HEADING, LABEL, Svg, TITLE, WIDER, fill, fitted, middle, stroke, text_width, tint,
};
use crate::format::pixels;
use motefield_evaluator::statistics::Estimate;

impl Chart<'_> {
    /// The optimum: a diamond, its interval on the axis, and its words where they cover least.
    pub(super) fn best(&self, svg: &mut Svg) {
        let Some(best) = self
            .curve
            .best
            .filter(|b| drawable(b.pulse_s.value) && drawable(b.total_px))
        else {
            return;
        };
        let [x, y] = self.at(best.pulse_s.value, best.total_px);
        let x = x.clamp(FRAME.x[0], FRAME.x[1]);
        let bottom = FRAME.y[1];
        svg.line(
            [x, y],
            [x, bottom],
            &format!("{} stroke-dasharray=\"1 3\"", stroke(INK, 1.0)),
        );
        let Estimate { value, lo, hi } = best.pulse_s;
        let known = lo <= value && value <= hi;
        if known && lo < hi {
            let area = Area {
                x: [lo, hi].map(|s| self.x.clamped(s)),
                y: [bottom - 5.0, bottom],
            };
            svg.area(area, &format!("{} fill-opacity=\"0.75\"", fill(INK)));
        }
        let mut words = vec![(format!("best: {}", time(value)), HEADING, BOLD)];
        if known && lo < hi && hi.is_finite() {
            let range = format!("95 % interval {} to {}", time(lo), time(hi));
            words.push((range, LABEL, ""));
        }
        words.push((format!("total error {}", pixels(best.total_px)), LABEL, ""));
        self.label(svg, [x, y], &words);
    }

    /// Lines of text in a box beside a point, joined to it.
    fn label(&self, svg: &mut Svg, [x, y]: [f64; 2], words: &[(String, f64, &str)]) {
        let widest = words.iter().map(|w| text_width(&w.0, w.1)).fold(0.0, f64::max);
        let size = [widest + 14.0, 18.0 * words.len() as f64 + 8.0];
        let area = self.free_area(size, [x, y]);
        let edge = [x.clamp(area.x[0], area.x[1]), y.clamp(area.y[0], area.y[1])];
        svg.line([x, y], edge, &stroke(INK, 1.0));
        diamond(svg, [x, y]);
        let ground = format!("{} fill-opacity=\"0.9\"", fill(PAPER));
        let outline = format!("stroke=\"{INK}\" stroke-width=\"0.8\"");
        svg.area(area, &format!("{ground} rx=\"3\" {outline}"));
        for (k, (text, size, style)) in words.iter().enumerate() {
            let base = area.y[0] + 18.0 * (k as f64 + 1.0) - 1.0;
            svg.text(text, *size, [middle(area.x), base], Anchor::Middle, style);
        }
    }

    /// Points along all lines, px: what a label should not cover.
    fn drawn(&self) -> Vec<[f64; 2]> {
        let mut drawn: Vec<[f64; 2]> = Vec::new();
        let mut sample = |line: &[[f64; 2]]| {
            for ends in line.windows(2) {
                let steps = 2 + ((ends[1][0] - ends[0][0]).hypot(ends[1][1] - ends[0][1]) / 4.0) as usize;
                drawn.extend((0..=steps).map(|k| {
                    let t = k as f64 / steps as f64;
                    [0, 1].map(|i| ends[0][i] + t * (ends[1][i] - ends[0][i]))
                }));
            }
        };
        for series in &SERIES {
            self.runs(series.value).iter().for_each(|(_, line)| sample(line));
        }
        for point in self.points.iter().filter(|p| has_interval(p)) {
            let ends = [point.total_px.hi, point.total_px.value, point.total_px.lo];
            let ends = ends.map(|v| [self.x.at(point.pulse_s), self.y.clamped(v)]);
            sample(&ends);
        }
        let limit = self.y.clamped(self.curve.limit_px);
        sample(&[[FRAME.x[0], limit], [FRAME.x[1], limit]]);
        for edge in self.curve.window_s.iter().flatten().map(|s| self.x.clamped(*s)) {
            sample(&[[edge, PLOT.y[0]], [edge, PLOT.y[1]]]);
        }
        drawn
    }

    /// Where a label of this size about a point covers least of the lines, nearest to the point.
    fn free_area(&self, [width, height]: [f64; 2], [x, y]: [f64; 2]) -> Area {
        let drawn = self.drawn();
        let mut chosen = (
            f64::INFINITY,
            Area {
                x: [x, x + width],
                y: [y, y + height],
            },
        );
        for down in -12..=12 {
            for across in -8..=8 {
                let centre = [x + 30.0 * f64::from(across), y + 15.0 * f64::from(down)];
                let left = (centre[0] - 0.5 * width).clamp(FRAME.x[0] + 6.0, FRAME.x[1] - 6.0 - width);
                let top = (centre[1] - 0.5 * height).clamp(PLOT.y[0], PLOT.y[1] - 10.0 - height);
                let area = Area {
                    x: [left, left + width],
                    y: [top, top + height],
                };
                let covered = drawn.iter().filter(|p| area.holds(**p, 5.0)).count();
                let on_point = if area.holds([x, y], 12.0) { 1000.0 } else { 0.0 };
                let far = (middle(area.x) - x).hypot(middle(area.y) - y);
                let cost = 20.0 * covered as f64 + on_point + far;
                if cost < chosen.0 {
                    chosen = (cost, area);
                }
            }
        }
        chosen.1
    }

    /// The words in the strip: the walls at their sides, the window over its band.
    pub(super) fn words(&self, svg: &mut Svg) {
        let [left, right] = [FRAME.x[0] + 10.0, FRAME.x[1] - 10.0];
        let base = FRAME.y[0] + 19.0;
        let (short, long) = (&self.curve.short_wall, &self.curve.long_wall);
        let share = text_width(short, 1.0) / (text_width(short, 1.0) + text_width(long, 1.0)).max(1e-9);
        let room = right - left - 60.0;
        let style = format!("{} font-style=\"italic\"", fill(FAINT));
        for (wall, room, x, forward, anchor) in [
            (short, share * room, left, 1.0, Anchor::Start),
            (long, (1.0 - share) * room, right, -1.0, Anchor::End),
        ] {
            if !wall.is_empty() {
                let arrow = [[0.0, 0.0], [9.0, -4.5], [9.0, 4.5]];
                let arrow = arrow.map(|[dx, dy]| [x + forward * dx, base - 4.5 + dy]);
                svg.path(&arrow, true, &fill(FAINT));
                let (wall, size) = fitted(wall, HEADING, room);
                svg.text(&wall, size, [x + forward * 15.0, base], anchor, &style);
            }
        }
        let words = window_words(self.curve);
        let (words, size) = fitted(&words, HEADING, (right - left) / WIDER);
        let half = 0.5 * WIDER * text_width(&words, size);
        let centre = match self.curve.window_s {
            Some(window) => middle(window.map(|s| self.x.clamped(s))),
            None => middle(FRAME.x),
        };
        let centre = centre.clamp(left + half, (right - half).max(left + half));
        svg.text(&words, size, [centre, base + 20.0], Anchor::Middle, BOLD);
    }

    /// Title, and below it what each line and mark means, in one row.
    pub(super) fn legend(&self, svg: &mut Svg) {
        let (title, size) = fitted(&self.curve.title, TITLE, (SIZE[0] - 40.0) / WIDER);
        svg.text(&title, size, [0.5 * SIZE[0], 34.0], Anchor::Middle, BOLD);
        if !self.curve.caution.is_empty() {
            let words = format!("Caution: {}", self.curve.caution);
            let (words, size) = fitted(&words, LABEL, SIZE[0] - 40.0);
            svg.text(&words, size, [0.5 * SIZE[0], 84.0], Anchor::Middle, BOLD);
        }

        let has = |usable| self.points.iter().any(|p| p.usable == usable);
        let [bias, local, random, _] = &SERIES;
        let entry = |swatch: legend::Swatch<'static>, words| LegendEntry {
            swatch,
            wide: WIDE,
            words,
        };
        let entries = [
            (has(true), entry(Box::new(total), "total error, 95 %")),
            (
                self.shows(random.value),
                entry(legend::line(WIDE, random.stroke()), "random error"),
            ),
            (
                self.shows(local.value),
                entry(legend::line(WIDE, local.stroke()), "local bias"),
            ),
            (
                self.shows(bias.value),
                entry(legend::line(WIDE, bias.stroke()), "|bias|"),
            ),
            (
                has(false),
                entry(legend::disc(mark(false)), "too few valid vectors"),
            ),
            (self.curve.best.is_some(), entry(Box::new(diamond), "best")),
        ];
        let shown: Vec<LegendEntry> = entries
            .into_iter()
            .filter(|(shown, _)| *shown)
            .map(|(_, entry)| entry)
            .collect();
        legend::row(svg, [0.5 * SIZE[0], 61.0], &shown);
    }
}

/// Width of the samples of the legend, px.
const WIDE: f64 = 34.0;

/// The sample of the total error: band, line and mark.
fn total(svg: &mut Svg, [x, y]: [f64; 2]) {
    let half = 0.5 * WIDE;
    let band = Area {
        x: [x - half, x + half],
        y: [y - 6.0, y + 6.0],
    };
    svg.area(band, &tint(TOTAL));
    svg.line([x - half, y], [x + half, y], &stroke(TOTAL, 2.5));
    svg.disc([x, y], 4.5, &fill(TOTAL), "");
}

fn diamond(svg: &mut Svg, [x, y]: [f64; 2]) {
    let corners = [[x, y - 9.0], [x + 8.0, y], [x, y + 9.0], [x - 8.0, y]];
    svg.path(
        &corners,
        true,
        &format!("{} stroke=\"{INK}\" stroke-width=\"1.8\"", fill(YELLOW)),
    );
}
