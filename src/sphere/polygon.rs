//! Regions of a frame drawn as polygons.

/// The point lies inside the polygon (even-odd rule); corners in order, closed by itself. Fewer than three corners
/// hold nothing.
///
/// ```
/// use plateproof::sphere::inside_polygon;
/// let square = [[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]];
/// assert!(inside_polygon(&square, [1.0, 3.0]));
/// assert!(!inside_polygon(&square, [5.0, 3.0]));
/// ```
pub fn inside_polygon(corners: &[[f64; 2]], point: [f64; 2]) -> bool {
    let Some(mut last) = corners.last().copied().filter(|_| corners.len() >= 3) else { return false };
    let mut inside = false;
    for &corner in corners {
        let straddles = (corner[1] > point[1]) != (last[1] > point[1]);
        if straddles {
            let along = (point[1] - corner[1]) / (last[1] - corner[1]);
            inside ^= point[0] < corner[0] + along * (last[0] - corner[0]);
        }
        last = corner;
    }
    inside
}

/// Smallest and largest x and y of the corners; `None` without any.
pub fn polygon_bounds(corners: &[[f64; 2]]) -> Option<[[f64; 2]; 2]> {
    let first = *corners.first()?;
    Some(corners.iter().fold([first, first], |[low, high], c| {
        [[low[0].min(c[0]), low[1].min(c[1])], [high[0].max(c[0]), high[1].max(c[1])]]
    }))
}
