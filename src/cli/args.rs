//! What may be typed.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use super::assignment::{self, Assignment, NamedFile, Numbers, Positive, SensorSize};
use super::byte_size::ByteSize;
use super::examples;
use crate::image::limits::Limits;
use crate::sheet::ImageSpec;
use crate::show::{Part, default_budget_bytes};

/// Proves that a CG render sits in a live-action plate, from the mirror sphere photographed on set and a CG render of
/// a matching sphere.
#[derive(Debug, Parser)]
#[command(name = "plateproof", version, after_help = examples::TOP, max_term_width = 100)]
pub(super) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(super) command: Command,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Compare the CG sphere with the one photographed on set and say what is off, by how much and what to change
    Check(Box<CheckArgs>),
    /// Measure what the sphere in one frame says about the light
    Sphere(Box<SphereArgs>),
    /// Measure a sphere's reflectance from something seen both directly and in the sphere
    Reflectance(Box<ReflectanceArgs>),
    /// Draft a shot sheet from files or a folder: what each is taken for, and what is left to ask the crew for
    NewShot(NewShotArgs),
    /// Sum up many reports: worst first, what the shots share, and what changed since an earlier set
    Summary(SummaryArgs),
    /// Explain a check, the verdicts, the directions or what to shoot on set; without a name, list what can be explained
    Explain(ExplainArgs),
    /// Write the demo show, some shots of an invented film about a salt ferry, and check it
    Demo(DemoArgs),
    /// Print the JSON Schema of a file format
    Schema(SchemaArgs),
    /// Print the script that lets a shell complete commands and options
    Completions(CompletionsArgs),
    /// Write the manual pages, one for each command
    Manual(ManualArgs),
}

/// How answers are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub(super) enum Format {
    /// For people.
    #[default]
    Text,
    /// For programs.
    Json,
}

/// Further files beside the report.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct BesideArgs {
    /// Write the mirror and matte sphere that the sheet's environment predicts, as OpenEXR and PNG
    #[arg(long)]
    pub(super) predict: bool,
    /// Write what the report asks for as files beside it: one gain for the CG as an ASC CDL (.cc), and all of it as JSON
    #[arg(long)]
    pub(super) write_fixes: bool,
}

/// How the camera saw the picture, where neither sheet nor file tells.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct LensArgs {
    /// Horizontal field of view over the full picture width, degrees
    #[arg(long, value_name = "DEG", value_parser = parse_fov, conflicts_with_all = ["focal_length_mm", "sensor_mm"])]
    pub(super) fov_deg: Option<f64>,
    /// Focal length, mm
    #[arg(long, value_name = "MM")]
    pub(super) focal_length_mm: Option<Positive>,
    /// Width and height of the sensor area that was recorded, mm
    #[arg(long, value_name = "WxH", requires = "focal_length_mm")]
    pub(super) sensor_mm: Option<SensorSize>,
}

