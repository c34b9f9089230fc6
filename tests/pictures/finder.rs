//! The search for the sphere: real photographs, and made-up shots with known outlines, seeded.
#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the table with --nocapture")]

use std::path::Path;

use nalgebra::Vector3;
use plateproof::image::{Frame, Size};
use plateproof::optics::camera::{FovSource, View};
use plateproof::sphere::find::{find_near, find_sphere, hold_against};
use plateproof::sphere::{Outline, SphereFit, angle_between_rad, outline_of_cone};

use crate::psbox::MOST_OFF;
use crate::sphere_scene::environment::{Environment, Texture};
use crate::sphere_scene::load::{self, reference_data};
use crate::sphere_scene::random::Random;
use crate::sphere_scene::scene::{Face, Flare, Recording, Scene, Thing, cone_at};

fn assumed_view(frame: &Frame) -> View {
    View::from_horizontal_fov(frame.size, frame.pixel_aspect, 40.0, FovSource::Assumed)
}

/// Published circle (circle_data.txt of psbox, Ying Xiong 2014): centre x and y in 1-based pixels, y from the bottom.
/// A 1-based pixel centre c lies at c − 0.5 from the corner; y from the top is height + 1 − y.
fn published_circle(folder: &Path, height: f64) -> Outline {
    let text = std::fs::read_to_string(folder.join("psbox_probe1/circle_data.txt")).unwrap();
    let n: Vec<f64> = text.split_whitespace().map(|w| w.parse().unwrap()).collect();
    Outline::circle(n[0] - 0.5, height + 1.0 - n[1] - 0.5, n[2])
}

/// Real photographs in which the rim is soft and mostly dark: what is reported must be right within what it says of
/// itself, and nothing else may be reported. (The published circle itself is good to about half a percent: two spheres
/// of that rig disagree by 0.4 to 1.75 degrees.)
#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn photographs_of_a_glossy_sphere_give_no_wrong_circle() {
    let folder = reference_data();
    let (mut found, mut wrong) = (0, Vec::new());
    for number in 1..=12 {
        let frame = load::display_file(&folder.join(format!("psbox_probe1/Image_{number:02}.JPG")));
        let truth = published_circle(&folder, frame.size.height as f64);
        match find_sphere(&frame, &assumed_view(&frame)) {
            Ok(search) if search.rivals.is_empty() => {
                let o = search.best.outline;
                let centre = (o.centre_x - truth.centre_x).hypot(o.centre_y - truth.centre_y);
                let radius = o.mean_radius() - truth.semi_a;
                println!("{number:02}: centre {centre:.2} px, radius {radius:+.2} px");
                found += 1;
                let cov = search.best.outline_cov;
                let told =
                    centre <= 3.0 * (cov[(0, 0)] + cov[(1, 1)]).sqrt() && radius.abs() <= 3.0 * cov[(2, 2)].sqrt();
                if centre.max(radius.abs()) > MOST_OFF * truth.semi_a && !told {
                    wrong.push(format!("{number:02}: centre {centre:.2} px, radius {radius:+.2} px"));
                }
            }
            Ok(search) => println!("{number:02}: undecided between {} outlines", search.rivals.len() + 1),
            Err(error) => println!("{number:02}: {error}"),
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
    assert!(found >= 9, "found in {found} of 12");
}

/// A mirror sphere on a table in a large room (`room_bracket` of the reference data): about where it is.
const ON_THE_TABLE: [f64; 3] = [2531.0, 2421.0, 187.0];

/// Its rim, measured apart from this program: on lines from (2529, 2419), the angle from frame right towards frame bottom in
/// degrees and the distance in px of the outermost steep step, by numpy on the mean of 4.5 degrees. The wide lens
/// draws the sphere a tenth longer towards the corner, so no circle fits. The shadow and the bright back wall
/// hide the rest of it.
const RIM_OF_IT: [[f64; 2]; 14] = [
    [0.0, 188.5],
    [15.0, 191.2],
    [30.0, 194.0],
    [45.0, 196.5],
    [60.0, 197.5],
    [120.0, 190.8],
    [135.0, 188.8],
    [150.0, 187.5],
    [165.0, 187.0],
    [180.0, 188.5],
    [195.0, 191.8],
    [210.0, 195.0],
    [225.0, 197.2],
    [300.0, 189.2],
];
/// How far an outline may lie from it, px.
const ON_THE_RIM_PX: f64 = 3.0;

fn on_the_table() -> Frame {
    let frame = reference_data().join("room_bracket/graingerBall_full_1_30.jpg");
    load::display_file(&frame)
}

/// The largest distance of the measured rim from an outline, px.
fn off_the_rim(outline: &Outline) -> f64 {
    let distance = |[angle_deg, radius]: [f64; 2]| {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        let point = [2529.0 + radius * cos, 2419.0 + radius * sin];
        (outline.normalised_radius(point) - 1.0).abs() * outline.mean_radius()
    };
    RIM_OF_IT.into_iter().map(distance).fold(0.0, f64::max)
}

/// Circles as a hand draws them: off by a tenth of the radius in place and size.
#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn a_circle_drawn_by_hand_is_refined_to_the_rim_in_the_photograph() {
    let frame = on_the_table();
    let assumed = assumed_view(&frame);
    let [x, y, r] = ON_THE_TABLE;
    for (view, dx, dy, dr) in [
        (&assumed, 0.0, 0.0, 0.0),
        (&assumed, 0.1, 0.0, 0.0),
        (&assumed, 0.0, -0.1, 0.1),
        (&assumed, -0.07, 0.07, -0.1),
        (&assumed, 0.07, 0.07, 0.1),
        (&assumed, -0.1, 0.0, -0.1),
    ] {
        let fit = find_near(&frame, view, [x + dx * r, y + dy * r, r + dr * r]).unwrap();
        let off = off_the_rim(&fit.outline);
        println!("{dx:+.2} {dy:+.2} {dr:+.2}: {:.1?}, {off:.2} px off the rim", fit.outline.to_array());
        assert!(off <= ON_THE_RIM_PX, "{dx:+.2} {dy:+.2} {dr:+.2}: {off} px off the rim");
        assert_eq!(fit.found_by.word(), "near");
    }
}

