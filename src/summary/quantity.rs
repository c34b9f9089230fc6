//! Numbers in which the shots of a show may be off alike.

use serde_json::Value;

use crate::base::statistics::median_of_few;
use crate::findings::{CheckId, Finding, Report, ShotVerdict, Verdict};

/// The numbers by which shots are held against one another; CG minus photographed.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Measures(pub(super) Vec<Measure>);

/// One such number, the median over the shot's mirrors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Measure {
    /// Place in the table of quantities.
    pub(super) quantity: usize,
    pub(super) value: f64,
    pub(super) sd: f64,
    pub(super) tolerance: f64,
}

/// A signed number that the shots of a show may share.
pub(super) struct Quantity {
    pub(super) name: &'static str,
    pub(super) check: CheckId,
    pub(super) unit: &'static str,
    pub(super) decimals: usize,
    /// Words after the number where it is negative, and where it is positive.
    pub(super) sides: [&'static str; 2],
    pub(super) suspect: &'static str,
    /// Value, standard deviation and tolerance.
    read: fn(&Finding) -> Option<[f64; 3]>,
}

pub(super) const QUANTITIES: [Quantity; 7] = [
    Quantity {
        name: "exposure",
        check: CheckId::Exposure,
        unit: "stops",
        decimals: 2,
        sides: ["too dark", "too bright"],
        suspect: "the grade or exposure of the environment, not the shots",
        read: own_value,
    },
    Quantity {
        name: "key-fill-ratio",
        check: CheckId::KeyFillRatio,
        unit: "stops",
        decimals: 2,
        sides: ["too little contrast", "too much contrast"],
        suspect: "the environment: a key that clipped when it was shot, or a fill that every shot shares",
        read: own_value,
    },
    Quantity {
        name: "colour-warmth",
        check: CheckId::ColourBalance,
        unit: "mired",
        decimals: 0,
        sides: ["too cool", "too warm"],
        suspect: "the white balance of the environment, not the shots",
        read: warmth,
    },
    Quantity {
        name: "colour-green",
        check: CheckId::ColourBalance,
        unit: "stops",
        decimals: 2,
        sides: ["too magenta", "too green"],
        suspect: "the colour space or the grade of the environment, not the shots",
        read: greenness,
    },
    Quantity {
        name: "key-azimuth",
        check: CheckId::HighlightDirection,
        unit: "deg",
        decimals: 1,
        sides: ["turned clockwise (seen from above)", "turned counter-clockwise (seen from above)"],
        suspect: "the heading of the environment",
        read: |finding| of_detail(finding, "azimuth_error_deg", finding.tolerance),
    },
    Quantity {
        name: "key-elevation",
        check: CheckId::HighlightDirection,
        unit: "deg",
        decimals: 1,
        sides: ["too low in their key", "too high in their key"],
        suspect: "the tilt or the horizon of the environment",
        read: |finding| of_detail(finding, "elevation_error_deg", finding.tolerance),
    },
    Quantity {
        name: "reference-drift",
        check: CheckId::ReferenceDrift,
        unit: "stops",
        decimals: 2,
        sides: ["darker in the sphere frame than in the plate", "brighter in the sphere frame than in the plate"],
        suspect: "how sphere frames are exposed or noted on set; the CG is not at fault",
        read: own_value,
    },
];

fn own_value(finding: &Finding) -> Option<[f64; 3]> {
    usable(finding.value?, finding.value_sd.unwrap_or(0.0), finding.tolerance)
}

fn of_detail(finding: &Finding, key: &str, tolerance: f64) -> Option<[f64; 3]> {
    let number = |key: &str| finding.detail.get(key).and_then(Value::as_f64);
    usable(number(key)?, number(&format!("{key}_sd")).unwrap_or(0.0), tolerance)
}

fn warmth(finding: &Finding) -> Option<[f64; 3]> {
    let overall = finding.detail.get("overall")?;
    let number = |key: &str| overall.get(key).and_then(Value::as_f64);
    let tolerance = finding.detail.get("mired_tolerance").and_then(Value::as_f64)?;
    usable(number("mired_error")?, number("mired_error_sd").unwrap_or(0.0), tolerance)
}

/// Green against the mean of red and blue, stops.
fn greenness(finding: &Finding) -> Option<[f64; 3]> {
    let overall = finding.detail.get("overall")?;
    let number = |key: &str| overall.get(key).and_then(Value::as_f64);
    let [red, blue] = [number("red_green_stops")?, number("blue_green_stops")?];
    let [red_sd, blue_sd] = ["red_green_stops_sd", "blue_green_stops_sd"].map(|key| number(key).unwrap_or(0.0));
    usable(-(red + blue) / 2.0, red_sd.hypot(blue_sd) / 2.0, finding.tolerance)
}

fn usable(value: f64, sd: f64, tolerance: f64) -> Option<[f64; 3]> {
    let sound = value.is_finite() && sd.is_finite() && sd >= 0.0 && tolerance.is_finite() && tolerance > 0.0;
    sound.then_some([value, sd, tolerance])
}

/// The numbers of a report that other shots may share. A shot that could not be done has none.
pub(super) fn measures(report: &Report) -> Measures {
    if report.verdict == ShotVerdict::Error {
        return Measures::default();
    }
    let of_quantity = |(index, quantity): (usize, &Quantity)| {
        let findings = report
            .findings
            .iter()
            .filter(|f| f.check == quantity.check && matches!(f.verdict, Verdict::Match | Verdict::Mismatch));
        let read: Vec<[f64; 3]> = findings.filter_map(quantity.read).collect();
        let [value, sd, tolerance] = [0, 1, 2].map(|i| median_of_few(read.iter().map(|numbers| numbers[i])));
        Some(Measure { quantity: index, value: value?, sd: sd?, tolerance: tolerance? })
    };
    Measures(QUANTITIES.iter().enumerate().filter_map(of_quantity).collect())
}
