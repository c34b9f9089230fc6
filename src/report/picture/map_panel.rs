//! Panels by direction: unwrapped radiance and the difference in stops, with grid, axes and light marks.

use super::canvas::{Area, Canvas, FAINT_INK, INK, PAPER, Pen, RULE, hatch};
use super::display::Display;
use super::known_area;
use super::lettering::{Face, Lettering, SMALL, Style};
use super::light_marks::{self, Beside, Shape};
use super::resize::{Source, resized};
use super::stops_scale::{SCALE_END_STOPS, stops_colour};
use super::{EvidenceSide, LightMark, LinearPicture, LinearPictureGrey, check_size};
use crate::Result;

/// Room below a map for the azimuth axis and which way it runs. The elevation axis takes 46 px of the margin to the
/// left.
pub(super) const AXIS_BELOW: f32 = 44.0;

/// Lights smaller than this would be marked by a dot; the ring is drawn at least so large.
const SMALLEST_RING_DEG: f64 = 3.0;
/// Half the side of a mark of fixed size.
const SYMBOL_RADIUS: f32 = 8.0;
/// From one sign of the difference to the next, px.
const SIGN_STEP: f32 = 22.0;
/// Smaller differences have no sign; the usual tolerance of exposure.
const LEAST_SIGNED_STOPS: f32 = 0.25;
/// A light that is missing.
const GHOST_RADIUS: f32 = 12.0;
/// Where both sides have marks, numbers keep clear of the square that may stand around a ring.
const SHARED_REACH: f32 = 17.0;

const RUNS: Style = Style::new(Face::Plain, 16.0, FAINT_INK);

/// Which way the maps run.
const AS_IN_THE_SPHERE: &str = "left and right as in the sphere; in a lat-long map they are swapped";
const FROM_INSIDE: &str = "as a lat-long map seen from inside; in the sphere it runs the other way";

/// A map by direction on the page.
#[derive(Debug, Clone, Copy)]
pub(super) struct Map {
    pub(super) area: Area,
    /// Frame right lies left, as one standing inside a lat-long map sees it.
    pub(super) from_inside: bool,
}

impl Map {
    /// The column of the picture that column `x` of the panel shows.
    fn column(self, x: usize) -> usize {
        if self.from_inside { (self.area.width as usize).saturating_sub(x + 1) } else { x }
    }
}

/// Unwrapped radiance of one side with its lights.
pub(super) fn draw_unwrapped(
    canvas: &mut Canvas,
    lettering: &Lettering,
    side: &EvidenceSide,
    (letter, shape): (&str, Shape),
    panel: Map,
    display: &Display,
) -> Result<()> {
    draw_picture(canvas, &side.unwrapped, panel, display)?;
    grid(canvas, panel);
    axes(canvas, lettering, panel);
    for (number, light) in light_marks::numbered(&side.sphere.lights) {
        draw_light(canvas, lettering, light, (&format!("{letter}{number}"), shape), panel);
    }
    for ghost in &side.sphere.ghosts {
        let at = place(ghost.azimuth_deg, ghost.elevation_deg, panel);
        light_marks::symbol(canvas, at, GHOST_RADIUS, Shape::Ghost, false);
        let words = format!("{} missing", ghost.name);
        light_marks::tag(canvas, lettering, at, GHOST_RADIUS, &words, Beside::Below, panel.area);
    }
    Ok(())
}

