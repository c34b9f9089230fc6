//! One light: its illuminance, colour, size and place in the picture.
//!
//! A light is what stands above its surroundings. Behind it they may vary as much as they are seen to vary around it.
//! That error is common to the whole light: it moves flux, colour, size and centre together.

use std::f64::consts::{LN_2, PI};

use crate::colour::uncertainty::{TemperatureUncertainty, temperature_uncertainty};

/// Flux lost or doubled at the edge of any light, relative (resampling; measured on clean renders).
const EDGE_FRACTION: f64 = 0.004;

/// The same for a light of a single cell, falling with the root of their number.
const SINGLE_CELL_FRACTION: f64 = 0.02;

/// Relative sd of the flux of a light that fills one pixel: on a mosaic sensor only every second pixel sees green and
/// every fourth red or blue, so a point may give all, much or little of its light. Over more pixels this averages out
/// (common practice, no source).
const SINGLE_PIXEL_FRACTION: f64 = 0.5;

/// Centroid error that remains on a clean light, frame px.
const CENTROID_SD_PX: f64 = 0.03;

/// A clipped core may be lopsided by this fraction of its radius.
const CLIPPED_CENTROID_FRACTION: f64 = 0.08;

/// Unknown lens blur, standard deviation in px: 0.4 to 1.6 in use, so its square is uncertain by about the square of
/// this.
const UNTOLD_BLUR_PX: f64 = 1.0;

/// A cell of the direction grid that pixels cover unevenly is scaled up; shares are off by about this much, relative
/// (measured on clean renders).
const GRID_FRACTION: f64 = 0.02;

/// What the picture says about a light beside its mean values. Solid angles in sr, luminance and radiance in the
/// working space.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Footprint {
    /// Illuminance on a plane facing the light.
    pub(crate) illuminance: f64,
    /// Solid angle of the uniform source of the core's luminance and the same flux.
    pub(crate) steradian: f64,
    /// Solid angle over which flux was summed.
    pub(crate) zone_steradian: f64,
    /// Luminance of the surroundings.
    pub(crate) background: f64,
    /// Spread of that luminance round the light, one sd.
    pub(crate) background_sd: f64,
    /// Radiance of the surroundings.
    pub(crate) background_rgb: [f64; 3],
    /// Sum of the cells' weights squared over the square of their sum.
    pub(crate) concentration: f64,
    pub(crate) core_cells: usize,
    /// Part of the zone round the core that the sphere does not show.
    pub(crate) unseen_fraction: f64,
    /// Angular size of one cell, rad.
    pub(crate) cell_rad: f64,
    /// Frame pixels per cell side.
    pub(crate) px_per_cell: f64,
    /// Noise of one cell's luminance.
    pub(crate) noise_sd: f64,
    pub(crate) clipped: bool,
    /// Recorded by a sensor, on whose pixels a small light may fall well or badly; a render averages over each pixel.
    pub(crate) photographed: bool,
}

impl Footprint {
    /// Radius of the disc of that solid angle.
    pub(crate) fn reach_rad(&self) -> f64 {
        (1.0 - self.steradian / (2.0 * PI)).clamp(-1.0, 1.0).acos()
    }

    /// Illuminance that the surroundings would add behind the whole light if they were brighter by their spread.
    fn behind(&self) -> f64 {
        self.background_sd * self.zone_steradian
    }

    fn relative_behind(&self) -> f64 {
        (self.behind() / self.illuminance.max(1e-30)).min(1.0)
    }

    /// Pixel noise summed over the light.
    fn noise(&self) -> f64 {
        self.noise_sd * (self.steradian * self.steradian * self.concentration.max(1e-9)).sqrt()
    }

    /// Uncertainty of a small light's flux from where it falls on the sensor's pixels.
    fn sampled(&self) -> f64 {
        if !self.photographed {
            return 0.0;
        }
        let pixels = self.px_per_cell * self.px_per_cell / self.concentration.clamp(1e-9, 1.0);
        SINGLE_PIXEL_FRACTION / pixels.max(1.0) * self.illuminance
    }

