//! From XML to nodes.

use roxmltree::{Document, Node as Element};

use super::curves::{Exponent, Log, Negative};
use super::node::{Cdl, Node, Range};
use super::tables::{Table1d, Table3d};

/// What is wrong with a file, in words.
#[derive(Debug, PartialEq)]
pub(super) enum Fault {
    Malformed(String),
    Unsupported(String),
}

type Read<T> = Result<T, Fault>;

/// Entries of a one-dimensional table, at most.
const MOST_ENTRIES: usize = 1 << 20;
/// Side of a cube, at most.
const MOST_SIDE: usize = 257;
/// Entries of a table over all half floats.
const HALF_FLOATS: usize = 65_536;
/// Children of the list that are no steps.
const REMARKS: [&str; 4] = ["Description", "InputDescriptor", "OutputDescriptor", "Info"];

fn malformed<T>(cause: impl Into<String>) -> Read<T> {
    Err(Fault::Malformed(cause.into()))
}

/// The steps of a file in order.
pub(super) fn nodes(text: &str) -> Read<Vec<Node>> {
    let document = Document::parse(text).map_err(|error| Fault::Malformed(format!("it is not valid XML: {error}")))?;
    let root = document.root_element();
    if root.tag_name().name() != "ProcessList" {
        return malformed("its root is not a ProcessList");
    }
    let steps = root.children().filter(Element::is_element).filter(|e| !REMARKS.contains(&e.tag_name().name()));
    let nodes: Vec<Node> = steps.map(|e| node(&e)).collect::<Read<_>>()?;
    if nodes.is_empty() { malformed("it holds no process node") } else { Ok(nodes) }
}

fn node(element: &Element<'_, '_>) -> Read<Node> {
    let depths = [depth(element, "inBitDepth")?, depth(element, "outBitDepth")?];
    match element.tag_name().name() {
        "Matrix" => matrix(element, depths),
        "Range" => range(element, depths),
        "LUT1D" => table_1d(element, depths),
        "LUT3D" => table_3d(element, depths),
        "Log" => log(element),
        "Exponent" => exponent(element),
        "ASC_CDL" => cdl(element),
        other => Err(Fault::Unsupported(format!("its node \"{}\" is not supported", crate::printable_text(other)))),
    }
}

/// The value that stands for 1.
fn depth(element: &Element<'_, '_>, name: &str) -> Read<f64> {
    match element.attribute(name) {
        Some("8i") => Ok(255.0),
        Some("10i") => Ok(1023.0),
        Some("12i") => Ok(4095.0),
        Some("16i") => Ok(65_535.0),
        Some("16f" | "32f") => Ok(1.0),
        Some(other) => malformed(format!("{name} \"{}\" is not a bit depth", crate::printable_text(other))),
        None => malformed(format!("a {} lacks its {name}", element.tag_name().name())),
    }
}

fn child<'a, 'i>(element: &Element<'a, 'i>, name: &str) -> Option<Element<'a, 'i>> {
    element.children().find(|c| c.is_element() && c.tag_name().name() == name)
}

fn number(text: &str) -> Read<f64> {
    let value: Option<f64> = text.trim().parse().ok();
    match value.filter(|v| v.is_finite()) {
        Some(value) => Ok(value),
        None => malformed(format!("\"{}\" is not a finite number", crate::printable_text(text.trim()))),
    }
}

fn child_number(element: &Element<'_, '_>, name: &str) -> Read<Option<f64>> {
    child(element, name).map(|c| number(c.text().unwrap_or_default())).transpose()
}

fn attribute(element: &Element<'_, '_>, name: &str) -> Read<Option<f64>> {
    element.attribute(name).map(number).transpose()
}

fn three(text: &str) -> Read<[f64; 3]> {
    let values: Vec<f64> = text.split_whitespace().map(number).collect::<Read<_>>()?;
    <[f64; 3]>::try_from(values).map_err(|_| Fault::Malformed("three numbers are needed".to_owned()))
}

/// Dimensions and values of the Array.
fn array(element: &Element<'_, '_>, raw_halfs: bool) -> Read<(Vec<usize>, Vec<f64>)> {
    let Some(array) = child(element, "Array") else {
        return malformed(format!("a {} lacks its Array", element.tag_name().name()));
    };
    let dims = array.attribute("dim").unwrap_or_default().split_whitespace().map(str::parse).collect();
    let Ok(dims): Result<Vec<usize>, _> = dims else { return malformed("the dim of an Array is not whole numbers") };
    let value = |text: &str| if raw_halfs { half_of_code(text) } else { number(text) };
    let values: Vec<f64> = array.text().unwrap_or_default().split_whitespace().map(value).collect::<Read<_>>()?;
    Ok((dims, values))
}