/// The difference in stops with the lights of both sides.
pub(super) fn draw_difference(
    canvas: &mut Canvas,
    lettering: &Lettering,
    difference: &LinearPictureGrey,
    sides: [(&EvidenceSide, &str, Shape); 2],
    panel: Map,
) -> Result<()> {
    check_size(difference.width, difference.height, difference.values.len())?;
    let (width, height) = (panel.area.width as usize, panel.area.height as usize);
    let (values, _) = difference.values.as_chunks::<1>();
    let fitted = resized(&Source { width: difference.width, height: difference.height, pixels: values }, width, height);
    let (left, top) = (panel.area.x as usize, panel.area.y as usize);
    let known: Vec<bool> = fitted.iter().map(|(_, known)| *known >= 0.5).collect();
    let shown = known_area::shown(&known, width);
    let stops_at = |x: usize, y: usize| {
        let at = y * width + x;
        let shows = shown.get(at).copied().unwrap_or(false);
        let source = known_area::nearest_known(&known, width, at).filter(|_| shows)?;
        fitted.get(source).map(|([stops], _)| *stops)
    };
    let pixel = |x: usize, y: usize| {
        let stops = stops_at(panel.column(x), y);
        Some(stops.and_then(stops_colour).unwrap_or_else(|| hatch(left + x, top + y)))
    };
    canvas.pixels([left, top], [width, height], pixel);
    signs(canvas, panel, stops_at);
    grid(canvas, panel);
    axes(canvas, lettering, panel);
    let missing: Vec<&str> =
        sides.iter().flat_map(|(side, _, _)| &side.sphere.ghosts).map(|ghost| ghost.name.as_str()).collect();
    for (side, letter, shape) in sides {
        for (number, light) in light_marks::numbered(&side.sphere.lights) {
            let at = place(light.azimuth_deg, light.elevation_deg, panel);
            let name = format!("{letter}{number}");
            let shape = if missing.contains(&name.as_str()) { Shape::Ghost } else { shape };
            light_marks::symbol(canvas, at, SYMBOL_RADIUS, shape, light.clipped);
            light_marks::tag(canvas, lettering, at, SHARED_REACH, &name, Beside::of(shape), panel.area);
        }
    }
    Ok(())
}

/// The scale of differences with numbers, the bar within `area`, the words beside and below it.
pub(super) fn draw_stops_legend(canvas: &mut Canvas, lettering: &Lettering, area: Area) {
    let width = area.width as usize;
    let across = |x: usize| (x as f32 + 0.5) / area.width * 2.0 * SCALE_END_STOPS - SCALE_END_STOPS;
    canvas.pixels([area.x as usize, area.y as usize], [width, area.height as usize], |x, _| stops_colour(across(x)));
    canvas.frame(area, Pen::new(RULE, 1.0));
    for (stops, words) in
        [(-2.0, "-2"), (-1.0, "-1"), (-0.5, "-0.5"), (0.0, "0"), (0.5, "+0.5"), (1.0, "+1"), (2.0, "+2")]
    {
        let x = area.x + (stops + SCALE_END_STOPS) / (2.0 * SCALE_END_STOPS) * area.width;
        canvas.polyline(&[[x, area.bottom()], [x, area.bottom() + 5.0]], Pen::new(INK, 1.0));
        lettering.text_centred(canvas, x, area.bottom() + 18.0, words, SMALL);
    }
}

/// Plus and minus signs where the difference is telling, so that a print without colour says which side is brighter.
fn signs(canvas: &mut Canvas, panel: Map, stops_at: impl Fn(usize, usize) -> Option<f32>) {
    let (columns, rows) = ((panel.area.width / SIGN_STEP) as usize, (panel.area.height / SIGN_STEP) as usize);
    for (column, row) in (0..columns).flat_map(|column| (0..rows).map(move |row| (column, row))) {
        let [x, y] = [column, row].map(|step| (step as f32 + 0.5) * SIGN_STEP);
        let Some(stops) = stops_at(panel.column(x as usize), y as usize) else { continue };
        if stops.abs() < LEAST_SIGNED_STOPS {
            continue;
        }
        let at = [panel.area.x + x, panel.area.y + y];
        let arm = if stops.abs() < 1.0 { 3.5 } else { 5.5 };
        let pen = Pen::new(if stops.abs() < 1.0 { INK } else { PAPER }, 1.6).opacity(0.85);
        canvas.polyline(&[[at[0] - arm, at[1]], [at[0] + arm, at[1]]], pen);
        if stops > 0.0 {
            canvas.polyline(&[[at[0], at[1] - arm], [at[0], at[1] + arm]], pen);
        }
    }
}

/// A linear picture in a panel, hatched where nothing is known.
fn draw_picture(canvas: &mut Canvas, picture: &LinearPicture, panel: Map, display: &Display) -> Result<()> {
    let (width, height) = (panel.area.width as usize, panel.area.height as usize);
    let fitted = resized(&picture.source()?, width, height);
    let known: Vec<bool> = fitted.iter().map(|(_, known)| *known >= 0.5).collect();
    let shown = known_area::shown(&known, width);
    let (left, top) = (panel.area.x as usize, panel.area.y as usize);
    canvas.pixels([left, top], [width, height], |x, y| {
        let at = y * width + panel.column(x);
        let shows = shown.get(at).copied().unwrap_or(false);
        let source = known_area::nearest_known(&known, width, at).filter(|_| shows);
        let rgb = source.and_then(|at| fitted.get(at)).map(|(rgb, _)| display.rgb(*rgb));
        Some(rgb.unwrap_or_else(|| hatch(left + x, top + y)))
    });
    Ok(())
}

