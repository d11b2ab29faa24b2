//! The structure that `DEVELOPERS.md` describes: imports run downward, no two files need each
//! other, and each room stays out of what is not its business.

use proc_macro2::{TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use syn::spanned::Spanned as _;
use syn::visit::{self, Visit};

/// A room, the rooms it may import besides itself, and the names its code must not use.
type Room = (&'static str, &'static [&'static str], &'static [&'static str]);

const PRINTS: &str = "print";
const ALL_ABOVE: &str = "all rooms above";
/// The table of rooms, from the ground up.
const ROOMS: [Room; 17] = [
    ("units", &[], &["fs", "serde", PRINTS]),
    ("diagnostic", &[], &["fs", "serde", PRINTS]),
    ("regular_file", &[], &["serde", PRINTS]),
    ("quantile", &[], &["fs", "serde", PRINTS]),
    ("requirement", &["units"], &["fs", "serde", PRINTS]),
    ("network", &["units"], &["fs", "serde", PRINTS]),
    ("touchstone", &["network", "units", "diagnostic", "regular_file"], &["serde", PRINTS]),
    ("component", &["network", "units"], &["fs", "serde", "toml", PRINTS]),
    ("splitter", &["network", "requirement", "units"], &["fs", "serde", "plotters", PRINTS]),
    (
        "downconverter",
        &["network", "component", "splitter", "requirement", "quantile", "units"],
        &["fs", "serde", "toml", "plotters", PRINTS],
    ),
    (
        "measurement",
        &["network", "component", "splitter", "downconverter", "requirement", "quantile", "units"],
        &["fs", "serde", "toml", "plotters", PRINTS],
    ),
    (
        "wafer",
        &["requirement", "quantile", "units", "regular_file"],
        &["toml", "csv", "plotters", PRINTS],
    ),
    ("description", &[ALL_ABOVE], &["clap", "plotters", PRINTS]),
    ("batch", &[ALL_ABOVE], &["clap", "plotters", "indicatif", PRINTS]),
    ("plot", &[ALL_ABOVE], &["fs", "serde", "clap", PRINTS]),
    ("report", &[ALL_ABOVE], &["clap", "plotters", PRINTS]),
    ("cli", &[ALL_ABOVE], &[]),
];
/// What `plot` and `report`, which show results, must not import.
const NOT_FOR_SHOWING: [&str; 1] = ["description"];
const MOST_LINES_OF_A_FILE: usize = 500;
const MOST_LINES_OF_A_FUNCTION: usize = 80;

/// What one source file says of itself.
struct SourceFile {
    path: PathBuf,
    /// Its place in the crate, `network::grid`; a `mod.rs` has that of its folder.
    module: Vec<String>,
    /// Whole paths from the crate's root that its code names, and those of other crates.
    own_paths: BTreeSet<Vec<String>>,
    foreign_paths: BTreeSet<Vec<String>>,
    /// Items that it hands on, and the paths they come from.
    handed_on: BTreeMap<String, Vec<String>>,
    /// Items of a `mod.rs` that are neither modules nor re-exports.
    definitions: Vec<String>,
    long_functions: Vec<(String, usize)>,
    code_lines: usize,
}

fn source_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// All files, read once for all tests.
fn source_files() -> &'static [SourceFile] {
    static FILES: OnceLock<Vec<SourceFile>> = OnceLock::new();
    FILES.get_or_init(read_source_files)
}

fn read_source_files() -> Vec<SourceFile> {
    let mut open = vec![source_folder()];
    let mut found = Vec::new();
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                found.push(SourceFile::read(path));
            }
        }
    }
    found.sort_by(|one, other| one.path.cmp(&other.path));
    found
}

