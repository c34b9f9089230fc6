//! Frames of a [`Scene`] with a mirror sphere in it, by exact perspective.
//!
//! The scene lies at infinity: each ray meets the sphere or not, is mirrored by `r = d − 2(d·n)n`, and reads the
//! scene's radiance there. Pixels are boxes, sampled more finely wherever an edge falls into them.

use nalgebra::Vector3;

use super::develop::develop;
pub use super::develop::{Background, RenderOptions};
use super::scene::{Scene, angle};
use crate::base::parallel;
use crate::image::Size;
use crate::optics::camera::View;
use crate::sphere::{Outline, SphereCone, outline_of_cone};

/// Samples across a pixel in which the sphere's outline or a light's edge falls.
const EDGE_SAMPLES: usize = 12;
/// Samples across a background pixel that differs from its neighbours.
const CONTRAST_SAMPLES: usize = 3;
/// Relative difference from a neighbour that calls for them.
const CONTRAST: f64 = 0.15;
/// Upper bound of samples across a pixel, however small the light in it.
const MOST_SAMPLES: usize = 40;

/// A mirror sphere in the frame.
#[derive(Debug, Clone, PartialEq)]
pub struct MirrorSphere {
    /// The cone of rays that touch it.
    pub cone: SphereCone,
    /// Reflectance per channel.
    pub reflectance: [f64; 3],
}

impl MirrorSphere {
    /// The sphere whose outline has about this centre and radius in pixels.
    pub fn at(view: &View, centre_px: [f64; 2], radius_px: f64, reflectance: [f64; 3]) -> Self {
        let axis = view.ray(centre_px);
        let rim = view.ray([centre_px[0], centre_px[1] - radius_px]);
        Self { cone: SphereCone { axis, half_angle_rad: angle(&axis, &rim) }, reflectance }
    }

    /// Where a ray from the camera goes after meeting the sphere; `None` where it passes by.
    pub fn reflect(&self, ray: &Vector3<f64>) -> Option<Vector3<f64>> {
        // In units of the sphere's radius; the direction of the reflection does not depend on it.
        let distance = self.cone.half_angle_rad.sin().recip();
        let centre = self.cone.axis * distance;
        let along = ray.dot(&centre);
        let discriminant = along * along - (distance * distance - 1.0);
        if discriminant < 0.0 || along <= 0.0 {
            return None;
        }
        let normal = ray * (along - discriminant.sqrt()) - centre;
        Some((ray - normal * (2.0 * ray.dot(&normal))).normalize())
    }
}

/// A rendered frame, rows from the top.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Columns and rows.
    pub size: Size,
    /// Linear BT.709.
    pub rgb: Vec<[f32; 3]>,
    /// Coverage, where the background is transparent.
    pub alpha: Option<Vec<f32>>,
}

/// Renders one frame. The same arguments give the same values on any number of threads.
pub fn render(
    scene: &Scene,
    view: &View,
    size: Size,
    sphere: Option<&MirrorSphere>,
    options: &RenderOptions,
) -> Picture {
    let tracer = Tracer::new(scene, view, sphere, options);
    let corner = |index: usize| [(index % size.width) as f64, (index / size.width) as f64];
    let count = size.width * size.height;
    let coarse: Vec<Sample> = parallel::map(count, |index| tracer.sample(corner(index).map(|c| c + 0.5)));
    let pixels: Vec<Sample> =
        parallel::map(count, |index| match tracer.samples_across(corner(index), contrasts(&coarse, size, index)) {
            1 => coarse[index],
            across => tracer.pixel(corner(index), across),
        });
    let alpha = (options.background == Background::Transparent)
        .then(|| pixels.iter().map(|pixel| pixel.coverage as f32).collect());
    let linear = pixels.iter().map(|pixel| [0, 1, 2].map(|c| (pixel.rgb[c] * options.gain[c]) as f32)).collect();
    Picture { size, rgb: develop(linear, size, options), alpha }
}

