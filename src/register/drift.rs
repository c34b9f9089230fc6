//! Was the mirror frame shot as the plate was? Exposure and colour drift on the background that both show.

use super::backdrop::{Backdrop, Side};
use super::field::{Field, SphereMask};
use super::ratio::{self, Cell, Pooled};
use super::tiles::{Pixels, refine_on_tiles};
use super::{NotRegistered, Shift, believed, register_translation};
use crate::image::bracket::stops_from_metadata;
use crate::image::{CaptureMeta, Frame};
use crate::sphere::Outline;
use crate::{Estimate, Stops};

/// Under this share of usable frame nothing is measured.
const LEAST_USED_FRACTION: f64 = 0.1;
/// Where the shift is unknown, the camera is taken to stand still within this share of the frame's width (one sd).
const UNKNOWN_SHIFT_OF_WIDTH: f64 = 0.01;
/// Standard deviation of a shift known from cells alone, in cells: their averaging hides where detail lies.
const CELL_SHIFT_SD: f64 = 0.03;
/// A result less certain than this says nothing about drift, stops.
const LARGEST_SD_STOPS: f64 = 0.5;
/// Unevenness from which other lights, a shadow or vignetting are named, stops.
const NOTABLE_UNEVEN_STOPS: f64 = 0.04;
/// Change with brightness from which a tone curve is named, stops.
const NOTABLE_LEVEL_STOPS: f64 = 0.03;
/// Nominal times, apertures and ISO are rounded to thirds of a stop and the aperture is not exact
/// (common practice, no source).
pub(crate) const METADATA_TOLERANCE_STOPS: f64 = 0.15;
/// Focal lengths that differ by more than this are different framings.
const FOCAL_TOLERANCE: f64 = 0.01;

/// How the mirror frame differs from the plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// Luminance, mirror frame minus plate, stops: + = the mirror frame was recorded brighter.
    pub stops: Estimate,
    /// log2 of red over green, mirror frame minus plate, working space: + = the mirror frame is redder.
    pub red_green_stops: Estimate,
    /// log2 of blue over green, mirror frame minus plate, working space: + = the mirror frame is bluer.
    pub blue_green_stops: Estimate,
    /// How far the mirror frame's picture lies from the plate's, in plate pixels; `None` where unknown.
    pub shift: Option<Shift>,
    /// How much the difference varies over the frame beyond noise, one standard deviation, stops: other lights, a
    /// shadow or vignetting.
    pub uneven_stops: f64,
    /// Share of the frame whose ratio agreed.
    pub used_fraction: f64,
    /// The difference that both files' exposure metadata state, stops.
    pub metadata_stops: Option<f64>,
    /// Whether measured and stated agree within 0.15 stop and two standard deviations.
    pub consistent_with_metadata: Option<bool>,
    /// Things the reader of the report should know.
    pub warnings: Vec<String>,
}

/// A drift, or why there is none to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum DriftOutcome {
    /// It was measured.
    Measured(Drift),
    /// It could not be measured; the reason and what would cure it.
    NotMeasurable(String),
}

/// Measures exposure and colour drift of the mirror frame against the plate.
///
/// `mirror_sphere` is the sphere's outline in the mirror frame; it and the column below it (the stand) are left out,
/// as are clipped, missing and noisy places and whatever disagrees with the rest. `exposure_difference_hint` (stated
/// stops, mirror frame over plate) only decides between two values that nearly as much of the frame supports.
pub fn measure_drift(
    plate: &Frame,
    mirror_frame: &Frame,
    mirror_sphere: &Outline,
    exposure_difference_hint: Option<Stops>,
) -> DriftOutcome {
    match Comparison::of(plate, mirror_frame, mirror_sphere)
        .and_then(|comparison| comparison.measure(exposure_difference_hint))
    {
        Ok(drift) => DriftOutcome::Measured(drift),
        Err(reason) => DriftOutcome::NotMeasurable(reason),
    }
}

/// The two frames on their common grid.
struct Comparison<'a> {
    plate: &'a Frame,
    mirror: &'a Frame,
    mask: SphereMask,
    field: Field,
    plate_cells: Backdrop,
    mirror_cells: Backdrop,
}

/// Where the mirror frame's picture lies, in cells.
struct Placement {
    shift: Option<Shift>,
    cells: [f64; 2],
    sd_cells: [f64; 2],
    warning: Option<String>,
}