impl SourceFile {
    fn read(path: PathBuf) -> Self {
        let text = std::fs::read_to_string(&path).unwrap();
        let parsed = syn::parse_file(&text).unwrap();
        let relative = path.strip_prefix(source_folder()).unwrap().with_extension("");
        let mut module: Vec<String> =
            relative.iter().map(|part| part.to_str().unwrap().to_owned()).collect();
        if module.last().is_some_and(|last| ["mod", "lib", "main"].contains(&last.as_str())) {
            module.pop();
        }
        let mut walk = Walk { scope: module.clone(), ..Walk::default() };
        walk.visit_file(&parsed);
        let code_lines = text
            .lines()
            .enumerate()
            .filter(|(at, line)| {
                let line_number = at + 1;
                let is_code = !line.trim().is_empty() && !line.trim_start().starts_with("//");
                is_code && !walk.not_counted.iter().any(|lines| lines.contains(&line_number))
            })
            .count();
        Self {
            path,
            module,
            own_paths: walk.own_paths,
            foreign_paths: walk.foreign_paths,
            handed_on: walk.handed_on,
            definitions: walk.definitions,
            long_functions: walk.long_functions,
            code_lines,
        }
    }

    fn room(&self) -> Option<&str> {
        self.module.first().map(String::as_str)
    }

    fn is_face(&self) -> bool {
        self.path
            .file_name()
            .is_some_and(|name| name == "mod.rs" || name == "lib.rs" || name == "main.rs")
    }

    fn shown(&self) -> String {
        self.path.strip_prefix(source_folder()).unwrap().display().to_string()
    }
}

/// Collects what a file names, leaving out its tests.
#[derive(Default)]
struct Walk {
    scope: Vec<String>,
    own_paths: BTreeSet<Vec<String>>,
    foreign_paths: BTreeSet<Vec<String>>,
    handed_on: BTreeMap<String, Vec<String>>,
    definitions: Vec<String>,
    long_functions: Vec<(String, usize)>,
    /// Lines of tests and of tables.
    not_counted: Vec<Range<usize>>,
}

impl Walk {
    fn add(&mut self, segments: &[String]) -> Option<Vec<String>> {
        let mut whole = match segments.first()?.as_str() {
            "crate" => Vec::new(),
            "self" => self.scope.clone(),
            "super" => self.scope[..self.scope.len().saturating_sub(1)].to_vec(),
            _ => {
                self.foreign_paths.insert(segments.to_vec());
                return None;
            }
        };
        for segment in &segments[1..] {
            if segment == "super" {
                whole.pop();
            } else if segment != "self" {
                whole.push(segment.clone());
            }
        }
        self.own_paths.insert(whole.clone());
        Some(whole)
    }

    fn add_tree(&mut self, tree: &syn::UseTree, before: &[String], is_handed_on: bool) {
        let with = |name: &syn::Ident| [before, &[name.to_string()]].concat();
        let (segments, name) = match tree {
            syn::UseTree::Path(path) => {
                return self.add_tree(&path.tree, &with(&path.ident), is_handed_on);
            }
            syn::UseTree::Group(group) => {
                for tree in &group.items {
                    self.add_tree(tree, before, is_handed_on);
                }
                return;
            }
            syn::UseTree::Name(name) => (with(&name.ident), name.ident.to_string()),
            syn::UseTree::Rename(rename) => (with(&rename.ident), rename.rename.to_string()),
            syn::UseTree::Glob(_) => (before.to_vec(), "*".to_owned()),
        };
        // `use balun::Balun` beside `mod balun` means the folder's own file.
        let is_own = self.add(&segments);
        if is_handed_on {
            let from = is_own.unwrap_or_else(|| [self.scope.as_slice(), &segments].concat());
            self.handed_on.insert(name, from);
        }
    }