/// `check`.
#[derive(Debug, Clone, Default, Args)]
#[command(after_help = examples::CHECK)]
#[allow(clippy::struct_excessive_bools, reason = "each is a switch of its own on the command line")]
pub(super) struct CheckArgs {
    /// Shot sheets, or folders that are searched for shot sheets
    #[arg(value_name = "SHEET|FOLDER")]
    pub(super) sheets: Vec<PathBuf>,
    /// The live-action plate
    #[arg(long, value_name = "FILE")]
    pub(super) plate: Option<PathBuf>,
    /// Mirror-sphere frame; the same NAME again adds an exposure of its bracket
    #[arg(long = "mirror", value_name = "[NAME=]FILE")]
    pub(super) mirrors: Vec<NamedFile>,
    /// CG render of the matching sphere; NAME is the mirror that it stands for
    #[arg(long = "cg", value_name = "[NAME=]FILE")]
    pub(super) cg: Vec<NamedFile>,
    /// Name of the shot
    #[arg(long, value_name = "NAME")]
    pub(super) shot: Option<String>,
    /// Version of the CG; becomes part of the report's file name
    #[arg(long, value_name = "NAME")]
    pub(super) version_name: Option<String>,
    /// Folder for the reports
    #[arg(long, value_name = "DIR", default_value = "plateproof-reports")]
    pub(super) out: PathBuf,
    /// Print text for people, or one JSON report per line
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    /// Leave out the evidence picture
    #[arg(long)]
    pub(super) no_picture: bool,
    /// Check again what has not changed since its report was written
    #[arg(long)]
    pub(super) again: bool,
    /// Do not read files whose size, time and inode are as they were in the last run with this option: what a report came
    /// from is held against the files by their times, no longer by their contents
    #[arg(long, conflicts_with = "again")]
    pub(super) trust_times: bool,
    /// Of a moving shot, check every N-th frame [default: about 20 samples]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub(super) every: Option<u32>,
    /// Check only part NUMBER of COUNT parts of equal weight, for example 2/8
    #[arg(long, value_name = "NUMBER/COUNT")]
    pub(super) part: Option<Part>,
    /// Shots in work at once [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1024))]
    pub(super) jobs: Option<u32>,
    /// Memory that the shots in work may take, for example 8GiB [default: half of what this process may use]
    #[arg(long, value_name = "SIZE")]
    pub(super) memory: Option<ByteSize>,
    #[command(flatten)]
    pub(super) beside: BesideArgs,
    #[command(flatten)]
    pub(super) lens: LensArgs,
    /// Encoding of the plate, mirror or cg frames, for example mirror=srgb; `plateproof explain encodings` lists them
    #[arg(long = "encoding", value_parser = assignment::encoding, value_name = "ROLE=NAME")]
    pub(super) encodings: Vec<Assignment<String>>,
    /// Colour space of the plate, mirror or cg frames, for example cg=acescg
    #[arg(long = "colour-space", value_parser = assignment::colour_space, alias = "color-space", value_name = "ROLE=NAME")]
    pub(super) colour_spaces: Vec<Assignment<String>>,
    /// Layer to read, for example cg=beauty
    #[arg(long = "layer", value_parser = assignment::layer, value_name = "ROLE=NAME")]
    pub(super) layers: Vec<Assignment<String>>,
    /// Scene-linear value at which a recording clips, for example mirror=12.5
    #[arg(long = "clip-level", value_parser = assignment::clip_level, value_name = "ROLE=VALUE")]
    pub(super) clip_levels: Vec<Assignment<Positive>>,
    /// Outline in place of the search: centre x, centre y, radius (or a, b, angle), px
    #[arg(long = "outline", value_parser = assignment::outline, value_name = "ROLE=X,Y,R")]
    pub(super) outlines: Vec<Assignment<Numbers>>,
    /// Circle drawn by hand around a sphere, good to 15 % of its radius and refined on the picture: centre x, centre y,
    /// radius, px; without ROLE= that of the photographed sphere
    #[arg(long = "near", value_parser = assignment::near, value_name = "[ROLE=]X,Y,R")]
    pub(super) near: Vec<Assignment<Numbers>>,
    /// How far off counts: direction=DEG (also of near-lights), key-fill=STOPS, exposure=STOPS, colour=STOPS,
    /// colour-mired=MIRED, reference-drift=STOPS, camera=DEG, scale=PERCENT, sun=DEG, rotation=DEG,
    /// light-gains=STOPS, clean-plate=PX, straight-lines=PX; the check's own name may stand in place of direction,
    /// key-fill and colour
    #[arg(long = "tolerance", value_parser = assignment::tolerance, value_name = "CHECK=VALUE")]
    pub(super) tolerances: Vec<Assignment<Positive>>,
    /// Checks that have to be decided, for example exposure,highlight-direction: where one is unsure or not given, the shot
    /// is unsure at the least
    #[arg(long, value_name = "CHECKS", value_delimiter = ',')]
    pub(super) require: Vec<String>,
    #[command(flatten)]
    pub(super) limits: LimitArgs,
}

