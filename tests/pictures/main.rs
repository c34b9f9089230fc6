//! Whole shots and spheres as pictures: made up here, path-traced by others, photographed.
//!
//! One program for all of them: the picture maker is compiled once, and a slow test of one file has the others beside it.

mod beckmann_spheres;
mod deliveries;
mod determinism;
mod environment;
mod environment_bracket;
mod finder;
mod ignore;
mod near_lights;
mod outside;
mod outside_light;
mod pair;
mod part_of_frames;
mod path_traced;
mod psbox;
mod real_mattes;
mod remedies;
mod rendered_spheres;
mod rotation;
mod rough_spheres;
mod seam;
mod set_light;
mod sphere_scene;
mod traced_sphere;
mod weak_and_cut_lights;
mod whole_shots;