    /// Paths within the words of a macro, which syn leaves as they are.
    fn add_tokens(&mut self, tokens: TokenStream) {
        let mut segments: Vec<String> = Vec::new();
        let mut colons = 0;
        for token in tokens {
            match token {
                TokenTree::Punct(mark) if mark.as_char() == ':' => colons += 1,
                TokenTree::Ident(name) => {
                    if colons != 2 {
                        self.add_segments(&segments);
                        segments.clear();
                    }
                    segments.push(name.to_string());
                    colons = 0;
                }
                TokenTree::Group(group) => self.add_tokens(group.stream()),
                _ => colons = 0,
            }
        }
        self.add_segments(&segments);
    }

    fn add_segments(&mut self, segments: &[String]) {
        if segments.len() > 1 {
            self.add(segments);
        }
    }

    fn function(&mut self, name: &syn::Ident, lines: Range<usize>) {
        self.long_functions.push((name.to_string(), lines.len()));
    }
}

/// The lines of a piece of code.
fn lines_of(span: proc_macro2::Span) -> Range<usize> {
    span.start().line..span.end().line + 1
}

fn is_test(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg")
            && attribute.parse_args::<syn::Ident>().is_ok_and(|word| word == "test")
    })
}

impl<'ast> Visit<'ast> for Walk {
    fn visit_item(&mut self, item: &'ast syn::Item) {
        match item {
            syn::Item::Mod(module) if is_test(&module.attrs) => {
                self.not_counted.push(lines_of(item.span()));
                return;
            }
            syn::Item::Mod(_) | syn::Item::Use(_) => {}
            syn::Item::Const(syn::ItemConst { ident, .. })
            | syn::Item::Static(syn::ItemStatic { ident, .. }) => {
                self.definitions.push(ident.to_string());
                self.not_counted.push(lines_of(item.span()));
            }
            other => self.definitions.push(format!("line {}", other.span().start().line)),
        }
        visit::visit_item(self, item);
    }

    fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
        self.scope.push(module.ident.to_string());
        visit::visit_item_mod(self, module);
        self.scope.pop();
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        let is_handed_on = !matches!(item.vis, syn::Visibility::Inherited);
        self.add_tree(&item.tree, &[], is_handed_on);
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let segments: Vec<String> =
            path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        self.add_segments(&segments);
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, invoked: &'ast syn::Macro) {
        if let Some(name) = invoked.path.get_ident() {
            self.foreign_paths.insert(vec![name.to_string()]);
        }
        self.add_tokens(invoked.tokens.clone());
        visit::visit_macro(self, invoked);
    }

    fn visit_attribute(&mut self, attribute: &'ast syn::Attribute) {
        if let syn::Meta::List(list) = &attribute.meta
            && !attribute.path().is_ident("doc")
        {
            self.add_tokens(list.tokens.clone());
        }
    }

    fn visit_item_fn(&mut self, function: &'ast syn::ItemFn) {
        self.function(&function.sig.ident, lines_of(function.block.span()));
        visit::visit_item_fn(self, function);
    }

    fn visit_impl_item_fn(&mut self, function: &'ast syn::ImplItemFn) {
        self.function(&function.sig.ident, lines_of(function.block.span()));
        visit::visit_impl_item_fn(self, function);
    }
}

/// The file in which a path's item is defined, following re-exports.
fn defining_file<'f>(files: &'f [SourceFile], path: &[String]) -> Option<&'f SourceFile> {
    let file = (1..=path.len()).rev().find_map(|length| {
        files.iter().find(|file| !file.module.is_empty() && file.module == path[..length])
    })?;
    let handed_on = path.get(file.module.len()).and_then(|name| file.handed_on.get(name));
    match handed_on {
        Some(from) if file.is_face() && from != path => defining_file(files, from),
        _ => Some(file),
    }
}

/// Every file's imports from other files of the crate.
fn imports(files: &[SourceFile]) -> BTreeMap<String, BTreeSet<String>> {
    files
        .iter()
        .filter(|file| !file.is_face())
        .map(|file| {
            let targets = file
                .own_paths
                .iter()
                .filter_map(|path| defining_file(files, path))
                .map(SourceFile::shown)
                .filter(|target| *target != file.shown())
                .collect();
            (file.shown(), targets)
        })
        .collect()
}

