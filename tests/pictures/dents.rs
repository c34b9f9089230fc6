//! Dents of a mirror sphere, on pictures made here, where place, width and slope are known.
//!
//! The pictures come by a route of their own (`traced_sphere`): the surface normal is turned by the slope of a Gaussian
//! hollow.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the measured figures with --nocapture")]

use std::path::Path;

use nalgebra::{Rotation3, Vector3};
use plateproof::report::Report;
use plateproof::sheet::load_sheet;
use plateproof::shot::{RunOptions, check_shot};
use plateproof::sphere::angle_between_rad;
use plateproof::sphere_faults::{Dent, Seen, find_dents};

use crate::sphere_scene::environment::{Environment, Texture};
use crate::sphere_scene::load::exr_file;
use crate::sphere_scene::random::Random;
use crate::traced_sphere::{Picture, Taken, World};

/// A Gaussian hollow (or bump, where the slope is negative) of the surface.
#[derive(Clone, Copy)]
struct Hollow {
    normal: Vector3<f64>,
    /// 1 sd, rad seen from the sphere's centre.
    width_rad: f64,
    /// The steepest slope, rad.
    slope_rad: f64,
}

impl Hollow {
    fn turned(&self, normal: Vector3<f64>) -> Vector3<f64> {
        let u = (normal - self.normal) / self.width_rad;
        // The slope of a Gaussian is largest one sd from its middle.
        (normal + u * (self.slope_rad * (0.5 - 0.5 * u.norm_squared()).exp())).normalize()
    }
}

/// The picture of a sphere with hollows or without.
fn take(radius_px: f64, hollows: &[Hollow], noise: f64, world: World<'_>, seed: u64) -> Taken {
    let surface = |normal: Vector3<f64>| (hollows.iter().fold(normal, |n, hollow| hollow.turned(n)), 1.0);
    Picture { radius_px, rays: 3, noise, seed, world, surface: &surface }.take()
}

fn dents(photographed: &Taken, cg: &Taken) -> Vec<Dent> {
    let (ours, theirs) = (photographed.geometry(), cg.geometry());
    find_dents(
        Seen { frame: &photographed.frame, fit: &photographed.fit, geometry: &ours },
        Seen { frame: &cg.frame, fit: &cg.fit, geometry: &theirs },
    )
}

/// A room of patches and lamps with fine structure.
fn room(seed: u64, strength: f64) -> Environment {
    Environment::room(&mut Random::new(seed + 700), 24, Texture { strength, per_radian: 5.0 })
}

/// Somewhere on the half that faces the camera, not at its very edge.
fn somewhere(random: &mut Random) -> Vector3<f64> {
    loop {
        let normal = Vector3::new(random.normal(), random.normal(), random.normal()).normalize();
        if normal.z > 0.5 {
            return normal;
        }
    }
}

#[test]
fn dents_are_found_where_they_are() {
    let (mut found, mut missed) = (0, Vec::new());
    for seed in 0..24_u64 {
        let mut random = Random::new(seed + 40);
        let room = room(seed, 0.35);
        let world = |d: &Vector3<f64>| room.radiance(d);
        let radius_px = [60.0, 110.0, 200.0][(seed % 3) as usize];
        let hollow = Hollow {
            normal: somewhere(&mut random),
            width_rad: random.log_between(0.09, 0.2),
            slope_rad: random.log_between(0.02, 0.12) * if seed % 2 == 0 { 1.0 } else { -1.0 },
        };
        let photographed = take(radius_px, &[hollow], 0.01, &world, seed);
        let exposed_up = |d: &Vector3<f64>| world(d).map(|v| 1.4 * v);
        let dents = dents(&photographed, &take(90.0, &[], 0.002, &exposed_up, seed + 1));
        let near = dents.iter().find(|d| angle_between_rad(&d.normal, &hollow.normal) < hollow.width_rad);
        let what = format!(
            "{seed} R {radius_px} width {:.3} slope {:.3} ({:.1} px)",
            hollow.width_rad,
            hollow.slope_rad,
            hollow.slope_rad * radius_px
        );
        println!(
            "{what}: {}",
            dents.iter().map(|d| format!("{} r {:.2}", d.words(), d.radius_rad)).collect::<Vec<_>>().join(" | ")
        );
        // Nothing is made up beside it, and what is told of it is about right.
        assert!(dents.iter().all(|d| angle_between_rad(&d.normal, &hollow.normal) < 2.6 * hollow.width_rad), "{what}");
        let Some(dent) = near else {
            missed.push(what);
            continue;
        };
        found += 1;
        let (shift_px, reach_rad) = (hollow.slope_rad.abs() * radius_px, 2.6 * hollow.width_rad);
        assert!((0.5..1.5).contains(&(dent.farthest_px / shift_px)), "{what}: {}", dent.words());
        assert!((0.7..1.5).contains(&(dent.radius_rad / reach_rad)), "{what}: {:.2} rad", dent.radius_rad);
    }
    println!("found {found}, missed {missed:#?}");
    assert!(found >= FOUND_TODAY, "{missed:#?}");
}

/// Of the twenty-four; of the twelve that are wider than 0.13 rad and move reflections by more than 4 px, eleven.
const FOUND_TODAY: usize = 18;

