//! The examples that `--help` teaches by. A test runs the parser over every one of them.

pub(super) const TOP: &str = "\
Examples:
  plateproof check shot.json
  plateproof check --plate plate.exr --mirror sphere.exr --cg cg_sphere.exr
  plateproof sphere sphere.jpg
  plateproof new-shot shots/SF_0420
  plateproof summary plateproof-reports
  plateproof explain key-fill-ratio
  plateproof demo

Exit status: 0 all match; 1 some mismatch; 2 wrong use, or an input that could not be used; 3 something unsure.";

pub(super) const CHECK: &str = "\
Examples:
  plateproof check shot.json
      one shot; reports go to plateproof-reports/
  plateproof check shots/ --out reports --format json
      every shot sheet below shots/; one JSON report per line
  plateproof check shots/ --out reports --jobs 4 --memory 8GiB
      at most four shots at once, and no more of them than 8 GiB hold
  plateproof check shots/ --out reports --part 2/8
      the second of eight parts of equal weight, for eight machines;
      `plateproof summary reports` then sums up all of them
  plateproof check moving.json --every 10
      a moving shot (a frame of #### with frame_range): every tenth frame
  plateproof check shot.json --cg cg_sphere.v013.exr --version-name v013
      a newer render against the same sheet
  plateproof check --plate plate.exr --mirror sphere.exr --cg cg_sphere.exr --fov-deg 42
      without a sheet
  plateproof check --mirror m1=s_under.jpg --mirror m1=s_over.jpg --cg m1=cg.exr --encoding mirror=srgb
      a bracket of two exposures
  plateproof check shot.json --outline mirror=812.5,604,143.2 --tolerance exposure=0.2
      a given outline; a tighter tolerance
  plateproof check shot.json --near 810,600,150
      a circle drawn by hand around the photographed sphere; the picture refines it
  plateproof check shot.json --max-pixels 1000000000 --max-decoded 16GiB
      a picture larger than the limits allow
  plateproof check shot.json --predict
      beside the report, the spheres that the sheet's environment predicts
  plateproof check shot.json --write-fixes
      beside the report, the gain that mends exposure and white balance of the CG as an ASC CDL (SHOT.fix.cc), and all \
that the report asks for as JSON (SHOT.fixes.json)

ROLE is plate, mirror (all mirrors) or cg (all CG spheres), or the name of one mirror.
In a folder, every shot.json and *.shot.json counts, and every other .json that says plateproof-shot/1 and names a \
shot. Options that name files, an outline or the shot need exactly one sheet, or none. Without a sheet the shot and its \
version are named by the files or their folder; --shot and --version-name name them otherwise.

A shot whose files, sheet, options and program version are those of the report in DIR is not checked again; --again \
checks it all the same. Ctrl-C ends the run after the shots in work; the same command goes on from there.

Exit status: 0 all match (what is off in the material from set alone does not count here; the report has it on top); 1 some mismatch; 2 wrong use, or an input that could not be used; 3 something unsure; 4 interrupted, run it again.";

pub(super) const REFLECTANCE: &str = "\
Examples:
  plateproof reflectance sphere.exr --seen-directly 100,420,190,420,190,510,100,510 --seen-in-sphere 790,600,806,600,806,615
      a grey card beside the sphere and its picture in it
  plateproof reflectance sphere.png --encoding s-log3 --seen-directly 20,40,200,40,120,160 --seen-in-sphere 775,580,790,580,782,592 --format json

The surface has to be matt and evenly lit: a grey card, a white wall. Both polygons hold the same part of it.

Exit status: 0 measured; 2 wrong use, or an input that could not be used; 3 what the polygons hold is too uneven.";

pub(super) const SPHERE: &str = "\
Examples:
  plateproof sphere sphere.jpg
  plateproof sphere sphere.exr --focal-length-mm 32 --sensor-mm 24.89x13.12
  plateproof sphere sphere.png --encoding srgb --outline 812.5,604,143.2
  plateproof sphere sphere.jpg --near 810,600,150
  plateproof sphere cg_sphere.exr --layer beauty --format json
  plateproof sphere sphere.jpg --out spheres

Exit status: 0 measured; 2 wrong use, unusable file or no sphere found; 3 several spheres fit equally well.";

pub(super) const NEW_SHOT: &str = "\
Examples:
  plateproof new-shot shots/SF_0420
      looks at every picture in the folder and writes shots/SF_0420/shot.json
  plateproof new-shot plate.1001.exr s_under.jpg s_over.jpg cg_sphere.v012.1001.exr --out SF_0420.json
  plateproof new-shot shots/SF_0420 --shot SF_0420 --overwrite

Roles are guessed from names, from what the files say about themselves and from what they show; each guess comes \
with its reason. A sheet that is there already is never replaced without --overwrite.

Exit status: 0 `check` takes the sheet; 2 wrong use, or a file that could not be read; 3 something is still missing.";

pub(super) const SUMMARY: &str = "\
Examples:
  plateproof summary reports
      one screen: worst first, and what the shots share
  plateproof summary reports --against reports_monday
      also what is cured, worse, better, the same, first seen or gone since
  plateproof summary reports --trend
      every shot over all its versions, a letter each
  plateproof summary reports --trend --shot SF_0420
      one shot over all its versions, its numbers on a ruler; with --format csv a row a check and version
  plateproof summary part1 part2 part3 --all
      several folders as one show, every shot listed
  plateproof summary reports --format junit > plateproof.xml
      for a build server; csv and json likewise
  plateproof summary reports --overview overview
      also draws overview/overview.page-001.png and so on, with both spheres of every shot

Reports are found below the folders. Of several reports of a shot those of the last run count, and of those the newest
version. A shot that a run was to check and that has no report of it is an error.
A pattern is told only where at least 60 % of the shots, and at least 4, are off alike.

Exit status: 0 all match; 1 some mismatch; 2 wrong use, or a shot or report that could not be used; 3 something unsure.";

pub(super) const EXPLAIN: &str = "\
Examples:
  plateproof explain
  plateproof explain exposure
  plateproof explain verdicts
  plateproof explain directions
  plateproof explain set
  plateproof explain encodings
  plateproof explain white balance
      words of the trade are known, too";

pub(super) const DEMO: &str = "\
Examples:
  plateproof demo
  plateproof demo --out ferry

Most of its shots are off on purpose, so the exit status is 0 whatever the verdicts, and 2 only where a shot \
could not be written or checked.";

pub(super) const SCHEMA: &str = "\
Examples:
  plateproof schema sheet
  plateproof schema report > report.schema.json
  plateproof schema sphere
  plateproof schema summary";

pub(super) const COMPLETIONS: &str = "\
Examples:
  plateproof completions bash > plateproof.bash
      then source that file, or put it where the shell looks for completions
  plateproof completions fish > plateproof.fish
  plateproof completions zsh > _plateproof";

pub(super) const MANUAL: &str = "\
Examples:
  plateproof manual --out man/man1
      then `man -M man plateproof`, `man -M man plateproof-check` and so on";

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::super::args::Cli;
    use super::*;

    #[test]
    fn every_example_parses() {
        let mut seen = 0;
        let texts = [TOP, CHECK, SPHERE, REFLECTANCE, NEW_SHOT, SUMMARY, EXPLAIN, DEMO, SCHEMA, COMPLETIONS, MANUAL];
        for line in texts.iter().flat_map(|text| text.lines()) {
            let Some(example) = line.strip_prefix("  plateproof ") else { continue };
            let words = example.split(" > ").next().unwrap_or_default().split_whitespace();
            let parsed = Cli::try_parse_from(std::iter::once("plateproof").chain(words));
            assert!(parsed.is_ok(), "{example}: {}", parsed.unwrap_err());
            seen += 1;
        }
        assert!(seen >= 20, "{seen}");
    }
}
