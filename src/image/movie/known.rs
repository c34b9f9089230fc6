//! What is known of movies that were looked at before: asking again costs a process, and finding the frames reads the whole file.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::SystemTime;

use super::Container;
use super::facts::{Shown, Stream, frames, stream};
use super::tool::unreadable;
use crate::image::limits::Limits;
use crate::{Error, Result};

/// So many movies are remembered.
const REMEMBERED: usize = 64;

/// A movie that was looked at.
pub(super) struct Movie {
    pub(super) path: PathBuf,
    pub(super) container: Container,
    pub(super) stream: Stream,
    bytes: u64,
    whole: OnceLock<Result<Whole>>,
}

/// What only reading all of it tells.
#[derive(Debug, Clone)]
pub(super) struct Whole {
    /// When each frame is shown.
    pub(super) frames: Vec<Shown>,
    /// Content hash of the file.
    pub(super) blake3: String,
}

/// A file that changes is another one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Stamp {
    bytes: u64,
    changed: Option<SystemTime>,
}

static KNOWN: Mutex<BTreeMap<PathBuf, (Stamp, Arc<Movie>)>> = Mutex::new(BTreeMap::new());

impl Movie {
    /// Looks at a movie, unless it is known.
    ///
    /// # Errors
    /// As [`stream`].
    pub(super) fn of(path: &Path, container: Container) -> Result<Arc<Self>> {
        let about = path.metadata().map_err(|error| Error::io(path, &error))?;
        let stamp = Stamp { bytes: about.len(), changed: about.modified().ok() };
        let name = std::path::absolute(path).map_err(|error| Error::io(path, &error))?;
        let known = || KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, movie)) = known().get(&name).filter(|(known, _)| *known == stamp) {
            return Ok(Arc::clone(movie));
        }
        let movie = Arc::new(Self {
            path: path.to_path_buf(),
            container,
            stream: stream(path, container)?,
            bytes: stamp.bytes,
            whole: OnceLock::new(),
        });
        let mut all = known();
        if all.len() >= REMEMBERED {
            all.clear();
        }
        all.insert(name, (stamp, Arc::clone(&movie)));
        Ok(movie)
    }

    /// Its frames and its hash; the file is read whole for them, once.
    ///
    /// # Errors
    /// As [`frames`], and where the file cannot be read.
    pub(super) fn whole(&self, limits: &Limits) -> Result<&Whole> {
        // Both on threads of their own: a core that waits here must not take up another frame of the same movie, which would
        // wait for this one.
        let read = || {
            std::thread::scope(|scope| {
                let hash = scope.spawn(|| self.hash(limits));
                let frames = frames(&self.path, self.container, self.bytes)?;
                let hash = hash.join().unwrap_or_else(|_| Err(unreadable(&self.path, "it cannot be hashed")));
                Ok(Whole { frames, blake3: hash? })
            })
        };
        self.whole.get_or_init(read).as_ref().map_err(Clone::clone)
    }

    fn hash(&self, limits: &Limits) -> Result<String> {
        limits.check_file(&self.path, self.bytes)?;
        let failed = |error: std::io::Error| Error::io(&self.path, &error);
        let mut hasher = blake3::Hasher::new();
        hasher.update_reader(File::open(&self.path).map_err(failed)?).map_err(failed)?;
        Ok(hasher.finalize().to_hex().to_string())
    }

    /// The time of a moment in ticks, s.
    pub(super) fn seconds(&self, ticks: i64) -> f64 {
        let [above, below] = self.stream.tick_s;
        ticks as f64 * above as f64 / below as f64
    }
}