/// A pixel differs clearly from one of its neighbours.
fn contrasts(coarse: &[Sample], size: Size, index: usize) -> bool {
    let (x, y) = (index % size.width, index / size.width);
    let neighbours = [
        (x > 0).then(|| index - 1),
        (x + 1 < size.width).then_some(index + 1),
        (y > 0).then(|| index - size.width),
        (y + 1 < size.height).then_some(index + size.width),
    ];
    let here = coarse[index].rgb[1];
    neighbours.into_iter().flatten().any(|other| {
        let there = coarse[other].rgb[1];
        (here - there).abs() > CONTRAST * here.max(there)
    })
}

/// Colour times coverage, and coverage by sphere or stand.
#[derive(Clone, Copy)]
struct Sample {
    rgb: [f64; 3],
    coverage: f64,
}

struct Tracer<'a> {
    scene: &'a Scene,
    view: &'a View,
    sphere: Option<&'a MirrorSphere>,
    stand: Option<Outline>,
    options: &'a RenderOptions,
}

impl<'a> Tracer<'a> {
    fn new(scene: &'a Scene, view: &'a View, sphere: Option<&'a MirrorSphere>, options: &'a RenderOptions) -> Self {
        let stand = sphere.filter(|_| options.stand).and_then(|sphere| outline_of_cone(view, &sphere.cone));
        Self { scene, view, sphere, stand, options }
    }

    /// Mean over the pixel whose top-left corner is given.
    fn pixel(&self, corner: [f64; 2], across: usize) -> Sample {
        let mut sum = Sample { rgb: [0.0; 3], coverage: 0.0 };
        for index in 0..across * across {
            let place = |i: usize| (i as f64 + 0.5) / across as f64;
            let sample = self.sample([corner[0] + place(index % across), corner[1] + place(index / across)]);
            sum.rgb = [0, 1, 2].map(|c| sum.rgb[c] + sample.rgb[c]);
            sum.coverage += sample.coverage;
        }
        let count = (across * across) as f64;
        Sample { rgb: sum.rgb.map(|c| c / count), coverage: sum.coverage / count }
    }

    fn sample(&self, point_px: [f64; 2]) -> Sample {
        if let Some(rgb) = self.stand.as_ref().and_then(|outline| stand_radiance(outline, point_px)) {
            return Sample { rgb, coverage: 1.0 };
        }
        if let Some((sphere, direction)) = self.reflection(point_px) {
            let seen = self.scene.radiance(&direction);
            return Sample { rgb: [0, 1, 2].map(|c| seen[c] * sphere.reflectance[c]), coverage: 1.0 };
        }
        match self.options.background {
            Background::Shown => Sample { rgb: self.scene.radiance(&self.background_ray(point_px)), coverage: 0.0 },
            Background::Transparent => Sample { rgb: [0.0; 3], coverage: 0.0 },
        }
    }

    fn reflection(&self, point_px: [f64; 2]) -> Option<(&MirrorSphere, Vector3<f64>)> {
        let sphere = self.sphere?;
        Some((sphere, sphere.reflect(&self.view.ray(point_px))?))
    }

    fn background_ray(&self, point_px: [f64; 2]) -> Vector3<f64> {
        let shift = self.options.background_shift_px;
        self.view.ray([point_px[0] - shift[0], point_px[1] - shift[1]])
    }

    /// The direction that a point of the frame shows, and whether by way of the sphere.
    fn seen_direction(&self, point_px: [f64; 2]) -> (Vector3<f64>, bool) {
        match self.reflection(point_px) {
            Some((_, direction)) => (direction, true),
            None => (self.background_ray(point_px), false),
        }
    }

