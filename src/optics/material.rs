//! What mirror spheres are made of, and how much they reflect by colour and angle.
//!
//! Optical constants are read at 620, 550 and 450 nm, near the dominant wavelengths of the BT.709 primaries; the spread
//! between that and an integral over the spectrum is below 0.012 for the metals here (tested). They hold for clean,
//! polished metal: a real sphere reflects a few percent less, which its sd covers.

use nalgebra::Complex;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Material of a mirror sphere, by the name that a shot sheet uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Material {
    /// Chromium plating.
    Chrome,
    /// Polished or vapour-coated aluminium.
    Aluminium,
    /// Polished stainless steel.
    Steel,
    /// Silver with nothing on it.
    Silver,
    /// Glass silvered on its back: the front reflects a twenty-fifth, the silver most of the rest.
    SilveredGlass,
}

/// Index of crown glass at 588 nm (BK7 1.517; from memory).
const GLASS_INDEX: f64 = 1.517;

/// Steps of a fall-off table over the sine of the angle of incidence.
const FALLOFF_STEPS: usize = 128;

impl Material {
    /// Every material.
    pub const ALL: [Self; 5] = [Self::Chrome, Self::Aluminium, Self::Steel, Self::Silver, Self::SilveredGlass];

    /// Its name in sheets and options.
    pub fn name(self) -> &'static str {
        match self {
            Self::Chrome => "chrome",
            Self::Aluminium => "aluminium",
            Self::Steel => "steel",
            Self::Silver => "silver",
            Self::SilveredGlass => "silvered-glass",
        }
    }

    /// The material of that name.
    pub fn parse(name: &str) -> Option<Self> {
        let folded = name.trim().to_ascii_lowercase();
        let folded = if folded == "aluminum" { "aluminium".to_owned() } else { folded };
        Self::ALL.into_iter().find(|m| m.name() == folded)
    }

    /// Where its constants come from.
    pub fn source(self) -> &'static str {
        match self {
            Self::Chrome => "n, k of chromium: Palik, Handbook of Optical Constants of Solids (1985)",
            Self::Aluminium => "n, k of aluminium: Palik, Handbook of Optical Constants of Solids (1985)",
            Self::Steel => "n, k of iron: Johnson & Christy (1974), from memory",
            Self::Silver => "n, k of silver: Palik, Handbook of Optical Constants of Solids (1985)",
            Self::SilveredGlass => "n, k of silver: Palik (1985), behind glass of index 1.517",
        }
    }

    /// One standard deviation of the reflectance, stops: published tables and real surfaces spread this much (common
    /// practice, no source; for chromium Palik and Johnson & Christy differ by 0.25 stop).
    pub fn sd_stops(self) -> f64 {
        match self {
            Self::Chrome | Self::Steel => 0.15,
            Self::Aluminium | Self::SilveredGlass => 0.08,
            Self::Silver => 0.06,
        }
    }

    /// n + ik at 620, 550, 450 nm.
    fn constants(self) -> [Complex<f64>; 3] {
        let table = match self {
            Self::Chrome => [[3.52, 4.36], [3.116, 4.423], [1.928, 4.168]],
            Self::Aluminium => [[1.304, 7.479], [0.959, 6.687], [0.618, 5.469]],
            Self::Steel => [[2.91, 3.02], [2.89, 2.91], [2.59, 2.77]],
            Self::Silver | Self::SilveredGlass => [[0.131, 3.88], [0.125, 3.34], [0.152, 2.47]],
        };
        table.map(|[n, k]| Complex::new(n, k))
    }

    /// Reflectance of unpolarised light per channel (linear BT.709) where the sine of the angle of incidence is
    /// `sin_incidence` (0 = head on).
    pub fn reflectance(self, sin_incidence: f64) -> [f64; 3] {
        let sine = sin_incidence.clamp(0.0, 1.0);
        self.constants().map(|index| match self {
            Self::SilveredGlass => behind_glass(index, sine),
            _ => mean(fresnel(index, sine)),
        })
    }

    /// How the reflectance falls off, or rises, away from the middle of the sphere.
    pub fn falloff(self) -> Falloff {
        let head_on = self.reflectance(0.0);
        let at = |step: usize| {
            let here = self.reflectance(step as f64 / FALLOFF_STEPS as f64);
            [0, 1, 2].map(|c| here[c] / head_on[c])
        };
        Falloff { table: (0..=FALLOFF_STEPS).map(at).collect() }
    }
}

/// Reflectance by angle, relative to head on.
#[derive(Debug, Clone, PartialEq)]
pub struct Falloff {
    table: Vec<[f64; 3]>,
}

impl Falloff {
    /// The factor per channel at the sine of an angle of incidence.
    pub fn at(&self, sin_incidence: f64) -> [f64; 3] {
        let place = sin_incidence.clamp(0.0, 1.0) * FALLOFF_STEPS as f64;
        let low = (place as usize).min(FALLOFF_STEPS - 1);
        let t = place - low as f64;
        [0, 1, 2].map(|c| self.table[low][c] * (1.0 - t) + self.table[low + 1][c] * t)
    }
}

