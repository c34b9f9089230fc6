//! What is left to ask the crew for, most valuable first.

use super::look::Look;
use super::role::Role;
use super::roles::Guess;
use super::sheet::lens;

/// The list.
pub(super) fn to_ask(looks: &[Look], guesses: &[Guess]) -> Vec<String> {
    let pile = Pile { looks, guesses };
    let mut list = Vec::new();
    pile.frames(&mut list);
    pile.sphere(&mut list);
    pile.camera(&mut list);
    pile.rest(&mut list);
    list
}

struct Pile<'a> {
    looks: &'a [Look],
    guesses: &'a [Guess],
}

impl<'a> Pile<'a> {
    fn of(&self, role: Role) -> impl Iterator<Item = &'a Look> {
        self.looks.iter().zip(self.guesses).filter(move |(_, g)| g.role == role && g.used).map(|(look, _)| look)
    }

    fn lacks(&self, role: Role) -> bool {
        self.of(role).next().is_none()
    }

    /// A render of the same size has its sphere, and `check` looks there.
    fn render_shows_where(&self, look: &Look) -> bool {
        self.of(Role::Cg).any(|render| render.sphere.is_some() && render.size == look.size)
    }

    /// The frames without which nothing or little can be compared.
    fn frames(&self, list: &mut Vec<String>) {
        if self.lacks(Role::Mirror) {
            list.push(
                "a frame of a mirror sphere, shot on set with the plate's camera: nothing can be compared without it"
                    .to_owned(),
            );
        }
        if self.lacks(Role::Cg) {
            list.push("from the artist: a render of a matching mirror sphere where the real one stood (float OpenEXR with alpha, no view transform): nothing can be compared without it".to_owned());
        }
        for (look, guess) in self.looks.iter().zip(self.guesses) {
            if look.take.as_ref().is_some_and(|take| take.curve_unknown) {
                list.push(format!(
                    "how {} was recorded: its stream names no curve, and without one it is not read (give `encoding`, and `colour_space` if the gamut was wide)",
                    crate::printable_text(&guess.file)
                ));
            }
        }
        let before_sphere = |look: &Look| look.take.as_ref().is_some_and(|take| take.without.is_some());
        if self.lacks(Role::Plate) && !self.of(Role::Mirror).any(before_sphere) {
            list.push("the plate: it tells whether the sphere frame was exposed and balanced like it".to_owned());
        }
        for (look, guess) in self.looks.iter().zip(self.guesses) {
            let should_show = matches!(guess.role, Role::Mirror | Role::Cg) && guess.used;
            if should_show && look.sphere.is_none() && !self.render_shows_where(look) {
                let name = crate::printable_text(&guess.file);
                list.push(format!(
                    "where the sphere is in {name}: it was not found; draw a circle around it by hand (near_px), give its outline (outline_px), or use a better frame"
                ));
            }
            if guess.role == Role::Unknown {
                list.push(format!("what {} is: nothing shows it", crate::printable_text(&guess.file)));
            }
        }
    }

    fn sphere(&self, list: &mut Vec<String>) {
        let mirrors: Vec<&Look> = self.of(Role::Mirror).collect();
        if mirrors.is_empty() {
            return;
        }
        if mirrors.iter().all(|look| look.sphere.is_some_and(|sphere| sphere.clipped)) {
            list.push("darker exposures of the sphere: its highlights are clipped in every frame, so the contrast and the exposure of the key cannot be settled".to_owned());
        }
        if mirrors.iter().any(|look| look.eight_bit) {
            list.push("the raw or log frames behind the 8-bit pictures of the sphere: a camera's tone curve spoils exposure and colour".to_owned());
        }
        if mirrors.iter().any(|look| look.meta.auto_white_balance == Some(true)) {
            list.push(
                "whether the sphere's white balance was automatic, as its file says: colour then shows nothing"
                    .to_owned(),
            );
        }
        let silent =
            mirrors.iter().chain(&self.of(Role::Plate).collect::<Vec<_>>()).any(|l| l.meta.exposure_stops().is_none());
        if silent {
            list.push("shutter, stop and ISO of plate and sphere frames (exposure_stops): their files do not have all of them".to_owned());
        }
        if mirrors.len() > 1 && mirrors.iter().any(|look| look.meta.exposure_stops().is_none()) {
            list.push(
                "whether the sphere frames are one bracket, as their names suggest, and the stops between them"
                    .to_owned(),
            );
        }
        list.push("the sphere's reflectance per channel, measured against a grey card (mirrors[].reflectance): absolute exposure depends on it if the CG sphere has its own".to_owned());
    }

    fn camera(&self, list: &mut Vec<String>) {
        let on_set: Vec<&Look> = self.of(Role::Plate).chain(self.of(Role::Mirror)).collect();
        if !on_set.iter().any(|look| lens(look).is_some()) {
            list.push("focal length, sensor size and which part of the sensor was recorded (camera.focal_length_mm, sensor_mm or sensor_format, sensor_px, used_px, recorded_px): directions are distorted without them".to_owned());
        }
        list.push("the sphere's diameter and its distance from the lens (mirrors[].diameter_mm and camera.distance_mm, or with their unit: \"diameter\": \"25 cm\"): they reveal a wrong focal length".to_owned());
        let cg_told = self
            .of(Role::Cg)
            .any(|l| l.meta.matrix_fov_deg.or(l.meta.horizontal_fov_deg).is_some() || lens(l).is_some());
        if !self.lacks(Role::Cg) && !cg_told {
            list.push("from the artist: focal length and film back of the CG camera (cg.camera)".to_owned());
        }
        if !self.lacks(Role::StraightLines) {
            list.push("from the artist: the lens distortion of the render (cg.distortion: \"none\", \"in-comp\" or the numbers applied): without it, straight lines cannot be compared with the CG".to_owned());
        }
        list.push("the camera's tilt and roll (camera.tilt_deg, roll_deg)".to_owned());
    }

    fn rest(&self, list: &mut Vec<String>) {
        let located = |look: &Look| {
            look.meta.latitude_deg.is_some() && look.meta.captured.is_some_and(|t| t.utc_offset_s.is_some())
        };
        let told = self.of(Role::Mirror).chain(self.of(Role::Plate)).any(located);
        let place = if told { "" } else { ", the place, and the time with its zone" };
        list.push(format!("if the sun shone: the compass bearing of the view (camera.heading_deg){place}"));
        let more = [
            (
                Role::Environment,
                "a panorama of the set from the sphere's place (environment), with where its centre faced",
            ),
            (Role::CleanPlate, "a clean plate"),
            (Role::StraightLines, "a grid or a straight doorway through the same lens (straight_lines)"),
            (Role::Matte, "a grey sphere or card at the sphere's place (grey_spheres)"),
        ];
        list.extend(more.into_iter().filter(|(role, _)| self.lacks(*role)).map(|(_, text)| text.to_owned()));
        list.push("one object in frame with its length and distance (measured_lengths); if it stands on the ground, the height of the lens serves instead of the distance".to_owned());
    }
}