/// Thin lines every 30 degrees of elevation and 45 of azimuth, stronger on the horizon and towards the camera.
fn grid(canvas: &mut Canvas, panel: Map) {
    for azimuth_deg in [-135.0, -90.0, -45.0, 0.0, 45.0, 90.0, 135.0] {
        grid_line(canvas, [azimuth_deg, 90.0], [azimuth_deg, -90.0], azimuth_deg == 0.0, panel);
    }
    for elevation_deg in [-60.0, -30.0, 0.0, 30.0, 60.0] {
        grid_line(canvas, [-180.0, elevation_deg], [180.0, elevation_deg], elevation_deg == 0.0, panel);
    }
    canvas.frame(panel.area, Pen::new(INK, 1.0));
}

/// A light line beside a dark one shows on any background.
fn grid_line(canvas: &mut Canvas, from: [f64; 2], to: [f64; 2], strong: bool, panel: Map) {
    let opacity = if strong { 0.5 } else { 0.26 };
    let (from, to) = (place(from[0], from[1], panel), place(to[0], to[1], panel));
    let moved = |[x, y]: [f32; 2], by: f32| [x.round() + by, y.round() + by];
    canvas.polyline(&[moved(from, 0.5), moved(to, 0.5)], Pen::new(PAPER, 1.0).opacity(opacity));
    canvas.polyline(&[moved(from, 1.5), moved(to, 1.5)], Pen::new(INK, 1.0).opacity(opacity * 0.6));
}

/// Names of the directions below, elevations to the left.
fn axes(canvas: &mut Canvas, lettering: &Lettering, panel: Map) {
    let y = panel.area.bottom() + 18.0;
    lettering.text(canvas, panel.area.x, y, "behind", SMALL);
    lettering.text_right(canvas, panel.area.right(), y, "behind", SMALL);
    let runs = if panel.from_inside { FROM_INSIDE } else { AS_IN_THE_SPHERE };
    let runs = lettering.fitted(runs, RUNS, panel.area.width);
    lettering.text(canvas, panel.area.x, y + 20.0, &runs, RUNS);
    for (azimuth_deg, words) in [(-90.0, "-90 frame left"), (0.0, "0 camera"), (90.0, "frame right +90")] {
        lettering.text_centred(canvas, place(azimuth_deg, 0.0, panel)[0], y, words, SMALL);
    }
    for (elevation_deg, words) in
        [(90.0, "+90"), (60.0, "+60"), (30.0, "+30"), (0.0, "0"), (-30.0, "-30"), (-60.0, "-60"), (-90.0, "-90")]
    {
        let at = place(0.0, elevation_deg, panel)[1];
        let baseline = (at + 4.5).clamp(panel.area.y + 10.0, panel.area.bottom());
        lettering.text_right(canvas, panel.area.x - 6.0, baseline, words, SMALL);
    }
}

/// Where a direction lies in a panel.
fn place(azimuth_deg: f64, elevation_deg: f64, panel: Map) -> [f32; 2] {
    let azimuth_deg = if panel.from_inside { -azimuth_deg } else { azimuth_deg };
    let across = (azimuth_deg + 180.0) / 360.0;
    let down = (90.0 - elevation_deg) / 180.0;
    [panel.area.x + across as f32 * panel.area.width, panel.area.y + down as f32 * panel.area.height]
}

