//! The examples that `--help` teaches by. A test runs the parser over every one of them.

pub(super) const TOP: &str = "\
Examples:
  plateproof check shot.json
  plateproof check --plate plate.exr --mirror sphere.exr --cg cg_sphere.exr
  plateproof sphere sphere.jpg
  plateproof new-shot shots/SF_0420
  plateproof set-light shot.json
  plateproof summary plateproof-reports
  plateproof explain key-fill-ratio
  plateproof demo

Exit status: 0 all match; 1 a mismatch; 2 wrong use, or an input that could not be used; 3 something is unsure; 4 interrupted.
New here? Start with `plateproof demo`.";

pub(super) const CHECK: &str = "\
Examples:
  plateproof check shot.json                                     one shot
  plateproof check shots/ --out reports --jobs 4 --memory 8GiB   every shot sheet in a folder
  plateproof check shots/ --format json                          one JSON report per line
  plateproof check shots/ --out reports --part 2/8               the second of eight machines
  plateproof check --plate plate.exr --mirror sphere.exr --cg cg_sphere.exr --fov-deg 42
  plateproof check shot.json --cg cg_sphere.v013.exr --version-name v013
  plateproof check shot.json --near 810,600,150 --tolerance exposure=0.2
  plateproof check --mirror m1=under.jpg --mirror m1=over.jpg --cg m1=cg.exr --encoding mirror=srgb
  plateproof check moving.json --every 10
  plateproof check shot.json --write-fixes

ROLE is plate, mirror (all of them), cg (all CG spheres) or the name of one mirror. In a folder, shot.json, *.shot.json \
and any other .json that says plateproof-shot/1 and names a shot count as sheets. Without a sheet, shot and version are \
named after the files and their folder. A shot is skipped if its files, sheet, options and the program's version are \
those of its report. Ctrl-C finishes the shots in progress; the same command carries on from there.

Exit status: 0 all match (on-set problems alone do not count); 1 a mismatch; 2 wrong use, or an input that could not be \
used; 3 something is unsure; 4 interrupted, run it again.";

pub(super) const REFLECTANCE: &str = "\
Examples:
  plateproof reflectance sphere.exr --seen-directly 100,420,190,420,190,510,100,510 --seen-in-sphere 790,600,806,600,806,615
      a grey card beside the sphere, and its reflection
  plateproof reflectance sphere.png --encoding s-log3 --seen-directly 20,40,200,40,120,160 --seen-in-sphere 775,580,790,580,782,592 --format json

The surface must be matt and evenly lit: a grey card, a white wall. Both polygons must cover the same area of it.

Exit status: 0 measured; 2 wrong use, or an input that could not be used; 3 the areas are too uneven to measure.";

pub(super) const SPHERE: &str = "\
Examples:
  plateproof sphere sphere.jpg
  plateproof sphere sphere.exr --focal-length-mm 32 --sensor-mm 24.89x13.12
  plateproof sphere sphere.png --encoding srgb --outline 812.5,604,143.2
  plateproof sphere sphere.jpg --near 810,600,150
  plateproof sphere cg_sphere.exr --layer beauty --format json
  plateproof sphere sphere.jpg --out spheres

Exit status: 0 measured; 2 wrong use, a file that could not be used, or no sphere found; 3 several spheres \
fit equally well.";

pub(super) const NEW_SHOT: &str = "\
Examples:
  plateproof new-shot shots/SF_0420
      look at every picture in the folder and write shots/SF_0420/shot.json
  plateproof new-shot plate.1001.exr s_under.jpg s_over.jpg cg_sphere.v012.1001.exr --out SF_0420.json
  plateproof new-shot shots/SF_0420 --shot SF_0420 --overwrite

What each file is, is guessed from its name, its metadata and what it shows; every guess comes with its reason. \
An existing sheet is never replaced without --overwrite.

Exit status: 0 the sheet is ready for `check`; 2 wrong use, or a file that could not be read; 3 something is missing.";

pub(super) const SET_LIGHT: &str = "\
Examples:
  plateproof set-light shot.json --out light
  plateproof set-light plateproof-demo/SF_0110/shot.json --out light
      a shot of the demo show (write it with `plateproof demo`)
  plateproof set-light shots/ --out light --format json
      every shot sheet in a folder, one JSON record per line

For each mirror sphere: SHOT.set-light.exr, what the sphere saw as a lat-long picture; SHOT.set-light.usda, the same as a \
dome light with each measured light as a light of its own, taken out of the dome's picture SHOT.set-light.dome.exr; and \
SHOT.set-light.json, how much of it was measured. With several mirrors the name follows that of the shot. Alpha is 0 where nothing was \
measured.

Exit status: 0 written; 2 wrong use, or an input that could not be used; 3 written, but a light is clipped by an unknown \
amount, or more than a tenth of the light is clipped or filled in.";

pub(super) const SUMMARY: &str = "\
Examples:
  plateproof summary reports
      one screen: the worst shots first, and problems that shots share
  plateproof summary reports --against reports_monday
      also what is worse, first seen, the same, better, cured, waived or gone since then
  plateproof summary reports --trend
      every shot over all its versions, a letter each
  plateproof summary reports --trend --shot SF_0420
      one shot over all its versions, its numbers on a ruler; with --format csv one row per check and version
  plateproof summary part1 part2 part3 --all
      several folders as one show, with every shot listed
  plateproof summary reports --format junit > plateproof.xml
      for a build server; csv and json work the same way
  plateproof summary reports --overview overview
      also draw overview/overview.page-001.png and so on

If a shot has several reports, those of the latest run count, and of those the newest version. A shot that a run was \
meant to check but that has no report is an error. A shared problem is named only if at least 60 % of the shots, and at \
least 4, have it.

Exit status: 0 all match; 1 a mismatch; 2 wrong use, or a shot or report that could not be used; 3 something is \
unsure.";

pub(super) const EXPLAIN: &str = "\
Examples:
  plateproof explain
  plateproof explain exposure
  plateproof explain verdicts
  plateproof explain directions
  plateproof explain shooting
  plateproof explain encodings
  plateproof explain white balance
      common words of the trade work too";

pub(super) const DEMO: &str = "\
Examples:
  plateproof demo
  plateproof demo --out ferry

Most of the shots are wrong on purpose, so the exit status is 0 whatever the verdicts, and 2 only if a shot could not \
be written or checked.";

pub(super) const SCHEMA: &str = "\
Examples:
  plateproof schema sheet
  plateproof schema report > report.schema.json
  plateproof schema sphere
  plateproof schema set-light
  plateproof schema summary";

pub(super) const COMPLETIONS: &str = "\
Examples:
  plateproof completions bash > plateproof.bash
      then source that file, or put it where your shell looks for completions
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
        let texts =
            [TOP, CHECK, SPHERE, REFLECTANCE, SET_LIGHT, NEW_SHOT, SUMMARY, EXPLAIN, DEMO, SCHEMA, COMPLETIONS, MANUAL];
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
