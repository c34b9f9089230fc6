//! `environment` in words.

use super::CheckDoc;

/// The check of the captured environment.
pub const DOC: CheckDoc = CheckDoc {
    name: "environment",
    title: "is the captured environment sound, and set up right?",
    unit: "tolerances",
    what: "Looks at the lat-long environment of the sheet twice. The capture (concerns the reference): the mirror sphere \
           that it predicts at the sphere's place, seen by the shot's own camera, is compared with the photographed one by \
           highlight-direction, key-fill-ratio, exposure, colour-balance and rotation. The set-up (concerns the CG): the CG \
           sphere is compared with the same prediction. So it is told whether the capture or the CG set-up is wrong.\n\
           The value is the worst of the five, each as a multiple of its own tolerance; the detail holds them all. The \
           detail also says whether the picture is float and 2:1, its dynamic range in stops, what is clipped, whether the \
           sun or brightest light can be recovered from the photographed sphere, whether the edges and poles meet, and \
           whether a patch, a tripod or crew is seen.\n\
           check --predict writes the predicted mirror sphere and a matte one as OpenEXR and PNG beside the report.",
    why: "A capture that is clipped, turned or of another exposure makes every render wrong, however well it is set up; a \
          good capture that is set up wrongly does too. The cure is another in each case.",
    how: "OpenEXR files with the envmap attribute follow OpenEXR's convention (+z in the middle, first and last column the \
          same direction, rows from pole to pole); all others are taken as pixel patches seen from inside. heading_deg is \
          the azimuth of the middle column; without it, the turn that fits the photographed sphere best is taken and told. \
          The environment stands level: the camera's tilt_deg and roll_deg of the sheet are taken out. exposure_stops \
          beside the frame brings its values to the plate's exposure.\n\
          A set-up whose CG sphere matches the photographed one is not accused for differing from the capture.",
    tolerance: "1: each comparison is held against its own tolerance (see there). Seams: 0.05 stop and four times the usual \
                step between neighbours; poles: 0.3 stop and six times; plain 2:1 within 1 % (common practice, no source).",
    cannot_see: "Light from near by: the environment is taken to be infinitely far away, as it was captured at the sphere's \
                 place.\n\
                 A ceiling that nobody states and that few pixels share. A tripod whose patch was painted well.",
};