/// `sphere`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::SPHERE)]
pub(super) struct SphereArgs {
    /// The frame
    #[arg(value_name = "FRAME")]
    pub(super) frame: PathBuf,
    /// Write `<frame>.sphere.json` and its picture into this folder
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
    /// Print text for people, or JSON
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    /// Leave out the evidence picture
    #[arg(long)]
    pub(super) no_picture: bool,
    #[command(flatten)]
    pub(super) lens: LensArgs,
    #[command(flatten)]
    pub(super) read_as: PictureArgs,
    /// Linear reflectance of the sphere in the frame's colour space, each in (0, 1.2]
    #[arg(long, value_name = "R,G,B")]
    pub(super) reflectance: Option<Numbers>,
    #[command(flatten)]
    pub(super) limits: LimitArgs,
}

/// How a picture is to be read, where its file does not tell.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct PictureArgs {
    /// How code values relate to light, for example srgb; `plateproof explain encodings` lists them
    #[arg(long, value_name = "NAME")]
    pub(super) encoding: Option<String>,
    /// Colour space, for example acescg
    #[arg(long, alias = "color-space", value_name = "NAME")]
    pub(super) colour_space: Option<String>,
    /// Layer or part to read
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Option<String>,
    /// Scene-linear value at which the recording clips
    #[arg(long, value_name = "VALUE")]
    pub(super) clip_level: Option<Positive>,
    /// Outline in place of the search: centre x, centre y, radius (or a, b, angle), px
    #[arg(long, value_name = "X,Y,R")]
    pub(super) outline: Option<Numbers>,
    /// Circle drawn by hand around the sphere, good to 15 % of its radius and refined on the picture: centre x, centre y,
    /// radius, px
    #[arg(long, value_name = "X,Y,R", conflicts_with = "outline")]
    pub(super) near: Option<Numbers>,
}

/// What one picture may cost, so that a damaged or hostile file costs its shot and nothing else.
#[derive(Debug, Clone, Copy, Default, Args)]
#[command(next_help_heading = "Limits on one picture")]
pub(super) struct LimitArgs {
    /// Most pixels [default: 268435456, which is 16384 x 16384]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u64).range(1..))]
    pub(super) max_pixels: Option<u64>,
    /// Largest file [default: 16GiB]
    #[arg(long, value_name = "SIZE")]
    pub(super) max_file: Option<ByteSize>,
    /// Most memory for it when decoded [default: 4GiB, or half of what this process may use]
    #[arg(long, value_name = "SIZE")]
    pub(super) max_decoded: Option<ByteSize>,
}

impl From<LimitArgs> for Limits {
    fn from(args: LimitArgs) -> Self {
        let default = Self::default();
        Self {
            max_pixels: args.max_pixels.unwrap_or(default.max_pixels),
            max_file_bytes: args.max_file.map_or(default.max_file_bytes, |size| size.0),
            max_bytes: args.max_decoded.map_or(default.max_bytes.min(default_budget_bytes()), |size| size.0),
        }
    }
}

impl PictureArgs {
    /// The entry of a frame that is read so, within `limits`.
    pub(super) fn image_spec(&self, frame: &str, limits: LimitArgs) -> ImageSpec {
        ImageSpec {
            limits: limits.into(),
            encoding: self.encoding.clone(),
            encoding_by_option: self.encoding.is_some(),
            colour_space: self.colour_space.clone(),
            colour_space_by_option: self.colour_space.is_some(),
            layer: self.layer.clone(),
            clip_level: self.clip_level.map(|level| level.0),
            ..ImageSpec::of_frame(frame)
        }
    }
}

/// `reflectance`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::REFLECTANCE)]
pub(super) struct ReflectanceArgs {
    /// The frame
    #[arg(value_name = "FRAME")]
    pub(super) frame: PathBuf,
    /// Corners around a part of a matt surface as seen directly, px
    #[arg(long, value_name = "X,Y,X,Y,X,Y...", allow_hyphen_values = true)]
    pub(super) seen_directly: Numbers,
    /// Corners around the same part of it as seen in the sphere, px
    #[arg(long, value_name = "X,Y,X,Y,X,Y...", allow_hyphen_values = true)]
    pub(super) seen_in_sphere: Numbers,
    /// Print text for people, or JSON
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) lens: LensArgs,
    #[command(flatten)]
    pub(super) picture: PictureArgs,
    #[command(flatten)]
    pub(super) limits: LimitArgs,
}

