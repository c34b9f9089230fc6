//! The light as an OpenUSD layer in text form.
//!
//! Conventions, as the `usdLux` schemas of OpenUSD 26.11 state them (`pxr/usd/usdLux/schema.usda`; also openusd.org,
//! user guides, schemas):
//! - `DomeLight`: the top pole is +Y, and the texture follows OpenEXR's lat-long convention: its middle shows +Z, and
//!   +X lies to the left of the middle. The dome follows the transforms above it.
//! - A light of intensity 1 and exposure 0 that is seen directly renders as [1, 1, 1]; a dome's texture is multiplied
//!   by it.
//! - `DistantLight` shines along its local −Z; `angle` is its angular diameter. With `normalize` its illuminance on a
//!   surface that faces it is its intensity (sizeFactor = π sin² of half the angle), whatever its angle.
//! - `SphereLight` without `normalize`: intensity is its luminance.

use std::fmt::Write;

use nalgebra::{Matrix3, Vector3};

use super::SetLight;
use super::emitter::{Emitter, Shape};
use crate::sphere::tangents;

/// Millimetres of one unit of the stage: `metersPerUnit` is OpenUSD's default, centimetres.
const MM_PER_UNIT: f64 = 10.0;

/// The layer's text; `dome_file` is the dome's picture beside it.
pub(super) fn layer(light: &SetLight, shot: &str, dome_file: &str) -> String {
    let mut text = header(light, shot);
    let turn = light.stage.turn_deg();
    let _ = writeln!(text, "def Xform \"SetLight\"\n{{");
    let _ = writeln!(text, "    double xformOp:rotateY = {}", number(turn));
    let _ = writeln!(text, "    uniform token[] xformOpOrder = [\"xformOp:rotateY\"]\n");
    let _ = writeln!(text, "    def DomeLight \"Surroundings\"\n    {{");
    let _ = writeln!(text, "        float inputs:intensity = 1");
    let _ = writeln!(text, "        asset inputs:texture:file = @./{dome_file}@");
    let _ = writeln!(text, "        token inputs:texture:format = \"latlong\"\n    }}");
    for emitter in &light.emitters {
        text.push('\n');
        prim(&mut text, light, emitter);
    }
    text.push_str("}\n");
    text
}

fn header(light: &SetLight, shot: &str) -> String {
    let said = format!(
        "The light of the set by mirror {} of shot {}, written by plateproof {}. The origin is the middle of the \
         mirror sphere. {}. Values are the plate's scene-linear radiance: BT.709 primaries, D65 white.",
        light.mirror,
        shot,
        env!("CARGO_PKG_VERSION"),
        light.stage.words()
    );
    let mut text = String::from("#usda 1.0\n(\n");
    let _ = writeln!(text, "    doc = {}", quoted(&said));
    let _ = writeln!(text, "    defaultPrim = \"SetLight\"");
    let _ = writeln!(text, "    metersPerUnit = {}", number(MM_PER_UNIT / 1000.0));
    let _ = writeln!(text, "    upAxis = \"Y\"\n)\n");
    text
}

/// One light. Its strength is the largest of its channels, its colour the channels over that.
fn prim(text: &mut String, light: &SetLight, emitter: &Emitter) {
    let name = format!("Light_{}", emitter.place + 1);
    let direction = light.stage.in_map_axes(&emitter.direction);
    let (kind, rgb, size) = match emitter.shape {
        Shape::Distant => {
            let angle = format!("float inputs:angle = {}", number(2.0 * emitter.radius_rad.to_degrees()));
            ("DistantLight", emitter.irradiance_rgb, vec![angle, "bool inputs:normalize = 1".to_owned()])
        }
        Shape::Ball { radius_mm, .. } => {
            let radius = format!("float inputs:radius = {}", number(radius_mm / MM_PER_UNIT));
            ("SphereLight", emitter.radiance_rgb(), vec![radius, "bool inputs:normalize = 0".to_owned()])
        }
    };
    let strength = rgb.iter().copied().fold(0.0, f64::max);
    let colour = rgb.map(|channel| number(channel / strength)).join(", ");
    let place = match emitter.shape {
        Shape::Distant => Vector3::zeros(),
        Shape::Ball { position_mm, .. } => light.stage.in_map_axes(&position_mm) / MM_PER_UNIT,
    };
    let _ = writeln!(text, "    def {kind} \"{name}\"\n    {{");
    let _ = writeln!(text, "        float inputs:intensity = {}", number(strength));
    let _ = writeln!(text, "        color3f inputs:color = ({colour})");
    for line in size {
        let _ = writeln!(text, "        {line}");
    }
    let _ = writeln!(text, "        matrix4d xformOp:transform = {}", matrix(&facing_from(&direction), &place));
    let _ = writeln!(text, "        uniform token[] xformOpOrder = [\"xformOp:transform\"]\n    }}");
}

/// Axes of a light that shines along its −z from where `direction` points: columns x, y, z.
fn facing_from(direction: &Vector3<f64>) -> Matrix3<f64> {
    let [x, _] = tangents(direction);
    let y = direction.cross(&x);
    Matrix3::from_columns(&[x, y, *direction])
}

/// Row vectors multiply from the left, so that the rows are the images of the axes, and the last is the place.
fn matrix(axes: &Matrix3<f64>, place: &Vector3<f64>) -> String {
    let row = |v: Vector3<f64>, last: &str| format!("({}, {}, {}, {last})", number(v.x), number(v.y), number(v.z));
    let rows = [0, 1, 2].map(|i| row(axes.column(i).into_owned(), "0"));
    format!("( {}, {} )", rows.join(", "), row(*place, "1"))
}

/// Nine digits; more than a float holds.
fn number(value: f64) -> String {
    let rounded = format!("{value:.9}");
    let large = value.abs() >= 1e7 || (value != 0.0 && value.abs() < 1e-5);
    if large { format!("{value:.9e}") } else { rounded.trim_end_matches('0').trim_end_matches('.').to_owned() }
}

/// A string of the layer: what could end it or break the line is escaped.
fn quoted(text: &str) -> String {
    let printable = crate::printable_text(text);
    format!("\"{}\"", printable.replace('\\', "\\\\").replace('"', "\\\""))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_whole() {
        assert_eq!(number(0.0), "0");
        assert_eq!(number(-0.5), "-0.5");
        assert_eq!(number(12.0), "12");
        assert_eq!(number(1e9), "1.000000000e9");
    }

    #[test]
    fn a_light_shines_from_where_it_was_seen() {
        let direction = Vector3::new(0.3, 0.8, -0.4).normalize();
        let axes = facing_from(&direction);
        assert!((axes.determinant() - 1.0).abs() < 1e-12, "right-handed");
        assert!((axes * -Vector3::z() + direction).norm() < 1e-12);
    }

    #[test]
    fn hostile_names_stay_within_their_string() {
        assert_eq!(quoted("a \"b\" \\ c"), "\"a \\\"b\\\" \\\\ c\"");
        assert!(!quoted("a\nb").contains('\n'));
    }
}