/// A circle where the lens drew an ellipse is kept, and what the picture shows beside it is told; the ellipse is confirmed.
#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn a_given_outline_is_held_against_the_rim_in_the_photograph() {
    let frame = on_the_table();
    let view = assumed_view(&frame);
    let [x, y, r] = ON_THE_TABLE;
    let wrong = hold_against(&frame, &view, &Outline::circle(x, y, r)).unwrap();
    assert_eq!(wrong.fit.outline, Outline::circle(x, y, r));
    let better = wrong.better.expect("the picture shows the rim");
    assert!(off_the_rim(&better) <= ON_THE_RIM_PX, "{better:?}");
    let sd = wrong.fit.outline_cov[(2, 2)].sqrt();
    assert!(sd >= better.mean_radius() - r, "sd {sd}");
    let right = hold_against(&frame, &view, &better).unwrap();
    assert!(right.better.is_none() && right.fit.outline_cov[(2, 2)].sqrt() < sd, "{right:?}");
}

/// One line of the table of made-up shots.
struct Case {
    name: String,
    scene: Scene,
    seed: u64,
}

/// Where the light of the made-up shots comes from.
#[derive(Clone, Copy)]
enum Light<'a> {
    /// Rooms of random things.
    MadeUp,
    /// The two set environments of the OpenEXR project's sample images, below this folder.
    Published(&'a Path),
}

fn lat_long(folder: &Path, file: &str, gain: f64, heading_rad: f64, texture: Texture) -> Environment {
    let frame = load::exr_file(&folder.join("openexr_images/MultiResolution").join(file));
    let (width, height) = (frame.size.width, frame.size.height);
    Environment::LatLong { width, height, pixels: frame.rgb, heading_rad, gain, texture }
}

