//! Was the mirror frame shot as the plate was? Exposure and colour drift on the background that both show.

use super::backdrop::{Backdrop, Side};
use super::field::{Field, SphereMask};
use super::focus::{self, FocusDifference};
use super::ratio::{self, Cell, Pooled};
use super::tiles::{Pixels, Squares, fit_warp_on_tiles, refine_on_tiles};
use super::warp::{Registration, WarpModel};
use super::warp_fit::{ROUGHLY_PX, SETTLED_PX};
use super::warp_start::register_warp_within;
use super::{NotRegistered, Shift, believed, register_translation};
use crate::base::parallel;
use crate::image::{CaptureMeta, Frame};
use crate::register::bracket::stops_from_metadata;
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
/// Two values closer than this are one, stops.
const NOTABLE_RIVAL_STOPS: f64 = 0.01;
/// Where less of the background than this agrees, much of it has changed.
const MUCH_AGREES: f64 = 0.6;
/// Motion of the frame's corner beyond a shift from which it is said, px.
const NOTABLE_TURN_PX: f64 = 0.2;
/// Camera JPEGs read as sRGB over- or under-state stops by up to 30 % (measured on camera files of known exposure).
const TONE_CURVE_SHARE: f64 = 0.3;
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
    /// How far the mirror frame's picture lies from the plate's, at the frame's centre, in plate pixels; `None` where
    /// unknown.
    pub shift: Option<Shift>,
    /// How much the difference varies over the frame beyond noise, one standard deviation, stops: other lights, a
    /// shadow or vignetting.
    pub uneven_stops: f64,
    /// The map from plate to mirror frame, in plate pixels; `None` where unknown.
    pub registration: Option<Box<Registration>>,
    /// Which of the two is the softer, and by how much; `None` where their detail does not tell.
    pub focus: Option<FocusDifference>,
    /// A second value is borne out by nearly as much of the background, or much of it changed.
    pub disputed: bool,
    /// Neither frame has any detail above its noise: nothing shows that both look at the same thing.
    pub featureless: bool,
    /// Share of the frame, as far as it was read, whose ratio agreed.
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
    match compare_frames(plate, mirror_frame, Some(mirror_sphere), "mirror frame", exposure_difference_hint) {
        Ok(drift) => DriftOutcome::Measured(drift),
        Err(reason) => DriftOutcome::NotMeasurable(reason),
    }
}

/// Measures how another frame of the same view differs from the plate; `name` is what the reasons call it.
///
/// # Errors
/// Why nothing can be told.
pub(crate) fn compare_frames(
    plate: &Frame,
    other: &Frame,
    sphere: Option<&Outline>,
    name: &'static str,
    hint: Option<Stops>,
) -> Result<Drift, String> {
    Comparison::of(plate, other, sphere, name)?.measure(hint)
}

/// The two frames on their common grid.
struct Comparison<'a> {
    plate: &'a Frame,
    mirror: &'a Frame,
    /// What the reasons call the frame that is compared with the plate.
    name: &'static str,
    mask: Option<SphereMask>,
    field: Field,
    plate_cells: Backdrop,
    mirror_cells: Backdrop,
    /// Squares of plate and mirror frame at full resolution.
    squares: [Squares; 2],
}

/// Where the mirror frame's picture lies.
struct Placement {
    shift: Option<Shift>,
    /// In cells; a map that moves nothing where it is unknown.
    registration: Option<Registration>,
    sd_cells: [f64; 2],
    unplaced: Option<NotRegistered>,
    warning: Option<String>,
}

impl Placement {
    /// The shift of a cell, in cells.
    fn at(&self, [x, y]: [usize; 2]) -> [f64; 2] {
        let place = [x as f64 + 0.5, y as f64 + 0.5];
        self.registration.map_or([0.0; 2], |registration| registration.warp.displacement(place))
    }
}

impl<'a> Comparison<'a> {
    fn of(plate: &'a Frame, mirror: &'a Frame, sphere: Option<&Outline>, name: &'static str) -> Result<Self, String> {
        let field = Field::shared(plate, mirror)?.where_read(plate, mirror);
        let mask = sphere.map(SphereMask::of);
        let (plate_cells, mirror_cells) = parallel::both(
            || Backdrop::of(plate, &field, Side::Plate, None),
            || Backdrop::of(mirror, &field, Side::Mirror, mask.as_ref()),
        );
        for (cells, name) in [(&plate_cells, "plate"), (&mirror_cells, name)] {
            let usable = cells.usable_fraction();
            if usable < LEAST_USED_FRACTION {
                return Err(format!(
                    "only {:.0} % of the {name} is usable background (the rest is hidden, clipped or missing)",
                    100.0 * usable
                ));
            }
        }
        Ok(Self { plate, mirror, name, mask, field, plate_cells, mirror_cells, squares: Default::default() })
    }