/// A photographed light as the outline of its disc on the map, one of the CG as a square as wide; one too small to
/// show, or cut by the map's edge, as a mark of fixed size.
fn draw_light(canvas: &mut Canvas, lettering: &Lettering, light: &LightMark, (name, shape): (&str, Shape), panel: Map) {
    let at = place(light.azimuth_deg, light.elevation_deg, panel);
    let radius_deg = light.angular_radius_deg.filter(|radius| *radius > SMALLEST_RING_DEG);
    let reach = radius_deg.map_or(SYMBOL_RADIUS, |radius| (radius / 180.0) as f32 * panel.area.height);
    let reach = reach.clamp(SYMBOL_RADIUS, 120.0);
    let ring = radius_deg.map(|radius| disc_outline(light.azimuth_deg, light.elevation_deg, radius, panel));
    match ring.filter(|ring| shape == Shape::Ring && is_whole(ring, panel)) {
        Some(ring) => light_marks::outline(canvas, &ring, at, light.clipped),
        // A square is as wide as the light.
        None if radius_deg.is_some() && shape == Shape::Square => {
            let [x, y] = at;
            let corners = [[-reach, -reach], [reach, -reach], [reach, reach], [-reach, reach]];
            light_marks::outline(canvas, &corners.map(|[dx, dy]| [x + dx, y + dy]), at, light.clipped);
        }
        None => light_marks::symbol(canvas, at, reach, shape, light.clipped),
    }
    light_marks::tag(canvas, lettering, at, reach, name, Beside::of(shape), panel.area);
}

/// Points of the circle at `radius_deg` around a direction, on the map.
fn disc_outline(azimuth_deg: f64, elevation_deg: f64, radius_deg: f64, panel: Map) -> Vec<[f32; 2]> {
    let (azimuth, elevation, radius) = (azimuth_deg.to_radians(), elevation_deg.to_radians(), radius_deg.to_radians());
    let point = |step: u32| {
        let around = f64::from(step) / 48.0 * std::f64::consts::TAU;
        let (up, aside) = (radius.sin() * around.cos(), radius.sin() * around.sin());
        let y = radius.cos() * elevation.sin() + up * elevation.cos();
        let ahead = radius.cos() * elevation.cos() - up * elevation.sin();
        let turned = azimuth + aside.atan2(ahead);
        place(turned.to_degrees(), y.clamp(-1.0, 1.0).asin().to_degrees(), panel)
    };
    (0..48).map(point).collect()
}

/// Discs that cross the seam behind or hold a pole have no closed outline on the map.
fn is_whole(points: &[[f32; 2]], panel: Map) -> bool {
    points.iter().all(|[x, _]| (panel.area.x..=panel.area.right()).contains(x))
        && points.iter().zip(points.iter().cycle().skip(1)).all(|(a, b)| (a[0] - b[0]).abs() < panel.area.width / 4.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PANEL: Map = Map { area: Area { x: 100.0, y: 50.0, width: 360.0, height: 180.0 }, from_inside: false };

    fn assert_near(at: [f32; 2], wanted: [f32; 2]) {
        assert!((at[0] - wanted[0]).abs() < 1e-3 && (at[1] - wanted[1]).abs() < 1e-3, "{at:?} {wanted:?}");
    }

    #[test]
    fn directions_lie_where_the_axes_say() {
        assert_near(place(0.0, 0.0, PANEL), [280.0, 140.0]);
        assert_near(place(-90.0, 0.0, PANEL), [190.0, 140.0]);
        assert_near(place(90.0, 45.0, PANEL), [370.0, 95.0]);
        assert_near(place(180.0, -90.0, PANEL), [460.0, 230.0]);
    }

    #[test]
    fn seen_from_inside_frame_right_lies_left() {
        let inside = Map { from_inside: true, ..PANEL };
        assert_near(place(90.0, 45.0, inside), [190.0, 95.0]);
        assert_eq!((inside.column(0), PANEL.column(0)), (359, 0));
    }

    #[test]
    fn a_disc_keeps_its_angular_radius() {
        let ring = disc_outline(40.0, 50.0, 10.0, PANEL);
        let cosine_to_centre = |[x, y]: [f32; 2]| {
            let azimuth = f64::from(x - 280.0).to_radians() - 40_f64.to_radians();
            let elevation = f64::from(140.0 - y).to_radians();
            let centre = 50_f64.to_radians();
            elevation.sin() * centre.sin() + elevation.cos() * centre.cos() * azimuth.cos()
        };
        for point in ring {
            assert!((cosine_to_centre(point) - 10_f64.to_radians().cos()).abs() < 1e-5);
        }
    }

    #[test]
    fn discs_over_the_seam_or_a_pole_are_not_whole() {
        assert!(is_whole(&disc_outline(40.0, 50.0, 10.0, PANEL), PANEL));
        assert!(!is_whole(&disc_outline(176.0, 0.0, 10.0, PANEL), PANEL));
        assert!(!is_whole(&disc_outline(0.0, 86.0, 10.0, PANEL), PANEL));
    }
}
