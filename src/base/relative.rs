//! A file's name as a file beside it gives it: relative to the folder of that one.

use std::path::{Component, Path, PathBuf};

use crate::{Error, ErrorKind, Result};

/// `file` relative to the folder of `sheet`, with `/` between folders; absolute where they share no root.
///
/// # Errors
/// Where the name is not Unicode, or the working folder is unknown.
pub(crate) fn relative_to(file: &Path, sheet: &Path) -> Result<String> {
    let absolute = |path: &Path| std::path::absolute(path).map_err(|error| Error::io(path, &error));
    let (file_at, sheet_at) = (plain(&absolute(file)?), plain(&absolute(sheet)?));
    let folder = sheet_at.parent().unwrap_or(Path::new(""));
    let shared = file_at.components().zip(folder.components()).take_while(|(a, b)| a == b).count();
    let rooted = file_at.components().take_while(|part| !matches!(part, Component::Normal(_))).count();
    let relative: PathBuf = if shared < rooted {
        file_at
    } else {
        let up = folder.components().skip(shared).map(|_| Component::ParentDir);
        up.chain(file_at.components().skip(shared)).collect()
    };
    let text = relative.to_str().ok_or_else(|| {
        Error::new(ErrorKind::Parameter, file, "the file's name is not Unicode", "rename the file or link to it")
    })?;
    Ok(if cfg!(windows) { text.replace('\\', "/") } else { text.to_owned() })
}

/// Without `.` and `..`.
fn plain(path: &Path) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir => drop(plain.pop()),
            other => plain.push(other),
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_relative_to_the_sheet() {
        for (file, sheet, expected) in [
            ("shots/a/p.exr", "shots/a/shot.json", "p.exr"),
            ("shots/a/s/p.exr", "shots/a/shot.json", "s/p.exr"),
            ("cg/p.exr", "shots/a/shot.json", "../../cg/p.exr"),
            ("./shots/../cg/p.exr", "shot.json", "cg/p.exr"),
            ("p.exr", "./shot.json", "p.exr"),
        ] {
            assert_eq!(relative_to(Path::new(file), Path::new(sheet)).unwrap(), expected);
        }
    }
}
