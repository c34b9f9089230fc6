//! The folders of `src` stand in one order, and every import points back along it.
//!
//! Read from the source itself: `use` declarations and paths written out, test code left aside. A file may use what its
//! own folder's `mod.rs` holds, and that file uses those in the folder: the two count as one place. Any other circle of
//! files fails.

#![allow(clippy::unwrap_used, reason = "a test helper: what cannot be read fails the test")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use syn::visit::{self, Visit};
use syn::{Attribute, Item, ItemMod, UseTree};

/// The folders in the order of the data: each imports from those before it only.
const ORDER: [&str; 19] = [
    "base",
    "colour",
    "image",
    "optics",
    "sphere",
    "sheet",
    "light",
    "register",
    "compare",
    "findings",
    "check",
    "report",
    "shot",
    "set_light",
    "new_shot",
    "show",
    "summary",
    "demo",
    "cli",
];

/// What `lib.rs` hands on from `base` under a shorter name.
const OF_THE_ROOT: [&str; 11] = [
    "CaptureTime",
    "Error",
    "ErrorKind",
    "Estimate",
    "Kelvin",
    "Mired",
    "Result",
    "Stops",
    "printable",
    "printable_text",
    "wrap_deg",
];

#[test]
fn every_import_points_back_along_the_layers() {
    let source = Source::read();
    let mut wrong = Vec::new();
    for file in source.files.values() {
        let Some(own) = layer_of(&file.module) else { continue };
        for path in &file.paths {
            if let Some(other) = layer_of(path).filter(|other| *other > own) {
                wrong.push(format!(
                    "{} uses {}: {} stands after {}",
                    file.name,
                    path.join("::"),
                    ORDER[other],
                    ORDER[own]
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_files_import_each_other_in_a_circle() {
    let source = Source::read();
    let circles = source.circles();
    assert!(circles.is_empty(), "{}", circles.join("\n"));
}

/// Both tests would pass on nothing read: what they must see is told here.
#[test]
fn the_source_is_read() {
    let source = Source::read();
    let folders: BTreeSet<&str> = source.files.keys().filter_map(|module| Some(module.first()?.as_str())).collect();
    assert_eq!(folders, ORDER.into_iter().collect::<BTreeSet<_>>(), "a folder of src is missing in the order");
    let imports: usize = source.imports().values().map(BTreeSet::len).sum();
    assert!(source.files.len() > 200 && imports > 800, "{} files, {imports} imports", source.files.len());
    let seen = |from: &str, to: &str| {
        let of = |name: &str| name.split("::").map(str::to_owned).collect::<Vec<_>>();
        source.imports()[&of(from)].contains(&of(to))
    };
    assert!(seen("compare::pairing", "compare::sphere_measurement"), "an import by `use crate::`");
    assert!(seen("colour::spaces", "colour::bradford"), "an import by `use super::`");
}

/// The layer of a module or an item by its path from the crate's root.
fn layer_of(path: &[String]) -> Option<usize> {
    let first = path.first()?.as_str();
    let folder = if OF_THE_ROOT.contains(&first) { "base" } else { first };
    ORDER.iter().position(|layer| *layer == folder)
}

/// A module by its path from the crate's root.
type Module = Vec<String>;

struct SourceFile {
    name: String,
    module: Module,
    /// Paths of this crate that the file names, from the root.
    paths: BTreeSet<Module>,
    /// What it hands on: the name, and the path it stands for.
    handed_on: BTreeMap<String, Module>,
}

struct Source {
    files: BTreeMap<Module, SourceFile>,
}

impl Source {
    fn read() -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        let mut files = BTreeMap::new();
        for path in rust_files(&root) {
            let name = path.strip_prefix(&root).unwrap().to_string_lossy().replace('\\', "/");
            let module = module_of(&name);
            if !module.is_empty() && !name.ends_with("_tests.rs") {
                files.insert(
                    module.clone(),
                    SourceFile { name, module, paths: BTreeSet::new(), handed_on: BTreeMap::new() },
                );
            }
        }
        let modules: BTreeSet<Module> = files.keys().cloned().collect();
        let mut test_only = BTreeSet::new();
        for file in files.values_mut() {
            let text = fs::read_to_string(root.join(&file.name)).unwrap();
            let parsed = syn::parse_file(&text).unwrap_or_else(|error| panic!("{}: {error}", file.name));
            let mut walk = Walk {
                module: &file.module,
                modules: &modules,
                paths: BTreeSet::new(),
                handed_on: BTreeMap::new(),
                test_only: BTreeSet::new(),
            };
            walk.visit_file(&parsed);
            (file.paths, file.handed_on) = (walk.paths, walk.handed_on);
            test_only.extend(walk.test_only);
        }
        files.retain(|module, _| !test_only.iter().any(|test: &Module| module.starts_with(test)));
        Self { files }
    }

    /// The file that holds what a path names, through what others hand on.
    fn home(&self, path: &[String], steps_left: usize) -> Option<&Module> {
        let (module, file) = (1..=path.len()).rev().find_map(|length| self.files.get_key_value(&path[..length]))?;
        let item = path.get(module.len()).filter(|_| steps_left > 0);
        match item.and_then(|item| file.handed_on.get(item)) {
            Some(further) => self.home(further, steps_left - 1),
            None => Some(module),
        }
    }

    fn imports(&self) -> BTreeMap<Module, BTreeSet<Module>> {
        let of = |file: &SourceFile| {
            let homes = file.paths.iter().filter_map(|path| self.home(path, 8));
            homes.filter(|home| **home != file.module).cloned().collect()
        };
        self.files.iter().map(|(module, file)| (module.clone(), of(file))).collect()
    }

    /// Each circle in words, one import of it after the other.
    fn circles(&self) -> Vec<String> {
        let mut imports = self.imports();
        for (module, others) in &mut imports {
            others.retain(|other| !other.starts_with(module) && !module.starts_with(other));
        }
        // What imports nothing that is left, or is imported by nothing that is left, is in no circle.
        loop {
            let left: BTreeSet<Module> = imports.keys().cloned().collect();
            let used: BTreeSet<Module> = imports.values().flatten().cloned().collect();
            for others in imports.values_mut() {
                others.retain(|other| left.contains(other));
            }
            let before = imports.len();
            imports.retain(|module, others| !others.is_empty() && used.contains(module));
            if imports.len() == before {
                break;
            }
        }
        let name = |module: &Module| self.files[module].name.clone();
        let words = |(module, others): (&Module, &BTreeSet<Module>)| {
            format!("{} imports {}", name(module), others.iter().map(name).collect::<Vec<_>>().join(", "))
        };
        imports.iter().map(words).collect()
    }
}

/// Gathers the paths of one file.
struct Walk<'a> {
    module: &'a Module,
    modules: &'a BTreeSet<Module>,
    paths: BTreeSet<Module>,
    handed_on: BTreeMap<String, Module>,
    test_only: BTreeSet<Module>,
}

impl Walk<'_> {
    /// A path from the crate's root, where it leads into this crate.
    fn path_from_root(&self, path: &[String]) -> Option<Module> {
        let ups = path.iter().take_while(|part| *part == "super").count();
        match path.first()?.as_str() {
            "crate" => Some(path[1..].to_vec()),
            "self" => Some([self.module.as_slice(), &path[1..]].concat()),
            "super" => {
                let above = self.module.len().checked_sub(ups)?;
                Some([&self.module[..above], &path[ups..]].concat())
            }
            child => {
                let inside = [self.module.as_slice(), &[child.to_owned()]].concat();
                self.modules.contains(&inside).then(|| [self.module.as_slice(), path].concat())
            }
        }
    }

    fn note_use(&mut self, before: &[String], tree: &UseTree, is_public: bool) {
        let with = |name: String| [before, &[name]].concat();
        match tree {
            UseTree::Path(path) => self.note_use(&with(path.ident.to_string()), &path.tree, is_public),
            UseTree::Group(group) => group.items.iter().for_each(|tree| self.note_use(before, tree, is_public)),
            UseTree::Glob(_) => self.note(before),
            UseTree::Name(name) if name.ident == "self" => self.note(before),
            UseTree::Name(name) => self.note_name(&with(name.ident.to_string()), &name.ident.to_string(), is_public),
            UseTree::Rename(name) => {
                self.note_name(&with(name.ident.to_string()), &name.rename.to_string(), is_public);
            }
        }
    }

    fn note_name(&mut self, path: &[String], name: &str, is_public: bool) {
        let Some(from_root) = self.path_from_root(path) else { return };
        if is_public {
            self.handed_on.insert(name.to_owned(), from_root.clone());
        }
        self.paths.insert(from_root);
    }

    fn note(&mut self, path: &[String]) {
        self.paths.extend(self.path_from_root(path));
    }
}

impl<'ast> Visit<'ast> for Walk<'_> {
    fn visit_item_mod(&mut self, item: &'ast ItemMod) {
        if !is_test(&item.attrs) {
            visit::visit_item_mod(self, item);
        } else if item.content.is_none() {
            let mut module = self.module.clone();
            module.push(item.ident.to_string());
            self.test_only.insert(module);
        }
    }

    fn visit_item(&mut self, item: &'ast Item) {
        match item {
            Item::Use(item) if !is_test(&item.attrs) => {
                self.note_use(&[], &item.tree, !matches!(item.vis, syn::Visibility::Inherited));
            }
            Item::Use(_) => {}
            Item::Fn(item) if is_test(&item.attrs) => {}
            _ => visit::visit_item(self, item),
        }
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let parts: Vec<String> = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        if parts.len() > 1 {
            self.note(&parts);
        }
        visit::visit_path(self, path);
    }
}

/// Compiled for tests only.
fn is_test(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg")
            && attribute.parse_args::<syn::Path>().is_ok_and(|condition| condition.is_ident("test"))
    })
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
    found
}

/// `compare/pairing.rs` is `compare::pairing`, `compare/mod.rs` is `compare`; the roots are no module.
fn module_of(name: &str) -> Module {
    let stem = name.trim_end_matches(".rs");
    let parts = stem.split('/').filter(|part| !["mod", "lib", "main"].contains(part));
    parts.map(str::to_owned).collect()
}
