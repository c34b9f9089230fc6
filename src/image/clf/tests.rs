//! Transforms against what OpenColorIO makes of the same files, and files that are none.

use serde::Deserialize;

use super::*;

/// OpenColorIO works in 32-bit floats; its logarithms and powers are approximations good to about 1e-5.
const ABSOLUTE: f64 = 2e-6;
const RELATIVE: f64 = 4e-5;

#[derive(Deserialize)]
struct Expected {
    files: Vec<File>,
}

#[derive(Deserialize)]
struct File {
    name: String,
    nodes: usize,
    inputs: Vec<[f64; 3]>,
    outputs: Vec<[f64; 3]>,
}

#[test]
fn the_same_files_give_what_opencolorio_gives() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/clf");
    let expected: Expected = serde_json::from_str(include_str!("../../../golden/clf/expected.json")).unwrap();
    assert!(expected.files.len() >= 8);
    for file in expected.files {
        let transform = ClfTransform::read(&folder.join(&file.name)).unwrap();
        assert_eq!(transform.nodes.len(), file.nodes, "{}", file.name);
        assert!(file.inputs.len() >= 20);
        for (input, output) in file.inputs.iter().zip(&file.outputs) {
            let found = transform.apply(*input);
            for c in 0..3 {
                let slack = ABSOLUTE + RELATIVE * output[c].abs();
                assert!((found[c] - output[c]).abs() <= slack, "{} {input:?}: {found:?} {output:?}", file.name);
            }
        }
    }
}

fn list(inside: &str) -> String {
    format!("<ProcessList xmlns=\"urn:AMPAS:CLF:v3.0\" id=\"a\" compCLFversion=\"3.0\">{inside}</ProcessList>")
}

#[test]
fn half_domain_tables_stand_at_the_half_floats() {
    // Entry = twice the half float at its code; not a number where that is none.
    let value = |code: u32| {
        let half = half::f16::from_bits(code as u16).to_f64();
        if half.is_finite() { 2.0 * half } else { 0.0 }
    };
    let entries: Vec<String> = (0..65_536).map(|code| value(code).to_string()).collect();
    let text = list(&format!(
        "<LUT1D inBitDepth=\"16f\" outBitDepth=\"32f\" halfDomain=\"true\"><Array dim=\"65536 1\">{}</Array></LUT1D>",
        entries.join(" ")
    ));
    let transform = ClfTransform::parse(&text).unwrap();
    for v in [0.0, 0.18, 1.0, -0.5, 3.123456, 900.4, 1e-5, -7e-7, 65_504.0] {
        let found = transform.apply([v; 3])[1];
        assert!((found - 2.0 * v).abs() <= 1e-7 + 1e-6 * v.abs(), "{v} {found}");
    }
}

#[test]
fn what_is_no_transform_is_refused_with_its_cause() {
    let cases = [
        ("<a/>".to_owned(), "ProcessList"),
        ("<ProcessList".to_owned(), "XML"),
        (list(""), "no process node"),
        (list("<Reference path=\"b.clf\"/>"), "inBitDepth"),
        (list("<Reference inBitDepth=\"32f\" outBitDepth=\"32f\"/>"), "not supported"),
        (list("<Matrix inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"3 3\">1 2 3</Array></Matrix>"), "3 x 3"),
        (list("<LUT1D inBitDepth=\"9i\" outBitDepth=\"32f\"/>"), "bit depth"),
        (
            list("<LUT3D inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"99999 99999 99999 3\">1</Array></LUT3D>"),
            "holds 1 values",
        ),
        (list("<Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"log7\"/>"), "log7"),
        (
            list(
                "<Exponent inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"basicFwd\"><ExponentParams exponent=\"nan\"/></Exponent>",
            ),
            "finite",
        ),
    ];
    for (text, cause) in cases {
        match ClfTransform::parse(&text) {
            Err(parse::Fault::Malformed(found) | parse::Fault::Unsupported(found)) => {
                assert!(found.contains(cause), "{found} for {cause}");
            }
            Ok(_) => panic!("{cause} was accepted"),
        }
    }
}

#[test]
fn nothing_infinite_comes_out() {
    let steep = list(
        "<Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"antiLog10\"/><Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"log10\"/>",
    );
    let transform = ClfTransform::parse(&steep).unwrap();
    for v in [0.0, -1e30, 1e30, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(transform.apply([v; 3]).iter().all(|v| v.is_finite()), "{v}");
    }
    assert!(transform.apply([f64::NAN, 0.0, 0.0])[1].is_nan());
}
