//! The finder.
mod sphere_scene;

use std::path::PathBuf;

use nalgebra::Vector3;
use plateproof::camera::{FovSource, View};
use plateproof::image::{Frame, Size};
use plateproof::sphere::find::find_sphere;
use plateproof::sphere::{Outline, SphereFit};

use sphere_scene::environment::{Environment, Texture};
use sphere_scene::random::Random;
use sphere_scene::scene::{Face, Flare, Recording, Scene, Thing, cone_at};
use sphere_scene::{load, picture};

fn reference_data() -> Option<PathBuf> {
    let folder = std::env::var_os("PLATEPROOF_REFERENCE_DATA").map(PathBuf::from);
    if folder.is_none() {
        println!("skipped: PLATEPROOF_REFERENCE_DATA is not set, the published photographs are not at hand");
    }
    folder
}

fn assumed_view(frame: &Frame) -> View {
    View::from_horizontal_fov(frame.size, frame.pixel_aspect, 40.0, FovSource::Assumed)
}

/// Published circle (circle_data.txt of psbox, Ying Xiong 2014): centre x and y in 1-based pixels, y from the bottom.
/// A 1-based pixel centre c lies at c − 0.5 from the corner; y from the top is height + 1 − y.
fn published_circle(folder: &std::path::Path, height: f64) -> Outline {
    let text = std::fs::read_to_string(folder.join("psbox_probe1/circle_data.txt")).unwrap();
    let n: Vec<f64> = text.split_whitespace().map(|w| w.parse().unwrap()).collect();
    Outline::circle(n[0] - 0.5, height + 1.0 - n[1] - 0.5, n[2])
}

#[test]
fn photographs_of_a_glossy_sphere_give_the_published_circle() {
    let Some(folder) = reference_data() else { return };
    let mut worst: Vec<String> = Vec::new();
    for number in 1..=12 {
        let frame = load::display_file(&folder.join(format!("psbox_probe1/Image_{number:02}.JPG")));
        let truth = published_circle(&folder, frame.size.height as f64);
        match find_sphere(&frame, &assumed_view(&frame)) {
            Ok(found) => {
                let o = found.best.outline;
                let centre = (o.centre_x - truth.centre_x).hypot(o.centre_y - truth.centre_y);
                let radius = o.mean_radius() - truth.semi_a;
                let ok = found.rivals.is_empty() && centre.max(radius.abs()) <= 0.005 * truth.semi_a;
                println!("{number:02}: centre {centre:.2} px, radius {radius:+.2} px, rivals {}", found.rivals.len());
                if !ok {
                    worst.push(format!("{number:02}"));
                }
            }
            Err(error) => worst.push(format!("{number:02}: {error}")),
        }
    }
    assert!(worst.is_empty(), "{worst:?}");
}

/// One line of the table of made-up shots.
struct Case {
    name: String,
    scene: Scene,
    seed: u64,
}

fn lat_long(file: &str, gain: f64, heading_rad: f64, texture: Texture) -> Option<Environment> {
    let path = reference_data()?.join("openexr_images/MultiResolution").join(file);
    let frame = load::exr_file(&path);
    Some(Environment::LatLong {
        width: frame.size.width,
        height: frame.size.height,
        pixels: frame.rgb,
        heading_rad,
        gain,
        texture,
    })
}

fn environment(random: &mut Random, index: u64) -> Environment {
    let texture = if random.chance(0.6) {
        Texture { strength: random.between(0.1, 0.6), per_radian: random.log_between(10.0, 120.0) }
    } else {
        Texture::NONE
    };
    let heading = random.between(-3.0, 3.0);
    let real = match index % 4 {
        0 => lat_long("StageEnvLatLong.exr", 1.0, heading, texture),
        1 => lat_long("KernerEnvLatLong.exr", 0.5, heading, texture),
        _ => None,
    };
    let clutter = 10 + random.below(150);
    real.unwrap_or_else(|| Environment::room(random, clutter, texture))
}

fn cached(case: &Case) -> Frame {
    let Some(folder) = std::env::var_os("CACHE") else { return case.scene.render(&case.name, case.seed) };
    let path = PathBuf::from(folder).join(format!("{}.raw", case.name.replace(' ', "_")));
    if let Ok(bytes) = std::fs::read(&path) {
        let n: Vec<f32> = bytes.chunks_exact(4).map(|b| f32::from_le_bytes(b.try_into().unwrap())).collect();
        let rgb = n.chunks_exact(3).map(|c| [c[0], c[1], c[2]]).collect();
        return load::frame_of(&case.name, case.scene.size, case.scene.view.pixel_aspect, rgb, None, case.scene.recording.eight_bit);
    }
    let frame = case.scene.render(&case.name, case.seed);
    let bytes: Vec<u8> = frame.rgb.iter().flatten().flat_map(|v| v.to_le_bytes()).collect();
    std::fs::write(&path, bytes).unwrap();
    frame
}

