//! What the brightness across the rim of a mirror sphere looks like, and how an edge is located with it.
//!
//! Outside: a level with a slope. Inside, at depth t below the rim, a mirror shows the directions `∝ √(t/r)` away from
//! what lies right behind it, so the brightness starts from its own level and moves with √t. All of it is blurred by a
//! Gaussian. Levels and slopes enter linearly; for each place of the edge they follow from one precomputed projection.

use std::sync::OnceLock;

use nalgebra::{Matrix4, SMatrix, SVector};

/// Distance of samples along a ray, in samples of the plane.
pub(super) const STEP: f64 = 0.5;
/// Samples on either side of the window's centre.
pub(super) const HALF_WINDOW: usize = 7;
/// Samples in a window.
pub(super) const WINDOW: usize = 2 * HALF_WINDOW + 1;
/// The edge is moved by up to this many shifts either way within a window.
const SHIFTS: i32 = 8;
/// One shift, in samples of the plane.
const SHIFT: f64 = 0.125;

type Design = SMatrix<f64, WINDOW, 4>;
type Window = SVector<f64, WINDOW>;

/// Channels of a ray, at most.
const MOST_CHANNELS: usize = 3;

/// The windows of one ray, one for each channel: so few and so often that they get no memory of their own.
#[derive(Debug, Clone, Copy)]
pub(super) struct Windows {
    count: usize,
    windows: [Window; MOST_CHANNELS],
}

impl Windows {
    /// Of this many channels, each less its mean.
    pub(super) fn of(count: usize, value: impl Fn(usize, usize) -> f64) -> Self {
        let mut windows = Self { count: count.min(MOST_CHANNELS), windows: [Window::zeros(); MOST_CHANNELS] };
        for (channel, window) in windows.windows[..windows.count].iter_mut().enumerate() {
            for row in 0..WINDOW {
                window[row] = value(channel, row);
            }
            let mean = window.mean();
            window.add_scalar_mut(-mean);
        }
        windows
    }

    fn all(&self) -> &[Window] {
        &self.windows[..self.count]
    }
}

/// The same with weights, and the sum of squares of each.
struct Weighted {
    count: usize,
    windows: [(Window, f64); MOST_CHANNELS],
}

impl Weighted {
    fn all(&self) -> &[(Window, f64)] {
        &self.windows[..self.count]
    }
}

/// What kind of rim is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rim {
    /// Wide and shaded: out of focus, or polished glass that brightens towards the rim.
    Soft,
    /// A step in focus.
    Crisp,
    /// The same on a frame's own pixels, known within two pixels and plain on most of what the frame shows of it.
    Placed,
    /// A step in focus, hardly brighter or darker than the reflections beside it.
    Faint,
}

impl Rim {
    fn blurs(self) -> &'static [f64] {
        match self {
            Self::Placed => &PIXEL_BLURS,
            Self::Soft | Self::Crisp | Self::Faint => &BLURS,
        }
    }

    /// What blurs it.
    fn spread(self, blur: f64) -> Spread {
        match self {
            Self::Placed => Spread::of_pixels(blur),
            Self::Soft | Self::Crisp | Self::Faint => Spread::gaussian(blur),
        }
    }

    /// Inside, samples count fully down to this many blurs, and fall off beyond over this many samples.
    fn inside_taper(self) -> (f64, f64) {
        match self {
            Self::Soft => (1.0, 0.8),
            Self::Crisp | Self::Placed => (1.3, 1.0),
            Self::Faint => (1.3, 0.6),
        }
    }
}

/// Penalties on the squares of level, outside slope, inside step and √depth term: just enough to keep a window of
/// pure noise from being explained by large terms that cancel.
const RIDGE: [f64; 4] = [1e-9, 2e-4, 1e-6, 1e-3];

/// The linear subspaces that a window must lie in, one for each place of the edge.
#[derive(Debug)]
pub(super) struct RimModel {
    /// Blur (1 sd) in samples of the plane.
    pub blur: f64,
    places: Vec<Place>,
    plain: Place,
    weights: Window,
}

/// The directions in which a window may lie without misfit, weights included, made so that the misfit is
/// |y|² − |Bᵀy|² (the penalised normal matrix factored by Cholesky).
#[derive(Debug)]
struct Place([[f64; 4]; WINDOW]);

impl Place {
    fn new(mut basis: Design, ridge: [f64; 4], weights: &Window) -> Option<Self> {
        for mut column in basis.column_iter_mut() {
            column.component_mul_assign(weights);
        }
        let normal = basis.transpose() * basis + Matrix4::from_diagonal(&ridge.into());
        let upper = normal.cholesky()?.l().transpose();
        let free = basis * upper.try_inverse()?;
        Some(Self(std::array::from_fn(|row| std::array::from_fn(|column| free[(row, column)]))))
    }

