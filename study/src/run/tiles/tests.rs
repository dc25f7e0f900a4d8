//! Blocks, tiles and strata; and pictures measured by tiles against whole ones.

use std::sync::Arc;

use motefield_evaluator::{Correlator, Pass, Processing, correlate};
use motefield_generator::flow::{Spectrum, Turbulence};
use motefield_generator::pair::Crops;
use motefield_generator::{Camera, Scene, Seed, Sensor, render};

use super::*;

mod simulated;

fn turbulent(size: [usize; 2]) -> Scene {
    Scene {
        size,
        seeding_density_ppp: 0.03,
        electrons: 3000.0,
        flow: Arc::new(Turbulence::new(Spectrum::new(2.0, 150.0, 40.0), 5)),
        camera: Camera {
            sensor: Some(Sensor::default()),
            ..Camera::default()
        },
        ..Scene::default()
    }
}

fn chains() -> Vec<Processing> {
    let two = |a: usize, b: usize| Processing {
        passes: vec![Pass::square(a, 0.5), Pass::square(b, 0.5)],
        ..Processing::default()
    };
    let odd = Processing {
        passes: vec![
            Pass {
                window: [50, 40],
                overlap: 0.4,
            },
            Pass {
                window: [26, 34],
                overlap: 0.3,
            },
        ],
        ..Processing::default()
    };
    let one = Processing {
        passes: vec![Pass::square(32, 0.5)],
        ..Processing::default()
    };
    vec![Processing::default(), two(64, 32), one, odd]
}

/// Every vector belongs to one block, and stands in the grid of the block's tile where it stands in
/// the picture.
#[test]
fn blocks_cover_the_grid_and_tiles_hold_them() {
    for processing in chains() {
        for size in [[1301, 1207], [2560, 2048]] {
            let last = processing.passes.last().unwrap();
            let whole = Grid::new(size[0], size[1], last.window, last.overlap);
            let layout = TileLayout::of(size, &processing).unwrap();
            let [width, height] = layout.tile_px();
            let mut times = vec![0; whole.len()];
            for block in layout.blocks() {
                let (own, crop) = (layout.grid(block), layout.crop(block));
                assert!((0..2).all(|k| crop.end(k) <= size[k]));
                let tile = Grid::new(width, height, last.window, last.overlap);
                let [column, row] = layout.first_in_tile(block);
                for k in 0..own.len() {
                    let [i, j] = [k % own.columns, k / own.columns];
                    let corner = own.corner(i, j);
                    let in_tile = tile.corner(column + i, row + j);
                    assert_eq!(corner, [0, 1].map(|k| crop.origin[k] + in_tile[k]));
                    let place = [0, 1].map(|k| (corner[k] - whole.origin[k]) / whole.spacing[k]);
                    times[place[1] * whole.columns + place[0]] += 1;
                }
            }
            assert!(times.iter().all(|n| *n == 1));
        }
    }
}

/// The vectors of the blocks are those of the whole picture: nothing but what lies beyond the tile
/// tells them apart.
#[test]
fn vectors_of_tiles_are_those_of_the_picture() {
    let scene = turbulent([1301, 900]);
    let seed = Seed::default();
    let pair = render(&scene, seed).unwrap();
    for processing in chains() {
        let whole = correlate(pair.a.view(), pair.b.view(), &processing).unwrap();
        let layout = TileLayout::of(scene.size, &processing).unwrap();
        let blocks: Vec<[usize; 2]> = layout.blocks().collect();
        let corner = blocks[blocks.len() - 1];
        let chosen = [[0, 0], [2, 1], [corner[0], 1], corner];
        let crops = Crops::of(&scene, chosen.map(|block| layout.crop(block)).to_vec()).unwrap();
        let (mut sum, mut largest, mut count) = (0.0, 0.0_f64, 0.0);
        for (k, block) in chosen.into_iter().enumerate() {
            let part = crops.render(k, seed);
            let grid = layout.grid(block);
            let [column, row] = layout.first_in_tile(block);
            let [width, height] = layout.tile_px();
            let mut correlator = Correlator::new(width, height, &processing).unwrap().measuring([
                column.saturating_sub(1)..column + grid.columns + 1,
                row.saturating_sub(1)..row + grid.rows + 1,
            ]);
            let field = correlator.correlate(part.a.view(), part.b.view()).unwrap();
            for n in 0..grid.len() {
                let [i, j] = [n % grid.columns, n / grid.columns];
                let found = &field.vectors[(row + j) * field.columns + column + i];
                let corner = grid.corner(i, j);
                let [x, y] = [0, 1].map(|k| corner[k] as f64 + (grid.window[k] as f64 - 1.0) / 2.0);
                let there = (whole.vectors.iter())
                    .find(|v| v.x_px == x && v.y_px == y)
                    .unwrap();
                let off = (found.dx_px - there.dx_px).hypot(found.dy_px - there.dy_px);
                (sum, largest, count) = (sum + off * off, largest.max(off), count + 1.0);
            }
        }
        let rms: f64 = (sum / count).sqrt();
        println!(
            "{:?}: tile {:?}, rms {rms:.6} px, largest {largest:.6} px of {count}",
            processing.passes.iter().map(|p| p.window).collect::<Vec<_>>(),
            layout.tile_px()
        );
        assert!(rms < 0.002 && largest < 0.03, "{rms} {largest}");
    }
}
