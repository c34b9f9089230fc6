//! A measured side as the report holds it.

use crate::check::key_fill_ratio::{MAX_CLIPPED_SHARE, ratio_sd_stops, ratio_stops};
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::uncertainty;
use crate::findings::{LightReport, SphereReport};
use crate::light::lights::Light;
use crate::sphere::{azimuth_elevation_deg, azimuth_elevation_sd_rad};

/// The report's entry of one sphere.
pub(super) fn sphere_report(side: &SphereMeasurement) -> SphereReport {
    let stops = ratio_stops(side);
    let sd = stops.map(|_| ratio_sd_stops(side));
    let ratio = stops.map(f64::exp2);
    let bound = stops.filter(|_| side.clipped_share() > MAX_CLIPPED_SHARE).map(|_| "lower".to_owned());
    let normal = |pick: fn(&crate::light::radiance::Extremes) -> nalgebra::Vector3<f64>| {
        side.extremes.as_ref().map(|e| azimuth_elevation_deg(&pick(e)))
    };
    let variances = side.fit.outline_cov.diagonal();
    SphereReport {
        role: side.role,
        name: side.name.clone(),
        outline_px: side.fit.outline.to_array(),
        outline_px_sd: [0, 1, 2, 3, 4].map(|i| variances[i].max(0.0).sqrt()),
        found_by: side.fit.found_by.word().to_owned(),
        unseen_outline_fraction: side.fit.unseen_fraction,
        horizontal_fov_deg: side.view.horizontal_fov_deg(),
        horizontal_fov_from: side.view.source.word().to_owned(),
        blind_half_angle_deg: side.geometry.blind_half_angle_rad().to_degrees(),
        clipped_fraction: side.image.clipped_fraction,
        invalid_fraction: side.image.invalid_fraction,
        ignored_fraction: side.ignored_fraction,
        surface_blur_deg: None,
        surface_blur_deg_sd: None,
        response_curve: None,
        lights: side.lights.all.iter().map(|l| light_report(side, l)).collect(),
        no_single_key: side.lights.no_single_key(),
        key_fill_ratio: ratio,
        key_fill_ratio_sd: ratio.zip(sd).map(|(r, s)| r * s * std::f64::consts::LN_2),
        key_fill_ratio_bound: bound.clone(),
        key_fill_stops: stops,
        key_fill_stops_sd: sd,
        key_fill_stops_bound: bound,
        brightest_patch_deg: normal(|e| e.bright_normal),
        darkest_patch_deg: normal(|e| e.dark_normal),
    }
}

fn light_report(side: &SphereMeasurement, light: &Light) -> LightReport {
    let [azimuth_deg, elevation_deg] = azimuth_elevation_deg(&light.direction);
    let cov = uncertainty::outline::direction_cov(side, light) + uncertainty::optics::direction_cov(side, light);
    let [azimuth_sd, elevation_sd] = azimuth_elevation_sd_rad(&light.direction, &cov);
    let colour = colour_of(light);
    let colour_sd =
        crate::light::footprint::colour_uncertainty(light.illuminance_rgb, light.channel_sd, light.behind_rgb);
    let unclipped = |sd: f64| (!light.clipped && light.cct.is_some()).then_some(sd);
    let size = light.angular_radius_deg;
    LightReport {
        azimuth_deg,
        azimuth_deg_sd: azimuth_sd.to_degrees(),
        elevation_deg,
        elevation_deg_sd: elevation_sd.to_degrees(),
        direction_sd_deg: (cov.trace() / 2.0).max(0.0).sqrt().to_degrees(),
        angular_radius_deg: size.ok().map(|s| s.value),
        angular_radius_deg_sd: size.ok().map(|s| s.sd),
        angular_radius_reason: size.err().map(str::to_owned),
        illuminance: light.illuminance.value,
        illuminance_sd: light.illuminance.sd,
        illuminance_bound: light.clipped.then(|| "lower".to_owned()),
        share: light.share.value,
        share_sd: light.share.sd,
        clipped: light.clipped,
        colour_rgb: colour.filter(|_| !light.clipped),
        cct_kelvin: light.cct.filter(|_| !light.clipped).map(|c| c.cct.0),
        cct_kelvin_sd: colour_sd.and_then(|d| unclipped(d.kelvin)),
        duv: light.cct.filter(|_| !light.clipped).map(|c| c.duv),
        duv_sd: colour_sd.and_then(|d| unclipped(d.duv)),
        colour_reason: colour_reason(light),
    }
}

fn colour_of(light: &Light) -> Option<[f64; 3]> {
    let [r, g, b] = light.illuminance_rgb;
    (g > 0.0).then(|| [r / g, 1.0, b / g])
}

fn colour_reason(light: &Light) -> Option<String> {
    if light.clipped {
        return Some("clipped: its colour was not recorded".to_owned());
    }
    light.cct.is_none().then(|| "too far from the Planckian locus for a colour temperature".to_owned())
}