impl<'a> Comparison<'a> {
    fn of(plate: &'a Frame, mirror: &'a Frame, sphere: &Outline) -> Result<Self, String> {
        let field = Field::shared(plate, mirror)?;
        let mask = SphereMask::of(sphere);
        let (plate_cells, mirror_cells) = rayon::join(
            || Backdrop::of(plate, &field, Side::Plate, None),
            || Backdrop::of(mirror, &field, Side::Mirror, Some(&mask)),
        );
        for (cells, name) in [(&plate_cells, "plate"), (&mirror_cells, "mirror frame")] {
            let usable = cells.usable_fraction();
            if usable < LEAST_USED_FRACTION {
                return Err(format!(
                    "only {:.0} % of the {name} is usable background (the rest is the sphere, clipped or missing)",
                    100.0 * usable
                ));
            }
        }
        Ok(Self { plate, mirror, mask, field, plate_cells, mirror_cells })
    }

    fn measure(&self, hint: Option<Stops>) -> Result<Drift, String> {
        let placement = self.place()?;
        let sd = placement.sd_cells[0].max(placement.sd_cells[1]);
        let cells = ratio::compare(&self.plate_cells, &self.mirror_cells, placement.cells, sd.min(1.0));
        let looked_at = ratio::looked_at(&self.plate_cells) as f64;
        let comparable = cells.len() as f64 / looked_at;
        if comparable < LEAST_USED_FRACTION {
            return Err(format!(
                "only {:.0} % of the background can be compared (the rest is hidden, clipped or dark)",
                100.0 * comparable
            ));
        }
        let pooled = ratio::pool_stops(&cells, hint.map(|h| h.0)).ok_or("no background is comparable")?;
        let mut warnings: Vec<String> = placement.warning.iter().cloned().collect();
        let stops = luminance_drift(&cells, &pooled, &placement, &mut warnings);
        if stops.sd > LARGEST_SD_STOPS {
            return Err(format!("the background allows no better than ±{:.1} stop: {}", stops.sd, warnings.join("; ")));
        }
        let [red_green_stops, blue_green_stops] = colour_drift(&cells, &pooled, &mut warnings);
        let metadata_stops = stops_from_metadata(&self.plate.meta, &self.mirror.meta).map(|s| s.0);
        let consistent_with_metadata = metadata_stops.map(|stated| agrees(stops, stated));
        warnings.extend(metadata_warnings(&self.plate.meta, &self.mirror.meta));
        if let Some((stated, false)) = metadata_stops.zip(consistent_with_metadata) {
            warnings.push(metadata_contradiction(stops, stated));
        }
        Ok(Drift {
            stops,
            red_green_stops,
            blue_green_stops,
            shift: placement.shift,
            uneven_stops: pooled.uneven,
            used_fraction: pooled.cells as f64 / looked_at,
            metadata_stops,
            consistent_with_metadata,
            warnings,
        })
    }

    /// Finds the shift, or how far it may be off where the background is too plain to tell.
    fn place(&self) -> Result<Placement, String> {
        let planes = self.plate_cells.log_plane().zip(self.mirror_cells.log_plane());
        let (plate, mirror) = planes.ok_or("the frames have no cells")?;
        let on_cells = register_translation(&plate, &mirror);
        if let Some(shift) = self.at_full_resolution(&plate, on_cells.as_ref().ok()) {
            return Ok(self.placed(shift));
        }
        match on_cells {
            Ok(shift) => Ok(self.placed(self.in_plate_pixels(&shift))),
            Err(NotRegistered::NoAgreement) => {
                Err("plate and mirror frame do not show the same background: the camera was moved or reframed".into())
            }
            Err(why) => Ok(self.unplaced(why)),
        }
    }

    /// The shift to a few hundredths of a pixel, started from the cells' or, where they have none, from zero.
    fn at_full_resolution(&self, plane: &super::Plane, on_cells: Option<&Shift>) -> Option<Shift> {
        if !self.field.same_pixels() {
            return None;
        }
        let start = on_cells.map_or([0.0; 2], |s| [s.dx_px.value, s.dy_px.value].map(|d| d * self.field.cell_px[0]));
        let plate = Pixels::new(self.plate, self.plate_cells.lift, None);
        let mirror = Pixels::new(self.mirror, self.mirror_cells.lift, Some(&self.mask));
        let found = refine_on_tiles(&plate, &mirror, plane, &self.field, start)?;
        // From zero it is only believed on plain evidence: a wrong valley nearby fits weakly.
        let plain = on_cells.is_some() || found.agreement > 0.5;
        believed(&found).ok().filter(|_| plain)
    }