fn environment(random: &mut Random, index: u64, light: Light<'_>) -> Environment {
    let texture = if random.chance(0.6) {
        Texture { strength: random.between(0.1, 0.6), per_radian: random.log_between(10.0, 120.0) }
    } else {
        Texture::NONE
    };
    let heading = random.between(-3.0, 3.0);
    let clutter = 10 + random.below(150);
    match light {
        Light::MadeUp => Environment::room(random, clutter, texture),
        Light::Published(folder) if index.is_multiple_of(2) => {
            lat_long(folder, "StageEnvLatLong.exr", 1.0, heading, texture)
        }
        Light::Published(folder) => lat_long(folder, "KernerEnvLatLong.exr", 0.5, heading, texture),
    }
}

/// A seeded shot of growing difficulty.
fn shot(index: u64, with_sphere: bool, light: Light<'_>) -> Case {
    let mut random = Random::new(1000 + index);
    let size = [Size { width: 960, height: 540 }, Size { width: 640, height: 480 }, Size { width: 1024, height: 429 }]
        [random.below(3)];
    let aspect = if index % 11 == 5 { 2.0 } else { 1.0 };
    let view = View::from_horizontal_fov(size, aspect, random.between(20.0, 62.0), FovSource::Sheet);
    let environment = environment(&mut random, index, light);
    let largest = 0.46 * size.height as f64 / aspect;
    let radius = random.log_between(24.0, largest);
    let place = |random: &mut Random, radius: f64| {
        let (rx, ry) = (1.12 * radius, 1.12 * radius * aspect);
        [
            random.between(rx.min(size.width as f64 / 2.0), (size.width as f64 - rx).max(size.width as f64 / 2.0)),
            random.between(ry.min(size.height as f64 / 2.0), (size.height as f64 - ry).max(size.height as f64 / 2.0)),
        ]
    };
    let centre = place(&mut random, radius);
    let mut things = Vec::new();
    let mut flares = Vec::new();
    let mut notes = Vec::new();
    if with_sphere {
        if random.chance(0.3) {
            let angle = random.between(0.0, std::f64::consts::TAU);
            things.push(occluder(&mut random, centre, radius, angle, aspect));
            notes.push("occluder");
        }
        let level = random.between(0.45, 0.9);
        let reflectance = [level * 1.02, level, level * random.between(0.9, 1.05)];
        let fresnel = random.chance(0.2);
        things.push(Thing::Mirror { cone: cone_at(&view, centre, radius), reflectance, fresnel });
        if fresnel {
            notes.push("fresnel");
        }
        if random.chance(0.5) {
            things.insert(0, stand(&mut random, centre, radius, aspect));
            notes.push("stand");
        }
        if random.chance(0.3) {
            let angle = random.between(0.0, std::f64::consts::TAU);
            flares.push(Flare {
                centre: [centre[0] + radius * angle.cos(), centre[1] + radius * aspect * angle.sin()],
                angle_rad: random.between(0.0, 3.1),
                length_px: radius * random.between(0.2, 0.6),
                width_px: radius * random.between(0.02, 0.08),
                peak: random.log_between(0.3, 6.0),
            });
            notes.push("flare");
        }
    }
    for _ in 0..random.below(4) {
        let other = random.log_between(18.0, 0.3 * size.height as f64 / aspect);
        let at = place(&mut random, other);
        let apart = (at[0] - centre[0]).hypot((at[1] - centre[1]) / aspect);
        if !with_sphere || apart > radius + 1.1 * other {
            things.push(round_thing(&mut random, &view, at, other));
            notes.push("round");
        }
    }
    let eight_bit = random.chance(0.4);
    let recording = Recording {
        blur_px: random.between(0.3, 1.3),
        noise: random.log_between(0.002, 0.03),
        read_noise: 0.0005,
        exposure: 1.0,
        eight_bit,
    };
    let name = format!(
        "{index:03} {}x{} r {radius:.0} fov {:.0} aspect {aspect} {} {}",
        size.width,
        size.height,
        view.horizontal_fov_deg(),
        if eight_bit { "8bit" } else { "float" },
        notes.join(" ")
    );
    let mut scene = Scene { size, view, environment, things, flares, recording };
    scene.expose(random.between(0.3, 0.9));
    Case { name, scene, seed: index }
}

