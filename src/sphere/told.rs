//! What a sheet or an option says of where a sphere stands.

use super::Outline;

/// What is known of a sphere's place before the picture is looked at.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum Told {
    /// Nothing: the picture is searched.
    #[default]
    Nothing,
    /// Its outline, which is kept as it is.
    Outline(Outline),
    /// A circle drawn by hand, good to 15 % of its radius: centre x, centre y, radius, px.
    Near([f64; 3]),
}

impl Told {
    /// Of what may be given the outline counts, for it says more.
    pub fn of(outline: Option<Outline>, near: Option<[f64; 3]>) -> Self {
        match (outline, near) {
            (Some(outline), _) => Self::Outline(outline),
            (None, Some(circle)) => Self::Near(circle),
            (None, None) => Self::Nothing,
        }
    }

    /// Whether anything is known.
    pub fn is_something(self) -> bool {
        self != Self::Nothing
    }

    /// About where the sphere stands.
    pub fn about(self) -> Option<Outline> {
        match self {
            Self::Nothing => None,
            Self::Outline(outline) => Some(outline),
            Self::Near([x, y, radius]) => Some(Outline::circle(x, y, radius)),
        }
    }

    /// The key of a sheet that says it.
    pub fn key(self) -> Option<&'static str> {
        match self {
            Self::Nothing => None,
            Self::Outline(_) => Some("outline_px"),
            Self::Near(_) => Some("near_px"),
        }
    }
}
