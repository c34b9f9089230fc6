//! raster