fn grey(random: &mut Random, low: f64, high: f64) -> [f64; 3] {
    let level = random.log_between(low, high);
    [0, 1, 2].map(|_| level * random.between(0.8, 1.2))
}

/// Below the sphere, hiding its foot.
fn stand(random: &mut Random, centre: [f64; 2], radius: f64, aspect: f64) -> Thing {
    let (half, top) = (radius * random.between(0.15, 0.5), centre[1] + aspect * radius * random.between(0.9, 1.0));
    let foot = centre[1] + aspect * radius * 6.0;
    let corners = [
        [centre[0] - half, top],
        [centre[0] + half, top],
        [centre[0] + 1.3 * half, foot],
        [centre[0] - 1.3 * half, foot],
    ];
    Thing::Card { corners, colour: grey(random, 0.02, 0.6) }
}

/// A bar across the rim that hides up to a quarter of the outline.
fn occluder(random: &mut Random, centre: [f64; 2], radius: f64, angle: f64, aspect: f64) -> Thing {
    let half = radius * random.between(0.1, 0.65);
    let (s, c) = angle.sin_cos();
    let at = |u: f64, v: f64| [centre[0] + u * c - v * s, centre[1] + aspect * (u * s + v * c)];
    let corners = [at(0.75 * radius, -half), at(1.6 * radius, -half), at(1.6 * radius, half), at(0.75 * radius, half)];
    Thing::Card { corners, colour: grey(random, 0.02, 0.8) }
}

fn round_thing(random: &mut Random, view: &View, at: [f64; 2], radius: f64) -> Thing {
    let cone = cone_at(view, at, radius);
    let (a, b) = (grey(random, 0.02, 1.0), grey(random, 0.02, 1.0));
    match random.below(5) {
        0 => Thing::Disc { cone, face: Face::Plain(a) },
        1 => Thing::Disc { cone, face: Face::Plain(grey(random, 3.0, 30.0)) },
        2 => Thing::Disc { cone, face: Face::Rings { inner: a, outer: b, count: random.between(2.0, 6.0) } },
        3 => Thing::Disc { cone, face: Face::Spokes { light: a, dark: b, count: (3 + random.below(9)) as f64 } },
        _ => Thing::Matte {
            cone,
            albedo: random.between(0.1, 0.8),
            towards_light: Vector3::new(random.normal(), random.normal(), 0.5).normalize(),
            ambient: random.between(0.05, 0.5),
        },
    }
}

/// Error in sd² (three degrees of freedom) of centre and mean radius.
fn normalised_square(fit: &SphereFit, truth: &Outline) -> f64 {
    let o = fit.outline;
    let delta = Vector3::new(
        o.centre_x - truth.centre_x,
        o.centre_y - truth.centre_y,
        0.5 * (o.semi_a + o.semi_b - truth.semi_a - truth.semi_b),
    );
    let pick = nalgebra::Matrix3x5::new(
        1.0, 0.0, 0.0, 0.0, 0.0, //
        0.0, 1.0, 0.0, 0.0, 0.0, //
        0.0, 0.0, 0.5, 0.5, 0.0,
    );
    let cov = pick * fit.outline_cov * pick.transpose();
    cov.try_inverse().map_or(f64::INFINITY, |inverse| (delta.transpose() * inverse * delta)[0] / 3.0)
}

