//! `set-notes` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of the notes against each other.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::SetNotes,
    title: "do files and notes of the shot contradict each other?",
    unit: "contradictions",
    what: "Compares what the plate, the sphere frames and the sheet say about exposure, date, camera and lens, and \
           looks at the background for light that changed between plate and sphere. The value is the number of \
           contradictions; each is named with its file.\n\
           It concerns the reference and never accuses the CG.",
    why: "A sphere frame from another day, another lens or another lighting state looks perfectly good by itself and \
          says nothing about this plate.",
    how: "Exposure: exposure_stops of the sheet against time, aperture and ISO of the files (1/3 stop). Dates: sphere \
          against plate and against location.time (1 hour), frames of one bracket (10 minutes). Camera and lens: names, \
          serial numbers and focal length of sphere and plate (1 %), and the sheet's focal length against the files' \
          (2 %).\n\
          Light: where plate and sphere frame show the same background, the difference between them should be the \
          same everywhere. If it varies by more than 0.15 stops over the frame, or changes colour by more than the \
          colour tolerance, part of the light has changed.",
    tolerance: "No contradiction is tolerated; from what size on something counts as one is common practice, no source. \
                A waiver in the sheet signs it off.",
    cannot_see: "What neither the files nor the sheet say, and clocks that are wrong in the same way.\n\
                 Light that changed on the sphere but not on the background in frame.\n\
                 A change in brightness of the whole frame: that is the check reference-drift.",
};
