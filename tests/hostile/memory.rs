//! Pictures that would take more memory than there is: refused with what they would take, and never at the cost of
//! another shot.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::{Value, json};

use super::bombs::{chunk, seed, tiff, zlib_of_zeros};
use super::program::{Ended, run, run_under};

/// Address space of a run, KiB: 1.5 GiB.
const LIMIT: &str = "ulimit -v 1572864";

/// A shot that matches, with small frames.
const SHOT: &str = "golden/path_traced/sf_010_all_match";

/// An attribute of an OpenEXR header (OpenEXR file layout).
fn attribute(name: &str, kind: &str, value: &[u8]) -> Vec<u8> {
    [name.as_bytes(), b"\0", kind.as_bytes(), b"\0", &(value.len() as u32).to_le_bytes(), value].concat()
}

/// Zeros in half-float RGB, ZIP blocks of 16 lines; of a single line the block itself is damaged.
fn exr_of_zeros(width: u32, height: u32) -> Vec<u8> {
    let channel = |name: &str| {
        let numbers: Vec<u8> = [1_u32, 0, 1, 1].iter().flat_map(|n| n.to_le_bytes()).collect();
        [name.as_bytes(), b"\0", &numbers].concat()
    };
    let channels = [channel("B"), channel("G"), channel("R"), vec![0]].concat();
    let window: Vec<u8> = [0, 0, width - 1, height - 1].iter().flat_map(|n| n.to_le_bytes()).collect();
    let one = 1_f32.to_le_bytes();
    let header = [
        vec![0x76, 0x2f, 0x31, 0x01, 2, 0, 0, 0],
        attribute("channels", "chlist", &channels),
        attribute("compression", "compression", &[3]),
        attribute("dataWindow", "box2i", &window),
        attribute("displayWindow", "box2i", &window),
        attribute("lineOrder", "lineOrder", &[0]),
        attribute("pixelAspectRatio", "float", &one),
        attribute("screenWindowCenter", "v2f", &[0; 8]),
        attribute("screenWindowWidth", "float", &one),
        vec![0],
    ]
    .concat();
    let blocks = height.div_ceil(16);
    let block = |lines: u32| {
        if height == 1 { b"damaged".to_vec() } else { zlib_of_zeros((width * lines * 6) as usize) }
    };
    let whole = block(height.min(16));
    let last = block(height - (blocks - 1) * 16);
    let mut at = (header.len() + 8 * blocks as usize) as u64;
    let (mut table, mut body) = (Vec::new(), Vec::new());
    for index in 0..blocks {
        let packed = if index + 1 == blocks { &last } else { &whole };
        table.extend(at.to_le_bytes());
        body.extend((index * 16).to_le_bytes());
        body.extend((packed.len() as u32).to_le_bytes());
        body.extend(packed);
        at += 8 + packed.len() as u64;
    }
    [header, table, body].concat()
}

fn png_of_zeros(width: u32, height: u32) -> Vec<u8> {
    let header = [width.to_be_bytes().as_slice(), &height.to_be_bytes(), &[8, 2, 0, 0, 0]].concat();
    let pixels = zlib_of_zeros(((3 * width + 1) * height) as usize);
    [b"\x89PNG\r\n\x1a\n".as_slice(), &chunk(*b"IHDR", &header), &chunk(*b"IDAT", &pixels), &chunk(*b"IEND", &[])]
        .concat()
}

/// A JPEG whose header says that it has 81 megapixels.
fn large_jpeg() -> Vec<u8> {
    let mut jpeg = seed("picture", "plain.jpg");
    let frame_header = jpeg.windows(2).position(|two| two == [0xff, 0xc0]).unwrap();
    let side = 9000_u16.to_be_bytes();
    jpeg[frame_header + 5..frame_header + 9].copy_from_slice(&[side, side].concat());
    jpeg
}

/// A file of 4 GiB that takes hardly any room on disk, with good first bytes.
fn sparse(path: &Path, first: &[u8]) {
    fs::write(path, first).unwrap();
    fs::File::options().write(true).open(path).unwrap().set_len((4 << 30) - 1).unwrap();
}

/// A folder with a good shot and one that is changed.
struct Job(tempfile::TempDir);

