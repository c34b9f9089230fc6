//! What may be typed.

use std::path::PathBuf;
use std::sync::Arc;

use clap::{Args, Parser, Subcommand, ValueEnum};

use super::assignment::{self, Assignment, NamedFile, Numbers, Positive, SensorSize};
use super::byte_size::ByteSize;
use super::examples;
use crate::image::limits::Limits;
use crate::sheet::ImageSpec;
use crate::show::{Part, default_budget_bytes};

/// Measures whether the CG is lit, exposed, coloured, scaled and placed like the live-action plate, from a mirror sphere
/// photographed on set and a CG render of the same sphere.
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
    /// Compare the CG sphere with the one photographed on set: what is off, by how much, and what to change
    Check(Box<CheckArgs>),
    /// Measure the light that the sphere in a single frame shows
    Sphere(Box<SphereArgs>),
    /// Measure how much a mirror sphere reflects, from a surface seen both directly and in the sphere
    Reflectance(Box<ReflectanceArgs>),
    /// Write the light of the set as a picture and as lights to start lighting from
    SetLight(SetLightArgs),
    /// Draft a shot sheet from the files of a shot, and list what to ask the crew for
    NewShot(NewShotArgs),
    /// Summarise many reports: worst first, problems that shots share, and what changed since an earlier run
    Summary(SummaryArgs),
    /// Explain a check, the verdicts, the directions or what to shoot on set
    Explain(ExplainArgs),
    /// Write and check a demo show: shots from an invented film about a salt ferry
    Demo(DemoArgs),
    /// Print the JSON Schema of a file format
    Schema(SchemaArgs),
    /// Print a completion script for your shell
    Completions(CompletionsArgs),
    /// Write the manual pages, one per command
    Manual(ManualArgs),
}

/// How answers are printed. (Help on single values would spread every `--help` over twice as many lines.)
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub(super) enum Format {
    // For people.
    #[default]
    Text,
    // For programs.
    Json,
}

/// Further files beside the report.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct BesideArgs {
    /// Also write the mirror and grey sphere that the sheet's environment predicts
    #[arg(long)]
    pub(super) predict: bool,
    /// Also write the fixes as files: one gain for the CG as an ASC CDL (.cc), and all of them as JSON
    #[arg(long)]
    pub(super) write_fixes: bool,
}

/// Heading of the options in place of a sheet.
const INPUTS: &str = "Inputs (instead of a sheet, or to replace what one sheet says)";
/// Heading of the options that place the sphere.
const SPHERE: &str = "Where the sphere is not found";
/// Heading of the options that judge.
const JUDGING: &str = "Tolerances and required checks";
/// Heading of the options for many shots and frames.
const MANY: &str = "Many shots, moving shots";
/// Heading of the options that say how a picture is to be read.
const READING: &str = "How to read the pictures (where neither file nor sheet says)";

/// How the camera saw the picture, where neither sheet nor file tells.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = READING)]
pub(super) struct LensArgs {
    /// Horizontal field of view of the full picture width, degrees
    #[arg(long, value_name = "DEG", value_parser = parse_fov, conflicts_with_all = ["focal_length_mm", "sensor_mm"])]
    pub(super) fov_deg: Option<f64>,
    /// Focal length, mm
    #[arg(long, value_name = "MM")]
    pub(super) focal_length_mm: Option<Positive>,
    /// Width and height of the recorded part of the sensor, mm
    #[arg(long, value_name = "WxH", requires = "focal_length_mm")]
    pub(super) sensor_mm: Option<SensorSize>,
}

/// Where encodings by name of a colour config are looked up.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = READING)]
pub(super) struct ConfigArgs {
    /// OpenColorIO config for encodings such as ocio:NAME [default: the environment variable OCIO]
    #[arg(long, value_name = "FILE")]
    pub(super) ocio: Option<String>,
}

impl ConfigArgs {
    /// The config's file.
    pub(super) fn config(&self) -> Option<Arc<str>> {
        self.ocio.clone().or_else(|| std::env::var("OCIO").ok()).map(Arc::from)
    }
}