/// `new-shot`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::NEW_SHOT)]
pub(super) struct NewShotArgs {
    /// Pictures of one shot, or folders that hold them
    #[arg(value_name = "FILE|FOLDER", required = true)]
    pub(super) files: Vec<PathBuf>,
    /// The sheet to write [default: shot.json in the folder given, else here]
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    /// Name of the shot [default: as the names of files and folder tell]
    #[arg(long, value_name = "NAME")]
    pub(super) shot: Option<String>,
    /// Replace a sheet that is there already, with everything noted in it
    #[arg(long)]
    pub(super) overwrite: bool,
    #[command(flatten)]
    pub(super) limits: LimitArgs,
}

/// `summary`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::SUMMARY)]
pub(super) struct SummaryArgs {
    /// Folders that are searched for reports, or reports
    #[arg(value_name = "FOLDER|REPORT", required = true)]
    pub(super) reports: Vec<PathBuf>,
    /// An earlier set of reports to hold them against
    #[arg(long, value_name = "FOLDER")]
    pub(super) against: Option<PathBuf>,
    /// Show the shots over all their versions: verdicts, numbers, and a plot where it is one shot
    #[arg(long)]
    pub(super) trend: bool,
    /// Only these shots
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    pub(super) shot: Vec<String>,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: SummaryFormat,
    /// List every shot, not just one screen of them
    #[arg(long)]
    pub(super) all: bool,
    /// Checks that have to be decided in every shot: where one is unsure or not given, the shot is unsure at the least
    #[arg(long, value_name = "CHECKS", value_delimiter = ',')]
    pub(super) require: Vec<String>,
    /// Draw the overview, a printed table with both spheres of every shot, into this folder
    #[arg(long, value_name = "DIR")]
    pub(super) overview: Option<PathBuf>,
}

/// How a summary is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub(super) enum SummaryFormat {
    /// For people.
    #[default]
    Text,
    /// For programs.
    Json,
    /// For spreadsheets.
    Csv,
    /// JUnit XML, for build servers.
    Junit,
}

/// `explain`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::EXPLAIN)]
pub(super) struct ExplainArgs {
    /// A check, `verdicts`, `directions`, `encodings` or `set`; a tolerance's name or a word of the trade will do
    #[arg(value_name = "CHECK")]
    pub(super) topic: Vec<String>,
}

/// `demo`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::DEMO)]
pub(super) struct DemoArgs {
    /// Folder for the show and its reports
    #[arg(long, value_name = "DIR", default_value = "plateproof-demo")]
    pub(super) out: PathBuf,
    /// Leave out the evidence pictures
    #[arg(long)]
    pub(super) no_picture: bool,
}

/// `completions`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::COMPLETIONS)]
pub(super) struct CompletionsArgs {
    /// Which shell
    #[arg(value_enum)]
    pub(super) shell: clap_complete::Shell,
}

/// `manual`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::MANUAL)]
pub(super) struct ManualArgs {
    /// Folder for the pages
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
}

/// `schema`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::SCHEMA)]
pub(super) struct SchemaArgs {
    /// Which format
    #[arg(value_enum)]
    pub(super) of: SchemaOf,
}

/// The formats that have a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum SchemaOf {
    /// A report, `plateproof-report/1`.
    Report,
    /// A shot sheet, `plateproof-shot/1`.
    Sheet,
    /// What `summary --format json` prints, `plateproof-summary/1`.
    Summary,
    /// What `sphere --format json` prints, `plateproof-sphere/1`.
    Sphere,
}

fn parse_fov(text: &str) -> Result<f64, String> {
    let Positive(degrees) = text.parse()?;
    if degrees < 180.0 { Ok(degrees) } else { Err("a pinhole sees less than 180 degrees".to_owned()) }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        Cli::command().debug_assert();
    }
}