/// A seeded shot of growing difficulty.
fn shot(index: u64, with_sphere: bool) -> Case {
    let mut random = Random::new(1000 + index);
    let size = [Size { width: 960, height: 540 }, Size { width: 640, height: 480 }, Size { width: 1024, height: 429 }]
        [random.below(3)];
    let aspect = if index % 11 == 5 { 2.0 } else { 1.0 };
    let view = View::from_horizontal_fov(size, aspect, random.between(20.0, 62.0), FovSource::Sheet);
    let environment = environment(&mut random, index);
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
            let angle = random.between(0.0, 6.28);
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
            let angle = random.between(0.0, 6.28);
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
    let corners =
        [[centre[0] - half, top], [centre[0] + half, top], [centre[0] + 1.3 * half, foot], [centre[0] - 1.3 * half, foot]];
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
    let only: Option<u64> = std::env::var("ONLY").ok().and_then(|v| v.parse().ok());
    let some: Option<Vec<u64>> = std::env::var("SOME").ok().map(|v| v.split(',').map(|n| n.parse().unwrap()).collect());
    let count: u64 = std::env::var("COUNT").ok().and_then(|v| v.parse().ok()).unwrap_or(60);
    let (mut found, mut rivals, mut missed, mut wrong) = (0, 0, 0, 0);
    let mut squares = Vec::new();
    for index in 0..count {
        if only.is_some_and(|o| o != index) || some.as_ref().is_some_and(|s| !s.contains(&index)) {
            continue;
        }
        let case = shot(index, index % 4 != 3);
        let frame = cached(&case);
        let truth = case.scene.truth();
        let start = std::time::Instant::now();
        let result = find_sphere(&frame, &case.scene.view);
        let time = start.elapsed();
        if std::env::var("DEBUG").is_ok() {
            plateproof::sphere::find::debug::run(&frame, &case.scene.view);
            if let Some(t) = truth { plateproof::sphere::find::debug::levels_of(&frame, &case.scene.view, t); }
        }
        let mut outlines = Vec::new();
        let verdict = match (&truth, &result) {
            (Some(truth), Ok(search)) => {
                let o = search.best.outline;
                outlines.push((o, [255, 0, 0]));
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
                    (false, true) => {
                        wrong += 1;
                        format!("WRONG  {line}")
                    }
                }
            }
            (None, Ok(search)) => {
                outlines.push((search.best.outline, [255, 0, 0]));
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
        outlines.extend(truth.map(|t| (t, [0, 255, 0])));
        println!("{} [{:.0} ms]: {verdict}", case.name, time.as_secs_f64() * 1000.0);
        if let Some(folder) = std::env::var_os("PICTURES") {
            picture::save(&PathBuf::from(folder).join(format!("{index:03}.png")), &frame, &outlines);
        }
    }
    squares.sort_by(f64::total_cmp);
    let mean = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
    println!("found {found} rivals {rivals} missed {missed} WRONG {wrong}; z2 mean {mean:.2} median {:.2}", squares.get(squares.len() / 2).copied().unwrap_or(0.0));
    assert_eq!(wrong, 0);
}

/// Frames of an independent path tracer with the exact outline beside them (`golden/path_traced`).
#[test]
fn path_traced_spheres() {
    let folder = std::env::var_os("GOLDEN").map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced"), PathBuf::from);
    let Ok(entries) = std::fs::read_dir(&folder) else {
        println!("skipped: no {}", folder.display());
        return;
    };
    let mut shots: Vec<PathBuf> = entries.map(|e| e.unwrap().path()).filter(|p| p.join("truth.json").exists()).collect();
    shots.sort();
    for shot in shots {
        let truth: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(shot.join("truth.json")).unwrap()).unwrap();
        for role in ["mirror", "cg"] {
            let mut frame = load::exr_file(&shot.join(format!("{role}.exr")));
            let numbers: Vec<f64> = truth[role]["outline_px"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
            let truth_outline = Outline { centre_x: numbers[0], centre_y: numbers[1], semi_a: numbers[2], semi_b: numbers[3], angle_deg: numbers[4] };
            let fov = truth[role]["horizontal_fov_deg"].as_f64().unwrap();
            let has_alpha = frame.alpha.is_some();
            for with_alpha in [true, false] {
                if with_alpha && !has_alpha { continue; }
                if !with_alpha { frame.alpha = None; }
                let view = View::from_horizontal_fov(frame.size, 1.0, fov, FovSource::Sheet);
                let name = shot.file_name().unwrap().to_string_lossy().into_owned();
                match find_sphere(&frame, &view) {
                    Ok(s) => {
                        let o = s.best.outline;
                        let centre = (o.centre_x - numbers[0]).hypot(o.centre_y - numbers[1]);
                        let radius = 0.5 * (o.semi_a + o.semi_b - numbers[2] - numbers[3]);
                        println!("{name} {role} {:?}: r {:.0} px, radius error {radius:+.3} centre {centre:.3} z2 {:.2} score {:.2} rivals {} unseen {:.2}", s.best.found_by, numbers[2], normalised_square(&s.best, &truth_outline), s.best.score, s.rivals.len(), s.best.unseen_fraction);
                    }
                    Err(e) => println!("{name} {role}: px, radius none: {}", e.cause),
                }
                if std::env::var("DEBUG").is_ok() { plateproof::sphere::find::debug::run(&frame, &view); }
            }
        }
    }
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

/// A 4096 × 2160 frame: prints how long the search takes.
#[test]
fn large_frame_is_searched_quickly() {
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
        let start = std::time::Instant::now();
        let found = find_sphere(&frame, &view).unwrap();
        println!("{width}x{height}: {:.0} ms], rivals {}", start.elapsed().as_secs_f64() * 1000.0, found.rivals.len());
        if std::env::var("DEBUG").is_ok() {
            plateproof::sphere::find::debug::run(&frame, &view);
        }
        let o = found.best.outline;
        assert!((o.centre_x / scale as f64 - 600.0).abs() < 2.0 && (o.semi_a / scale as f64 - 70.0).abs() < 2.0, "{o:?}");
    }
}
