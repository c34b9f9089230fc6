//! Reading image files: published test pictures, hostile files, and files written here.