/// `check`.
#[derive(Debug, Clone, Default, Args)]
#[command(after_help = examples::CHECK)]
#[allow(clippy::struct_excessive_bools, reason = "each is a switch of its own on the command line")]
pub(super) struct CheckArgs {
    /// Shot sheets, or folders to search for them
    #[arg(value_name = "SHEET|FOLDER")]
    pub(super) sheets: Vec<PathBuf>,
    /// Folder for the reports
    #[arg(long, value_name = "DIR", default_value = "plateproof-reports")]
    pub(super) out: PathBuf,
    /// Print text for people, or one JSON report per line
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    /// Do not draw the evidence picture
    #[arg(long)]
    pub(super) no_picture: bool,
    /// Draw the picture's panels by direction as a lat-long map seen from inside, with frame right on the left
    #[arg(long, conflicts_with = "no_picture")]
    pub(super) from_inside: bool,
    /// Check again even where nothing has changed since the last report
    #[arg(long)]
    pub(super) again: bool,
    /// Trust size, time and inode of files that have not changed since the last run with this option, instead of reading them
    #[arg(long, conflicts_with = "again")]
    pub(super) trust_times: bool,
    #[command(flatten)]
    pub(super) beside: BesideArgs,
    /// The live-action plate
    #[arg(long, value_name = "FILE", help_heading = INPUTS)]
    pub(super) plate: Option<PathBuf>,
    /// Photograph of the mirror sphere; give one NAME several files to make a bracket
    #[arg(long = "mirror", value_name = "[NAME=]FILE", help_heading = INPUTS)]
    pub(super) mirrors: Vec<NamedFile>,
    /// CG render of the same sphere; NAME is the mirror it stands for
    #[arg(long = "cg", value_name = "[NAME=]FILE", help_heading = INPUTS)]
    pub(super) cg: Vec<NamedFile>,
    /// Name of the shot
    #[arg(long, value_name = "NAME", help_heading = INPUTS)]
    pub(super) shot: Option<String>,
    /// Version of the CG; part of the report's file name
    #[arg(long, value_name = "NAME", help_heading = INPUTS)]
    pub(super) version_name: Option<String>,
    /// Where the sphere is, roughly: a circle drawn by hand, px. Its radius has to be right within 15 %; without ROLE= it is for
    /// the photographed sphere
    #[arg(long = "near", value_parser = assignment::near, value_name = "[ROLE=]X,Y,R", help_heading = SPHERE)]
    pub(super) near: Vec<Assignment<Numbers>>,
    /// The exact outline, used instead of searching: centre and radius (or X,Y,A,B,ANGLE), px
    #[arg(long = "outline", value_parser = assignment::outline, value_name = "ROLE=X,Y,R", help_heading = SPHERE)]
    pub(super) outlines: Vec<Assignment<Numbers>>,
    /// Tolerance of a check, such as exposure=0.2; `plateproof explain tolerances` lists them
    #[arg(long = "tolerance", value_parser = assignment::tolerance, value_name = "CHECK=VALUE", help_heading = JUDGING)]
    pub(super) tolerances: Vec<Assignment<Positive>>,
    /// Checks that must reach a verdict, such as exposure,highlight-direction; a shot in which one does not is unsure
    #[arg(long, value_name = "CHECKS", value_delimiter = ',', help_heading = JUDGING)]
    pub(super) require: Vec<String>,
    /// Shots processed in parallel [default: one per core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1024), help_heading = MANY)]
    pub(super) jobs: Option<u32>,
    /// Total memory, such as 8GiB [default: half of what is available]
    #[arg(long, value_name = "SIZE", help_heading = MANY)]
    pub(super) memory: Option<ByteSize>,
    /// Check only one of COUNT equal parts, such as 2/8, to share a show between machines
    #[arg(long, value_name = "NUMBER/COUNT", help_heading = MANY)]
    pub(super) part: Option<Part>,
    /// In a moving shot, check every N-th frame [default: about 20 frames]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..), help_heading = MANY)]
    pub(super) every: Option<u32>,
    #[command(flatten)]
    pub(super) lens: LensArgs,
    /// Encoding, such as mirror=srgb; `plateproof explain encodings` lists them
    #[arg(long = "encoding", value_parser = assignment::encoding, value_name = "ROLE=NAME", help_heading = READING)]
    pub(super) encodings: Vec<Assignment<String>>,
    /// Colour space, such as cg=acescg
    #[arg(long = "colour-space", value_parser = assignment::colour_space, alias = "color-space", value_name = "ROLE=NAME", help_heading = READING)]
    pub(super) colour_spaces: Vec<Assignment<String>>,
    /// Frame of a movie, counted from 1, such as plate=86
    #[arg(long = "frame-number", value_parser = assignment::frame_number, value_name = "ROLE=N", help_heading = READING)]
    pub(super) frame_numbers: Vec<Assignment<u32>>,
    /// Frame of a movie by its label, such as plate=01:12:03:14
    #[arg(long = "timecode", value_parser = assignment::timecode, value_name = "ROLE=TIMECODE", help_heading = READING)]
    pub(super) timecodes: Vec<Assignment<String>>,
    /// Layer to read, such as cg=beauty
    #[arg(long = "layer", value_parser = assignment::layer, value_name = "ROLE=NAME", help_heading = READING)]
    pub(super) layers: Vec<Assignment<String>>,
    /// Scene-linear value at which the recording clips, such as mirror=12.5
    #[arg(long = "clip-level", value_parser = assignment::clip_level, value_name = "ROLE=VALUE", help_heading = READING)]
    pub(super) clip_levels: Vec<Assignment<Positive>>,
    #[command(flatten)]
    pub(super) config: ConfigArgs,
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
    /// Also write FRAME.sphere.json and the evidence picture into this folder
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
    /// Print text for people, or JSON
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    /// Do not draw the evidence picture
    #[arg(long, requires = "out")]
    pub(super) no_picture: bool,
    #[command(flatten)]
    pub(super) lens: LensArgs,
    #[command(flatten)]
    pub(super) read_as: PictureArgs,
    /// Linear reflectance of the sphere in the frame's colour space, each above 0 and at most 1.2
    #[arg(long, value_name = "R,G,B")]
    pub(super) reflectance: Option<Numbers>,
    #[command(flatten)]
    pub(super) config: ConfigArgs,
    #[command(flatten)]
    pub(super) limits: LimitArgs,
}

