//! A page of `explain` that is no check.

/// A text that belongs to no single check. A line break starts a new paragraph.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Topic {
    /// Its name on the command line.
    pub name: &'static str,
    /// One line.
    pub title: &'static str,
    /// The text.
    pub text: &'static str,
}
