//! How the samples of a decoded frame lie in memory, from ffmpeg's name of its pixel format.

/// What the channels are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Family {
    /// Luma alone.
    Grey,
    /// Luma and two colour differences.
    Ycbcr,
    /// Red, green and blue.
    Rgb,
}

/// How samples follow one another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Order {
    /// A plane for each channel.
    Planes,
    /// A plane of luma, then one in which the colour differences alternate; swapped: red difference first.
    TwoPlanes { swapped: bool },
    /// Pixels, or pairs of pixels, one after the other: the place in a group of luma or of red, green, blue.
    Groups { of: usize, places: [usize; 3], second_luma: Option<usize> },
}

/// How the samples of a frame lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Layout {
    /// What the channels are.
    pub(super) family: Family,
    /// Significant bits of a sample.
    pub(super) bits: u32,
    /// Luma columns and rows to a sample of colour difference, as powers of two.
    pub(super) subsampling: [u32; 2],
    /// There is coverage too, which is left out.
    pub(super) has_alpha: bool,
    order: Order,
    big_endian: bool,
    /// Unused bits below a sample.
    shift: u32,
}

/// The samples of a frame, channel by channel, row by row.
#[derive(Debug, Clone)]
pub(super) struct Planes {
    /// Luma; of RGB green.
    pub(super) first: Vec<u16>,
    /// Blue and red difference; of RGB blue and red; empty for grey.
    pub(super) others: [Vec<u16>; 2],
    /// Columns and rows of the first.
    pub(super) size: [usize; 2],
    /// Columns and rows of the others.
    pub(super) other_size: [usize; 2],
}

impl Layout {
    /// From ffmpeg's name; `None` for one that is not read.
    pub(super) fn parse(name: &str) -> Option<Self> {
        let (stem, big_endian) = match (name.strip_suffix("le"), name.strip_suffix("be")) {
            (Some(stem), _) => (stem, false),
            (_, Some(stem)) => (stem, true),
            _ => (name, false),
        };
        let layout = packed(stem).or_else(|| two_planes(stem)).or_else(|| planes(stem))?;
        // A sample of more than 8 bits has an order of bytes, one of 8 bits none.
        ((layout.bits > 8) == (stem != name)).then_some(Self { big_endian, ..layout })
    }

    fn plain(family: Family, bits: u32, subsampling: [u32; 2]) -> Self {
        Self { family, bits, subsampling, has_alpha: false, order: Order::Planes, big_endian: false, shift: 0 }
    }

    fn sample_bytes(&self) -> usize {
        if self.bits > 8 { 2 } else { 1 }
    }

    /// Columns and rows of the channels beside the first.
    fn other_size(&self, [width, height]: [usize; 2]) -> [usize; 2] {
        match self.family {
            Family::Grey => [0, 0],
            Family::Rgb => [width, height],
            Family::Ycbcr => [width.div_ceil(1 << self.subsampling[0]), height.div_ceil(1 << self.subsampling[1])],
        }
    }

    /// Bytes of a frame, its rows without padding.
    pub(super) fn frame_bytes(&self, size: [usize; 2]) -> usize {
        let [other_width, other_height] = self.other_size(size);
        let samples = match self.order {
            Order::Groups { of, second_luma, .. } => {
                size[1] * of * if second_luma.is_some() { size[0].div_ceil(2) } else { size[0] }
            }
            Order::Planes | Order::TwoPlanes { .. } => {
                let alpha = if self.has_alpha { size[0] * size[1] } else { 0 };
                size[0] * size[1] + 2 * other_width * other_height + alpha
            }
        };
        samples * self.sample_bytes()
    }

