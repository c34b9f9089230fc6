//! The roles of a shot's files.

/// What a file is taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// The live-action plate.
    Plate,
    /// A frame of a mirror sphere photographed on set.
    Mirror,
    /// A frame of a grey sphere or card.
    Matte,
    /// The rendered sphere.
    Cg,
    /// An environment picture.
    Environment,
    /// The plate without the actors.
    CleanPlate,
    /// A picture of straight lines.
    StraightLines,
    /// Nothing tells.
    Unknown,
}

impl Role {
    /// For people.
    pub fn words(self) -> &'static str {
        match self {
            Self::Plate => "the plate",
            Self::Mirror => "a mirror-sphere frame",
            Self::Matte => "a grey-sphere frame",
            Self::Cg => "the CG sphere",
            Self::Environment => "the environment",
            Self::CleanPlate => "the clean plate",
            Self::StraightLines => "the picture of straight lines",
            Self::Unknown => "unknown",
        }
    }
}