#[test]
fn made_up_shots() {
    let (found, wrong) = search_all((0..40).map(|index| shot(index, index % 4 != 3, Light::MadeUp)));
    assert_eq!(wrong, 0);
    // Thirty when this was written; ten of the thirty have no sphere, and nothing is taken for one.
    assert!(found >= 29, "{found} of 40");
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn made_up_shots_under_published_light() {
    let folder = reference_data();
    let (found, wrong) = search_all((0..12).map(|index| shot(index, index % 4 != 3, Light::Published(&folder))));
    // One is placed 3 % off: a card and a flare hide half of its rim.
    assert!(wrong <= 1, "{wrong} of 12");
    assert!(found >= 7, "{found} of 12");
}

/// How many shots were answered rightly, and how many wrongly without a word of doubt.
fn search_all(cases: impl Iterator<Item = Case>) -> (usize, usize) {
    let (mut found, mut rivals, mut missed, mut doubted, mut wrong) = (0, 0, 0, 0, 0);
    let mut squares = Vec::new();
    for case in cases {
        let frame = case.scene.render(&case.name, case.seed);
        let truth = case.scene.truth();
        let start = std::time::Instant::now();
        let result = find_sphere(&frame, &case.scene.view);
        let time = start.elapsed();
        let verdict = match (&truth, &result) {
            (Some(truth), Ok(search)) => {
                let o = search.best.outline;
                let error = (o.centre_x - truth.centre_x).hypot(o.centre_y - truth.centre_y);
                let radius = 0.5 * (o.semi_a + o.semi_b - truth.semi_a - truth.semi_b);
                let right = error.max(radius.abs()) < 0.02 * truth.semi_a + 0.5;
                let square = normalised_square(&search.best, truth);
                let line = format!(
                    "dc {error:.3} dr {radius:+.3} z2 {square:.2} score {:.2} unseen {:.2} esd {:.3} sdc {:.3} sdr {:.3}",
                    search.best.score,
                    search.best.unseen_fraction,
                    search.best.edge_sd_px,
                    search.best.outline_cov[(0, 0)].sqrt(),
                    search.best.outline_cov[(2, 2)].sqrt()
                );
                match (right || square < 9.0, search.rivals.is_empty()) {
                    (true, true) => {
                        found += 1;
                        squares.push(square);
                        format!("found  {line}")
                    }
                    (_, false) => {
                        rivals += 1;
                        format!("RIVALS {} {line}", search.rivals.len())
                    }
                    (false, true) if search.best.hardly_mirrors() => {
                        doubted += 1;
                        format!("DOUBT  {line}")
                    }
                    (false, true) => {
                        wrong += 1;
                        format!("WRONG  {line}")
                    }
                }
            }
            (None, Ok(search)) if search.best.hardly_mirrors() => {
                doubted += 1;
                format!("DOUBT  nothing there, r {:.1} score {:.2}", search.best.outline.semi_a, search.best.score)
            }
            (None, Ok(search)) => {
                wrong += 1;
                format!("WRONG  nothing there, r {:.1} score {:.2}", search.best.outline.semi_a, search.best.score)
            }
            (Some(_), Err(error)) => {
                missed += 1;
                format!("MISSED {}", error.cause)
            }
            (None, Err(error)) => {
                found += 1;
                format!("none   {}", error.cause)
            }
        };
        println!("{} [{:.0} ms]: {verdict}", case.name, time.as_secs_f64() * 1000.0);
    }
    squares.sort_by(f64::total_cmp);
    let mean = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
    println!(
        "found {found} rivals {rivals} missed {missed} doubted {doubted} WRONG {wrong}; z2 mean {mean:.2} median {:.2}",
        squares.get(squares.len() / 2).copied().unwrap_or(0.0)
    );
    (found, wrong)
}

/// Bilinearly enlarged, with fresh grain.
fn enlarged(small: &Frame, scale: usize, random: &mut Random) -> Vec<[f32; 3]> {
    let (width, height) = (small.size.width, small.size.height);
    let mut rgb = Vec::with_capacity(width * height * scale * scale);
    for row in 0..height * scale {
        let y = ((row as f64 + 0.5) / scale as f64 - 0.5).clamp(0.0, height as f64 - 1.001);
        for column in 0..width * scale {
            let x = ((column as f64 + 0.5) / scale as f64 - 0.5).clamp(0.0, width as f64 - 1.001);
            let (c, r) = (x as usize, y as usize);
            let (fx, fy) = ((x - c as f64) as f32, (y - r as f64) as f32);
            let at = |r: usize, c: usize| small.rgb[r * width + c];
            let (a, b, d, e) = (at(r, c), at(r, c + 1), at(r + 1, c), at(r + 1, c + 1));
            let grain = 1.0 + 0.02 * (random.unit() as f32 - 0.5);
            rgb.push([0, 1, 2].map(|k| {
                ((a[k] * (1.0 - fx) + b[k] * fx) * (1.0 - fy) + (d[k] * (1.0 - fx) + e[k] * fx) * fy) * grain
            }));
        }
    }
    rgb
}

#[test]
fn the_sphere_is_found_in_frames_of_2_and_9_megapixels() {
    let mut random = Random::new(7);
    let size = Size { width: 1024, height: 540 };
    let view = View::from_horizontal_fov(size, 1.0, 40.0, FovSource::Sheet);
    let environment = Environment::room(&mut random, 120, Texture::NONE);
    let cone = cone_at(&view, [600.0, 260.0], 70.0);
    let things = vec![Thing::Mirror { cone, reflectance: [0.6; 3], fresnel: false }];
    let recording = Recording { blur_px: 0.5, noise: 0.0, read_noise: 0.0, exposure: 1.0, eight_bit: false };
    let small = Scene { size, view, environment, things, flares: Vec::new(), recording }.render("large", 1);
    for scale in [2_usize, 4] {
        let (width, height) = (size.width * scale, size.height * scale);
        let rgb = enlarged(&small, scale, &mut random);
        let frame = load::frame_of("large", Size { width, height }, 1.0, rgb, None, false);
        let view = View::from_horizontal_fov(frame.size, 1.0, 40.0, FovSource::Sheet);
        let found = find_sphere(&frame, &view).unwrap();
        assert!(found.rivals.is_empty(), "{width}x{height}: {:?}", found.rivals);
        let o = found.best.outline;
        assert!(
            (o.centre_x / scale as f64 - 600.0).abs() < 2.0 && (o.semi_a / scale as f64 - 70.0).abs() < 2.0,
            "{o:?}"
        );
    }
}

/// A CG frame whose coverage is a sphere seen through `view`: 8 by 8 rays in every pixel.
fn covered_by_sphere(size: Size, view: &View, centre_px: [f64; 2], radius_px: f64) -> (Frame, Outline) {
    let cone = cone_at(view, centre_px, radius_px);
    let part = |column: usize, row: usize| {
        let step = |i: usize| (i as f64 + 0.5) / 8.0;
        let rays = (0..64).map(|i| view.ray([column as f64 + step(i % 8), row as f64 + step(i / 8)]));
        rays.filter(|ray| angle_between_rad(ray, &cone.axis) < cone.half_angle_rad).count() as f32 / 64.0
    };
    let alpha: Vec<f32> = (0..size.width * size.height).map(|i| part(i % size.width, i / size.width)).collect();
    let mut frame = Frame::computed("covered", size, alpha.iter().map(|a| [*a; 3]).collect());
    frame.alpha = Some(alpha);
    (frame, outline_of_cone(view, &cone).unwrap())
}

/// Near the edge of a wide lens the outline is longer than an assumed lens would draw it; coverage tells its axes all the same.
#[test]
fn axes_of_a_cg_outline_need_no_lens_told() {
    let size = Size { width: 480, height: 270 };
    let wide = View::from_horizontal_fov(size, 1.0, 65.0, FovSource::Sheet);
    let (frame, truth) = covered_by_sphere(size, &wide, [415.0, 60.0], 40.0);
    for view in [&wide, &assumed_view(&frame)] {
        let fit = find_sphere(&frame, view).unwrap().best;
        let z = (fit.outline.semi_a - truth.semi_a) / fit.outline_cov[(2, 2)].sqrt();
        assert!(z.abs() < 3.0, "{:?} {z}", view.source);
        // A 40-degree lens would draw it more than a pixel shorter.
        assert!((fit.outline.semi_a - truth.semi_a).abs() < 0.1, "{:?} {:?}", view.source, fit.outline);
    }
}