    /// The samples of a frame of [`Self::frame_bytes`].
    pub(super) fn planes(&self, bytes: &[u8], size: [usize; 2]) -> Planes {
        let samples = Samples { layout: self, bytes };
        let other_size = self.other_size(size);
        let (pixels, other) = (size[0] * size[1], other_size[0] * other_size[1]);
        let run = |from: usize, step: usize, count: usize| -> Vec<u16> {
            (0..count).map(|i| samples.at(from + i * step)).collect()
        };
        let (first, others) = match self.order {
            Order::Planes => (run(0, 1, pixels), [run(pixels, 1, other), run(pixels + other, 1, other)]),
            Order::TwoPlanes { swapped } => {
                let [blue, red] = if swapped { [1, 0] } else { [0, 1] };
                (run(0, 1, pixels), [run(pixels + blue, 2, other), run(pixels + red, 2, other)])
            }
            Order::Groups { of, places, second_luma: None } => {
                let channel = |place: usize| run(place, of, pixels);
                (channel(places[0]), [channel(places[1]), channel(places[2])])
            }
            Order::Groups { of, places, second_luma: Some(second) } => {
                let groups = size[0].div_ceil(2);
                let luma = |i: usize| {
                    let (row, column) = (i / size[0], i % size[0]);
                    let place = if column % 2 == 0 { places[0] } else { second };
                    samples.at((row * groups + column / 2) * of + place)
                };
                ((0..pixels).map(luma).collect(), [run(places[1], of, other), run(places[2], of, other)])
            }
        };
        Planes { first, others, size, other_size }
    }
}

struct Samples<'a> {
    layout: &'a Layout,
    bytes: &'a [u8],
}

impl Samples<'_> {
    fn at(&self, index: usize) -> u16 {
        if self.layout.bits <= 8 {
            return self.bytes.get(index).map_or(0, |byte| u16::from(*byte));
        }
        let pair = self.bytes.get(2 * index..2 * index + 2).map_or([0; 2], |pair| [pair[0], pair[1]]);
        let word = if self.layout.big_endian { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) };
        word >> self.layout.shift
    }
}

fn planes(stem: &str) -> Option<Layout> {
    if let Some(rest) = stem.strip_prefix("gray") {
        return Some(Layout::plain(Family::Grey, depth(rest, 8)?, [0, 0]));
    }
    for (prefix, has_alpha) in [("gbrap", true), ("gbrp", false)] {
        if let Some(rest) = stem.strip_prefix(prefix) {
            return Some(Layout { has_alpha, ..Layout::plain(Family::Rgb, depth(rest, 8)?, [0, 0]) });
        }
    }
    let rest = stem.strip_prefix("yuv")?;
    let (rest, has_alpha) = match (rest.strip_prefix('a'), rest.strip_prefix('j')) {
        (Some(rest), _) => (rest, true),
        (_, Some(rest)) => (rest, false),
        _ => (rest, false),
    };
    let (scheme, rest) = rest.split_once('p')?;
    let subsampling = match scheme {
        "444" => [0, 0],
        "440" => [0, 1],
        "422" => [1, 0],
        "420" => [1, 1],
        "411" => [2, 0],
        "410" => [2, 2],
        _ => return None,
    };
    Some(Layout { has_alpha, ..Layout::plain(Family::Ycbcr, depth(rest, 8)?, subsampling) })
}

fn two_planes(stem: &str) -> Option<Layout> {
    let (scheme, bits, swapped) = match stem {
        "nv12" => ("420", 8, false),
        "nv21" => ("420", 8, true),
        "nv16" => ("422", 8, false),
        "nv24" => ("444", 8, false),
        "nv42" => ("444", 8, true),
        "nv20" => ("422", 10, false),
        _ => {
            let digits = stem.strip_prefix('p')?;
            let (scheme, bits) = (digits.get(..1)?, digits.get(1..)?);
            let scheme = match scheme {
                "0" => "420",
                "2" => "422",
                "4" => "444",
                _ => return None,
            };
            (scheme, depth(bits, 0).filter(|bits| *bits > 8)?, false)
        }
    };
    let subsampling = match scheme {
        "420" => [1, 1],
        "422" => [1, 0],
        _ => [0, 0],
    };
    let shift = if stem == "nv20" || bits <= 8 { 0 } else { 16 - bits };
    Some(Layout { order: Order::TwoPlanes { swapped }, shift, ..Layout::plain(Family::Ycbcr, bits, subsampling) })
}

