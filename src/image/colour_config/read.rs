//! Configs through the `ocio` crate.

use std::fs::DirEntry;
use std::path::{Path, PathBuf};

use ocio::{Config, CpuProcessor, LoggingLevel, ReferenceSpaceType};

use super::{ConfigRequest, ConfigTransform, Frame};
use crate::base::nearest::near;
use crate::base::parallel;
use crate::colour::ColourSpace;
use crate::image::guard;
use crate::{Error, ErrorKind, Result};

/// Larger configs are refused; the largest published one has about 0.2 MiB.
const MOST_BYTES: u64 = 16 << 20;

/// Larger tables beside a config are refused.
const MOST_TABLE_BYTES: u64 = 128 << 20;

/// Files and folders below a config's folder that are looked at.
const MOST_FILES: usize = 20_000;

/// The space of the light, in which published configs exchange theirs.
const EXCHANGE: &str = "ACES2065-1";

/// The role that stands for scene-linear light where a config exchanges none.
const SCENE_LINEAR: &str = "scene_linear";

/// Values beyond what 32-bit floats hold are cut to it.
const LARGEST: f32 = f32::MAX;

/// The transform itself.
pub(super) struct Light {
    processor: CpuProcessor,
}

impl std::fmt::Debug for Light {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.debug_struct("Light").finish_non_exhaustive()
    }
}

impl Light {
    pub(in crate::image::colour_config) fn of(&self, rgb: [f32; 3]) -> [f32; 3] {
        if rgb.iter().any(|v| v.is_nan()) {
            return [f32::NAN; 3];
        }
        let mut light = rgb;
        self.processor.apply_rgb(&mut light);
        light.map(|v| if v.is_nan() { 0.0 } else { v.clamp(-LARGEST, LARGEST) })
    }

    pub(super) fn decode(&self, frame: &mut Frame) {
        parallel::each(&mut frame.rgb, |_, rgb| *rgb = self.of(*rgb));
        frame.clip_level = frame.clip_level.map(|level| self.of(level));
    }
}

impl ConfigTransform {
    pub(super) fn of_config(path: &str, request: &ConfigRequest<'_>) -> Result<Self> {
        let file = Path::new(path);
        let config = open(path)?;
        let contained = guard::contain(|| transform(&config, request)).map_err(|panic| malformed(file, &panic))?;
        let (processor, name, exchanged) = contained.map_err(|fault| fault.told(file, request))?;
        let space = if exchanged { ColourSpace::parse(EXCHANGE) } else { None };
        Ok(Self { light: Light { processor }, name, space })
    }
}

/// What keeps a config from giving light.
enum Fault {
    Unknown(Vec<String>),
    Data(String),
    Display(String),
    NoExchange(String),
    Transform(String, String),
}

impl Fault {
    fn told(self, file: &Path, request: &ConfigRequest<'_>) -> Error {
        match self {
            Self::Unknown(names) => {
                let guess = near(request.name, names.iter().map(String::as_str));
                let guess = guess.map(|guess| format!("did you mean \"{guess}\"? ")).unwrap_or_default();
                let cause = format!("it has no colour space, alias or role \"{}\"", request.name);
                let list = names.iter().take(40).cloned().collect::<Vec<_>>().join(", ");
                Error::new(ErrorKind::Parameter, file, cause, format!("{guess}use one of {list}"))
            }
            Self::Data(name) => {
                let cause = format!("\"{name}\" is for data, not for colour");
                Error::new(
                    ErrorKind::Unsupported,
                    file,
                    cause,
                    "name the colour space that the picture was recorded in",
                )
            }
            Self::Display(name) => {
                let cause = format!("\"{name}\" is what a display shows, which is not the light of the scene");
                let remedy = "name the scene-referred colour space that the picture was recorded in, or use the encoding srgb or bt1886";
                Error::new(ErrorKind::Unsupported, file, cause, remedy)
            }
            Self::NoExchange(why) => {
                let cause = format!("it does not say what its scene-linear light is ({why})");
                let remedy = "add the role aces_interchange to the config, or name the primaries of its scene_linear role by colour_space beside the encoding";
                Error::new(ErrorKind::Unsupported, file, cause, remedy)
            }
            Self::Transform(name, why) => {
                let cause = format!("the transform of \"{name}\" cannot be used: {why}");
                Error::new(ErrorKind::Unsupported, file, cause, "mend the config, or name another encoding")
            }
        }
    }
}