impl Job {
    fn new(change: impl FnOnce(&mut Value, &Path)) -> Self {
        let job = Self(tempfile::tempdir().unwrap());
        for shot in ["good", "bad"] {
            let to = job.folder(shot);
            fs::create_dir_all(&to).unwrap();
            for name in ["shot.json", "plate.exr", "mirror.exr", "cg.exr"] {
                fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join(SHOT).join(name), to.join(name)).unwrap();
            }
        }
        let path = job.folder("bad").join("shot.json");
        let mut sheet: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
        sheet["shot"] = json!("SF_666");
        change(&mut sheet, &job.folder("bad"));
        fs::write(path, sheet.to_string()).unwrap();
        job
    }

    fn folder(&self, shot: &str) -> PathBuf {
        self.0.path().join("shots").join(shot)
    }

    /// One shot is refused, the other is done.
    fn costs_one_shot(&self, limits: &str, more: &[&str]) -> Ended {
        let words = [&["check", "shots", "--no-picture", "--out", "r", "--jobs", "2"], more].concat();
        let ended = run_under(limits, self.0.path(), &words);
        ended.refused().says("2 shots: 1 error, 1 match");
        ended
    }
}

fn put_in_role(sheet: &mut Value, role: &str, frame: &str) {
    match role {
        "plate" => sheet["plate"] = json!(frame),
        "mirror" => sheet["mirrors"][0]["bracket"] = json!([frame]),
        "cg" => sheet["cg"]["spheres"][0]["frame"] = json!(frame),
        _ => sheet[role] = json!(frame),
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_picture_larger_than_memory_costs_its_own_shot_alone() {
    let inputs = [
        ("wide.exr", exr_of_zeros(100_000_000, 1)),
        ("zeros.exr", exr_of_zeros(16_384, 16_384)),
        ("large.png", png_of_zeros(12_000, 12_000)),
        ("large.tif", tiff(12_000, 12_000, 8, &zlib_of_zeros(12_000 * 12_000))),
        ("large.jpg", large_jpeg()),
    ];
    for (index, (name, bytes)) in inputs.iter().enumerate() {
        // The smallest file in every role, the others in turn.
        let roles = ["mirror", "plate", "cg", "environment", "clean_plate", "straight_lines"];
        let roles = if index == 0 { &roles[..] } else { &roles[index % 4..=index % 4] };
        for role in roles {
            let job = Job::new(|sheet, folder| {
                fs::write(folder.join(name), bytes).unwrap();
                put_in_role(sheet, role, name);
            });
            job.costs_one_shot(LIMIT, &[]).says("of memory");
        }
    }
}

/// A group of processes with limited memory; it goes when it is dropped.
#[cfg(target_os = "linux")]
struct Group(PathBuf);

#[cfg(target_os = "linux")]
impl Group {
    /// `None` where the machine or the user allows none (cgroups(7): both kinds of hierarchy).
    fn with_memory(bytes: u64) -> Option<Self> {
        let name = format!("plateproof-test-{}", std::process::id());
        let hierarchies = [("/sys/fs/cgroup/memory", "memory.limit_in_bytes"), ("/sys/fs/cgroup", "memory.max")];
        hierarchies.into_iter().find_map(|(root, limit)| {
            let folder = Path::new(root).join(&name);
            fs::create_dir(&folder).ok()?;
            let group = Self(folder);
            let file = group.0.join(limit);
            // A hierarchy without this controller has no such file, and none can be made there.
            (file.exists() && fs::write(&file, bytes.to_string()).is_ok()).then_some(group)
        })
    }

    /// The line of shell that puts a process into it.
    fn enter(&self) -> String {
        format!("echo $$ > {} || exit 9", self.0.join("cgroup.procs").display())
    }
}

#[cfg(target_os = "linux")]
impl Drop for Group {
    fn drop(&mut self) {
        drop(fs::remove_dir(&self.0));
    }
}

/// What a process may use is what its group may, however large the machine is: nothing is ended by the system.
#[cfg(target_os = "linux")]
#[test]
fn a_group_with_one_gib_costs_the_large_shot_alone() {
    let Some(group) = Group::with_memory(1 << 30) else {
        println!("ignored: no group of processes with limited memory can be made here");
        return;
    };
    for (name, bytes) in [("zeros.exr", exr_of_zeros(16_384, 16_384)), ("large.png", png_of_zeros(12_000, 12_000))] {
        let job = Job::new(|sheet, folder| {
            fs::write(folder.join(name), bytes).unwrap();
            put_in_role(sheet, "mirror", name);
        });
        job.costs_one_shot(&group.enter(), &[]).says("but 512 MiB may be used");
    }
}

/// An environment is read in strips: sixteen thousand columns take no more memory than it leaves.
#[cfg(target_os = "linux")]
#[test]
fn a_large_environment_fits_where_it_would_not_whole() {
    let job = Job::new(|sheet, folder| {
        fs::write(folder.join("env.exr"), exr_of_zeros(16_384, 8192)).unwrap();
        sheet["environment"] = json!("env.exr");
    });
    let words = ["check", "shots/bad", "--no-picture", "--out", "r"];
    let ended = run_under(LIMIT, job.0.path(), &words);
    assert!(matches!(ended.status, 0 | 1 | 3), "it is done, whatever a black environment is worth: {}", ended.err);
    ended.tame();
}

#[cfg(target_os = "linux")]
#[test]
fn long_files_with_good_first_bytes_are_not_held() {
    let png = png_of_zeros(640, 360);
    for (name, first) in [
        ("long.png", png.as_slice()),
        ("long.jpg", &large_jpeg()),
        ("long.tif", &tiff(640, 360, 8, &zlib_of_zeros(640 * 360))),
        ("long.hdr", b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 500 +X 500\n"),
    ] {
        let job = Job::new(|sheet, folder| {
            sparse(&folder.join(name), first);
            put_in_role(sheet, "mirror", name);
        });
        job.costs_one_shot(LIMIT, &[]).says("of memory");
        run_under(LIMIT, &job.folder("bad"), &["sphere", name]).refused();
    }
    // With memory for it, what is far longer than its picture is still not read.
    let job = Job::new(|sheet, folder| {
        sparse(&folder.join("long.png"), &png);
        put_in_role(sheet, "mirror", "long.png");
    });
    job.costs_one_shot("true", &["--memory", "64GiB"]).says("uncompressed");
}

#[cfg(target_os = "linux")]
#[test]
fn other_commands_keep_to_memory_too() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in [
        ("wide.exr", exr_of_zeros(100_000_000, 1)),
        ("zeros.exr", exr_of_zeros(16_384, 16_384)),
        ("large.png", png_of_zeros(12_000, 12_000)),
        ("large.jpg", large_jpeg()),
    ] {
        fs::write(folder.path().join(name), bytes).unwrap();
        let corners = "1,1,20,1,20,20,1,20";
        run_under(LIMIT, folder.path(), &["sphere", name]).refused();
        run_under(LIMIT, folder.path(), &["new-shot", name, "--out", "s.json", "--overwrite"]).refused();
        let reflectance = ["reflectance", name, "--seen-directly", corners, "--seen-in-sphere", corners];
        run_under(LIMIT, folder.path(), &reflectance).refused();
    }
}

#[test]
fn a_bracket_is_short_and_holds_each_file_once() {
    let exposures = |names: Vec<String>| {
        Job::new(|sheet, folder| {
            let bytes = exr_of_zeros(8192, 8192);
            for name in names.iter().filter(|name| !name.contains('/')) {
                fs::write(folder.join(name), &bytes).unwrap();
            }
            sheet["mirrors"][0]["bracket"] = json!(names);
        })
    };
    let ten = || (0..10).map(|i| format!("{i}.exr"));
    let memory = ["--memory", "1GiB"];
    exposures(ten().collect()).costs_one_shot("true", &memory).says("but 1024 MiB may be used");
    let twice = ["0.exr".to_owned(), "./0.exr".to_owned()].to_vec();
    exposures(twice).costs_one_shot("true", &memory).says("twice");
    exposures((0..33).map(|_| "none/x.exr".to_owned()).collect()).costs_one_shot("true", &[]).says("at most 32");
    let many = Job::new(|sheet, _| sheet["mirrors"] = (0..900).map(|_| json!("mirror.exr")).collect());
    many.costs_one_shot("true", &[]).says("a list of 1 to 32, found a list of 900");
}

#[test]
fn a_shot_that_needs_more_than_memory_may_take_says_how_much() {
    let job = Job::new(|_, _| {});
    let words = ["check", "shots/good", "--out", "r", "--no-picture", "--memory", "16MiB"];
    run(job.0.path(), &words).refused().says("but 16 MiB may be used");
}

#[test]
fn sixty_four_processes_on_one_folder_do_each_other_no_harm() {
    let job = Job::new(|sheet, _| sheet["plate"] = json!("nothing.exr"));
    let check = |out: &str| {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("plateproof"));
        command.current_dir(job.0.path()).args(["check", "shots", "--no-picture", "--jobs", "1", "--out", out]);
        command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
    };
    let contents = |out: &str| {
        let entries = fs::read_dir(job.0.path().join(out)).unwrap().map(|entry| entry.unwrap().path());
        let mut files: Vec<(PathBuf, Vec<u8>)> =
            entries.map(|path| (path.file_name().unwrap().into(), fs::read(path).unwrap())).collect();
        files.sort();
        files
    };
    assert_eq!(check("alone").wait().unwrap().code(), Some(2));
    let all: Vec<_> = (0..64).map(|_| check("r")).collect();
    for child in all {
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stderr));
    }
    assert!(contents("r") == contents("alone"), "the same files with the same bytes");
}