    /// Flux that lens blur carries beyond the cells over which it is summed: of a disc of ρ px, blurred by σ = 1.2
    /// px, 0.05/ρ lies more than 2 px outside (the tail of a Gaussian along its rim).
    fn leaked(&self) -> f64 {
        0.05 * (self.cell_rad / self.reach_rad().max(1e-9)).min(4.0) * self.illuminance
    }

    /// One sd of the illuminance: noise, edge, background behind the light, how much of that the light covers (its
    /// rim is blurred over most of a cell), and the part that the sphere does not show.
    pub(crate) fn illuminance_sd(&self) -> f64 {
        let edge = EDGE_FRACTION + SINGLE_CELL_FRACTION / (self.core_cells.max(1) as f64).sqrt();
        let covered = self.background * 1.5 * PI * self.reach_rad() * self.cell_rad;
        let cut = 0.5 * self.unseen_fraction * self.illuminance;
        let parts = [self.noise(), edge * self.illuminance, self.behind(), covered, cut, self.leaked(), self.sampled()];
        parts.iter().map(|p| p * p).sum::<f64>().sqrt()
    }

    /// One sd of all flux from the light's place in the picture, background included: noise, edge, and the part that
    /// the sphere does not show.
    pub(crate) fn flux_sd(&self) -> f64 {
        let edge = EDGE_FRACTION + SINGLE_CELL_FRACTION / (self.core_cells.max(1) as f64).sqrt();
        let cut = 0.5 * self.unseen_fraction * self.illuminance;
        let parts = [self.noise(), edge * self.illuminance, cut, self.sampled()];
        parts.iter().map(|p| p * p).sum::<f64>().sqrt()
    }

    /// One sd of a channel against the others, relative: noise and half of the edge error; the rest is common to all.
    pub(crate) fn channel_sd(&self) -> f64 {
        let edge = 0.5 * (EDGE_FRACTION + SINGLE_CELL_FRACTION / (self.core_cells.max(1) as f64).sqrt());
        // One channel of three of equal noise has 1/0.75 of the luminance's (BT.709 weights).
        let noise = self.noise() / 0.75 / self.illuminance.max(1e-30);
        noise.hypot(edge).min(1.0)
    }

    /// What the surroundings behind it may add to the light's channels, all at once (one sd).
    pub(crate) fn behind_rgb(&self) -> [f64; 3] {
        self.background_rgb.map(|c| c / self.background.max(1e-30) * self.behind())
    }

    /// One sd of the direction from the picture alone, each way across it, rad: centroid, too few cells, a lopsided
    /// clipped core, and surroundings that are brighter on one side.
    pub(crate) fn direction_sd_rad(&self) -> f64 {
        let centroid = CENTROID_SD_PX / self.px_per_cell * self.cell_rad;
        let few_cells = 0.25 * self.cell_rad * self.concentration.sqrt();
        let lopsided = if self.clipped { CLIPPED_CENTROID_FRACTION * (self.steradian / PI).sqrt() } else { 0.0 };
        [centroid, few_cells, lopsided, self.pull_sd_rad()].iter().map(|p| p * p).sum::<f64>().sqrt()
    }

    /// The part of it that is due to surroundings that are brighter on one side.
    pub(crate) fn pull_sd_rad(&self) -> f64 {
        0.5 * self.relative_behind() * (self.zone_steradian / PI).sqrt()
    }

    /// One sd of the radius (rad) of a uniform disc of the measured second moment. Blur adds 4 σ² to the square of the
    /// radius; surroundings counted in or out move it in proportion.
    pub(crate) fn radius_sd_rad(&self, radius_rad: f64) -> f64 {
        let blur_rad = UNTOLD_BLUR_PX / self.px_per_cell * self.cell_rad;
        let blur = 2.0 * blur_rad * blur_rad / radius_rad.max(1e-9);
        let behind = radius_rad * self.relative_behind();
        [blur.min(radius_rad), 0.05 * self.cell_rad, 0.01 * radius_rad, behind]
            .iter()
            .map(|p| p * p)
            .sum::<f64>()
            .sqrt()
    }