    fn samples_across(&self, corner: [f64; 2], contrast: bool) -> usize {
        let middle = [corner[0] + 0.5, corner[1] + 0.5];
        let (centre, by_sphere) = self.seen_direction(middle);
        let corners = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]]
            .map(|[x, y]| self.seen_direction([corner[0] + x, corner[1] + y]));
        let on_outline = corners.iter().any(|(_, other)| *other != by_sphere);
        let hidden = !by_sphere && self.options.background == Background::Transparent;
        if hidden && !on_outline {
            return 1;
        }
        let spread = corners.iter().map(|(direction, _)| (direction - centre).norm()).fold(0.0, f64::max);
        let near_light = self.scene.nearest_light_edge(&centre).filter(|(distance, _)| *distance < 1.5 * spread);
        match near_light {
            Some((_, radius)) => {
                let finer = (EDGE_SAMPLES as f64 * (0.5 * spread / radius.max(1e-4)).max(1.0)).ceil();
                (finer as usize).clamp(self.options.samples, MOST_SAMPLES)
            }
            None if on_outline => EDGE_SAMPLES.max(self.options.samples),
            None if by_sphere => self.options.samples.max(1),
            None => {
                if contrast {
                    CONTRAST_SAMPLES
                } else {
                    1
                }
            }
        }
    }
}