/// A path-traced shot whose photographed sphere is dented at `at_px`: within `width_px` pictures of the mirror's own place
/// beside it are shown.
fn dented(shot: &str, at_px: [f64; 2], width_px: f64, shift_px: f64) -> Report {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced").join(shot);
    let folder = tempfile::tempdir().unwrap();
    for file in ["shot.json", "plate.exr", "cg.exr"] {
        std::fs::copy(golden.join(file), folder.path().join(file)).unwrap();
    }
    let frame = exr_file(&golden.join("mirror.exr"));
    let pixel = |x: usize, y: usize| {
        let u = [x as f64 + 0.5 - at_px[0], y as f64 + 0.5 - at_px[1]].map(|d| d / width_px);
        let size = shift_px * (0.5 - 0.5 * (u[0] * u[0] + u[1] * u[1])).exp();
        let [px, py] = [x as f64 + u[0] * size, y as f64 + u[1] * size];
        let (c, r) =
            ((px.max(0.0) as usize).min(frame.size.width - 2), (py.max(0.0) as usize).min(frame.size.height - 2));
        let (fx, fy) = ((px - c as f64) as f32, (py - r as f64) as f32);
        let at = |r: usize, c: usize| frame.rgb[r * frame.size.width + c];
        let (a, b, d, e) = (at(r, c), at(r, c + 1), at(r + 1, c), at(r + 1, c + 1));
        let mixed =
            [0, 1, 2].map(|k| (a[k] * (1.0 - fx) + b[k] * fx) * (1.0 - fy) + (d[k] * (1.0 - fx) + e[k] * fx) * fy);
        (mixed[0], mixed[1], mixed[2])
    };
    let file = folder.path().join("mirror.exr");
    exr::prelude::write_rgb_file(&file, frame.size.width, frame.size.height, pixel).unwrap();
    check_shot(&load_sheet(&folder.path().join("shot.json")).unwrap(), RunOptions::default()).report
}

/// The dent lies between key and middle; what it spoils does not count on either side, and the report says so.
#[test]
fn a_shot_with_a_dent_is_checked_without_it() {
    let take = |shift_px| dented("sf_050_too_warm", [150.0, 120.0], 16.0, shift_px);
    let (round, spoiled) = (take(0.0), take(8.0));
    let said = |report: &Report| report.warnings.iter().filter(|w| w.contains("dent or bump")).count();
    assert_eq!([said(&round), said(&spoiled)], [0, 1], "{:#?}", spoiled.warnings);
    let ignored = spoiled.spheres.iter().map(|s| s.ignored_fraction).fold(0.0, f64::max);
    // 2.6 widths of 16 px about the middle of a disc of 120 px radius, or up to a fifth wider as fitted.
    let cap = (2.6_f64 * 16.0 / 120.0).powi(2);
    assert!((0.8 * cap..1.5 * cap).contains(&ignored), "{ignored:.3} of {cap:.3}");
    // Degrees or stops; a fifth of the bounds that the round shots are held to.
    for (check, bound) in
        [("highlight-direction", 0.05), ("key-fill-ratio", 0.016), ("exposure", 0.006), ("colour-balance", 0.004)]
    {
        let value = |report: &Report| report.findings.iter().find(|f| f.check == check).and_then(|f| f.value).unwrap();
        let verdict = |report: &Report| report.findings.iter().find(|f| f.check == check).map(|f| f.verdict);
        println!("{check}: {:+.4} dented, {:+.4} round", value(&spoiled), value(&round));
        assert!((value(&spoiled) - value(&round)).abs() < bound, "{check}");
        assert_eq!(verdict(&spoiled), verdict(&round), "{check}");
    }
}

/// What differs for other reasons is no dent.
#[test]
fn round_spheres_have_no_dents() {
    let mut wrong = Vec::new();
    for seed in 0..40_u64 {
        let mut random = Random::new(seed + 940);
        let strength = [0.0, 0.35][(seed / 5 % 2) as usize];
        let (set, built) = (room(seed, strength), room(seed, strength));
        let turn = Rotation3::from_axis_angle(&Vector3::y_axis(), [0.0, 0.02, 0.05][(seed % 3) as usize]);
        let lamp = somewhere(&mut random);
        let (size_set, size_built) = (random.log_between(0.05, 0.2), random.log_between(0.05, 0.2));
        let moved = (lamp + Vector3::new(random.normal(), random.normal(), random.normal()) * 0.05).normalize();
        let level = random.log_between(1.2, 12.0);
        let crew = somewhere(&mut random);
        let case = seed % 5;
        let world = |d: &Vector3<f64>| {
            let light = set.radiance(d);
            if d.dot(&lamp) > size_set.cos() && case != 2 {
                return light.map(|v| v * level);
            }
            // The camera and who stands behind it.
            if case == 3 && d.dot(&crew) > 0.985 { [0.05; 3] } else { light }
        };
        let rendered = |d: &Vector3<f64>| {
            let light = built.radiance(&(turn * d));
            let (at, size) = match case {
                0 => (moved, size_set),
                1 => (lamp, size_built),
                4 => return light,
                _ => (lamp, size_set),
            };
            if d.dot(&at) > size.cos() { light.map(|v| v * level) } else { light }
        };
        let photographed = take(80.0, &[], 0.01, &world, seed);
        let dents = dents(&photographed, &take(64.0, &[], 0.002, &rendered, seed + 1));
        for dent in &dents {
            wrong.push(format!("{seed} case {case} level {level:.1} strength {strength}: {}", dent.words()));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
