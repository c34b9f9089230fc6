//! What concerns all checks.

use super::Topic;
use super::set_checklist::SET;

/// Every such text.
pub static TOPICS: &[Topic] = &[VERDICTS, DIRECTIONS, SET];

const VERDICTS: Topic = Topic {
    name: "verdicts",
    title: "what the verdicts and the exit status mean",
    text: "Every figure has a standard deviation (sd). With a = |value| and T = tolerance, a finding is\n\
           - match, if a + 2 sd is at most 1.1 T: within tolerance, even allowing for the uncertainty;\n\
           - mismatch, if a - 2 sd is above T: outside tolerance, even allowing for the uncertainty;\n\
           - unsure otherwise, with the reason;\n\
           - not-given, if what the check needs was not supplied.\n\
           Errors are CG minus photographed: half a stop too bright is +0.5. What undoes an error is called a \
           correction and has the opposite sign.\n\
           If highlights are clipped in the photograph, the CG is clipped to the same level before the two are \
           compared. If the clipped part carries more than 10 % of the light, ratio, exposure and colour of the key \
           are mismatch or unsure, never match.\n\
           A shot has the worst verdict of the findings that concern the CG. A finding that concerns the reference \
           from set is an on-set problem: it widens the uncertainty of what depends on it and is listed at the top, \
           but does not count against the CG. If nothing could be compared, the shot is unsure. If it could not be \
           checked at all, its verdict is error. A waived mismatch counts as match until its date and is shown as \
           waived.\n\
           Exit status: 0 all match; 1 a mismatch; 2 wrong use, or an input that could not be used; 3 none of these \
           but something is unsure; 4 interrupted by a signal, nothing lost. 2 outranks 1, and 1 outranks 3.\n\
           A match states when no plate was given, or when the plate is the mirror frame \
           itself. `check --require CHECKS` (or `require` in a sheet) makes a shot unsure if one of these checks did \
           not reach a verdict. A tolerance of more than ten times its default is accepted only with a current waiver \
           for its check.",
};

const DIRECTIONS: Topic = Topic {
    name: "directions",
    title: "axes, angles and pixels",
    text: "Camera axes, right-handed: x to frame right, y up the frame, z from the scene towards the camera. They are \
           the axes of the camera, not of the line of sight to the sphere, so spheres at different places in frame \
           can be compared.\n\
           A direction points from the sphere to where the light comes from.\n\
           Azimuth, -180 to 180 deg: 0 = from the camera side, +90 = from frame right, 180 = from behind the sphere. \
           Elevation, -90 to 90 deg: + = from above.\n\
           Fixes turn clockwise or counter-clockwise as seen from above (+ azimuth is counter-clockwise) and add \
           towards frame left or right. Above 60 deg elevation, where azimuth means little, they give the two \
           components across the direction instead.\n\
           Pixels are stored pixels, counted from the outer corner of the display window's top-left pixel: the centre \
           of that pixel is at 0.5, 0.5. An outline is centre x, centre y, semi-axis a, semi-axis b and the angle of \
           a in degrees, from +x towards +y down the frame.\n\
           If nothing tells the field of view, 40 deg horizontal is assumed for both sides. The uncertainty of \
           absolute directions then comes from trying 18 to 75 deg; most of it cancels between the two sides.",
};
