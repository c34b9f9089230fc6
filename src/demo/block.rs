//! Boxes with level edges, seen from the origin: crates, walls, posts.

use nalgebra::Vector3;

/// A box with edges along the level axes, in metres from the camera.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Corner of smallest coordinates.
    pub low: [f64; 3],
    /// Corner of largest coordinates.
    pub high: [f64; 3],
    /// Radiance of a face that looks up.
    pub colour: [f64; 3],
}

/// Where a ray from the origin meets a face.
pub(crate) struct Hit {
    /// Distance in metres.
    pub(crate) distance: f64,
    /// The axis across the face: 0 x, 1 y, 2 z.
    pub(crate) axis: usize,
    /// The point met.
    pub(crate) point: Vector3<f64>,
}

impl Hit {
    /// Place on the face: along it and up it (or deep into it, where it lies flat).
    pub(crate) fn on_face(&self) -> [f64; 2] {
        let p = &self.point;
        [[p.z, p.y], [p.x, p.z], [p.x, p.y]][self.axis]
    }
}

impl Block {
    /// A box from its corners and colour.
    pub fn new(low: [f64; 3], high: [f64; 3], colour: [f64; 3]) -> Self {
        Self { low, high, colour }
    }

    /// The first face met from outside.
    pub(crate) fn outer_hit(&self, d: &Vector3<f64>) -> Option<Hit> {
        let (near, far) = self.span(d)?;
        (near.0 > 0.0 && near.0 <= far.0).then(|| hit_at(d, near))
    }

    /// The face met from inside.
    pub(crate) fn inner_hit(&self, d: &Vector3<f64>) -> Option<Hit> {
        let (_, far) = self.span(d)?;
        (far.0 > 0.0).then(|| hit_at(d, far))
    }

    /// Distance and axis of the last plane entered and of the first one left.
    fn span(&self, d: &Vector3<f64>) -> Option<((f64, usize), (f64, usize))> {
        let (mut near, mut far) = ((f64::NEG_INFINITY, 0), (f64::INFINITY, 0));
        for axis in 0..3 {
            if d[axis].abs() < 1e-12 {
                if self.low[axis] > 0.0 || self.high[axis] < 0.0 {
                    return None;
                }
                continue;
            }
            let (a, b) = (self.low[axis] / d[axis], self.high[axis] / d[axis]);
            near = if a.min(b) > near.0 { (a.min(b), axis) } else { near };
            far = if a.max(b) < far.0 { (a.max(b), axis) } else { far };
        }
        Some((near, far))
    }
}

fn hit_at(d: &Vector3<f64>, (distance, axis): (f64, usize)) -> Hit {
    Hit { distance, axis, point: d * distance }
}

/// How bright a face is against one that looks up: sides look at half the sky.
pub(crate) fn face_factor(axis: usize) -> f64 {
    [0.45, 1.0, 0.6][axis]
}