    fn in_plate_pixels(&self, shift: &Shift) -> Shift {
        let scale = self.field.cell_px[0];
        let scaled = |d: Estimate| Estimate::new(d.value * scale, d.sd.hypot(CELL_SHIFT_SD) * scale);
        Shift { dx_px: scaled(shift.dx_px), dy_px: scaled(shift.dy_px), texture: shift.texture / scale, ..*shift }
    }

    fn placed(&self, shift: Shift) -> Placement {
        let scale = self.field.cell_px[0];
        Placement {
            shift: Some(shift),
            cells: [shift.dx_px.value / scale, shift.dy_px.value / scale],
            sd_cells: [shift.dx_px.sd / scale, shift.dy_px.sd / scale],
            warning: None,
        }
    }

    fn unplaced(&self, why: NotRegistered) -> Placement {
        let sd = UNKNOWN_SHIFT_OF_WIDTH * self.field.width as f64;
        let warning = format!(
            "plate and mirror frame could not be registered because {}: the camera is taken to stand still within \
             1 % of the frame width",
            why.reason()
        );
        Placement { shift: None, cells: [0.0; 2], sd_cells: [sd, sd], warning: Some(warning) }
    }
}

/// The common value with everything that makes it less certain at the sphere's place.
fn luminance_drift(cells: &[Cell], pooled: &Pooled, placement: &Placement, warnings: &mut Vec<String>) -> Estimate {
    let slope = ratio::mean_slope(cells, pooled);
    let misplaced = (slope[0] * placement.sd_cells[0]).hypot(slope[1] * placement.sd_cells[1]);
    let mut stops = pooled.estimate.widened(misplaced).widened(pooled.uneven);
    if pooled.uneven > NOTABLE_UNEVEN_STOPS {
        warnings.push(format!(
            "the difference varies by ±{:.2} stop over the frame: other lights, a shadow or vignetting",
            pooled.uneven
        ));
    }
    if let Some(change) = ratio::change_with_level(cells, pooled).filter(|c| c.abs() > NOTABLE_LEVEL_STOPS) {
        warnings.push(format!(
            "the difference changes with brightness ({change:+.2} stop over its usual range): tone curve, flare \
             or black level differ"
        ));
        stops = stops.widened(change);
    }
    if let Some(distance) = pooled.rival {
        warnings.push(format!(
            "two parts of the background disagree by {distance:.2} stop and neither is clearly the larger"
        ));
        stops = stops.widened(0.5 * distance);
    } else if pooled.agreeing < 0.6 {
        warnings.push(format!("{:.0} % of the background has changed or moved", 100.0 * (1.0 - pooled.agreeing)));
    }
    stops
}

/// Red/green and blue/green drift; a very wide one where too few places have all three channels.
fn colour_drift(cells: &[Cell], luminance: &Pooled, warnings: &mut Vec<String>) -> [Estimate; 2] {
    let pooled = [0, 1].map(|which| ratio::pool_colour(cells, luminance, which).filter(|p| p.cells >= 50));
    if pooled.iter().any(Option::is_none) {
        warnings.push("colour drift could not be measured: too few places have light in all three channels".to_owned());
    }
    pooled.map(|p| p.map_or(Estimate::new(0.0, 1.0), |p| p.estimate.widened(p.uneven)))
}

/// Measured and stated stops agree.
pub(crate) fn agrees(measured: Estimate, stated: f64) -> bool {
    (measured.value - stated).abs() <= METADATA_TOLERANCE_STOPS + 2.0 * measured.sd
}

fn metadata_contradiction(measured: Estimate, stated: f64) -> String {
    format!(
        "the background says the mirror frame was recorded {:+.2} ± {:.2} stops against the plate, the files' exposure \
         settings say {stated:+.2}: light, filter or development changed",
        measured.value, measured.sd
    )
}

/// What the files' own metadata say against comparing these two frames.
fn metadata_warnings(plate: &CaptureMeta, mirror: &CaptureMeta) -> Vec<String> {
    let mut warnings = Vec::new();
    if let Some((p, m)) = plate.focal_length_mm.zip(mirror.focal_length_mm)
        && (m / p - 1.0).abs() > FOCAL_TOLERANCE
    {
        warnings.push(format!("the focal length changed from {p:.1} mm (plate) to {m:.1} mm (mirror frame)"));
    }
    if plate.auto_white_balance == Some(true) || mirror.auto_white_balance == Some(true) {
        warnings.push("automatic white balance was on: colour drift may be the camera's own".to_owned());
    }
    if plate.t_stop.is_some() != mirror.t_stop.is_some()
        && plate.exposure_stops().is_some()
        && mirror.exposure_stops().is_some()
    {
        warnings.push("one file states a T-stop, the other an f-number: the stated stops compare only roughly".into());
    }
    warnings
}
