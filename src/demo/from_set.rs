//! What else came back from set with a shot: a clean plate, a picture of a grid through the lens, a grey sphere.

use std::path::Path;

use serde_json::{Value, json};

use super::develop::{Noise, develop};
use super::frames::{camera, seed};
use super::matte::{GREY, matte, outline_px};
use super::render::{Picture, RenderOptions, render};
use super::shot::{CleanTake, FromSet, GridTake, SIZE, Shot};
use crate::register::lines::Distortion;

const CLEAN_NAME: &str = "clean.1001.exr";
const GRID_NAME: &str = "grid.exr";
pub(super) const MATTE_NAME: &str = "matte.exr";

impl FromSet {
    /// Names of its files.
    pub(crate) fn names(&self) -> impl Iterator<Item = &'static str> {
        let others = self.clean.map(|_| CLEAN_NAME).into_iter().chain(self.grid.map(|_| GRID_NAME));
        others.chain(self.matte.then_some(MATTE_NAME))
    }

    /// Adds its keys to a shot's sheet.
    pub(crate) fn tell(&self, shot: &Shot, sheet: &mut Value) {
        if self.clean.is_some() {
            sheet["clean_plate"] = json!({ "frame": CLEAN_NAME });
        }
        if self.matte {
            sheet["grey_spheres"] = json!([{
                "name": "g1", "bracket": [MATTE_NAME], "reflectance": GREY, "outline_px": outline_px(shot)
            }]);
        }
        if let Some(grid) = self.grid {
            sheet["straight_lines"] = json!({ "frame": GRID_NAME });
            let told = json!({ "model": "polynomial", "k1": grid.k1 });
            sheet["cg"]["distortion"] = if grid.undone { told } else { json!("none") };
        }
    }

    /// How far the CG's distortion misses the lens at the frame's corner, px.
    pub(crate) fn corner_error_px(&self) -> Option<f64> {
        let lens = |k1: f64| Distortion { k1, ..Distortion::none([SIZE.width as f64, SIZE.height as f64]) };
        let size = [SIZE.width as f64, SIZE.height as f64];
        self.grid.map(|g| if g.undone { 0.0 } else { lens(g.k1).corner_pull_px(size).abs() })
    }

    /// Hands each file's name and picture to `place`.
    pub(crate) fn pictures<E>(shot: &Shot, mut place: impl FnMut(&Path, &Picture) -> Result<(), E>) -> Result<(), E> {
        if let Some(clean) = shot.from_set.clean {
            place(Path::new(CLEAN_NAME), &clean_plate(shot, clean))?;
        }
        if let Some(grid) = shot.from_set.grid {
            place(Path::new(GRID_NAME), &grid_picture(shot, grid))?;
        }
        if shot.from_set.matte {
            place(Path::new(MATTE_NAME), &matte(shot, &shot.set_with_crew()))?;
        }
        Ok(())
    }
}

/// The set without the actor.
fn clean_plate(shot: &Shot, take: CleanTake) -> Picture {
    let options = RenderOptions { gain: [take.stops.exp2(); 3], background_shift_px: take.shift_px, ..camera(shot, 4) };
    render(&shot.empty_set(), &shot.view(), SIZE, None, &options)
}

/// A card of dark lines, held nearly square to the camera, through the lens.
fn grid_picture(shot: &Shot, take: GridTake) -> Picture {
    const PITCH_PX: f64 = 72.0;
    const HALF_WIDTH_PX: f64 = 2.2;
    const SOFTNESS_PX: f64 = 0.6;
    let lens = Distortion { k1: take.k1, ..Distortion::none([SIZE.width as f64, SIZE.height as f64]) };
    let line = |c: f64| {
        let away = (c / PITCH_PX - (c / PITCH_PX).round()).abs() * PITCH_PX;
        1.0 / (1.0 + ((HALF_WIDTH_PX - away) / SOFTNESS_PX).exp())
    };
    let value = |i: usize| {
        let point = [(i % SIZE.width) as f64 + 0.5, (i / SIZE.width) as f64 + 0.5];
        let [u, v] = lens.straightened(point);
        let (u, v) = (u - 466.0, v - 262.0);
        let depth = 1.0 + 1.2e-4 * u - 0.8e-4 * v;
        let paper = 0.03 + 0.5 * line((u + 0.02 * v) / depth) * line((v - 0.02 * u) / depth);
        [paper as f32; 3]
    };
    let paper = (0..SIZE.width * SIZE.height).map(value).collect();
    let noise = Some(Noise { seed: seed(shot, 5), read: 0.001, shot: 0.0 });
    let options = RenderOptions { noise, steps_per_stop: Some(64.0), ..RenderOptions::default() };
    Picture { size: SIZE, rgb: develop(paper, SIZE, &options), alpha: None }
}