/// A dark cup that hides the sphere's foot, on a pole; `None` beside it.
pub(crate) fn stand_radiance(outline: &Outline, point_px: [f64; 2]) -> Option<[f64; 3]> {
    let radius = outline.mean_radius();
    let (across, down) = ((point_px[0] - outline.centre_x) / radius, (point_px[1] - outline.centre_y) / radius);
    let half_width = match down {
        d if d < 0.93 => return None,
        d if d < 1.16 => 0.40 - 0.6 * (d - 0.93),
        _ => 0.10,
    };
    let offset = across / half_width;
    (offset.abs() < 1.0).then(|| {
        // A round dark pole: lighter on its left.
        let lit = 0.02 + 0.05 * (1.0 - (offset + 0.35).powi(2)).max(0.0);
        [lit, lit * 1.02, lit * 1.06]
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::Noise;
    use crate::demo::scene::{DiscLight, direction_of};
    use crate::optics::camera::FovSource;

    const SIZE: Size = Size { width: 480, height: 320 };

    fn view() -> View {
        View::from_horizontal_fov(SIZE, 1.0, 40.0, FovSource::Sheet)
    }

    fn transparent() -> RenderOptions {
        RenderOptions { background: Background::Transparent, ..RenderOptions::default() }
    }

    /// Where the sphere shows a light, by another route than the renderer's: on the sphere, in the plane of the line of
    /// sight and the light, the point at angle β from the line to the camera is seen under the angle ψ with
    /// tan ψ = sin β / (D − cos β), and mirrors light from the angle 2β + ψ off that line. Solved for β by bisection.
    fn highlight_by_plane_geometry(view: &View, sphere: &MirrorSphere, light: &Vector3<f64>) -> [f64; 2] {
        let distance = sphere.cone.half_angle_rad.sin().recip();
        let back = -sphere.cone.axis;
        let off_line = angle(&back, light);
        let seen_under = |beta: f64| (beta.sin() / (distance - beta.cos())).atan();
        let (mut low, mut high) = (0.0, std::f64::consts::FRAC_PI_2);
        for _ in 0..80 {
            let beta = f64::midpoint(low, high);
            if 2.0 * beta + seen_under(beta) < off_line { low = beta } else { high = beta }
        }
        let sideways = (light - back * back.dot(light)).normalize();
        let psi = seen_under(low);
        view.project(&(sphere.cone.axis * psi.cos() + sideways * psi.sin())).unwrap()
    }

    fn centroid(picture: &Picture) -> [f64; 2] {
        let mut sums = [0.0; 3];
        for (index, pixel) in picture.rgb.iter().enumerate() {
            let (x, y) = ((index % SIZE.width) as f64 + 0.5, (index / SIZE.width) as f64 + 0.5);
            let weight = f64::from(pixel[1]);
            sums = [sums[0] + weight * x, sums[1] + weight * y, sums[2] + weight];
        }
        [sums[0] / sums[2], sums[1] / sums[2]]
    }

    #[test]
    fn a_light_is_mirrored_where_plane_geometry_says() {
        let view = view();
        let sphere = MirrorSphere::at(&view, [300.0, 120.0], 90.0, [1.0; 3]);
        for (azimuth, elevation) in [(0.0, 10.0), (-40.0, 30.0), (75.0, 20.0), (120.0, -25.0), (10.0, 80.0)] {
            // About 1.5 px in the picture: the centroid of a disc below a pixel would tell of the pixel grid instead.
            let light = DiscLight::new(azimuth, elevation, 2.0, [1000.0; 3]);
            let expected = highlight_by_plane_geometry(&view, &sphere, &light.direction);
            let scene = Scene::plain([0.0; 3]).with_light(light);
            let found = centroid(&render(&scene, &view, SIZE, Some(&sphere), &transparent()));
            let off = (found[0] - expected[0]).hypot(found[1] - expected[1]);
            assert!(off < 0.05, "{azimuth} {elevation}: {found:?} instead of {expected:?}");
        }
    }

    /// The sphere's image of a small light covers, in the camera's solid angle, the light's solid angle times the
    /// Jacobian of the mirrored map, here by central differences.
    #[test]
    fn a_small_light_keeps_its_energy_in_the_mirror() {
        let view = view();
        let sphere = MirrorSphere::at(&view, [240.0, 160.0], 100.0, [0.5; 3]);
        for (azimuth, elevation, radius_deg) in [(30.0, 20.0, 0.4), (-60.0, 10.0, 1.0), (100.0, 30.0, 2.0)] {
            let light = DiscLight::new(azimuth, elevation, radius_deg, [300.0; 3]);
            let at = highlight_by_plane_geometry(&view, &sphere, &light.direction);
            let mirrored = |dx: f64, dy: f64| sphere.reflect(&view.ray([at[0] + dx, at[1] + dy])).unwrap();
            let step = 0.01;
            let (right, left) = (mirrored(step, 0.0), mirrored(-step, 0.0));
            let (down, up) = (mirrored(0.0, step), mirrored(0.0, -step));
            let solid_angle_per_px = ((right - left).cross(&(down - up)).norm()) / (4.0 * step * step);
            let expected = 0.5 * 300.0 * light.solid_angle() / solid_angle_per_px;
            let scene = Scene::plain([0.0; 3]).with_light(light);
            let picture = render(&scene, &view, SIZE, Some(&sphere), &transparent());
            let sum: f64 = picture.rgb.iter().map(|pixel| f64::from(pixel[1])).sum();
            assert!((sum / expected - 1.0).abs() < 0.02, "{azimuth} {elevation}: {sum} instead of {expected}");
        }
    }

    #[test]
    fn coverage_has_the_area_and_centre_of_the_outline() {
        let view = view();
        let sphere = MirrorSphere::at(&view, [330.0, 110.0], 80.0, [1.0; 3]);
        let outline = outline_of_cone(&view, &sphere.cone).unwrap();
        let picture = render(&Scene::plain([1.0; 3]), &view, SIZE, Some(&sphere), &transparent());
        let area: f64 = picture.alpha.as_ref().unwrap().iter().map(|a| f64::from(*a)).sum();
        let expected = std::f64::consts::PI * outline.semi_a * outline.semi_b;
        assert!((area / expected - 1.0).abs() < 2e-4, "{area} {expected}");
        let centre = centroid(&picture);
        assert!((centre[0] - outline.centre_x).hypot(centre[1] - outline.centre_y) < 0.005);
    }

    #[test]
    fn the_middle_of_the_sphere_shows_the_camera() {
        let sphere = MirrorSphere::at(&view(), [300.0, 100.0], 50.0, [1.0; 3]);
        let back = sphere.reflect(&sphere.cone.axis).unwrap();
        assert!((back + sphere.cone.axis).norm() < 1e-12);
        assert!(sphere.reflect(&direction_of(0.0, 0.0)).is_none());
    }

    #[test]
    fn the_same_arguments_give_the_same_bytes() {
        let (view, scene) = (view(), Scene::plain([0.2, 0.3, 0.4]));
        let options =
            RenderOptions { noise: Some(Noise { seed: 5, read: 0.01, shot: 0.001 }), ..RenderOptions::default() };
        let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        let first = one_thread.install(|| render(&scene, &view, SIZE, None, &options));
        assert_eq!(first, render(&scene, &view, SIZE, None, &options));
    }
}
