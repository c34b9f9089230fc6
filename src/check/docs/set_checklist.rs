//! What to shoot next time, in a page.

use super::Topic;

/// The checklist for the set.
pub(super) const SET: Topic = Topic {
    name: "shooting",
    title: "what to shoot next time, in a page",
    text: "For every set-up, right after the take, before a lamp, a flag or the sun moves. Five minutes.\n\
           1. MIRROR SPHERE where the CG will stand, with the plate's camera, lens, stop, shutter and white balance; \
           clean, at least 200 px across, sharp, on a thin stand. Nobody between it and the lights.\n\
           2. The same BRACKETED by shutter, not by iris, in steps of 2 stops, until no lamp clips in the darkest \
           frame.\n\
           3. GREY SPHERE or grey card at the same place, at the plate's exposure.\n\
           4. CLEAN PLATE, the same move without actors; a GRID or a straight doorway filling the frame.\n\
           5. ENVIRONMENT, if there is time: a fully bracketed panorama from the sphere's place, its centre towards \
           the camera; note where it faced.\n\
           6. TAPE: lens to sphere, lens height, and one object in frame with its length and its distance. Sphere \
           diameter, once per show.\n\
           7. NOTES: camera, lens and its serial number, focal length and focus, stop, shutter, ISO, white balance, \
           tilt and roll; which part of the sensor is recorded. Compass bearing (steel nearby misleads it), place, \
           and the time with its zone. No automatic exposure or white balance. File names that give the shot and what \
           it is.\n\
           8. A photograph of the lighting with somebody pointing at the key.\n\
           CAUTIONS. Never look at the sun through a viewfinder or any optics, and never point a lens at it \
           unprotected: it blinds, burns and melts. Use a solar filter in front of the lens, or leave the sun to the \
           grey sphere. A mirror sphere in the sun throws concentrated light around: cover it when it is not needed.\n\
           Lamps are hot and heavy, and run on dangerous voltages: let the electricians move them, and keep stands, \
           cables and walkways clear. Ladders, rails and water edges need a second person. Do not hold up a set-up or \
           step into a shot to get a reference.\n\
           Local codes and the responsible licensed people on set decide; if they say no, the answer is no.",
};