    /// One sd of the light's share of what a plane facing it receives; `filled` and `total` are of that plane.
    pub(crate) fn share_sd(&self, share: f64, filled: f64, total: f64) -> f64 {
        let relative = self.illuminance_sd() / self.illuminance.max(1e-30);
        let parts = [share * (1.0 - share) * relative, 0.5 * filled / total, GRID_FRACTION * share, 0.002];
        parts.iter().map(|p| p * p).sum::<f64>().sqrt()
    }
}

/// Colour temperature and Duv of a light: channels on their own by `channel_sd` (relative), and all together by
/// what lies behind it. `None` where it has no temperature.
pub(crate) fn colour_uncertainty(
    rgb: [f64; 3],
    channel_sd: f64,
    behind_rgb: [f64; 3],
) -> Option<TemperatureUncertainty> {
    let own = temperature_uncertainty(rgb, [channel_sd / LN_2; 3])?;
    let at = |sign: f64| {
        let moved = [0, 1, 2].map(|c| (rgb[c] + sign * behind_rgb[c]).max(0.02 * rgb[c]));
        crate::colour::cct_ohno2013::cct_duv_from_working_rgb(moved)
    };
    let (Some(more), Some(less)) = (at(0.5), at(-0.5)) else { return Some(own) };
    Some(TemperatureUncertainty {
        kelvin: own.kelvin.hypot(more.cct.0 - less.cct.0),
        mired: own.mired.hypot(1e6 / more.cct.0.max(1.0) - 1e6 / less.cct.0.max(1.0)),
        duv: own.duv.hypot(more.duv - less.duv),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lamp() -> Footprint {
        Footprint {
            illuminance: 2.0,
            steradian: 0.02,
            zone_steradian: 0.03,
            background: 0.3,
            background_sd: 0.05,
            background_rgb: [0.25, 0.3, 0.4],
            concentration: 0.01,
            core_cells: 120,
            unseen_fraction: 0.0,
            cell_rad: 0.02,
            px_per_cell: 1.0,
            noise_sd: 0.001,
            clipped: false,
            photographed: true,
        }
    }

    #[test]
    fn a_render_gives_small_lights_their_whole_light() {
        let small = Footprint { concentration: 0.5, ..lamp() };
        let rendered = Footprint { photographed: false, ..small };
        assert!(rendered.flux_sd() < 0.1 * small.flux_sd());
    }

    #[test]
    fn every_doubt_grows_with_restless_surroundings() {
        let (calm, restless) = (lamp(), Footprint { background_sd: 0.5, ..lamp() });
        assert!(restless.illuminance_sd() > calm.illuminance_sd());
        assert!(restless.direction_sd_rad() > calm.direction_sd_rad());
        assert!(restless.radius_sd_rad(0.08) > calm.radius_sd_rad(0.08));
        assert!(restless.share_sd(0.7, 0.1, 3.0) > calm.share_sd(0.7, 0.1, 3.0));
        let rgb = [2.6, 1.9, 1.0];
        let kelvin = |f: Footprint| colour_uncertainty(rgb, f.channel_sd(), f.behind_rgb()).unwrap().kelvin;
        assert!(kelvin(restless) > kelvin(calm));
    }

    #[test]
    fn surroundings_of_the_lights_own_colour_do_not_move_it() {
        let rgb = [2.6, 1.9, 1.0];
        let own = colour_uncertainty(rgb, 0.01, [0.0; 3]).unwrap();
        let same = colour_uncertainty(rgb, 0.01, rgb.map(|c| 0.2 * c)).unwrap();
        approx::assert_relative_eq!(own.kelvin, same.kelvin, max_relative = 1e-6);
    }
}