/// Fresnel's power reflectances, s and p, at an interface to a medium of relative index `index`.
fn fresnel(index: Complex<f64>, sine: f64) -> [f64; 2] {
    let cosine = (1.0 - sine * sine).max(0.0).sqrt();
    let squared = index * index;
    let inner = (squared - sine * sine).sqrt();
    let s = (Complex::from(cosine) - inner) / (Complex::from(cosine) + inner);
    let p = (squared * cosine - inner) / (squared * cosine + inner);
    [s.norm_sqr(), p.norm_sqr()]
}

fn mean([s, p]: [f64; 2]) -> f64 {
    0.5 * (s + p)
}

/// Front reflection plus all that comes back from the silver through the glass, added without interference.
fn behind_glass(metal: Complex<f64>, sine: f64) -> f64 {
    let front = fresnel(Complex::from(GLASS_INDEX), sine);
    let back = fresnel(metal / GLASS_INDEX, sine / GLASS_INDEX);
    mean([0, 1].map(|i| both_surfaces(front[i], back[i])))
}

/// What a sheet reflects whose surfaces reflect `front` and `back`: the front once, and the back after any number of
/// passes, without absorption.
fn both_surfaces(front: f64, back: f64) -> f64 {
    front + (1.0 - front).powi(2) * back / (1.0 - front * back)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Spectral integral against three wavelengths.
    const THREE_WAVELENGTHS: f64 = 0.012;

    #[test]
    fn metals_reflect_what_spectral_integration_of_other_tables_says() {
        // Closed-form Fresnel on the n, k tables that mitsuba 3.9.1 ships, CIE 1931, D65, linear BT.709; computed
        // outside, golden/reference_values.json. Rows: sine of incidence, then red, green, blue.
        let chrome = [
            (0.0, [0.6347, 0.6622, 0.7044]),
            (0.7, [0.6269, 0.6545, 0.6976]),
            (0.9, [0.5949, 0.6236, 0.6735]),
            (0.98, [0.5600, 0.5937, 0.6687]),
        ];
        let aluminium = [(0.0, [0.9132, 0.9215, 0.9242]), (0.9, [0.8904, 0.9019, 0.9075])];
        let silver = [(0.0, [0.9716, 0.9600, 0.9151]), (0.9, [0.9664, 0.9551, 0.9164])];
        let hold = |material: Material, rows: &[(f64, [f64; 3])]| {
            for (sine, expected) in rows {
                let found = material.reflectance(*sine);
                for c in 0..3 {
                    assert!((found[c] - expected[c]).abs() < THREE_WAVELENGTHS, "{material:?} {sine} {found:?}");
                }
            }
        };
        hold(Material::Chrome, &chrome);
        hold(Material::Aluminium, &aluminium);
        hold(Material::Silver, &silver);
    }

    #[test]
    fn silvered_glass_reflects_front_and_back() {
        // Front 0.04258, then all passes: 0.95925 with silver as it reflects in air (same source as above).
        assert!((both_surfaces(0.042_58, 0.959_18) - 0.959_25).abs() < 2e-4);
        // In glass silver reflects less, ((n-g)^2 + k^2) / ((n+g)^2 + k^2) = 0.9449 at 550 nm, g = 1.517: 0.9453 in
        // all.
        let [n, k, g] = [0.125_f64, 3.34_f64, 1.517_f64];
        let silver = ((n - g).powi(2) + k * k) / ((n + g).powi(2) + k * k);
        let green = Material::SilveredGlass.reflectance(0.0)[1];
        assert!((green - both_surfaces(((g - 1.0) / (g + 1.0)).powi(2), silver)).abs() < 1e-9, "{green}");
        assert!((mean(fresnel(Complex::from(1.517), 0.0)) - (0.517_f64 / 2.517).powi(2)).abs() < 1e-12);
    }

    #[test]
    fn grazing_light_is_reflected_whole_and_brewster_has_no_p() {
        for material in Material::ALL {
            assert!(material.reflectance(1.0).iter().all(|r| (r - 1.0).abs() < 1e-9), "{material:?}");
        }
        let brewster = 1.5_f64.atan().sin();
        assert!(fresnel(Complex::from(1.5), brewster)[1] < 1e-12);
    }

    #[test]
    fn names_are_understood() {
        assert!(Material::ALL.into_iter().all(|m| Material::parse(m.name()) == Some(m)));
        assert_eq!(Material::parse(" Aluminum "), Some(Material::Aluminium));
        assert_eq!(Material::parse("brine"), None);
        let falloff = Material::Chrome.falloff();
        assert!(falloff.at(0.0).iter().all(|f| (f - 1.0).abs() < 1e-12));
        assert!(falloff.at(0.98)[0] < 0.9);
    }
}
