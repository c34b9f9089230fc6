//! Keys that a sheet may hold and that no check of this version reads.

use super::{CameraSpec, ImageSpec, ShotSheet};

impl ShotSheet {
    /// Paths of the keys that are accepted and not used, in the sheet's order.
    pub fn not_used(&self) -> Vec<String> {
        let mut paths = Vec::new();
        for (path, image) in self.images() {
            // The frames of a plate are searched for those of a clean plate.
            let searched = path == "clean_plate" || (path == "plate" && self.clean_plate.is_some());
            note(
                &mut paths,
                !searched && more_than_one_frame(image),
                format!("{path}.frame_range after its first frame"),
            );
        }
        for (path, camera) in [("camera", &self.camera), ("cg.camera", &self.cg.camera)] {
            if let Some(camera) = camera {
                camera.note_not_used(path, &mut paths);
            }
        }
        let height = self.camera.as_ref().filter(|camera| camera.height_mm.is_some());
        let tells_distance = |camera: &CameraSpec| {
            camera.tilt_deg.is_some()
                && self.measured_lengths.iter().any(|length| length.stands_on_ground && length.distance.is_none())
        };
        note(
            &mut paths,
            height.is_some_and(|camera| !tells_distance(camera)),
            "camera.height_mm (needs tilt_deg, and a measured length with stands_on_ground and no distance)".to_owned(),
        );
        paths
    }

    /// Every picture that a check reads, with its place in the sheet.
    pub(crate) fn images(&self) -> Vec<(String, &ImageSpec)> {
        let mut images: Vec<_> = self.plate.iter().map(|plate| ("plate".to_owned(), plate)).collect();
        for (i, mirror) in self.mirrors.iter().enumerate() {
            let bracket = mirror.bracket.iter().enumerate();
            images.extend(bracket.map(|(j, exposure)| (format!("mirrors[{i}].bracket[{j}]"), exposure)));
        }
        for (i, matte) in self.grey_spheres.iter().enumerate() {
            let bracket = matte.bracket.iter().enumerate();
            images.extend(bracket.map(|(j, exposure)| (format!("grey_spheres[{i}].bracket[{j}]"), exposure)));
        }
        if let Some(environment) = &self.environment {
            let several = !environment.bracket.is_empty();
            let place = |i: usize| if several { format!("environment.bracket[{i}]") } else { "environment".to_owned() };
            images.extend(environment.pictures().iter().enumerate().map(|(i, image)| (place(i), image)));
        }
        images.extend(self.cg.spheres.iter().enumerate().map(|(i, s)| (format!("cg.spheres[{i}]"), &s.image)));
        images.extend(self.clean_plate.iter().map(|image| ("clean_plate".to_owned(), image)));
        images.extend(self.straight_lines.iter().map(|image| ("straight_lines".to_owned(), image)));
        images
    }
}

impl CameraSpec {
    fn note_not_used(&self, path: &str, paths: &mut Vec<String>) {
        // Only the real camera's pose is read.
        let of_cg = path == "cg.camera";
        note(paths, of_cg && self.tilt_deg.is_some(), format!("{path}.tilt_deg"));
        note(paths, of_cg && self.roll_deg.is_some(), format!("{path}.roll_deg"));
        note(paths, of_cg && self.heading_deg.is_some(), format!("{path}.heading_deg"));
        note(paths, of_cg && self.distance_mm.is_some(), format!("{path}.distance_mm"));
        note(paths, of_cg && self.height_mm.is_some(), format!("{path}.height_mm"));
    }
}

fn more_than_one_frame(image: &ImageSpec) -> bool {
    image.frame_number.is_none() && image.frame_range.is_some_and(|[first, last]| last > first)
}

fn note(paths: &mut Vec<String>, given: bool, path: String) {
    if given {
        paths.push(path);
    }
}