/// The processor to scene-linear light, the canonical name, and whether the light is in the exchange space.
fn transform(config: &Config, request: &ConfigRequest<'_>) -> std::result::Result<(CpuProcessor, String, bool), Fault> {
    let named = if request.name.is_empty() {
        config.color_space_from_filepath(&request.picture.to_string_lossy())
    } else {
        request.name.to_owned()
    };
    let Some(space) = config.get_color_space(&named) else { return Err(Fault::Unknown(names(config))) };
    let name = space.name().to_owned();
    if space.is_data() {
        return Err(Fault::Data(name));
    }
    if space.reference_space_type() == ReferenceSpaceType::Display {
        return Err(Fault::Display(name));
    }
    let (processor, exchanged) = if request.space_is_told && config.has_role(SCENE_LINEAR) {
        (config.get_processor(&name, SCENE_LINEAR), false)
    } else {
        (Config::get_processor_to_builtin_color_space(config, &name, EXCHANGE), true)
    };
    let processor = processor.map_err(|error| {
        // What fails towards the config's own light too is the transform's fault.
        let own = config.get_processor(&name, if config.has_role(SCENE_LINEAR) { SCENE_LINEAR } else { &name });
        match own {
            Err(of_transform) => Fault::Transform(name.clone(), of_transform.message().to_owned()),
            Ok(_) if exchanged => Fault::NoExchange(error.message().to_owned()),
            Ok(_) => Fault::Transform(name.clone(), error.message().to_owned()),
        }
    })?;
    Ok((processor.default_cpu_processor(), name, exchanged))
}

fn names(config: &Config) -> Vec<String> {
    let roles = (0..config.num_roles()).map(|i| config.role_name(i).to_owned());
    let spaces = (0..config.num_color_spaces()).map(|i| config.color_space_name_by_index(i).to_owned());
    spaces.chain(roles).collect()
}

/// Reads a config; nothing outside its folder is read for it, then or later.
fn open(path: &str) -> Result<Config> {
    let file = Path::new(path);
    // The library would write what it thinks of a config beside our own messages.
    ocio::config::logging::set_logging_level(LoggingLevel::None);
    if path.starts_with("ocio://") {
        return Config::create_from_builtin_config(path)
            .map_err(|error| Error::new(ErrorKind::Parameter, file, error.message(), "name a config's file"));
    }
    let about = file.metadata().map_err(|error| Error::io(file, &error))?;
    // Opening a pipe would wait for ever for somebody to write into it.
    if !about.is_file() {
        return Err(malformed(file, "it is a folder, a pipe or a device"));
    }
    if about.len() > MOST_BYTES {
        let cause = format!("it has more than {} MiB", MOST_BYTES >> 20);
        return Err(Error::new(ErrorKind::Limit, file, cause, "give the config itself, a text of some kilobytes"));
    }
    let absolute = std::path::absolute(file).map_err(|error| Error::io(file, &error))?;
    let folder = absolute.parent().map(Path::to_path_buf).unwrap_or_default();
    let bytes = std::fs::read(&absolute).map_err(|error| Error::io(file, &error))?;
    if bytes.starts_with(b"PK") {
        let remedy = "unpack it, and give the config.ocio in it";
        return Err(Error::new(ErrorKind::Unsupported, file, "it is an archive of a config", remedy));
    }
    let text = String::from_utf8(bytes).map_err(|_| malformed(file, "it is not text in UTF-8"))?;
    let read = guard::contain(|| {
        let mut config = Config::create_from_str(&text)?;
        config.set_working_dir(&folder.to_string_lossy());
        Ok::<_, ocio::Error>(config)
    });
    let config = read.map_err(|panic| malformed(file, &panic))?.map_err(|error| malformed(file, error.message()))?;
    let inside = guard::contain(|| config.is_archivable()).map_err(|panic| malformed(file, &panic))?;
    if !inside {
        let cause = "it refers to files outside its folder, or its search path begins with a variable";
        return Err(Error::new(
            ErrorKind::Unsupported,
            file,
            cause,
            "copy what it needs into its folder, and refer to it from there",
        ));
    }
    let climbs = |(name, value): (&str, &str)| value.contains("..") && text.contains(name);
    if let Some((name, _)) = config.current_context().string_vars().find(|variable| climbs(*variable)) {
        let cause = format!("its variable {name} leads out of its folder");
        return Err(Error::new(ErrorKind::Unsupported, file, cause, "set the variable to a name without `..`"));
    }
    stays_inside(file, &folder)?;
    Ok(config)
}

