//! The gain of each light of the CG that best maps the CG sphere on the photographed one.
//!
//! Both are compared as lobes: the light around a direction, weighted by the 12th power of the cosine. A lobe is broad
//! enough (half its weight within about 20°) that a light a few degrees off still counts as the same light, and narrow
//! enough to tell lights 30° apart.

use nalgebra::{DMatrix, DVector, Vector3};

use crate::base::nnls::nnls;
use crate::base::statistics::{median, robust_sd};
use crate::light::radiance::{DirectionGrid, Source};

/// Power of the cosine in a lobe.
const LOBE_POWER: i32 = 12;

/// One lobe for every eighth direction of the shared grid.
const LOBE_STRIDE: usize = 8;

/// Number of independent lobes: the sphere over the area of a lobe's autocorrelation, 4π σ² with σ = 16.5°.
const INDEPENDENT_LOBES: f64 = 12.0;

/// A lobe is left out where more than this part of the photographed light is filled in.
const MOST_FILLED: f64 = 0.2;

/// A lobe is left out where more than this part of the photographed light comes from clipped points.
const MOST_CLIPPED: f64 = 0.02;

/// Differences are relative to the lobe's light plus this fraction of the median lobe.
const FLOOR_FRACTION: f64 = 0.1;

/// Robust deviation is taken as at least this, relative.
const LEAST_DEVIATION: f64 = 0.01;

/// Two layers whose lobes are this similar (cosine) are solved as one: lights within about 10° of each other, between
/// which an error of a few degrees would distribute light wrongly.
const ALIKE: f64 = 0.9;

/// Lobes whose relative difference is much larger than this, or than that of the others, count little.
const LEAST_ROBUST: f64 = 0.05;

/// A layer whose variance is this many times larger because of the other layers cannot be separated from them.
const MOST_INFLATION: f64 = 40.0;

/// A layer that gives less than this fraction of every lobe is not solved for.
const LEAST_PART: f64 = 0.01;

/// Error that remains on clean input, relative.
const FLOOR_SD: f64 = 0.01;

/// One light of the CG as its sphere shows it alone.
#[derive(Debug, Clone)]
pub struct LightLayer {
    /// Name of the layer.
    pub name: String,
    /// Its light by direction.
    pub sources: Vec<Source>,
}

/// Layers that share a gain because the sphere cannot separate them; mostly a single one.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupGain {
    /// Indices of the layers.
    pub layers: Vec<usize>,
    /// What to multiply the light by.
    pub grey: f64,
    /// The same per channel of the working space.
    pub rgb: [f64; 3],
    /// Standard deviation of `grey`.
    pub grey_sd: f64,
    /// Standard deviation of a channel against another.
    pub channel_sd: f64,
}

/// The solution.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LightGainsSolution {
    /// The gains that can be determined.
    pub groups: Vec<GroupGain>,
    /// Layers whose gain cannot be determined: they give next to nothing, only clipped light, or the same light as
    /// others together.
    pub untold: Vec<usize>,
    /// Part of the CG's light that is in no layer, and stays as it is.
    pub rest_fraction: f64,
    /// Layers in whose direction the whole picture has so much more or less light that they cannot be all of that
    /// light.
    pub not_whole: Vec<usize>,
    /// Robust relative deviation of the lobes after the gains.
    pub left_over: f64,
}

/// Light gathered by lobes.
struct Lobes {
    rgb: Vec<[f64; 3]>,
    luminance: Vec<f64>,
    filled: Vec<f64>,
    clipped: Vec<f64>,
}

impl Lobes {
    fn of(sources: &[Source]) -> Self {
        let grid = DirectionGrid::shared();
        let axes: Vec<&Vector3<f64>> = grid.directions.iter().step_by(LOBE_STRIDE).collect();
        let count = axes.len();
        let mut lobes = Self {
            rgb: vec![[0.0; 3]; count],
            luminance: vec![0.0; count],
            filled: vec![0.0; count],
            clipped: vec![0.0; count],
        };
        for (i, axis) in axes.into_iter().enumerate() {
            for source in sources {
                let cosine = source.direction.dot(axis);
                if cosine <= 0.3 {
                    continue; // 0.3¹² is half a millionth
                }
                let weight = cosine.powi(LOBE_POWER);
                for (sum, light) in lobes.rgb[i].iter_mut().zip(source.light) {
                    *sum += weight * light;
                }
                lobes.luminance[i] += weight * source.luminance;
                lobes.filled[i] += weight * source.filled;
                lobes.clipped[i] += weight * source.clipped;
            }
        }
        lobes
    }