fn half_of_code(text: &str) -> Read<f64> {
    let value = text.parse().ok().map(|code| half::f16::from_bits(code).to_f64()).filter(|v| v.is_finite());
    value.map_or_else(|| malformed("a raw half-float value is not the 16-bit code of a finite number"), Ok)
}

fn matrix(element: &Element<'_, '_>, [of_in, of_out]: [f64; 2]) -> Read<Node> {
    let (dims, values) = array(element, false)?;
    let columns = match (dims.as_slice(), values.len()) {
        ([3, 3] | [3, 3, 3], 9) => 3,
        ([3, 4] | [3, 4, 3], 12) => 4,
        _ => return malformed("a Matrix is not 3 x 3 or 3 x 4"),
    };
    let row = |i: usize| [0, 1, 2].map(|j| values[i * columns + j] * of_in / of_out);
    let offset = |i: usize| if columns == 4 { values[i * 4 + 3] / of_out } else { 0.0 };
    Ok(Node::Matrix { rows: [row(0), row(1), row(2)], offset: [offset(0), offset(1), offset(2)] })
}

fn range(element: &Element<'_, '_>, [of_in, of_out]: [f64; 2]) -> Read<Node> {
    let value = |name: &str, of: f64| Ok(child_number(element, name)?.map(|v| v / of));
    let low = (value("minInValue", of_in)?, value("minOutValue", of_out)?);
    let high = (value("maxInValue", of_in)?, value("maxOutValue", of_out)?);
    let clamped = element.attribute("style").is_none_or(|style| style != "noClamp");
    let range = match (low, high) {
        ((Some(in0), Some(out0)), (Some(in1), Some(out1))) if in1 > in0 => {
            let scale = (out1 - out0) / (in1 - in0);
            Range { scale, offset: out0 - in0 * scale, low: out0, high: out1 }
        }
        ((Some(in0), Some(out0)), (None, None)) => {
            Range { scale: 1.0, offset: out0 - in0, low: out0, high: f64::INFINITY }
        }
        ((None, None), (Some(in1), Some(out1))) => {
            Range { scale: 1.0, offset: out1 - in1, low: f64::NEG_INFINITY, high: out1 }
        }
        _ => return malformed("a Range lacks one of a pair of bounds, or they are in the wrong order"),
    };
    let open = Range { low: f64::NEG_INFINITY, high: f64::INFINITY, ..range };
    Ok(Node::Range(if clamped { range } else { open }))
}

fn table_1d(element: &Element<'_, '_>, [_, of_out]: [f64; 2]) -> Read<Node> {
    let is = |name: &str| element.attribute(name) == Some("true");
    let (dims, values) = array(element, is("rawHalfs"))?;
    let [count, columns @ (1 | 3)] = dims[..] else { return malformed("a LUT1D is not N x 1 or N x 3") };
    if !(2..=MOST_ENTRIES).contains(&count) || values.len() != count * columns {
        return malformed(format!("a LUT1D holds {} values instead of {count} x {columns}", values.len()));
    }
    let half_domain = is("halfDomain");
    if half_domain && count != HALF_FLOATS {
        return malformed(format!("a LUT1D over half floats holds {count} entries instead of {HALF_FLOATS}"));
    }
    let of_out = if is("rawHalfs") { 1.0 } else { of_out };
    let entry = |row: &[f64]| [0, 1, 2].map(|c| row[c.min(columns - 1)] / of_out);
    Ok(Node::Table1d(Table1d { entries: values.chunks_exact(columns).map(entry).collect(), half_domain }))
}

fn table_3d(element: &Element<'_, '_>, [_, of_out]: [f64; 2]) -> Read<Node> {
    let (dims, values) = array(element, false)?;
    let [side, a, b, 3] = dims[..] else { return malformed("a LUT3D is not N x N x N x 3") };
    if a != side || b != side || !(2..=MOST_SIDE).contains(&side) || values.len() != side * side * side * 3 {
        return malformed(format!("a LUT3D holds {} values for the dim {side} {a} {b} 3", values.len()));
    }
    let entries = values.chunks_exact(3).map(|v| [v[0] / of_out, v[1] / of_out, v[2] / of_out]).collect();
    let tetrahedral = element.attribute("interpolation") == Some("tetrahedral");
    Ok(Node::Table3d(Table3d { side, entries, tetrahedral }))
}

/// The channels that a parameter element speaks of.
fn channels(parameters: &Element<'_, '_>) -> Read<std::ops::Range<usize>> {
    match parameters.attribute("channel") {
        None => Ok(0..3),
        Some("R") => Ok(0..1),
        Some("G") => Ok(1..2),
        Some("B") => Ok(2..3),
        Some(other) => malformed(format!("\"{}\" is no channel", crate::printable_text(other))),
    }
}

fn parameters<'a, 'i>(element: &Element<'a, 'i>, name: &'static str) -> impl Iterator<Item = Element<'a, 'i>> {
    element.children().filter(move |c| c.is_element() && c.tag_name().name() == name)
}

