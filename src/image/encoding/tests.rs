use proptest::prelude::*;

use super::*;

/// Above this light every curve is past its toe and joins.
const MIDDLE: std::ops::Range<f64> = 0.05..0.9;

fn any_encoding() -> impl Strategy<Value = Encoding> {
    prop::sample::select(Encoding::ALL)
}

/// Largest error of a round trip, in code: the gap that a curve's printed constants leave where its pieces join.
fn join_gap(encoding: Encoding) -> f64 {
    match encoding {
        // ITU-R BT.709 prints 0.018 and 1.099 to three digits.
        Encoding::Bt709 => 3e-4,
        _ => 2e-5,
    }
}

/// Codes that the curve gives to some light: below these it clamps.
fn lowest_code(encoding: Encoding) -> f64 {
    // ACEScc gives zero light a code of its own (−0.358); the others are defined at 0 and above.
    if encoding == Encoding::AcesCc { -0.358 } else { 0.0 }
}

proptest! {
    #[test]
    fn encoding_what_was_decoded_gives_the_code_back(encoding in any_encoding(), unit in 0.0..=1.0_f64) {
        let lowest = lowest_code(encoding);
        let code = lowest + unit * (1.0 - lowest);
        let back = encoding.encode(encoding.decode(code));
        prop_assert!((back - code).abs() <= join_gap(encoding), "{encoding}: {code} came back as {back}");
    }

    #[test]
    fn decoding_what_was_encoded_gives_the_light_back(encoding in any_encoding(), linear in MIDDLE) {
        let back = encoding.decode(encoding.encode(linear));
        prop_assert!((back - linear).abs() <= 1e-9 * linear, "{encoding}: {linear} came back as {back}");
    }

    #[test]
    fn more_code_is_never_less_light(encoding in any_encoding(), code in -1.0..2.0_f64, step in 0.0..0.01_f64) {
        prop_assert!(encoding.decode(code) <= encoding.decode(code + step), "{encoding} at {code}");
    }

    #[test]
    fn more_light_is_never_less_code(encoding in any_encoding(), linear in -0.1..2.0_f64, step in 0.0..0.01_f64) {
        prop_assert!(encoding.encode(linear) <= encoding.encode(linear + step), "{encoding} at {linear}");
    }

    #[test]
    fn every_number_but_nan_decodes_and_encodes_to_a_finite_one(encoding in any_encoding(), value in prop::num::f64::ANY) {
        prop_assert_eq!(encoding.decode(value).is_finite(), !value.is_nan(), "{} decoding {}", encoding, value);
        prop_assert_eq!(encoding.encode(value).is_finite(), !value.is_nan(), "{} encoding {}", encoding, value);
    }

    #[test]
    fn names_are_read_back_however_they_are_typed(encoding in any_encoding()) {
        for typed in [encoding.name().to_owned(), encoding.name().to_uppercase().replace('-', "_"), encoding.name().replace('-', " ")] {
            prop_assert_eq!(Encoding::parse(&typed), Some(encoding), "{}", typed);
        }
    }
}

/// Steps across every join in 16-bit codes, where rounding of printed constants could turn a curve back.
#[test]
fn no_sixteen_bit_code_is_darker_than_the_one_below() {
    for encoding in Encoding::ALL {
        let light: Vec<f64> = (0..=u16::MAX).map(|code| encoding.decode(f64::from(code) / 65_535.0)).collect();
        let turned = light.windows(2).position(|pair| pair[0] > pair[1]);
        assert_eq!(turned, None, "{encoding}");
    }
}

/// 10-bit codes of 18 % grey as the makers print them: LogC3 400, S-Log3 420, V-Log 433, F-Log 470, F-Log2 400,
/// Log3G10 341 (from memory).
#[test]
fn mid_grey_lies_where_the_makers_say() {
    let published = [
        (Encoding::LogC3, 400.0),
        (Encoding::SLog3, 420.0),
        (Encoding::VLog, 433.0),
        (Encoding::FLog, 470.0),
        (Encoding::FLog2, 400.0),
        (Encoding::Log3G10, 341.0),
    ];
    for (encoding, code) in published {
        assert!((1023.0 * encoding.encode(0.18) - code).abs() < 0.5, "{encoding}");
    }
}

/// ARRI's LogC3 keeps 18 % grey at code 0.391 for every exposure index.
#[test]
fn logc3_keeps_mid_grey_at_every_exposure_index() {
    let curves = Encoding::ALL.iter().filter(|encoding| encoding.name().starts_with("logc3"));
    assert_eq!(curves.clone().count(), 11);
    for encoding in curves {
        assert!((encoding.encode(0.18) - 0.391007).abs() < 1e-5, "{encoding}");
    }
}

#[test]
fn names_and_aliases_are_all_different() {
    let mut names: Vec<String> = ROWS.iter().map(|row| fold(row.name)).collect();
    names.extend(ROWS.iter().flat_map(|row| row.aliases).map(ToString::to_string));
    let total = names.len();
    assert!(names.iter().all(|name| fold(name) == *name));
    names.sort();
    names.dedup();
    assert_eq!(names.len(), total);
}

#[test]
fn unknown_names_are_not_guessed() {
    for name in ["", "log", "s-log", "logc5", "gamma", "salt"] {
        assert_eq!(Encoding::parse(name), None, "{name}");
    }
}

#[test]
fn every_encoding_says_where_it_comes_from() {
    assert!(Encoding::ALL.iter().all(|encoding| !encoding.note().is_empty() && !encoding.note().contains('\n')));
}

#[test]
fn only_displays_are_display_referred() {
    let display: Vec<_> = Encoding::ALL.iter().copied().filter(|encoding| encoding.is_display_referred()).collect();
    assert_eq!(display, [Encoding::Srgb, Encoding::Bt1886, Encoding::Gamma22, Encoding::Gamma26, Encoding::Pq]);
}

/// The constants that stand as literals because `powf` cannot be evaluated when compiling.
#[test]
fn black_offsets_follow_their_formulas() {
    let darkest = |encoding: Encoding| encoding.decode(0.0);
    let black = 10_f64.powf((95.0 - 685.0) / 300.0);
    assert!((darkest(Encoding::Cineon) - (10_f64.powf(-685.0 / 300.0) - black) / (1.0 - black)).abs() < 1e-15);
    let black = 10_f64.powf((64.0 - 681.0) / 444.0);
    assert!((darkest(Encoding::Panalog) - (10_f64.powf(-681.0 / 444.0) - black) / (1.0 - black)).abs() < 1e-15);
}