    fn value(&self, lobe: usize, channel: Option<usize>) -> f64 {
        channel.map_or(self.luminance[lobe], |c| self.rgb[lobe][c])
    }
}

/// A weighted least-squares system of one channel (or of luminance).
struct System {
    /// One row per usable lobe, one column per group; rows are relative to the photographed light.
    rows: Vec<Vec<f64>>,
    wanted: Vec<f64>,
}

struct Solved {
    gains: DVector<f64>,
    /// Standard deviations; infinite where the data do not hold a gain.
    sd: Vec<f64>,
    inflation: Vec<f64>,
    deviation: f64,
}

/// Solves for the gains. `photographed` and `beauty` are the whole light of both spheres, `layers` that of each light.
/// `None` where no lobe is usable.
pub fn solve_gains(photographed: &[Source], beauty: &[Source], layers: &[LightLayer]) -> Option<LightGainsSolution> {
    let target = Lobes::of(photographed);
    let whole = Lobes::of(beauty);
    let each: Vec<Lobes> = layers.iter().map(|l| Lobes::of(&l.sources)).collect();
    let usable: Vec<usize> = (0..target.luminance.len())
        .filter(|i| {
            let light = target.luminance[*i];
            light > 0.0 && target.filled[*i] <= MOST_FILLED * light && target.clipped[*i] <= MOST_CLIPPED * light
        })
        .collect();
    if usable.len() < 3 * layers.len().max(1) {
        return None;
    }
    let mut untold: Vec<usize> = (0..layers.len()).filter(|l| gives_nothing(&each[*l], &whole, &usable)).collect();
    let told: Vec<usize> = (0..layers.len()).filter(|l| !untold.contains(l)).collect();
    let mut groups = group_alike(&told, &each, &target, &usable);
    let solve = |groups: &[Vec<usize>], channel| {
        System::new(&target, &whole, &each, groups, &usable, channel).map(|system| system.solve(groups.len()))
    };
    let mut grey = solve(&groups, None)?;
    let held: Vec<bool> =
        (0..groups.len()).map(|g| grey.inflation[g] <= MOST_INFLATION && grey.sd[g].is_finite()).collect();
    if held.contains(&false) {
        untold.extend(groups.iter().zip(&held).filter(|(_, held)| !**held).flat_map(|(g, _)| g.iter().copied()));
        groups = groups.into_iter().zip(&held).filter(|(_, held)| **held).map(|(g, _)| g).collect();
        grey = solve(&groups, None)?;
    }
    let channels = [solve(&groups, Some(0))?, solve(&groups, Some(1))?, solve(&groups, Some(2))?];
    untold.sort_unstable();
    Some(LightGainsSolution {
        groups: groups.into_iter().enumerate().map(|(g, layers)| group_gain(g, layers, &grey, &channels)).collect(),
        untold,
        rest_fraction: rest_fraction(&whole, &each),
        not_whole: not_whole(&whole, &each),
        left_over: grey.deviation,
    })
}

fn group_gain(index: usize, layers: Vec<usize>, grey: &Solved, channels: &[Solved; 3]) -> GroupGain {
    let gain = grey.gains[index];
    let channel_sd = channels.iter().map(|c| c.sd[index]).fold(0.0, f64::max).hypot(FLOOR_SD * gain) * 0.5;
    GroupGain {
        layers,
        grey: gain,
        rgb: [0, 1, 2].map(|c| channels[c].gains[index]),
        grey_sd: grey.sd[index].hypot(FLOOR_SD * gain.max(0.1)),
        channel_sd,
    }
}

fn gives_nothing(layer: &Lobes, whole: &Lobes, usable: &[usize]) -> bool {
    usable.iter().all(|i| layer.luminance[*i].abs() <= LEAST_PART * whole.luminance[*i].abs())
}

