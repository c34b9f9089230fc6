//! Radial lens distortion: where a point would lie through a lens that keeps straight lines straight.

/// The form of the radial map from the recorded radius r (1 = half the frame's diagonal) to the straightened one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DistortionModel {
    /// `r (1 + k1 r² + k2 r⁴)` (Brown 1971).
    Polynomial,
    /// `r / (1 + λ r²)` (Fitzgibbon 2001): `k1` is λ, `k2` stays 0.
    Division,
}

impl DistortionModel {
    /// The word in reports and sheets.
    pub fn word(self) -> &'static str {
        match self {
            Self::Polynomial => "polynomial",
            Self::Division => "division",
        }
    }
}

/// A radial distortion about a centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Distortion {
    /// Its form.
    pub model: DistortionModel,
    /// k1, or λ of the division model.
    pub k1: f64,
    /// k2.
    pub k2: f64,
    /// Centre, px.
    pub centre_px: [f64; 2],
    /// The radius that counts as 1, px: half the frame's diagonal.
    pub radius_px: f64,
}

impl Distortion {
    /// No distortion in a frame of that size.
    pub fn none(size: [f64; 2]) -> Self {
        Self {
            model: DistortionModel::Polynomial,
            k1: 0.0,
            k2: 0.0,
            centre_px: size.map(|s| 0.5 * s),
            radius_px: (0.5 * size[0].hypot(size[1])).max(1.0),
        }
    }

    /// Factor from recorded to straightened radius, at a recorded radius in units of `radius_px`.
    pub fn factor(&self, radius: f64) -> f64 {
        let square = radius * radius;
        match self.model {
            DistortionModel::Polynomial => 1.0 + square * (self.k1 + square * self.k2),
            DistortionModel::Division => 1.0 / (1.0 + self.k1 * square).max(1e-3),
        }
    }

    /// Where a recorded point would lie without distortion, px.
    pub fn straightened(&self, recorded: [f64; 2]) -> [f64; 2] {
        let away = [recorded[0] - self.centre_px[0], recorded[1] - self.centre_px[1]];
        let factor = self.factor(away[0].hypot(away[1]) / self.radius_px);
        [0, 1].map(|axis| self.centre_px[axis] + factor * away[axis])
    }

    /// Where a straight point was recorded, px; the nearest radius that the map reaches, where it folds over.
    pub fn recorded(&self, straight: [f64; 2]) -> [f64; 2] {
        let away = [straight[0] - self.centre_px[0], straight[1] - self.centre_px[1]];
        let wanted = away[0].hypot(away[1]) / self.radius_px;
        if wanted < 1e-12 {
            return straight;
        }
        let share = self.inverse(wanted) / wanted;
        [0, 1].map(|axis| self.centre_px[axis] + share * away[axis])
    }

    /// The recorded radius of a straight one, by bisection up to where the map stops growing.
    fn inverse(&self, wanted: f64) -> f64 {
        const STEPS: usize = 64;
        let map = |r: f64| r * self.factor(r);
        let (mut low, mut high) = (0.0, 1e-3);
        while map(high) < wanted && high < 4.0 && map(high * 1.05) > map(high) {
            low = high;
            high *= 1.05;
        }
        for _ in 0..STEPS {
            let middle = f64::midpoint(low, high);
            if map(middle) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }

    /// How far the lens pulls the frame's corners out, mean of the four, in percent of their straight radius;
    /// negative = in (barrel).
    pub fn corner_pull_percent(&self, size: [f64; 2]) -> f64 {
        let pull = |r: f64| 100.0 * (1.0 / self.factor(r) - 1.0);
        self.over_corners(size, pull)
    }

    /// The same in pixels.
    pub fn corner_pull_px(&self, size: [f64; 2]) -> f64 {
        self.over_corners(size, |r| self.radius_px * r * (1.0 - self.factor(r)))
    }

    fn over_corners(&self, size: [f64; 2], of: impl Fn(f64) -> f64) -> f64 {
        let corners = [[0.0, 0.0], [size[0], 0.0], [0.0, size[1]], size];
        let radius = |c: [f64; 2]| (c[0] - self.centre_px[0]).hypot(c[1] - self.centre_px[1]) / self.radius_px;
        corners.iter().map(|c| of(radius(*c))).sum::<f64>() / 4.0
    }
}
