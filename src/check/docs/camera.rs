//! `camera` in words.

use super::CheckDoc;

/// The check of the CG camera.
pub const DOC: CheckDoc = CheckDoc {
    name: "camera",
    title: "does the CG camera see as wide as the real one?",
    unit: "deg",
    what: "Compares the horizontal field of view of the CG camera with that of the plate. The value is CG minus plate, \
           in degrees: + = the CG sees too much.\n\
           The detail gives the same error in mm of focal length on the plate's sensor, and in pixels at the frame's \
           edge (+ = what stands at the plate's edge comes out further from the centre in the CG), and lists every source with what it says. Sources that \
           disagree are named.",
    why: "A wrong field of view makes everything in the CG too large or too small and lets it slide against the plate \
          when the camera moves. It also bends every direction that is read off the sphere.",
    how: "2 atan(width / 2f). The width is what the sensor's read-out part saw: sensor_mm (or the gate of \
          sensor_format) times used_px / sensor_px, times the squeeze. A crop (used_px smaller than sensor_px) narrows \
          the view; a downscale (recorded_px smaller than used_px) does not.\n\
          Plate side: the sheet's camera, then what the plate and the sphere frames say in EXIF or OpenEXR. An OpenEXR \
          acquisition rectangle counts both its corners, so 0 to 2879 are 2880 photosites.\n\
          Names for sensor_format: full-frame, super-35, super-35-3-perf, 35mm-2-perf, academy-35, anamorphic-35, \
          16mm, super-16, 65mm-5-perf, four-thirds.\n\
          CG side: pinholeFocalLength with its sensor, screenWindowWidth and worldToNDC of the CG file, and cg.camera \
          of the sheet; the one furthest from the plate decides. A CG picture with more pixels than the plate around \
          the same scale (overscan) is compared pixel for pixel.\n\
          Where the ratio of the two is that of a well-known slip (crop forgotten, downscale taken for a crop, squeeze \
          forgotten, width and height exchanged, another gate), the remedy says so.",
    tolerance: "0.25 deg (common practice, no source). In a sheet: \"tolerances\": { \"camera\": { \"deg\": 0.25 } }; \
                on the command line: --tolerance camera=0.25. Printed gates differ by up to 0.2 % between handbooks, \
                which is well below it.",
    cannot_see: "What the lens really did: engraved focal lengths are rounded, and lenses breathe with focus. The check \
                 `scale` may show it.\n\
                 Lens distortion, a shifted optical centre, and whatever neither files nor sheet tell.",
};