fn packed(stem: &str) -> Option<Layout> {
    let rgb = |of: usize, [red, green, blue]: [usize; 3], bits: u32| {
        let order = Order::Groups { of, places: [green, blue, red], second_luma: None };
        Some(Layout { order, has_alpha: of == 4, ..Layout::plain(Family::Rgb, bits, [0, 0]) })
    };
    let pairs = |[first, blue, second, red]: [usize; 4], bits: u32| {
        let order = Order::Groups { of: 4, places: [first, blue, red], second_luma: Some(second) };
        let shift = if bits > 8 { 16 - bits } else { 0 };
        Some(Layout { order, shift, ..Layout::plain(Family::Ycbcr, bits, [1, 0]) })
    };
    match stem {
        "rgb24" => rgb(3, [0, 1, 2], 8),
        "bgr24" => rgb(3, [2, 1, 0], 8),
        "rgba" | "rgb0" => rgb(4, [0, 1, 2], 8),
        "bgra" | "bgr0" => rgb(4, [2, 1, 0], 8),
        "argb" | "0rgb" => rgb(4, [1, 2, 3], 8),
        "abgr" | "0bgr" => rgb(4, [3, 2, 1], 8),
        "rgb48" => rgb(3, [0, 1, 2], 16),
        "bgr48" => rgb(3, [2, 1, 0], 16),
        "rgba64" => rgb(4, [0, 1, 2], 16),
        "bgra64" => rgb(4, [2, 1, 0], 16),
        "yuyv422" => pairs([0, 1, 2, 3], 8),
        "yvyu422" => pairs([0, 3, 2, 1], 8),
        "uyvy422" => pairs([1, 0, 3, 2], 8),
        "y210" => pairs([0, 1, 2, 3], 10),
        "y212" => pairs([0, 1, 2, 3], 12),
        _ => None,
    }
}

/// Bits as a name ends in them; `none` where it ends in nothing.
fn depth(digits: &str, none: u32) -> Option<u32> {
    if digits.is_empty() {
        return Some(none);
    }
    digits.parse().ok().filter(|bits| (8..=16).contains(bits))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_tell_channels_depth_and_size() {
        for (name, bits, subsampling, bytes) in [
            ("yuv420p", 8, [1, 1], 6 * 4 + 2 * 3 * 2),
            ("yuvj420p", 8, [1, 1], 6 * 4 + 2 * 3 * 2),
            ("yuv422p10le", 10, [1, 0], 2 * (6 * 4 + 2 * 3 * 4)),
            ("yuva444p12be", 12, [0, 0], 2 * 4 * 6 * 4),
            ("gray10le", 10, [0, 0], 2 * 6 * 4),
            ("gray", 8, [0, 0], 6 * 4),
            ("gbrp12le", 12, [0, 0], 2 * 3 * 6 * 4),
            ("nv12", 8, [1, 1], 6 * 4 + 2 * 3 * 2),
            ("p010le", 10, [1, 1], 2 * (6 * 4 + 2 * 3 * 2)),
            ("yuyv422", 8, [1, 0], 2 * 6 * 4),
            ("rgba64le", 16, [0, 0], 8 * 6 * 4),
        ] {
            let layout = Layout::parse(name).unwrap_or_else(|| panic!("{name}"));
            assert_eq!((layout.bits, layout.subsampling), (bits, subsampling), "{name}");
            assert_eq!(layout.frame_bytes([6, 4]), bytes, "{name}");
        }
        for other in ["", "yuv", "pal8", "yuv420p9", "gbrpf32le", "xyz12le", "yuv423p", "yuv420p99le", "bayer_rggb8"] {
            assert_eq!(Layout::parse(other), None, "{other}");
        }
    }

    #[test]
    fn samples_come_out_of_every_order() {
        let of = |name: &str, bytes: &[u8], size| Layout::parse(name).unwrap().planes(bytes, size);
        let pairs = of("uyvy422", &[7, 1, 9, 2], [2, 1]);
        assert_eq!((pairs.first, pairs.others), (vec![1, 2], [vec![7], vec![9]]));
        let odd = of("yuyv422", &[1, 7, 2, 9, 3, 8, 0, 6], [3, 1]);
        assert_eq!((odd.first, odd.others), (vec![1, 2, 3], [vec![7, 8], vec![9, 6]]));
        let rgb = of("bgr24", &[3, 2, 1], [1, 1]);
        assert_eq!((rgb.first, rgb.others), (vec![2], [vec![3], vec![1]]));
        let ten = of("p010le", &[0x40, 0, 0x80, 0, 0xc0, 0, 0x00, 1, 0x40, 1, 0x80, 1], [2, 2]);
        assert_eq!((ten.first, ten.others), (vec![1, 2, 3, 4], [vec![5], vec![6]]));
        let big = of("gray16be", &[1, 2], [1, 1]);
        assert_eq!(big.first, [0x0102]);
    }
}