    /// What of a window's sum of squares the place explains. Row by row, so that the four sums go side by side, and by index:
    /// this is the innermost loop of the search, and pairs of iterators cost calls where units of code are optimised apart.
    fn explained(&self, window: &Window) -> f64 {
        let values: &[f64; WINDOW] = &window.data.0[0];
        let mut along = [0.0; 4];
        for row in 0..WINDOW {
            let (basis, value) = (&self.0[row], values[row]);
            along[0] += basis[0] * value;
            along[1] += basis[1] * value;
            along[2] += basis[2] * value;
            along[3] += basis[3] * value;
        }
        along[0] * along[0] + along[1] * along[1] + along[2] * along[2] + along[3] * along[3]
    }

    /// Penalised residual sum of squares of weighted windows, each given with its sum of squares.
    fn misfit(&self, weighted: &[(Window, f64)]) -> f64 {
        let mut misfit = 0.0;
        for (window, energy) in weighted {
            misfit += (energy - self.explained(window)).max(0.0);
        }
        misfit
    }
}

/// An edge located in a window.
#[derive(Debug, Clone, Copy)]
pub(super) struct Located {
    /// Place relative to the window's centre, samples of the plane.
    pub offset: f64,
    /// Its standard deviation from the window's own misfit.
    pub sd: f64,
    /// Misfit without an edge over misfit with it.
    pub gain: f64,
}

impl RimModel {
    /// The model for one blur.
    fn new(blur: f64, rim: Rim) -> Option<Self> {
        let weights = window_weights(blur, rim);
        let shapes = Shapes::new(&rim.spread(blur));
        let places = (-SHIFTS..=SHIFTS)
            .map(|shift| Place::new(edge_basis(shift, &shapes), RIDGE, &weights))
            .collect::<Option<Vec<_>>>()?;
        let plain = Place::new(plain_basis(), [1e-9; 4], &weights)?;
        Some(Self { blur, places, plain, weights })
    }

    /// The best place within windows of one ray (one per channel); `None` where it is not inside the range of shifts.
    pub(super) fn locate(&self, windows: &Windows) -> Option<Located> {
        let weighted = self.weighted(windows);
        let weighted = weighted.all();
        let misfit = |place: &Place| place.misfit(weighted);
        let last = self.places.len() - 1;
        let coarse = (0..=last).step_by(4).map(|i| (i, misfit(&self.places[i]))).min_by(|a, b| a.1.total_cmp(&b.1))?;
        let plain = misfit(&self.plain);
        if plain < 1.2 * coarse.1 {
            return None;
        }
        let near = (coarse.0.max(3) - 3)..=(coarse.0 + 3).min(last);
        let misfits: Vec<(usize, f64)> = near.map(|i| (i, misfit(&self.places[i]))).collect();
        let best = (0..misfits.len()).min_by(|a, b| misfits[*a].1.total_cmp(&misfits[*b].1))?;
        if best == 0 || best + 1 == misfits.len() {
            return None;
        }
        let (before, at, after) = (misfits[best - 1].1, misfits[best].1, misfits[best + 1].1);
        let curvature = before + after - 2.0 * at;
        if curvature <= 0.0 {
            return None;
        }
        let offset = (misfits[best].0 as f64 - f64::from(SHIFTS) + 0.5 * (before - after) / curvature) * SHIFT;
        let freedom = freedom(windows);
        let energy: f64 = weighted.iter().map(|(_, energy)| energy).sum();
        let floor = 1e-10 * energy;
        let sd = (4.0 * (at + floor) / freedom / curvature).sqrt() * SHIFT;
        let gain = plain / (at + floor).max(f64::MIN_POSITIVE);
        Some(Located { offset, sd, gain })
    }

    /// The windows with their weights.
    fn weighted(&self, windows: &Windows) -> Weighted {
        let mut weighted = Weighted { count: windows.count, windows: [(Window::zeros(), 0.0); MOST_CHANNELS] };
        for (window, (out, energy)) in windows.all().iter().zip(&mut weighted.windows) {
            for row in 0..WINDOW {
                out[row] = window[row] * self.weights[row];
            }
            *energy = out.norm_squared();
        }
        weighted
    }