#[test]
fn no_two_files_need_each_other() {
    let files = source_files();
    let mut left = imports(files);
    assert!(left.len() > 100, "only {} files were found", left.len());
    assert!(left["splitter/imbalance.rs"].contains("network/container.rs"), "{left:?}");
    // What imports nothing that is left, or is imported by nothing that is left, is in no loop.
    loop {
        let imported: BTreeSet<String> = left.values().flatten().cloned().collect();
        let count = left.len();
        left.retain(|file, targets| !targets.is_empty() && imported.contains(file));
        let here: BTreeSet<String> = left.keys().cloned().collect();
        left.values_mut().for_each(|targets| targets.retain(|target| here.contains(target)));
        if left.len() == count {
            break;
        }
    }
    assert!(left.is_empty(), "import loops among: {left:#?}");
}

#[test]
fn imports_between_rooms_run_downward() {
    let files = source_files();
    let mut wrong = Vec::new();
    for file in files {
        let Some(room) = file.room().filter(|_| !file.is_face() || file.module.len() == 1) else {
            continue;
        };
        let place = ROOMS
            .iter()
            .position(|(name, ..)| *name == room)
            .unwrap_or_else(|| panic!("{} is in no room of the table", file.shown()));
        let (_, allowed, _) = ROOMS[place];
        for path in &file.own_paths {
            let Some(target) = path.first().filter(|target| *target != room) else { continue };
            let is_above = ROOMS[..place].iter().any(|(name, ..)| name == target);
            let is_shown_only = ["plot", "report"].contains(&room);
            let fits = if allowed.contains(&ALL_ABOVE) {
                is_above && !(is_shown_only && NOT_FOR_SHOWING.contains(&target.as_str()))
            } else {
                allowed.contains(&target.as_str())
            };
            if !fits {
                wrong.push(format!("{} imports {}", file.shown(), path.join("::")));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn rooms_stay_out_of_what_is_not_theirs() {
    let mut wrong = Vec::new();
    for file in source_files() {
        let Some((room, _, forbidden)) =
            ROOMS.iter().find(|(name, ..)| file.room().is_some_and(|room| room == *name))
        else {
            continue;
        };
        for path in &file.foreign_paths {
            let first = path[0].as_str();
            let word = match first {
                "println" | "print" | "eprintln" | "eprint" => PRINTS,
                "serde_json" => "serde",
                "std" if path.get(1).is_some_and(|second| second == "fs") => "fs",
                other => other,
            };
            if forbidden.contains(&word) {
                wrong.push(format!("{} uses {} in {room}", file.shown(), path.join("::")));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn a_face_holds_documentation_and_names_only() {
    for file in source_files() {
        let is_face = file.path.file_name().is_some_and(|name| name == "mod.rs");
        assert!(
            !is_face || file.definitions.is_empty(),
            "{} defines {:?}",
            file.shown(),
            file.definitions
        );
    }
}

#[test]
fn no_two_files_share_a_name() {
    let mut named: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for file in source_files() {
        let name = file.path.file_name().unwrap().to_str().unwrap().to_owned();
        // Every room has a face and may have errors.
        if !["mod.rs", "error.rs"].contains(&name.as_str()) {
            named.entry(name).or_default().push(file.shown());
        }
    }
    named.retain(|_, files| files.len() > 1);
    assert!(named.is_empty(), "{named:#?}");
}

#[test]
fn files_and_functions_have_one_subject() {
    let mut wrong = Vec::new();
    for file in source_files() {
        if file.code_lines > MOST_LINES_OF_A_FILE {
            wrong.push(format!("{} has {} lines of code", file.shown(), file.code_lines));
        }
        for (name, lines) in &file.long_functions {
            if *lines > MOST_LINES_OF_A_FUNCTION {
                wrong.push(format!("{}: {name} has {lines} lines", file.shown()));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