/// No link below the folder leads out of it, and no table is larger than can be read.
fn stays_inside(config: &Path, folder: &Path) -> Result<()> {
    let root = folder.canonicalize().map_err(|error| Error::io(config, &error))?;
    for entry in below(config, &root)? {
        let path = entry.path();
        if entry.file_type().is_ok_and(|kind| kind.is_symlink()) {
            let leaves = path.canonicalize().is_ok_and(|target| !target.starts_with(&root));
            if leaves {
                let cause = format!("{} leads out of the config's folder", path.display());
                let remedy = "copy what the config needs into its folder";
                return Err(Error::new(ErrorKind::Unsupported, config, cause, remedy));
            }
        } else if is_table(&path) && entry.metadata().is_ok_and(|about| about.len() > MOST_TABLE_BYTES) {
            let cause = format!("{} has more than {} MiB", path.display(), MOST_TABLE_BYTES >> 20);
            return Err(Error::new(ErrorKind::Limit, config, cause, "use a smaller table"));
        }
    }
    Ok(())
}

/// Everything below a folder; links are not followed.
fn below(config: &Path, folder: &Path) -> Result<Vec<DirEntry>> {
    let mut left = vec![folder.to_path_buf()];
    let mut found = Vec::new();
    while let Some(dir) = left.pop() {
        for entry in std::fs::read_dir(&dir).map_err(|error| Error::io(&dir, &error))?.flatten() {
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                left.push(entry.path());
            }
            found.push(entry);
            if found.len() > MOST_FILES {
                let cause = format!("its folder holds more than {MOST_FILES} files");
                return Err(Error::new(ErrorKind::Limit, config, cause, "put the config into a folder of its own"));
            }
        }
    }
    Ok(found)
}

/// The config and the tables in its folder.
pub(super) fn files(config: &str) -> Vec<PathBuf> {
    let file = PathBuf::from(config);
    let folder = std::path::absolute(&file).ok().and_then(|path| path.parent().map(Path::to_path_buf));
    let beside = folder.and_then(|folder| below(&file, &folder).ok()).unwrap_or_default();
    let mut tables: Vec<PathBuf> = beside.iter().map(DirEntry::path).filter(|path| is_table(path)).collect();
    tables.sort();
    std::iter::once(file).chain(tables).collect()
}

/// A file that a config may refer to, by its ending.
fn is_table(path: &Path) -> bool {
    const ENDINGS: [&str; 18] = [
        "3dl", "cc", "ccc", "cdl", "clf", "csp", "ctf", "cub", "cube", "hdl", "icc", "icm", "itx", "lut", "mga",
        "spi1d", "spi3d", "spimtx",
    ];
    path.extension().is_some_and(|ending| ENDINGS.iter().any(|known| ending.eq_ignore_ascii_case(known)))
}

fn malformed(file: &Path, cause: &str) -> Error {
    Error::new(ErrorKind::Malformed, file, cause, "check the config with the tools that come with OpenColorIO")
}