    fn measure(&self, hint: Option<Stops>) -> Result<Drift, String> {
        let placement = self.place()?;
        let sd = placement.sd_cells[0].max(placement.sd_cells[1]);
        let cells = ratio::compare(&self.plate_cells, &self.mirror_cells, &|cell| placement.at(cell), sd.min(1.0));
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
        let mut stops = luminance_drift(&cells, &pooled, &placement, &mut warnings);
        if let Some(doubt) = self.tone_curve_uncertainty(stops.value) {
            warnings.push(tone_curve_warning(self.name));
            stops = stops.widened(doubt);
        }
        if stops.sd > LARGEST_SD_STOPS {
            return Err(format!(
                "the background determines it only to ±{:.1} stops: {}",
                stops.sd,
                warnings.join("; ")
            ));
        }
        let [red_green_stops, blue_green_stops] = colour_drift(&cells, &pooled, &mut warnings);
        let metadata_stops = stops_from_metadata(&self.plate.meta, &self.mirror.meta).map(|s| s.0);
        let focus = self.focus(&placement);
        warnings.extend(focus.and_then(|f| f.warning(self.name)));
        let consistent_with_metadata = metadata_stops.map(|stated| agrees(stops, stated));
        warnings.extend(metadata_warnings(&self.plate.meta, &self.mirror.meta, self.name));
        if let Some((stated, false)) = metadata_stops.zip(consistent_with_metadata) {
            warnings.push(metadata_contradiction(stops, stated, self.name));
        }
        Ok(Drift {
            stops,
            red_green_stops,
            blue_green_stops,
            shift: placement.shift,
            uneven_stops: pooled.uneven,
            registration: placement.registration.map(|r| Box::new(self.in_frame(&r.scaled(self.field.cell_px[0])))),
            focus,
            disputed: pooled.agreeing < MUCH_AGREES || notable_rival(&pooled).is_some(),
            featureless: placement.unplaced == Some(NotRegistered::NoTexture),
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
        // Where the pixels themselves are compared later, the cells need but give a start.
        let settled = if self.field.same_pixels() { ROUGHLY_PX } else { SETTLED_PX };
        let mapped = register_warp_within(&plate, &mirror, settled).ok();
        if let Some(turned) = mapped.as_ref().and_then(|on_cells| self.turned(&plate, on_cells)) {
            return Ok(turned);
        }
        let shifted = mapped.filter(|on_cells| on_cells.model == WarpModel::Translation);
        let start = shifted.map(|on_cells| on_cells.warp.displacement([0.0; 2]));
        if let Some(shift) = start.and_then(|start| self.at_full_resolution(&plate, Some(start))) {
            return Ok(self.placed(shift));
        }
        let on_cells = register_translation(&plate, &mirror);
        let start = on_cells.as_ref().ok().map(|shift| [shift.dx_px.value, shift.dy_px.value]);
        if let Some(shift) = self.at_full_resolution(&plate, start) {
            return Ok(self.placed(shift));
        }
        match on_cells {
            Ok(shift) => Ok(self.placed(self.in_plate_pixels(&shift))),
            Err(NotRegistered::NoAgreement) => Err(format!(
                "plate and {} do not show the same background: the camera was moved or reframed",
                self.name
            )),
            Err(why) => Ok(self.unplaced(why)),
        }
    }

    /// The map of a camera that rolled, zoomed, tilted or panned between the two, where the frames prove one.
    fn turned(&self, plate: &super::Plane, on_cells: &Registration) -> Option<Placement> {
        let scale = self.field.cell_px[0];
        let in_pixels = if self.field.same_pixels() {
            let [p, m] = self.pixels();
            let fine = fit_warp_on_tiles(&p, &m, plate, &self.field, &on_cells.warp.scaled(scale)).ok()?;
            Some(fine).filter(|r| r.model != WarpModel::Translation)?
        } else {
            let coarse = Some(*on_cells).filter(|r| r.model != WarpModel::Translation)?.scaled(scale);
            Registration { method_sd_px: CELL_SHIFT_SD * scale, ..coarse }
        };
        let frame = [self.plate.size.width, self.plate.size.height].map(|side| side as f64);
        let in_frame = self.in_frame(&in_pixels);
        let [dx_px, dy_px] = in_frame.displacement(frame.map(|s| 0.5 * s));
        let shift = Shift { dx_px, dy_px, residual: in_pixels.residual, texture: 0.0, agreement: in_pixels.agreement };
        let sd = in_pixels.largest_sd_px(self.size_px()) / scale;
        Some(Placement {
            shift: Some(shift),
            registration: Some(in_pixels.scaled(scale.recip())),
            sd_cells: [sd, sd],
            unplaced: None,
            warning: turned_warning(&in_frame, frame, self.name),
        })
    }

    /// A registration of the field's pixels as one of the whole frame's.
    fn in_frame(&self, of_field: &Registration) -> Registration {
        of_field.moved(self.field.corner_px())
    }

    /// Which frame is softer, on the detail that both show.
    fn focus(&self, placement: &Placement) -> Option<FocusDifference> {
        let registration = placement.registration.filter(|_| self.field.same_pixels())?;
        let plane = self.plate_cells.log_plane()?;
        focus::difference(&self.pixels(), &plane, &self.field, &registration.scaled(self.field.cell_px[0]).warp)
    }

    fn pixels(&self) -> [Pixels<'_>; 2] {
        [
            Pixels::new(self.plate, &self.field, self.plate_cells.lift, None, &self.squares[0]),
            Pixels::new(self.mirror, &self.field, self.mirror_cells.lift, self.mask.as_ref(), &self.squares[1]),
        ]
    }

    fn size_px(&self) -> [f64; 2] {
        [self.field.width, self.field.height].map(|cells| cells as f64 * self.field.cell_px[0])
    }

    /// What an unknown tone curve leaves open of a difference in stops; `None` where none is at work.
    fn tone_curve_uncertainty(&self, stops: f64) -> Option<f64> {
        let unknown =
            |frame: &Frame| frame.format == "jpeg" && !matches!(&*frame.record.encoding_from, "sheet" | "option");
        let doubt = TONE_CURVE_SHARE * stops.abs();
        ((unknown(self.plate) || unknown(self.mirror)) && doubt > 0.01).then_some(doubt)
    }

    /// The shift to a few hundredths of a pixel, started from that in cells or, where there is none, from zero.
    fn at_full_resolution(&self, plane: &super::Plane, on_cells: Option<[f64; 2]>) -> Option<Shift> {
        if !self.field.same_pixels() {
            return None;
        }
        let start = on_cells.unwrap_or_default().map(|d| d * self.field.cell_px[0]);
        let [plate, mirror] = self.pixels();
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
        let registration = Registration::of_shift(&shift, self.size_px()).scaled(scale.recip());
        Placement {
            shift: Some(shift),
            registration: Some(registration),
            sd_cells: [shift.dx_px.sd / scale, shift.dy_px.sd / scale],
            unplaced: None,
            warning: None,
        }
    }

    fn unplaced(&self, why: NotRegistered) -> Placement {
        let sd = UNKNOWN_SHIFT_OF_WIDTH * self.plate.size.width as f64 / self.field.cell_px[0];
        let warning = format!(
            "plate and {} could not be registered because {}: the camera is assumed to stand still within 1 % of \
             the frame width",
            self.name,
            why.reason()
        );
        Placement { shift: None, registration: None, sd_cells: [sd, sd], unplaced: Some(why), warning: Some(warning) }
    }
}

/// How far a second value lies that nearly as much of the background bears out, where that is worth a word.
fn notable_rival(pooled: &Pooled) -> Option<f64> {
    pooled.rival.filter(|distance| *distance > NOTABLE_RIVAL_STOPS)
}

/// The common value with everything that makes it less certain at the sphere's place.
fn luminance_drift(cells: &[Cell], pooled: &Pooled, placement: &Placement, warnings: &mut Vec<String>) -> Estimate {
    let slope = ratio::mean_slope(cells, pooled);
    let misplaced = (slope[0] * placement.sd_cells[0]).hypot(slope[1] * placement.sd_cells[1]);
    let mut stops = pooled.estimate.widened(misplaced).widened(pooled.uneven);
    if pooled.uneven > NOTABLE_UNEVEN_STOPS {
        warnings.push(format!(
            "the difference varies by ±{:.2} stops over the frame: different lights, a shadow or vignetting",
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
    if let Some(distance) = notable_rival(pooled) {
        warnings.push(format!(
            "two parts of the background disagree by {distance:.2} stop and neither is clearly the larger"
        ));
        stops = stops.widened(0.5 * distance);
    } else if pooled.agreeing < MUCH_AGREES {
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

fn metadata_contradiction(measured: Estimate, stated: f64, name: &str) -> String {
    format!(
        "the background says the {name} was recorded {:+.2} ± {:.2} stops against the plate, but the files' \
         exposure settings say {stated:+.2}: light, filter or development changed",
        measured.value, measured.sd
    )
}

/// In words, where more than a shift is worth mentioning.
fn turned_warning(found: &Registration, size: [f64; 2], name: &str) -> Option<String> {
    let shift = found.warp.displacement(size.map(|s| 0.5 * s));
    let beyond = found.warp.displacement([0.0, 0.0]);
    let is_notable = (beyond[0] - shift[0]).hypot(beyond[1] - shift[1]) > NOTABLE_TURN_PX;
    is_notable.then(|| format!(
        "the camera moved between plate and {name} (roll {:+.2}°, zoom {:+.2} %, {:.1} px over the frame): undone before \
         comparing",
        found.roll_deg().value,
        found.zoom_percent().value,
        found.misregistration_px(size).value
    ))
}

fn tone_curve_warning(name: &str) -> String {
    format!(
        "plate or {name} is a camera JPEG with its own tone curve: stops read from it may be a third off; a frame \
         developed from raw, or a stated encoding, would solve this"
    )
}

/// What the files' own metadata say against comparing these two frames.
fn metadata_warnings(plate: &CaptureMeta, mirror: &CaptureMeta, name: &str) -> Vec<String> {
    let mut warnings = Vec::new();
    if let Some((p, m)) = plate.focal_length_mm.zip(mirror.focal_length_mm)
        && (m / p - 1.0).abs() > FOCAL_TOLERANCE
    {
        warnings.push(format!("the focal length changed from {p:.1} mm (plate) to {m:.1} mm ({name})"));
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
