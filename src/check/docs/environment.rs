//! `environment` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of the captured environment.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::Environment,
    title: "is the captured environment good and set up right?",
    unit: "tolerances",
    what: "Examines the sheet's lat-long environment in two ways. The capture (concerns the reference): the mirror \
           sphere that it predicts, seen by the shot's own camera, is compared with the photographed one in \
           direction, key/fill, exposure, colour and rotation. The set-up (concerns the CG): the CG sphere is \
           compared with the same prediction. Together they tell whether the capture or the CG set-up is wrong.\n\
           The value is the worst of the five, as a multiple of its own tolerance; the detail has all of them. The \
           detail also says whether the picture is float and 2:1, its dynamic range in stops, what is clipped, \
           whether the sun or brightest light can be recovered from the photographed sphere, whether the edges and \
           poles join up, and whether a patch, a tripod or crew is visible.\n\
           check --predict also writes the predicted mirror sphere and a grey one, as OpenEXR and PNG, beside the \
           report.",
    why: "A capture that is clipped, turned or wrongly exposed makes every render wrong, however well it is set up. \
          So does a good capture that is set up wrongly, but the fix is different.",
    how: "OpenEXR files with the envmap attribute follow OpenEXR's convention (+z in the middle, first and last \
          column in the same direction, rows from pole to pole). All others are read as seen from inside, with each \
          pixel covering its own patch. heading_deg is the azimuth of the middle column; without it, the heading that \
          fits the photographed sphere best is used and reported. The environment is taken to be level: the camera's \
          tilt_deg and roll_deg in the sheet are removed. exposure_stops beside the frame brings its values to the \
          plate's exposure. A bracket of exposures in its place is merged: each is turned into the place of the middle \
          one, a common tone curve is undone, and check --write-fixes writes the result beside the report.\n\
          A set-up whose CG sphere matches the photographed one is not blamed for differing from the capture.",
    tolerance: "1: each comparison is held against its own tolerance (see there). Seams: 0.05 stop and four times the usual \
                step between neighbours; poles: 0.3 stop and six times; plain 2:1 within 1 % (common practice, no source).",
    cannot_see: "Light from nearby: the environment is treated as infinitely far away, captured at the sphere's \
                 place.\n\
                 A clip level that nobody stated and that few pixels reach. A tripod that was painted out well.",
};
