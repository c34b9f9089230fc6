//! Published gate sizes: what the name of a sensor or film format means in millimetres.

/// One format.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SensorFormat {
    /// Its name in a sheet.
    pub name: &'static str,
    /// Width and height, mm.
    pub size_mm: [f64; 2],
    /// Where the size was published.
    pub source: &'static str,
}

/// Millimetres of an inch (exact by definition).
const INCH_MM: f64 = 25.4;

const fn inches(width: f64, height: f64) -> [f64; 2] {
    [width * INCH_MM, height * INCH_MM]
}

const CAMERA_APERTURES: &str = "35 mm camera apertures as tabulated under \"35 mm film, technical specifications\"; \
                                SMPTE ST 59 prints .864 where that table has .866 inch";
const IN_USE: &str = "as public camera tables give it, rounded to 0.01 mm; no standard was read";

/// Every format that a sheet may name.
///
/// Handbooks differ by up to 0.2 % for one and the same gate (21.95 or 22.00 mm for the Academy width). Makers of
/// digital cameras use some of these names for sensors that differ by more: a size in mm outranks a name.
pub static SENSOR_FORMATS: &[SensorFormat] = &[
    SensorFormat {
        name: "full-frame",
        size_mm: [36.0, 24.0],
        source: "camera area of the 35 mm still format, 36 x 24 mm (BKSTS Illustrated Dictionary of Moving Image \
                 Technology, appendix)",
    },
    SensorFormat { name: "super-35", size_mm: inches(0.980, 0.735), source: CAMERA_APERTURES },
    SensorFormat { name: "super-35-3-perf", size_mm: [24.89, 13.87], source: IN_USE },
    SensorFormat { name: "35mm-2-perf", size_mm: [21.95, 9.47], source: IN_USE },
    SensorFormat { name: "academy-35", size_mm: inches(0.866, 0.630), source: CAMERA_APERTURES },
    SensorFormat { name: "anamorphic-35", size_mm: inches(0.866, 0.732), source: CAMERA_APERTURES },
    SensorFormat { name: "16mm", size_mm: [10.26, 7.49], source: IN_USE },
    SensorFormat { name: "super-16", size_mm: [12.52, 7.41], source: IN_USE },
    SensorFormat { name: "65mm-5-perf", size_mm: [52.48, 23.01], source: IN_USE },
    SensorFormat { name: "four-thirds", size_mm: [17.3, 13.0], source: "Four Thirds standard (from memory)" },
];

impl SensorFormat {
    /// The format of that name; upper case, blanks, `_` and `-` make no difference.
    ///
    /// ```
    /// use plateproof::sheet::SensorFormat;
    /// assert_eq!(SensorFormat::named("Super 35").unwrap().size_mm[0], 0.980 * 25.4);
    /// assert!(SensorFormat::named("super-34").is_none());
    /// ```
    pub fn named(name: &str) -> Option<&'static Self> {
        let plain = |text: &str| text.to_lowercase().replace([' ', '-', '_'], "");
        SENSOR_FORMATS.iter().find(|format| plain(format.name) == plain(name))
    }

    /// The format whose width is within 0.3 % of `width_mm`.
    pub fn of_width(width_mm: f64) -> Option<&'static Self> {
        SENSOR_FORMATS.iter().find(|format| (format.size_mm[0] / width_mm - 1.0).abs() < 0.003)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fields of view by 2 atan(d / 2f) for gates of 36 x 24, 24.89 x 18.66, 21.95 x 16.00 and 12.52 x 7.41 mm, computed
    /// with numpy 2.4.6: the gates in the table are the same to what printed sizes differ by.
    #[test]
    fn handbook_fields_of_view_follow_from_the_gates() {
        for (name, focal_mm, horizontal_deg, vertical_deg) in [
            ("full-frame", 18.0, 90.00, 67.38),
            ("full-frame", 35.0, 54.43, 37.85),
            ("full-frame", 50.0, 39.60, 26.99),
            ("super-35", 18.0, 69.32, 54.80),
            ("super-35", 50.0, 27.95, 21.14),
            ("academy-35", 18.0, 62.74, 47.92),
            ("academy-35", 50.0, 24.76, 18.18),
            ("super-16", 18.0, 38.35, 23.26),
            ("super-16", 35.0, 20.28, 12.09),
        ] {
            let gate = SensorFormat::named(name).unwrap().size_mm;
            let implied =
                [horizontal_deg, vertical_deg].map(|fov: f64| 2.0 * focal_mm * (fov.to_radians() / 2.0).tan());
            // Handbooks print .864 or .866 inch for one and the same gate, which is 0.23 %.
            for (size, implied) in gate.iter().zip(implied) {
                assert!((implied / size - 1.0).abs() < 0.0025, "{name} {focal_mm}: {implied} for {size}");
            }
        }
    }

    #[test]
    fn every_name_is_explained() {
        let told = crate::check::docs::field_of_view::DOC.how;
        assert!(SENSOR_FORMATS.iter().all(|format| told.contains(format.name) && !format.source.is_empty()));
    }

    #[test]
    fn names_are_forgiving_and_widths_find_their_name() {
        assert_eq!(SensorFormat::named("SUPER_16").map(|f| f.name), Some("super-16"));
        assert_eq!(SensorFormat::of_width(36.0).map(|f| f.name), Some("full-frame"));
        assert_eq!(SensorFormat::of_width(30.0), None);
    }
}
