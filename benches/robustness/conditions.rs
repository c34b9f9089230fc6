//! What is spoilt, and how far.

use crate::made_up::perfect::Perfect;
use crate::made_up::recipe::{Kept, Recipe};

/// One thing that is made worse step by step.
pub(crate) struct Condition {
    /// File name of its plot.
    pub(crate) name: &'static str,
    pub(crate) title: &'static str,
    /// Title of the horizontal axis.
    pub(crate) across: &'static str,
    pub(crate) values: &'static [f64],
    pub(crate) logarithmic: bool,
    pub(crate) spoil: fn(&mut Recipe, f64),
}

pub(crate) const CONDITIONS: [Condition; 8] = [
    Condition {
        name: "noise",
        title: "Noise of the sphere frame",
        across: "standard deviation at mid grey (0.18), % of it",
        values: &[0.2, 1.0, 3.0, 10.0, 20.0],
        logarithmic: true,
        spoil: noise,
    },
    Condition {
        name: "blur",
        title: "Blur of the sphere frame",
        across: "standard deviation, px (sphere radius 90 px)",
        values: &[0.4, 0.8, 1.6, 3.0, 5.0],
        logarithmic: true,
        spoil: |recipe, px| recipe.blur_px = px,
    },
    Condition {
        name: "jpeg",
        title: "Camera JPEG (sRGB curve, nothing else done to it)",
        across: "quality",
        values: &[95.0, 80.0, 60.0, 40.0, 20.0],
        logarithmic: false,
        spoil: jpeg,
    },
    Condition {
        name: "clipping",
        title: "Clipped light",
        across: "largest clipped part of a patch's light, %",
        values: &[0.0, 5.0, 10.0, 25.0, 50.0, 80.0],
        logarithmic: false,
        spoil: clip,
    },
    Condition {
        name: "radius",
        title: "Size of the sphere",
        across: "radius, px",
        values: &[16.0, 24.0, 32.0, 48.0, 80.0, 140.0],
        logarithmic: true,
        spoil: |recipe, px| recipe.radius_px = px,
    },
    Condition {
        name: "hidden",
        title: "Hidden part of the sphere",
        across: "hidden fraction of its picture, %",
        values: &[0.0, 5.0, 10.0, 20.0, 33.0],
        logarithmic: false,
        spoil: |recipe, percent| {
            recipe.stand = false;
            let from = [90.0, 0.0, 180.0][(recipe.seed % 3) as usize];
            recipe.hidden = (percent > 0.0).then_some((percent / 100.0, from));
        },
    },
    Condition {
        name: "edge",
        title: "Sphere cut by the edge of both frames",
        across: "part of the diameter beyond the edge, %",
        values: &[0.0, 5.0, 10.0, 20.0, 33.0],
        logarithmic: false,
        spoil: |recipe, percent| recipe.centre_px[0] = recipe.radius_px * (1.0 - percent / 50.0),
    },
    Condition {
        name: "lens",
        title: "Field of view not given (40 deg is assumed)",
        across: "true horizontal field of view, deg",
        values: &[20.0, 30.0, 40.0, 55.0, 70.0],
        logarithmic: false,
        spoil: |recipe, degrees| {
            recipe.fov_deg = degrees;
            recipe.fov_told = false;
            recipe.errors.heading_deg = 4.0;
        },
    },
];

fn noise(recipe: &mut Recipe, percent: f64) {
    recipe.read_noise = 0.0;
    recipe.shot_noise = (percent / 100.0 * 0.18).powi(2) / 0.18;
}

fn jpeg(recipe: &mut Recipe, quality: f64) {
    let quality = quality as u8;
    recipe.kept = Kept::Jpeg { quality, gain_stops: 0.0, contrast: 1.0, red_stops: 0.0, blue_stops: 0.0 };
}

/// Lowers the ceiling until so much light is beyond it, by bisection in the logarithm.
fn clip(recipe: &mut Recipe, percent: f64) {
    if percent <= 0.0 {
        return;
    }
    let (mut low, mut high) = (0.05_f64.ln(), 4000.0_f64.ln());
    for _ in 0..14 {
        let middle = f64::midpoint(low, high);
        recipe.clip_level = middle.exp();
        let beyond = Perfect::lost_share(recipe);
        if beyond > percent / 100.0 { low = middle } else { high = middle }
    }
}