/// Part of the CG's light that no layer holds (negative where the layers hold more than the whole).
fn rest_fraction(whole: &Lobes, each: &[Lobes]) -> f64 {
    let all: f64 = whole.luminance.iter().sum();
    let in_layers: f64 = each.iter().flat_map(|l| &l.luminance).sum();
    if all > 0.0 { (all - in_layers) / all } else { 0.0 }
}

/// The light in no layer is compared with each layer where that layer is strongest. An even rest belongs to something
/// else; a rest that stands out there by this fraction of the layer, or is missing, belongs to the layer.
const NOT_WHOLE_PART: f64 = 0.5;
const TOO_MUCH_PART: f64 = 0.1;

fn not_whole(whole: &Lobes, each: &[Lobes]) -> Vec<usize> {
    let in_layers = |i: usize| each.iter().map(|layer| layer.luminance[i]).sum::<f64>();
    let rest: Vec<f64> = (0..whole.luminance.len()).map(|i| whole.luminance[i] - in_layers(i)).collect();
    let even = median(rest.iter().copied()).unwrap_or(0.0);
    let parts_from_itself = |layer: &Lobes| {
        let strongest = (0..rest.len()).max_by(|a, b| layer.luminance[*a].total_cmp(&layer.luminance[*b]));
        let strongest = strongest.filter(|i| layer.luminance[*i] > 0.0);
        strongest.is_some_and(|i| {
            let beside = (rest[i] - even) / layer.luminance[i];
            let missing = -rest[i] / in_layers(i);
            beside > NOT_WHOLE_PART || missing > TOO_MUCH_PART
        })
    };
    (0..each.len()).filter(|l| parts_from_itself(&each[*l])).collect()
}

/// Layers whose lobes are the same up to a factor go together.
fn group_alike(told: &[usize], each: &[Lobes], target: &Lobes, usable: &[usize]) -> Vec<Vec<usize>> {
    let floor = floor(target, usable, None);
    let scaled = |l: usize| -> Vec<f64> {
        usable.iter().map(|i| each[l].luminance[*i] / (target.luminance[*i] + floor)).collect()
    };
    let vectors: Vec<Vec<f64>> = told.iter().map(|l| scaled(*l)).collect();
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (at, layer) in told.iter().enumerate() {
        let alike = groups.iter_mut().find(|group| {
            group.iter().any(|other| {
                told.iter().position(|l| l == other).is_some_and(|p| cosine(&vectors[at], &vectors[p]) > ALIKE)
            })
        });
        match alike {
            Some(group) => group.push(*layer),
            None => groups.push(vec![*layer]),
        }
    }
    groups
}

fn cosine(a: &[f64], b: &[f64]) -> f64 {
    let dot = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(p, q)| p * q).sum::<f64>();
    dot(a, b) / (dot(a, a) * dot(b, b)).sqrt().max(f64::MIN_POSITIVE)
}

fn floor(target: &Lobes, usable: &[usize], channel: Option<usize>) -> f64 {
    FLOOR_FRACTION * median(usable.iter().map(|i| target.value(*i, channel).max(0.0))).unwrap_or(0.0)
}

impl System {
    /// `None` where a channel has no light at all.
    fn new(
        target: &Lobes,
        whole: &Lobes,
        each: &[Lobes],
        groups: &[Vec<usize>],
        usable: &[usize],
        channel: Option<usize>,
    ) -> Option<Self> {
        let floor = floor(target, usable, channel);
        if floor <= 0.0 {
            return None;
        }
        let mut system = Self { rows: Vec::new(), wanted: Vec::new() };
        for lobe in usable {
            let scale = 1.0 / (target.value(*lobe, channel).max(0.0) + floor);
            let row: Vec<f64> = groups
                .iter()
                .map(|group| scale * group.iter().map(|l| each[*l].value(*lobe, channel)).sum::<f64>())
                .collect();
            // Everything that no gain changes: light in no layer, and layers that are not solved for.
            let fixed = scale * whole.value(*lobe, channel) - row.iter().sum::<f64>();
            system.wanted.push(scale * target.value(*lobe, channel) - fixed);
            system.rows.push(row);
        }
        Some(system)
    }

    fn left(&self, gains: &DVector<f64>) -> Vec<f64> {
        let given = |row: &Vec<f64>| row.iter().zip(gains.iter()).map(|(a, g)| a * g).sum::<f64>();
        self.rows.iter().zip(&self.wanted).map(|(row, wanted)| wanted - given(row)).collect()
    }