    /// Likelihood of an edge in the middle of the windows of one ray over that of smooth shading, under normal errors
    /// of unknown size: (misfit without / misfit with)^(freedom / 2).
    pub(super) fn likelihood_ratio(&self, windows: &Windows) -> f64 {
        let weighted = self.weighted(windows);
        let weighted = weighted.all();
        let floor = 1e-10 * weighted.iter().map(|(_, energy)| energy).sum::<f64>() + f64::MIN_POSITIVE;
        let misfit = |place: &Place| place.misfit(weighted) + floor;
        (misfit(&self.plain) / misfit(&self.places[self.places.len() / 2])).powf(0.5 * freedom(windows))
    }

    /// The models for all blurs that are told apart, made once.
    pub(super) fn all(rim: Rim) -> &'static [Self] {
        static MODELS: [OnceLock<Vec<RimModel>>; 4] = [const { OnceLock::new() }; 4];
        MODELS[rim as usize].get_or_init(|| rim.blurs().iter().filter_map(|blur| Self::new(*blur, rim)).collect())
    }
}

/// Independent samples beyond the model's terms: the samples lie half a plane sample apart, so half of them count.
fn freedom(windows: &Windows) -> f64 {
    (windows.count * (WINDOW / 2 - 4)) as f64
}

/// Blurs that are told apart, 1 sd in samples of the plane.
const BLURS: [f64; 7] = [0.35, 0.45, 0.6, 0.8, 1.05, 1.4, 1.9];
/// The same on a frame's own pixels: none is less than a pixel's area and the reading between pixels make.
const PIXEL_BLURS: [f64; 10] = [PIXEL_BLUR, 0.55, 0.62, 0.7, 0.8, 0.92, 1.05, 1.25, 1.5, 1.9];

/// Square roots of the samples' weights. Inside, a mirror squeezes scenery against the rim, so only what lies close to
/// the edge belongs to it; outside, the surround is not squeezed and may be used further out.
fn window_weights(blur: f64, rim: Rim) -> Window {
    let (full, fall) = rim.inside_taper();
    let taper = |distance: f64, full: f64, fall: f64| (-0.5 * ((distance - full).max(0.0) / fall).powi(2)).exp();
    Window::from_fn(|row, _| {
        let outward = (row as f64 - HALF_WINDOW as f64) * STEP;
        let weight = if outward < 0.0 { taper(-outward, full * blur, fall) } else { taper(outward, 2.5, 1.0) };
        weight.sqrt()
    })
}

/// Columns: level, outside slope, inside step, inside √depth; the edge stands `shift` shifts outwards.
fn edge_basis(shift: i32, shapes: &Shapes) -> Design {
    Design::from_fn(|row, column| {
        let outward = (row as i32 - HALF_WINDOW as i32) * SHIFTS_PER_STEP - shift;
        if column == 0 { 1.0 } else { shapes.at(outward)[column - 1] }
    })
}

/// Shifts from one sample to the next.
const SHIFTS_PER_STEP: i32 = (STEP / SHIFT) as i32;

/// Outside slope, inside step and inside √depth, blurred, at every distance from the edge at which a sample may lie: the same
/// few for all samples and shifts.
struct Shapes(Vec<[f64; 3]>);

impl Shapes {
    /// The furthest that a sample lies from an edge, shifts.
    const FURTHEST: i32 = HALF_WINDOW as i32 * SHIFTS_PER_STEP + SHIFTS;

    fn new(spread: &Spread) -> Self {
        let at = |shifts: i32| {
            let outward = f64::from(shifts) * SHIFT;
            [
                spread.blurred(outward, |t| t.max(0.0)),
                spread.blurred(outward, |t| if t < 0.0 { 1.0 } else { 0.0 }),
                spread.blurred(outward, |t| (-t).max(0.0).sqrt()),
            ]
        };
        Self((-Self::FURTHEST..=Self::FURTHEST).map(at).collect())
    }

    fn at(&self, shifts: i32) -> [f64; 3] {
        self.0[(shifts + Self::FURTHEST) as usize]
    }
}

/// Cubic polynomials: what smooth shading looks like without an edge.
fn plain_basis() -> Design {
    Design::from_fn(|row, column| ((row as f64 - HALF_WINDOW as f64) / HALF_WINDOW as f64).powi(column as i32))
}

/// What a point becomes: pieces at their distances, in samples, with weights that add up to 1.
struct Spread(Vec<(f64, f64)>);

/// Spread of a pixel's own area and of the reading between pixels, 1 sd in px: the first is a box (variance 1/12), the
/// second on average a triangle (1/6), and both together the sum of three boxes.
const PIXEL_BLUR: f64 = 0.5;

impl Spread {
    const PIECES: i32 = 160;

