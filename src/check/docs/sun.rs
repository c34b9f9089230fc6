//! `sun` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of the key against the sun.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::Sun,
    title: "is the key the sun, and is the heading right?",
    unit: "deg",
    what: "Works out where the sun stood from place and time, turns it into the camera's axes by the noted heading \
           and tilt, and compares it with the key light on the photographed sphere. The value is the angle between \
           the two.\n\
           If only the bearing is off, the heading error is given; if an hour more or less would make it fit, the \
           clock is named; if the height is off too, the key is not the sun. Without a heading, the heading that \
           would fit is reported.\n\
           It concerns the reference and never accuses the CG.",
    why: "A heading noted wrong turns every environment and every CG sun by the same angle, on every shot of that \
          set-up. And a key that is not the sun must not be moved with it.",
    how: "The sun's place by the NOAA solar equations (NOAA Global Monitoring Laboratory, after Meeus, Astronomical \
          Algorithms), with refraction; they stay within 0.02 deg of the worked example of NREL's Solar Position \
          Algorithm (Reda and Andreas, NREL/TP-560-34302).\n\
          Place and time: location.latitude_deg, location.longitude_deg and location.time of the sheet, else EXIF (GPS, \
          DateTimeOriginal with its offset) or OpenEXR (latitude, longitude, capDate, utcOffset) of the sphere frame \
          or the plate. Heading: camera.heading_deg, a compass bearing against true north, else EXIF GPSImgDirection.\n\
          Standard deviation: that of the key's direction, the heading (heading_sd_deg, else 3 deg), the tilt (1 deg, or \
          3 deg if it was not noted), any roll, and two minutes of time.",
    tolerance: "10 deg (common practice, no source): a hand compass near steel is no better. In a sheet: \
                \"tolerances\": { \"sun\": { \"deg\": 10 } }; on the command line: --tolerance sun=10.",
    cannot_see: "A compass read against magnetic north, if the declination is small: correct it before noting it.\n\
                 A lamp placed where the sun stands, and the sun behind cloud, whose glow is only near its place.",
};