/// How a picture is to be read, where its file does not tell.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = READING)]
pub(super) struct PictureArgs {
    /// Encoding, such as srgb; `plateproof explain encodings` lists them
    #[arg(long, value_name = "NAME")]
    pub(super) encoding: Option<String>,
    /// Colour space, such as acescg
    #[arg(long, alias = "color-space", value_name = "NAME")]
    pub(super) colour_space: Option<String>,
    /// Layer or part to read
    #[arg(long, value_name = "NAME")]
    pub(super) layer: Option<String>,
    /// Scene-linear value at which the recording clips, such as 12.5
    #[arg(long, value_name = "VALUE")]
    pub(super) clip_level: Option<Positive>,
    /// Frame of a movie, counted from 1
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..), conflicts_with = "timecode")]
    pub(super) frame_number: Option<u32>,
    /// Frame of a movie by its label, such as 01:12:03:14
    #[arg(long, value_name = "TIMECODE")]
    pub(super) timecode: Option<String>,
    /// Where the sphere is, roughly: a circle drawn by hand, px. Its radius has to be right within 15 %
    #[arg(long, value_name = "X,Y,R", conflicts_with = "outline", help_heading = SPHERE)]
    pub(super) near: Option<Numbers>,
    /// The exact outline, used instead of searching: centre and radius (or X,Y,A,B,ANGLE), px
    #[arg(long, value_name = "X,Y,R", help_heading = SPHERE)]
    pub(super) outline: Option<Numbers>,
}