    fn new(reach: f64, density: impl Fn(f64) -> f64) -> Self {
        let middles = (0..Self::PIECES).map(|i| ((f64::from(i) + 0.5) / f64::from(Self::PIECES) * 2.0 - 1.0) * reach);
        let pieces: Vec<(f64, f64)> = middles.map(|at| (at, density(at))).collect();
        let total: f64 = pieces.iter().map(|piece| piece.1).sum();
        Self(pieces.into_iter().map(|(at, weight)| (at, weight / total)).collect())
    }

    fn gaussian(sd: f64) -> Self {
        Self::new(4.0 * sd, |at| (-0.5 * (at / sd).powi(2)).exp())
    }

    /// The pixels' own, with a Gaussian on top that makes it `sd` in all.
    fn of_pixels(sd: f64) -> Self {
        let gaussian_sd = (sd * sd - PIXEL_BLUR * PIXEL_BLUR).max(0.0).sqrt();
        if gaussian_sd < 1e-3 {
            return Self::new(1.5, three_boxes);
        }
        let pixel: Vec<(f64, f64)> = (-14..=14).map(|i| f64::from(i) * 0.1).map(|at| (at, three_boxes(at))).collect();
        let normal = |at: f64| (-0.5 * (at / gaussian_sd).powi(2)).exp();
        Self::new(1.5 + 4.0 * gaussian_sd, |at| pixel.iter().map(|(from, weight)| weight * normal(at - from)).sum())
    }

    /// A profile blurred by it, by fine midpoint summation.
    fn blurred(&self, at: f64, profile: impl Fn(f64) -> f64) -> f64 {
        self.0.iter().map(|(from, weight)| weight * profile(at + from)).sum()
    }
}

/// Three boxes of width 1, one spread by the other.
fn three_boxes(at: f64) -> f64 {
    match at.abs() {
        near if near < 0.5 => 0.75 - near * near,
        far => 0.5 * (1.5 - far).max(0.0).powi(2),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn window(profile: impl Fn(f64) -> f64) -> Windows {
        Windows::of(1, |_, row| profile((row as f64 - HALF_WINDOW as f64) * STEP))
    }

    fn blurred_step(place: f64, spread: &Spread) -> Windows {
        window(|t| 0.2 + 0.6 * spread.blurred(t - place, |u| if u < 0.0 { 1.0 } else { 0.0 }))
    }

    /// The sum of three independent uniforms of width 1 has variance 3/12 and density 3/4 in its middle, closed form.
    #[test]
    fn a_pixels_own_spread_is_three_boxes() {
        let variance = |spread: &Spread| spread.blurred(0.0, |t| t * t);
        assert!((variance(&Spread::of_pixels(PIXEL_BLUR)) - 0.25).abs() < 1e-4);
        assert!((variance(&Spread::of_pixels(0.8)) - 0.64).abs() < 2e-3);
        assert!((three_boxes(0.0) - 0.75).abs() < 1e-12 && three_boxes(1.5).abs() < 1e-12);
    }

    #[test]
    fn a_step_spread_by_pixels_alone_is_located_where_it_stands() {
        let models = RimModel::all(Rim::Placed);
        for place in [-0.4, 0.0, 0.31] {
            let step = blurred_step(place, &Spread::of_pixels(PIXEL_BLUR));
            let found = models[0].locate(&step).unwrap();
            assert!((found.offset - place).abs() < SHIFT / 8.0, "{place}: {found:?}");
            assert!(models[1..].iter().all(|m| m.locate(&step).is_none_or(|other| other.gain < found.gain)));
        }
    }

    #[test]
    fn a_blurred_step_is_located_where_it_stands() {
        let model = RimModel::new(0.7, Rim::Crisp).unwrap();
        for place in [-0.63, -0.2, 0.0, 0.31, 0.7] {
            let step = blurred_step(place, &Spread::gaussian(0.7));
            let found = model.locate(&step).unwrap();
            // An eighth of the step between the places tried: what the parabola through three of them leaves.
            assert!((found.offset - place).abs() < SHIFT / 8.0, "{place}: {found:?}");
            assert!(found.gain > 100.0);
        }
    }

    #[test]
    fn an_edge_is_likeliest_where_it_stands() {
        let model = RimModel::new(0.6, Rim::Faint).unwrap();
        let ratio = |place: f64| {
            let step = blurred_step(place, &Spread::gaussian(0.6));
            model.likelihood_ratio(&step)
        };
        assert!(ratio(0.0) > 10.0 * ratio(0.25) && ratio(0.25) > ratio(0.5), "{} {}", ratio(0.0), ratio(0.25));
    }

    #[test]
    fn a_slope_has_no_edge() {
        let model = RimModel::new(0.7, Rim::Crisp).unwrap();
        let slope = window(|t| 1.0 + 0.3 * t);
        assert!(model.locate(&slope).is_none_or(|f| f.gain < 2.0));
    }
}
