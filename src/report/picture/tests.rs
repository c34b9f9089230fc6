use super::*;
use crate::findings::sample::keep_for_looking;

fn decoded(png: &[u8]) -> image::RgbImage {
    image::load_from_memory_with_format(png, image::ImageFormat::Png).unwrap().to_rgb8()
}

fn count(page: &image::RgbImage, wanted: impl Fn([u8; 3]) -> bool) -> usize {
    page.pixels().filter(|pixel| wanted(pixel.0)).count()
}

#[test]
fn the_page_is_a_marked_png_of_the_promised_size() {
    let png = render_evidence(&sample::mismatch()).unwrap();
    keep_for_looking("evidence.png", &png);
    let page = decoded(&png);
    assert_eq!((page.width(), page.height()), (1600, 1560));
    let mark = b"tEXtplateproof\0plateproof-report/1";
    assert!(png.windows(mark.len()).any(|window| window == mark));
    assert_eq!(page.get_pixel(0, 0).0, canvas::PAPER);
}

#[test]
fn the_same_evidence_gives_the_same_bytes() {
    let evidence = sample::mismatch();
    assert_eq!(render_evidence(&evidence).unwrap(), render_evidence(&evidence).unwrap());
}

#[test]
fn an_equal_pair_shows_a_white_difference_and_an_unknown_one_is_hatched() {
    let mut evidence = sample::mismatch();
    let is_orange = |[r, _, b]: [u8; 3]| r > 245 && b < 200 && b > 150;
    let is_hatch = |rgb: [u8; 3]| rgb == canvas::hatch(3, 0);
    let map_pixels = 704 * 352;
    assert!(count(&decoded(&render_evidence(&evidence).unwrap()), is_orange) > map_pixels * 8 / 10);

    evidence.difference_stops.values.fill(0.0);
    let equal = decoded(&render_evidence(&evidence).unwrap());
    assert!(count(&equal, |rgb| rgb == [255; 3]) > map_pixels * 8 / 10);
    assert!(count(&equal, is_orange) < map_pixels / 10);

    evidence.difference_stops.values.fill(f32::NAN);
    let unknown = decoded(&render_evidence(&evidence).unwrap());
    assert!(count(&unknown, is_hatch) > count(&equal, is_hatch) + map_pixels / 2);
}

#[test]
fn more_exposure_shows_both_sides_brighter() {
    let mut evidence = sample::mismatch();
    let middle_of = |page: &image::RgbImage, x: u32| u32::from(page.get_pixel(x, 700).0[1]);
    let page = decoded(&render_evidence(&evidence).unwrap());
    evidence.exposure *= 2.0;
    let brighter = decoded(&render_evidence(&evidence).unwrap());
    for x in [200, 960] {
        assert!(middle_of(&brighter, x) > middle_of(&page, x) + 20);
    }
}

#[test]
fn the_verdict_shows() {
    let mut evidence = sample::mismatch();
    let stamp_ink = |evidence: &Evidence| {
        let page = decoded(&render_evidence(evidence).unwrap());
        image::imageops::crop_imm(&page, 1300, 20, 240, 70).to_image().pixels().filter(|p| p.0 == canvas::INK).count()
    };
    let filled = stamp_ink(&evidence);
    evidence.verdict = ShotVerdict::Match;
    assert!(filled > 3 * stamp_ink(&evidence), "only what is off is filled");
}

#[test]
fn pictures_of_the_wrong_size_are_refused() {
    let mut evidence = sample::mismatch();
    evidence.cg.sphere.crop.width += 1;
    assert_eq!(render_evidence(&evidence).unwrap_err().kind, ErrorKind::Parameter);
    let mut evidence = sample::mismatch();
    evidence.mirror.matte = LinearPicture { width: 0, height: 0, rgb: Vec::new() };
    assert_eq!(render_evidence(&evidence).unwrap_err().kind, ErrorKind::Parameter);
    let mut evidence = sample::mismatch();
    evidence.difference_stops.height = usize::MAX;
    assert_eq!(render_evidence(&evidence).unwrap_err().kind, ErrorKind::Parameter);
}

#[test]
fn the_page_grows_with_its_findings() {
    let mut evidence = sample::mismatch();
    let one = evidence.findings[0].clone();
    let not_given = FindingLine { verdict: Verdict::NotGiven, ..one.clone() };
    evidence.findings = vec![one.clone(); 14];
    evidence.findings.extend(vec![not_given; 6]);
    let png = render_evidence(&evidence).unwrap();
    keep_for_looking("evidence_many.png", &png);
    let high = decoded(&png).height();
    assert!(high > 1560 + 34, "{high}");
    evidence.findings = vec![one; 400];
    assert!(decoded(&render_evidence(&evidence).unwrap()).height() < 5600, "what is too much is counted");
}

