//! Finding the sphere in a frame.