    fn solve(&self, count: usize) -> Solved {
        let mut weights = vec![1.0; self.rows.len()];
        let mut gains = DVector::zeros(count);
        let (mut gram, mut deviation) = (DMatrix::zeros(count, count), LEAST_DEVIATION);
        for _ in 0..12 {
            let right;
            (gram, right) = self.normal(&weights, count);
            gains = nnls(&gram, &right);
            let left = self.left(&gains);
            deviation = robust_sd(left.iter().copied(), 0.0).unwrap_or(0.0).max(LEAST_DEVIATION);
            for (weight, l) in weights.iter_mut().zip(&left) {
                *weight = 1.0 / (1.0 + (l / (3.0 * deviation.max(LEAST_ROBUST))).powi(2));
            }
        }
        let alike = (self.rows.len() as f64 / INDEPENDENT_LOBES).max(1.0);
        let inverse = gram.clone().cholesky().map(|c| c.inverse());
        let of = |i: usize| inverse.as_ref().map_or(f64::INFINITY, |m| m[(i, i)]);
        Solved {
            sd: (0..count).map(|i| deviation * (of(i) * alike).max(0.0).sqrt()).collect(),
            inflation: (0..count).map(|i| of(i) * gram[(i, i)]).collect(),
            gains,
            deviation,
        }
    }

    fn normal(&self, weights: &[f64], count: usize) -> (DMatrix<f64>, DVector<f64>) {
        let (mut gram, mut right) = (DMatrix::zeros(count, count), DVector::zeros(count));
        for ((row, wanted), weight) in self.rows.iter().zip(&self.wanted).zip(weights) {
            for i in 0..count {
                right[i] += weight * row[i] * wanted;
                for j in 0..count {
                    gram[(i, j)] += weight * row[i] * row[j];
                }
            }
        }
        (gram, right)
    }
}

impl LightGainsSolution {
    /// The CG's light with the gains applied: each group's change is added to the whole.
    pub fn applied(&self, beauty: &[Source], layers: &[LightLayer]) -> Vec<Source> {
        let mut sources = beauty.to_vec();
        for group in &self.groups {
            for layer in &group.layers {
                sources.extend(layers[*layer].sources.iter().map(|s| changed(s, &group.rgb)));
            }
        }
        sources
    }
}