#[test]
fn other_mirrors_are_shown_small_and_what_is_too_much_is_counted() {
    let mut evidence = sample::mismatch();
    let pair = [evidence.mirror.sphere.clone(), evidence.cg.sphere.clone()];
    let plain = decoded(&render_evidence(&evidence).unwrap());
    evidence.others = vec![pair.clone(); 2];
    let png = render_evidence(&evidence).unwrap();
    keep_for_looking("evidence_others.png", &png);
    let two = decoded(&png);
    let left = |page: &image::RgbImage| {
        let column = image::imageops::crop_imm(page, 0, 1300, 770, page.height() - 1300).to_image();
        count(&column, |rgb| rgb != canvas::PAPER)
    };
    assert!(left(&two) > left(&plain) + 4 * 100 * 100, "{} {}", left(&plain), left(&two));
    evidence.others = vec![pair; 40];
    assert!(decoded(&render_evidence(&evidence).unwrap()).height() < 2400);
}

#[test]
fn a_ring_shows_within_the_square_of_the_other_side() {
    let mut canvas = canvas::Canvas::new(60, 60).unwrap();
    light_marks::symbol(&mut canvas, [30.0, 30.0], 8.0, light_marks::Shape::Ring, false);
    light_marks::symbol(&mut canvas, [30.0, 30.0], 8.0, light_marks::Shape::Square, false);
    let (width, _, rgb) = canvas.into_rgb();
    let dark = |x: usize, y: usize| rgb[(y * width as usize + x) * 3] < 90;
    let along: Vec<usize> = (30..60).filter(|x| dark(*x, 30)).collect();
    let gap = along.windows(2).any(|pair| pair[1] > pair[0] + 1);
    assert!(gap && along.len() >= 2, "ring, then square: {along:?}");
}

#[test]
fn a_matte_sphere_under_a_clipped_light_is_a_lower_bound() {
    let mut evidence = sample::mismatch();
    assert!(sphere_panel::matte_words(&evidence.mirror).unwrap().starts_with("brighter in truth"));
    evidence.mirror.sphere.lights.iter_mut().for_each(|light| light.clipped = false);
    assert_eq!(sphere_panel::matte_words(&evidence.mirror), None);
}

#[test]
fn odd_evidence_still_gives_a_page() {
    let mut evidence = sample::mismatch();
    evidence.shot = "Salzf\u{e4}hre \u{1b}[31m \u{202e} \u{6e21}\u{8239} ".repeat(30);
    evidence.version = Some("v".repeat(500));
    evidence.headline = vec!["word ".repeat(400), "x".repeat(4000), String::new(), "unseen".to_owned()];
    evidence.findings = vec![evidence.findings[2].clone(); 40];
    evidence.exposure = f64::NAN;
    let light = &evidence.mirror.sphere.lights[0];
    let odd = [(f64::NAN, 0.0), (1e300, 0.0), (-180.0, 90.0), (180.0, -90.0), (179.9, 0.0), (0.0, 89.9)];
    let lights: Vec<_> = odd
        .iter()
        .map(|&(azimuth_deg, elevation_deg)| LightMark {
            azimuth_deg,
            elevation_deg,
            crop_xy: Some([azimuth_deg, f64::INFINITY]),
            angular_radius_deg: Some(60.0),
            label: "long label ".repeat(20),
            ..light.clone()
        })
        .collect();
    evidence.mirror.sphere.lights = [lights.clone(), lights.clone(), lights].concat();
    evidence.cg.sphere.lights.clear();
    evidence.cg.sphere.outline_points =
        vec![[f64::NAN, 1.0], [1e12, -1e12], [-50.0, 700.0], [20.0, 20.0], [300.0, 20.0]];
    evidence.cg.matte.rgb.fill([f32::NAN; 3]);
    evidence.cg.sphere.crop =
        LinearPicture { width: 1, height: 4000, rgb: vec![[f32::MAX, -1.0, f32::INFINITY]; 4000] };
    let page = decoded(&render_evidence(&evidence).unwrap());
    let margin = image::imageops::crop_imm(&page, 1540, 0, 60, page.height()).to_image();
    assert_eq!(count(&margin, |rgb| rgb != canvas::PAPER), 0, "nothing runs over the right margin");
}

#[test]
fn one_sphere_has_its_own_page() {
    let evidence = sample::mismatch();
    let lines = ["outline by search, radius 151.2 px, field of view 40 deg assumed".to_owned()];
    let png = render_sphere_picture(&evidence.mirror, "sphere.1001.exr", &lines, 1.4).unwrap();
    keep_for_looking("sphere.png", &png);
    let page = decoded(&png);
    assert_eq!(page.width(), 1140);
    assert!(page.height() > 1000);
    let mark = b"tEXtplateproof\0plateproof-sphere/1";
    assert!(png.windows(mark.len()).any(|window| window == mark));
}
