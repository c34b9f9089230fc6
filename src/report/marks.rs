//! By what a file of ours is known.

/// The last words of every text report's first line; a file that has others there is not ours.
pub(crate) const TEXT_MARK: &str = "plateproof report";

/// How every colour correction of ours begins.
pub(super) const CDL_START: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- written by plateproof -->\n";

/// How every OpenUSD layer of ours begins.
pub(super) const STAGE_START: &str = "#usda 1.0\n";

/// The format mark of a record of the light of the set.
pub const SET_LIGHT_FORMAT: &str = "plateproof-set-light/1";

/// The format mark of a file of fixes.
pub const FIXES_FORMAT: &str = "plateproof-fixes/1";
