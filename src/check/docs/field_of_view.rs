//! `field-of-view` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of the CG camera.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::FieldOfView,
    title: "is the field of view of the CG camera right?",
    unit: "deg",
    what: "Compares the horizontal field of view of the CG camera with that of the plate. The value is CG minus \
           plate, in degrees: + = the CG camera's view is too wide.\n\
           The detail gives the same error in mm of focal length on the plate's sensor, and in pixels at the edge of \
           frame (+ = in the CG, what belongs at the plate's edge lies further out). It also lists every source with \
           its figure, and names those that disagree.",
    why: "A wrong field of view makes everything in the CG too large or too small, and makes it slide against the \
          plate when the camera moves. It also bends every direction measured from the sphere.",
    how: "2 atan(width / 2f). The width is that of the part of the sensor that was read out: sensor_mm (or the gate \
          of sensor_format) times used_px / sensor_px, times the squeeze. A crop (used_px smaller than sensor_px) \
          narrows the view; a downscale (recorded_px smaller than used_px) does not.\n\
          Plate: the sheet's camera first, then EXIF or OpenEXR metadata in the plate and the sphere frames. An \
          OpenEXR acquisition rectangle includes both its corners, so 0 to 2879 is 2880 photosites.\n\
          Names for sensor_format: full-frame, super-35, super-35-3-perf, 35mm-2-perf, academy-35, anamorphic-35, \
          16mm, super-16, 65mm-5-perf, four-thirds.\n\
          CG: pinholeFocalLength with its sensor, screenWindowWidth and worldToNDC in the CG file, and cg.camera in \
          the sheet; the one furthest from the plate is judged. A CG picture with more pixels than the plate at the \
          same scale (overscan) is compared pixel for pixel.\n\
          If the ratio of the two is that of a well-known slip (crop forgotten, downscale taken for a crop, squeeze \
          forgotten, width and height swapped, another gate), the fix says so.",
    tolerance: "0.25 deg (common practice, no source). In a sheet: \"tolerances\": { \"field-of-view\": { \"deg\": 0.25 } }; \
                on the command line: --tolerance field-of-view=0.25. Printed gates differ by up to 0.2 % between handbooks, \
                which is well below it.",
    cannot_see: "What the lens really did: engraved focal lengths are rounded, and lenses breathe with focus. The \
                 check `scale` may reveal it.\n\
                 Lens distortion, a shifted optical centre, and anything that neither the files nor the sheet say.",
};
