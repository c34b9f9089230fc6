//! What `clean-plate` says about itself.

use super::CheckDoc;
use crate::findings::CheckId;

/// The texts of `explain clean-plate`.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::CleanPlate,
    title: "does the clean plate line up with the plate?",
    unit: "px",
    what: "Registers the clean plate to the plate and measures what still differs: position, exposure and colour, \
           sharpness, and what moved.\n\
           The value is the misregistration: how far the clean plate lies from the plate, root mean square over the \
           frame, in plate pixels. The finding takes the worst of misregistration, exposure or colour, and focus, \
           each against its own tolerance.\n\
           The detail gives the kind of camera move (translation, similarity or homography), shift, roll and zoom; \
           exposure and colour in stops, + = the clean plate is brighter, redder or bluer; blur in px, + = the clean \
           plate is softer; and how much of the frame moved. A mask (.moved.png) shows it: white = moved, black = \
           still, grey = could not be compared.\n\
           With a frame_range on clean_plate (and on the plate), the clean plate is taken as a second take of the \
           camera move: the detail lists the best clean frame for each plate frame, and the value is that of the \
           worst. A roll of some degrees or a zoom of a few percent is found.",
    why: "Paint-outs and set extensions take pixels from the clean plate. Half a pixel or a tenth of a stop of \
          difference shows as an edge around the patch.",
    how: "Phase correlation proposes a shift; gradient least squares over a pyramid refines shift, roll and zoom, \
          then a homography. The simplest model is used unless a fuller one differs from it by more than three of its \
          standard deviations. Areas that move differently from the rest are left out.\n\
          Focus comes from the ratio of the two power spectra over areas that both frames show, as the standard \
          deviation of a Gaussian blur, with the noise removed.\n\
          A cell counts as moved if it differs by more than four standard deviations of noise, interpolation and \
          misregistration, and by more than 6 % of its brightness, in luminance or in one channel.",
    tolerance: "0.5 px misregistration, 0.1 stops exposure and colour, 0.7 px of blur (common practice, no source). In a \
                sheet: \"tolerances\": { \"clean-plate\": { \"px\": 0.5, \"stops\": 0.1, \"blur_px\": 0.7 } }; on the command \
                line: --tolerance clean-plate=0.5 sets the pixels.",
    cannot_see: "Parallax: a camera in another place shifts near and far things differently, and one homography can \
                 only undo one plane; the rest shows in the mask.\n\
                 Frames without detail, and clipped areas.\n\
                 Over a range of frames, exposure, focus and what moved are those of a single pair, named in the \
                 detail.",
};