/// What one picture may cost, so that a damaged or hostile file costs its shot and nothing else.
#[derive(Debug, Clone, Copy, Default, Args)]
#[command(next_help_heading = "Limits on a single picture")]
pub(super) struct LimitArgs {
    /// Maximum pixels [default: 268435456, that is 16384 x 16384]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u64).range(1..))]
    pub(super) max_pixels: Option<u64>,
    /// Maximum file size [default: 16GiB]
    #[arg(long, value_name = "SIZE")]
    pub(super) max_file: Option<ByteSize>,
    /// Most memory once decoded [default: 4GiB, or half of what is available]
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
    pub(super) fn image_spec(&self, frame: &str, config: &ConfigArgs, limits: LimitArgs) -> ImageSpec {
        ImageSpec {
            limits: limits.into(),
            colour_config: config.config(),
            encoding: self.encoding.clone(),
            encoding_by_option: self.encoding.is_some(),
            colour_space: self.colour_space.clone(),
            colour_space_by_option: self.colour_space.is_some(),
            layer: self.layer.clone(),
            clip_level: self.clip_level.map(|level| level.0),
            frame_number: self.frame_number,
            timecode: self.timecode.clone(),
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
    /// Corners of an area of a matt surface as seen directly, px
    #[arg(long, value_name = "X,Y,X,Y,X,Y...", allow_hyphen_values = true)]
    pub(super) seen_directly: Numbers,
    /// Corners of the same area as seen in the sphere, px
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
    pub(super) config: ConfigArgs,
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
    /// Sheet to write [default: shot.json in the given folder, else in this one]
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    /// Name of the shot [default: from the names of files and folder]
    #[arg(long, value_name = "NAME")]
    pub(super) shot: Option<String>,
    /// Replace an existing sheet, with everything noted in it
    #[arg(long)]
    pub(super) overwrite: bool,
    #[command(flatten)]
    pub(super) limits: LimitArgs,
}

/// `set-light`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::SET_LIGHT)]
pub(super) struct SetLightArgs {
    /// Shot sheets, or folders to search for them; no CG sphere is needed
    #[arg(value_name = "SHEET|FOLDER", required = true)]
    pub(super) sheets: Vec<PathBuf>,
    /// Folder for the files
    #[arg(long, value_name = "DIR", default_value = "plateproof-set-light")]
    pub(super) out: PathBuf,
    /// Print text for people, or one JSON record per line
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) config: ConfigArgs,
    #[command(flatten)]
    pub(super) limits: LimitArgs,
}

/// `summary`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::SUMMARY)]
pub(super) struct SummaryArgs {
    /// Reports, or folders to search for them
    #[arg(value_name = "FOLDER|REPORT", required = true)]
    pub(super) reports: Vec<PathBuf>,
    /// Folder with the reports of an earlier run, to compare with
    #[arg(long, value_name = "FOLDER")]
    pub(super) against: Option<PathBuf>,
    /// Show the shots over all their versions: verdicts, numbers, and a plot where it is one shot
    #[arg(long)]
    pub(super) trend: bool,
    /// Only these shots
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    pub(super) shot: Vec<String>,
    /// Print text for people, JSON, CSV for spreadsheets, or JUnit XML for build servers
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: SummaryFormat,
    /// List every shot, not just the worst ones
    #[arg(long)]
    pub(super) all: bool,
    /// Checks that must reach a verdict in every shot; a shot in which one does not is unsure
    #[arg(long, value_name = "CHECKS", value_delimiter = ',')]
    pub(super) require: Vec<String>,
    /// Also draw an overview, both spheres of every shot on printable pages, into this folder
    #[arg(long, value_name = "DIR")]
    pub(super) overview: Option<PathBuf>,
}

/// How a summary is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub(super) enum SummaryFormat {
    // For people.
    #[default]
    Text,
    // For programs.
    Json,
    // For spreadsheets.
    Csv,
    // JUnit XML, for build servers.
    Junit,
}

/// `explain`.
#[derive(Debug, Clone, Args)]
#[command(after_help = examples::EXPLAIN)]
pub(super) struct ExplainArgs {
    /// A check or a subject; common words of the trade work too. Without one, everything is listed
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
    /// Do not draw the evidence pictures
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
    #[arg(value_enum, value_name = "FORMAT")]
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
    /// What `set-light` writes and prints, `plateproof-set-light/1`.
    SetLight,
}

fn parse_fov(text: &str) -> Result<f64, String> {
    let Positive(degrees) = text.parse()?;
    if degrees < 180.0 { Ok(degrees) } else { Err("a field of view is less than 180 degrees".to_owned()) }
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
