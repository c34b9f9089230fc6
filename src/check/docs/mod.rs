//! What every check says about itself: `plateproof explain` prints these texts and nothing else.

pub mod clean_plate;
pub mod colour_balance;
pub mod environment;
pub mod environment_rotation;
pub mod exposure;
pub mod field_of_view;
pub mod grey_sphere;
pub mod highlight_direction;
pub mod key_fill_ratio;
pub mod lens_distortion;
pub mod light_gains;
pub mod reference_drift;
pub mod scale;
mod set_checklist;
pub mod set_notes;
pub mod sphere_place;
pub mod sun;
mod topic;
mod topics;
mod trade_words;

pub use topic::Topic;
pub use topics::TOPICS;
pub use trade_words::named;

use crate::findings::CheckId;

/// What one check says about itself. A line break in a text starts a new paragraph.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckDoc {
    /// Which.
    pub check: CheckId,
    /// One line.
    pub title: &'static str,
    /// Unit of its value and tolerance.
    pub unit: &'static str,
    /// What it does.
    pub what: &'static str,
    /// Why it matters.
    pub why: &'static str,
    /// How it is measured.
    pub how: &'static str,
    /// The tolerance, how to change it, and where it comes from.
    pub tolerance: &'static str,
    /// What it cannot see.
    pub cannot_see: &'static str,
}

impl CheckDoc {
    /// The check's name in reports, sheets and on the command line.
    pub const fn name(&self) -> &'static str {
        self.check.known_name()
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn names_are_unique_and_every_heading_is_filled() {
        let mut names = BTreeSet::new();
        for doc in crate::check::docs() {
            assert!(names.insert(doc.name()), "{} is there twice", doc.name());
            for text in [doc.title, doc.unit, doc.what, doc.why, doc.how, doc.tolerance, doc.cannot_see] {
                assert!(!text.trim().is_empty(), "{} lacks a text", doc.name());
            }
        }
        for topic in TOPICS {
            assert!(names.insert(topic.name), "{} is there twice", topic.name);
        }
    }
}