fn log(element: &Element<'_, '_>) -> Read<Node> {
    let (base, to_log, camera) = match element.attribute("style").unwrap_or_default() {
        "log10" => (10.0, true, false),
        "antiLog10" => (10.0, false, false),
        "log2" | "linToLog" => (2.0, true, false),
        "antiLog2" | "logToLin" => (2.0, false, false),
        "cameraLinToLog" => (2.0, true, true),
        "cameraLogToLin" => (2.0, false, true),
        other => return malformed(format!("\"{}\" is not a style of Log", crate::printable_text(other))),
    };
    let mut curves = [Log::plain(base, to_log); 3];
    for told in parameters(element, "LogParams") {
        let curve = log_curve(&told, Log::plain(base, to_log), camera)?;
        curves[channels(&told)?].fill(curve);
    }
    if curves.iter().all(Log::is_sound) {
        Ok(Node::Log(curves))
    } else {
        malformed("the numbers of a Log do not make a curve")
    }
}

fn log_curve(told: &Element<'_, '_>, plain: Log, camera: bool) -> Read<Log> {
    let lin_break = attribute(told, "linSideBreak")?;
    if camera && lin_break.is_none() {
        return malformed("a camera Log lacks its linSideBreak");
    }
    Ok(Log {
        base: attribute(told, "base")?.unwrap_or(plain.base),
        lin_slope: attribute(told, "linSideSlope")?.unwrap_or(1.0),
        lin_offset: attribute(told, "linSideOffset")?.unwrap_or(0.0),
        log_slope: attribute(told, "logSideSlope")?.unwrap_or(1.0),
        log_offset: attribute(told, "logSideOffset")?.unwrap_or(0.0),
        lin_break: lin_break.filter(|_| camera),
        line_slope: attribute(told, "linearSlope")?.filter(|_| camera),
        to_log: plain.to_log,
    })
}

fn exponent(element: &Element<'_, '_>) -> Read<Node> {
    let style = element.attribute("style").unwrap_or_default();
    let (negative, foot) = match style.trim_end_matches("Fwd").trim_end_matches("Rev") {
        "basic" => (Negative::Cut, false),
        "basicMirror" => (Negative::Mirror, false),
        "basicPassThru" => (Negative::Pass, false),
        "monCurve" => (Negative::Pass, true),
        "monCurveMirror" => (Negative::Mirror, true),
        _ => return malformed(format!("\"{}\" is not a style of Exponent", crate::printable_text(style))),
    };
    let reverse = style.ends_with("Rev");
    let plain = Exponent { exponent: 1.0, offset: None, negative, reverse };
    let mut curves = [plain; 3];
    for told in parameters(element, "ExponentParams") {
        let Some(exponent) = attribute(&told, "exponent")? else { return malformed("an Exponent lacks its exponent") };
        let offset = if foot { Some(attribute(&told, "offset")?.unwrap_or(0.0)) } else { None };
        curves[channels(&told)?].fill(Exponent { exponent, offset, ..plain });
    }
    let sound = curves.iter().all(Exponent::is_sound);
    if sound { Ok(Node::Exponent(curves)) } else { malformed("the numbers of an Exponent do not make a curve") }
}

fn cdl(element: &Element<'_, '_>) -> Read<Node> {
    let (reverse, clamped) = match element.attribute("style").unwrap_or("Fwd") {
        "Fwd" | "v1.2_Fwd" => (false, true),
        "Rev" | "v1.2_Rev" => (true, true),
        "FwdNoClamp" | "noClampFwd" => (false, false),
        "RevNoClamp" | "noClampRev" => (true, false),
        other => return malformed(format!("\"{}\" is not a style of ASC_CDL", crate::printable_text(other))),
    };
    let sop = child(element, "SOPNode");
    let told = |name: &str, usual: f64| match sop.and_then(|sop| child(&sop, name)) {
        Some(values) => three(values.text().unwrap_or_default()),
        None => Ok([usual; 3]),
    };
    let saturation = match child(element, "SatNode") {
        Some(node) => child_number(&node, "Saturation")?.unwrap_or(1.0),
        None => 1.0,
    };
    let cdl = Cdl {
        slope: told("Slope", 1.0)?,
        offset: told("Offset", 0.0)?,
        power: told("Power", 1.0)?,
        saturation,
        clamped,
        reverse,
    };
    let sound = cdl.power.iter().all(|p| *p > 0.0)
        && cdl.slope.iter().all(|s| *s > 0.0 || (*s == 0.0 && !reverse))
        && (cdl.saturation > 0.0 || (cdl.saturation == 0.0 && !reverse));
    if sound { Ok(Node::Cdl(cdl)) } else { malformed("the numbers of an ASC_CDL cannot be used") }
}