/// What a gain adds to a source's light.
fn changed(source: &Source, gain: &[f64; 3]) -> Source {
    let mut light = source.light;
    for (value, gain) in light.iter_mut().zip(gain) {
        *value *= gain - 1.0;
    }
    Source { light, luminance: crate::colour::luminance(light), filled: 0.0, clipped: 0.0, ..*source }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sphere::direction_of_deg;

    /// A light with a soft edge, so that the grid's cells do not change its flux where it moves; or light from all
    /// round where the radius is 180°.
    fn light(azimuth_deg: f64, elevation_deg: f64, radius_deg: f64, rgb: [f64; 3]) -> Vec<Source> {
        let grid = DirectionGrid::shared();
        let axis = direction_of_deg(azimuth_deg, elevation_deg);
        let part = |d: &Vector3<f64>| {
            let off_deg = crate::sphere::angle_between_rad(d, &axis).to_degrees();
            if radius_deg >= 180.0 { 1.0 } else { f64::exp(-(off_deg / radius_deg).powi(2)) }
        };
        let source = |(d, sr): (&Vector3<f64>, &f64)| {
            let light = rgb.map(|v| v * sr * part(d));
            Source { direction: *d, light, luminance: crate::colour::luminance(light), filled: 0.0, clipped: 0.0 }
        };
        grid.directions.iter().zip(&grid.steradian).map(source).collect()
    }

    fn sum(parts: &[(&[Source], [f64; 3])]) -> Vec<Source> {
        let mut all = parts[0].0.to_vec();
        for (i, source) in all.iter_mut().enumerate() {
            source.light = [0, 1, 2].map(|c| parts.iter().map(|(p, g)| p[i].light[c] * g[c]).sum());
            source.luminance = crate::colour::luminance(source.light);
        }
        all
    }

    fn layer(name: &str, sources: &[Source]) -> LightLayer {
        LightLayer { name: name.to_owned(), sources: sources.to_vec() }
    }

    #[test]
    fn gains_that_were_put_in_come_out() {
        let key = light(-40.0, 30.0, 6.0, [60.0, 45.0, 30.0]);
        let rim = light(150.0, 25.0, 5.0, [40.0, 45.0, 50.0]);
        let sky = light(0.0, 90.0, 180.0, [0.3, 0.35, 0.4]);
        let beauty = sum(&[(&key, [1.0; 3]), (&rim, [1.0; 3]), (&sky, [1.0; 3])]);
        // The photographed key stands 3° from the CG's and is dimmer and warmer; the rim is brighter.
        let moved = light(-37.0, 30.0, 6.0, [60.0, 45.0, 30.0]);
        let photographed = sum(&[(&moved, [0.95, 0.9, 0.8]), (&rim, [1.4; 3]), (&sky, [1.0; 3])]);
        let layers = [layer("key", &key), layer("rim", &rim), layer("sky", &sky)];
        let solution = solve_gains(&photographed, &beauty, &layers).unwrap();
        assert_eq!((solution.groups.len(), solution.untold.len()), (3, 0));
        for (group, truth) in solution.groups.iter().zip([[0.95, 0.9, 0.8], [1.4; 3], [1.0; 3]]) {
            for (gain, truth) in group.rgb.iter().zip(truth) {
                assert!((gain - truth).abs() < 0.04, "{solution:?}");
                assert!((gain - truth).abs() < 3.0 * group.grey_sd, "{solution:?}");
            }
        }
        assert!(solution.rest_fraction.abs() < 1e-9);
    }

    #[test]
    fn a_light_that_has_to_go_is_switched_off_and_light_in_no_layer_stays() {
        let key = light(40.0, 30.0, 6.0, [50.0; 3]);
        let extra = light(-110.0, 20.0, 6.0, [30.0; 3]);
        let sky = light(0.0, 90.0, 180.0, [0.3; 3]);
        let beauty = sum(&[(&key, [1.0; 3]), (&extra, [1.0; 3]), (&sky, [1.0; 3])]);
        let photographed = sum(&[(&key, [1.0; 3]), (&sky, [1.0; 3])]);
        let solution = solve_gains(&photographed, &beauty, &[layer("key", &key), layer("extra", &extra)]).unwrap();
        assert!((solution.groups[0].grey - 1.0).abs() < 0.02 && solution.groups[1].grey < 0.02, "{solution:?}");
        assert!(solution.rest_fraction > 0.2);
    }

    #[test]
    fn layers_that_are_not_those_of_the_beauty_are_told() {
        let key = light(40.0, 30.0, 6.0, [50.0; 3]);
        let rim = light(-110.0, 20.0, 6.0, [30.0; 3]);
        let sky = light(0.0, 90.0, 180.0, [0.3; 3]);
        let beauty = sum(&[(&key, [1.0; 3]), (&rim, [1.0; 3]), (&sky, [1.0; 3])]);
        let not_whole = |part: f64| {
            let key = sum(&[(&key, [part; 3])]);
            solve_gains(&beauty, &beauty, &[layer("key", &key), layer("rim", &rim)]).unwrap().not_whole
        };
        assert!(not_whole(1.0).is_empty());
        assert_eq!(not_whole(0.125), [0]);
        assert_eq!(not_whole(2.0), [0]);
    }

    #[test]
    fn lights_at_one_place_share_a_gain() {
        let key = light(40.0, 30.0, 6.0, [50.0; 3]);
        let kicker = light(43.0, 31.0, 5.0, [20.0; 3]);
        let sky = light(0.0, 90.0, 180.0, [0.3; 3]);
        let beauty = sum(&[(&key, [1.0; 3]), (&kicker, [1.0; 3]), (&sky, [1.0; 3])]);
        let photographed = sum(&[(&key, [1.3; 3]), (&kicker, [1.3; 3]), (&sky, [1.0; 3])]);
        let layers = [layer("key", &key), layer("kicker", &kicker), layer("sky", &sky)];
        let solution = solve_gains(&photographed, &beauty, &layers).unwrap();
        assert_eq!(solution.groups[0].layers, [0, 1]);
        assert!((solution.groups[0].grey - 1.3).abs() < 0.02, "{solution:?}");
    }
}
