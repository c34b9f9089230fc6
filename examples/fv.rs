use plateproof::{camera::*, colour::ColourSpace, image::*, report::InputRecord};
fn srgb(c: u8) -> f32 {
    let x = c as f32 / 255.0;
    if x <= 0.04045 { x / 12.92 } else { ((x + 0.055) / 1.055).powf(2.4) }
}
fn main() {
    for f in std::env::args().skip(1) {
        println!("== {f}");
        let im = image::open(&f).unwrap().to_rgb8();
        let (w, h) = (im.width() as usize, im.height() as usize);
        let rgb = im.pixels().map(|p| [srgb(p[0]), srgb(p[1]), srgb(p[2])]).collect();
        let size = Size { width: w, height: h };
        let frame = Frame {
            path: f.into(),
            size,
            data: DataWindow { x: 0, y: 0, width: w, height: h },
            pixel_aspect: 1.0,
            space: ColourSpace::rec709(),
            rgb,
            alpha: None,
            clip_level: Some([1.0; 3]),
            eight_bit: true,
            integer_bits: Some(8),
            format: "jpeg",
            meta: Default::default(),
            record: InputRecord {
                role: String::new(),
                file: String::new(),
                width: w,
                height: h,
                encoding: String::new(),
                encoding_from: String::new(),
                colour_space: String::new(),
                colour_space_from: String::new(),
                layer: None,
                decoded_fraction: 1.0,
                masked_pixels: 0,
                blake3: String::new(),
            },
            warnings: vec![],
        };
        let view = View::from_horizontal_fov(size, 1.0, 40.0, FovSource::Assumed);
        if std::env::var("LEVELS").is_ok() {
            plateproof::sphere::find::debug::levels(&frame, &view, [536.397712, 478.488873, 421.134361]);
        } else {
            plateproof::sphere::find::debug::run(&frame, &view);
        }
    }
}
