//! A colour space of an OpenColorIO config as the encoding of a picture.
//!
//! `"encoding": "ocio:NAME"` names a colour space, alias or role of the config, `"ocio:"` alone leaves the choice to the config's file
//! rules. The file's code values go in; what comes out is scene-linear in ACES2065-1 by the config's interchange role, or in the primaries
//! that the sheet names where the config has none. Reading configs is an optional feature of the build (`ocio`).

#[cfg(feature = "ocio")]
mod read;

use std::path::{Path, PathBuf};

use super::Frame;
use crate::colour::ColourSpace;
use crate::{Error, ErrorKind, Result};

/// What an encoding begins with that names a colour space of a config.
const PREFIX: &str = "ocio:";

/// The colour space that an encoding names in a config; empty where the file rules are to find it.
pub fn name_in_config(encoding: &str) -> Option<&str> {
    encoding.strip_prefix(PREFIX)
}

/// The config and the tables in its folder: whatever reading a picture by it may depend on.
pub(crate) fn files(config: &str) -> Vec<PathBuf> {
    #[cfg(feature = "ocio")]
    return read::files(config);
    #[cfg(not(feature = "ocio"))]
    vec![PathBuf::from(config)]
}

/// From code values to scene-linear light by a config.
#[derive(Debug)]
pub struct ConfigTransform {
    #[cfg(feature = "ocio")]
    light: read::Light,
    /// Name of the colour space in the config.
    name: String,
    /// Of the light; `None` where the sheet has to name it.
    space: Option<ColourSpace>,
}

/// What is asked of a config.
#[derive(Debug, Clone, Copy)]
pub struct ConfigRequest<'a> {
    /// The config's file, or `ocio://NAME` for one of the published configs that come with the library.
    pub config: Option<&'a str>,
    /// Colour space, alias or role; empty: by the file rules.
    pub name: &'a str,
    /// The picture.
    pub picture: &'a Path,
    /// The sheet names the primaries of the light.
    pub space_is_told: bool,
}

impl ConfigTransform {
    /// Reads the config and makes the transform.
    ///
    /// # Errors
    /// `Parameter` where no config or an unknown name is given, `Malformed` for a config that cannot be read, `Unsupported` for what
    /// gives no scene light and where this build reads no configs, `Limit` for a config above 16 MiB.
    pub fn read(request: &ConfigRequest<'_>) -> Result<Self> {
        let Some(config) = request.config.filter(|config| !config.is_empty()) else {
            let cause = format!(
                "its encoding \"{PREFIX}{}\" is a name in a colour config, and no config is given",
                request.name
            );
            let remedy = "give the config by --ocio FILE or the environment variable OCIO";
            return Err(Error::new(ErrorKind::Parameter, request.picture, cause, remedy));
        };
        Self::of_config(config, request)
    }

    #[cfg(not(feature = "ocio"))]
    fn of_config(config: &str, request: &ConfigRequest<'_>) -> Result<Self> {
        let cause = format!("this build of plateproof reads no colour configs ({config})");
        let remedy = "build it with `cargo install --path . --features ocio`, or name the encoding and colour space, or give the transform as a Common LUT Format file (show.clf)";
        Err(Error::new(ErrorKind::Unsupported, request.picture, cause, remedy))
    }

    /// Name of the colour space in the config, without alias or role.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The colour space of the light; `None` where the sheet has to name it.
    pub fn space(&self) -> Option<&ColourSpace> {
        self.space.as_ref()
    }

    /// The light of one pixel of code values, as the decoding of a frame gives it.
    #[cfg(feature = "ocio")]
    pub fn apply(&self, code: [f32; 3]) -> [f32; 3] {
        self.light.of(code)
    }

    /// Turns a frame of code values (read as if they were linear) into light.
    #[cfg_attr(
        not(feature = "ocio"),
        allow(clippy::unused_self, unused_variables, reason = "there is no such transform")
    )]
    pub(crate) fn decode(&self, frame: &mut Frame) {
        #[cfg(feature = "ocio")]
        self.light.decode(frame);
    }
}

#[cfg(test)]
mod tests;
