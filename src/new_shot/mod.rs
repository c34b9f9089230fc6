//! A first shot sheet from a pile of files: what each is taken for and why, what the files tell, and what is left to
//! ask the crew for.

mod ask;
mod collect;
mod into_movie;
mod look;
mod names;
mod role;
mod roles;
mod sheet;
mod take;

pub use collect::collect;
pub(crate) use collect::is_picture_name;
pub(crate) use names::{beside_role, shot_name, version};
pub use role::Role;
pub use roles::Guess;

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::image::limits::Limits;
use crate::sheet::sheet_from_json;
use crate::{Error, Result};

/// A drafted sheet with everything that led to it.
#[derive(Debug)]
pub struct Draft {
    /// The sheet, with what to ask and the guesses under `notes`.
    pub sheet: Value,
    /// What each file is taken for.
    pub guesses: Vec<Guess>,
    /// What to ask the crew for, most valuable first.
    pub to_ask: Vec<String>,
    /// Files that could not be read.
    pub unreadable: Vec<Error>,
    /// Why `check` would not take the sheet yet; `None` where it would.
    pub incomplete: Option<Error>,
}

/// Drafts the sheet of one shot.
///
/// `files` are pictures as [`collect`] gives them, `out` is where the sheet will stand (its frames are named relative
/// to it), `shot` its name; absent: taken from the names. `limits` hold for every picture, and
/// `progress` is told of each before it is opened. Every
/// file is decoded once, one after the other.
///
/// # Errors
/// Where a path is not Unicode, or the working folder is unknown.
pub fn draft_shot(
    files: &[PathBuf],
    out: &Path,
    shot: Option<&str>,
    limits: &Limits,
    progress: &mut dyn FnMut(&Path),
) -> Result<Draft> {
    let (mut looks, mut unreadable) = (Vec::new(), Vec::new());
    for file in files {
        progress(file);
        match into_movie::look(file, limits) {
            Ok(look) => looks.push(look),
            Err(error) => unreadable.push(error),
        }
    }
    let guesses = roles::guess(&looks);
    let to_ask = ask::to_ask(&looks, &guesses);
    let sheet = sheet::sheet(&sheet::Content { looks: &looks, guesses: &guesses, to_ask: &to_ask, out, shot })?;
    let base = out.parent().unwrap_or(Path::new(""));
    let incomplete = sheet_from_json(sheet.clone(), out, base).err();
    Ok(Draft { sheet, guesses, to_ask, unreadable, incomplete })
}

#[cfg(test)]
mod tests;
