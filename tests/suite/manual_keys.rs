//! Every key and column that the readers accept is in the manual, and every one in the manual is
//! accepted: the keys are those of the structures that the readers fill, parsed from their sources.

use crate::harness::{Sandbox, project};
use fourphase::description::{DieList, read_receiver, read_recipe, read_tones, read_uncertainty};
use fourphase::report::MANUAL_TOPICS;
use fourphase::touchstone::ReadOptions;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;
use syn::{Attribute, Fields, GenericArgument, Item, PathArguments, Type};

/// Each topic with the structure of its top level, and tables whose keys a reader lists itself.
const FORMATS: [(&str, &str, &[&str]); 6] = [
    ("receiver", "ReceiverEntries", &["require"]),
    ("network", "NetworkEntries", &[]),
    ("recipe", "RecipeEntry", &["require"]),
    ("station", "StationEntries", &[]),
    ("rebuild", "SetEntries", &[]),
    ("uncertainty", "UncertaintyEntries", &["decision.guard_band"]),
];

/// A structure or enumeration that TOML is read into.
#[derive(Default)]
struct Shape {
    /// Keys with the names in their types.
    keys: Vec<(String, Vec<String>)>,
    /// Types of the forms that a value may have.
    forms: Vec<Vec<String>>,
    /// Words that a value may be.
    words: Vec<String>,
}

/// The value of `rename` or `rename_all` in the attributes of an item.
fn serde_value(attributes: &[Attribute], wanted: &str) -> Option<String> {
    let mut found = None;
    for attribute in attributes.iter().filter(|own| own.path().is_ident("serde")) {
        let _ = attribute.parse_nested_meta(|meta| {
            if let Ok(value) = meta.value() {
                let text: syn::LitStr = value.parse()?;
                if meta.path.is_ident(wanted) {
                    found = Some(text.value());
                }
            }
            Ok(())
        });
    }
    found
}

fn is_read(attributes: &[Attribute]) -> bool {
    attributes.iter().filter(|own| own.path().is_ident("derive")).any(|own| {
        let mut is_read = false;
        let _ = own.parse_nested_meta(|meta| {
            is_read |= meta.path.segments.last().is_some_and(|last| last.ident == "Deserialize");
            Ok(())
        });
        is_read
    })
}

/// Every name in a type: `Option<Spanned<Sweep>>` has three. The keys of maps are free.
fn names_in(of: &Type) -> Vec<String> {
    let Type::Path(path) = of else { return Vec::new() };
    let mut names = Vec::new();
    for segment in &path.path.segments {
        if segment.ident == "BTreeMap" {
            return Vec::new();
        }
        names.push(segment.ident.to_string());
        if let PathArguments::AngleBracketed(arguments) = &segment.arguments {
            for argument in &arguments.args {
                if let GenericArgument::Type(inner) = argument {
                    names.extend(names_in(inner));
                }
            }
        }
    }
    names
}

fn snake_case(name: &str) -> String {
    let mut text = String::new();
    for letter in name.chars() {
        if letter.is_uppercase() && !text.is_empty() {
            text.push('_');
        }
        text.extend(letter.to_lowercase());
    }
    text
}

fn shapes() -> &'static BTreeMap<String, Shape> {
    static SHAPES: OnceLock<BTreeMap<String, Shape>> = OnceLock::new();
    SHAPES.get_or_init(|| {
        let mut shapes = BTreeMap::new();
        for entry in std::fs::read_dir(project("src/description")).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_none_or(|ending| ending != "rs") {
                continue;
            }
            let parsed = syn::parse_file(&std::fs::read_to_string(path).unwrap()).unwrap();
            for item in parsed.items {
                if let Some((name, shape)) = shape_of(item) {
                    shapes.insert(name, shape);
                }
            }
        }
        shapes
    })
}

fn shape_of(item: Item) -> Option<(String, Shape)> {
    let mut shape = Shape::default();
    match item {
        Item::Struct(own) if is_read(&own.attrs) => {
            if let Fields::Named(fields) = &own.fields {
                for field in &fields.named {
                    let renamed = serde_value(&field.attrs, "rename");
                    let key = renamed.unwrap_or_else(|| field.ident.as_ref().unwrap().to_string());
                    shape.keys.push((key, names_in(&field.ty)));
                }
            }
            Some((own.ident.to_string(), shape))
        }
        Item::Enum(own) if is_read(&own.attrs) => {
            for variant in &own.variants {
                match &variant.fields {
                    Fields::Unit => {
                        let renamed = serde_value(&variant.attrs, "rename");
                        let word =
                            renamed.unwrap_or_else(|| snake_case(&variant.ident.to_string()));
                        shape.words.push(word);
                    }
                    fields => {
                        let types = fields.iter().flat_map(|field| names_in(&field.ty));
                        shape.forms.push(types.collect());
                    }
                }
            }
            Some((own.ident.to_string(), shape))
        }
        _ => None,
    }
}

/// The keys of every table by its path, and the words that the value of a key may be.
#[derive(Default, Debug)]
struct Accepted {
    tables: BTreeMap<String, BTreeSet<String>>,
    words: BTreeMap<(String, String), Vec<String>>,
}

impl Accepted {
    fn of(format: &str) -> Self {
        let mut accepted = Self::default();
        accepted.walk("", format);
        accepted
    }

    fn walk(&mut self, path: &str, name: &str) {
        let Some(shape) = shapes().get(name) else { return };
        for (key, types) in &shape.keys {
            self.tables.entry(path.to_owned()).or_default().insert(key.clone());
            let below = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            for inner in types {
                self.walk(&below, inner);
                let words = shapes().get(inner).map(|inner| inner.words.clone());
                if let Some(words) = words.filter(|words| !words.is_empty()) {
                    self.words.insert((path.to_owned(), key.clone()), words);
                }
            }
        }
        for types in &shape.forms {
            types.iter().for_each(|inner| self.walk(path, inner));
        }
    }
}

/// The tables of a topic: the path of the table, then each row's names and meaning.
fn documented(topic: &str) -> BTreeMap<String, Vec<(Vec<String>, String)>> {
    let topic = MANUAL_TOPICS.iter().find(|own| own.name == topic).unwrap();
    let mut path = None;
    let mut tables: BTreeMap<String, Vec<(Vec<String>, String)>> = BTreeMap::new();
    for line in topic.markdown().lines() {
        if line.starts_with('#') {
            let title = line.trim_start_matches('#').trim();
            path = match title {
                "Top level" | "Columns" => Some(String::new()),
                _ if title.starts_with("Columns of `") || title.starts_with('`') => {
                    let name = title.trim_start_matches("Columns of ").replace(['`', '[', ']'], "");
                    Some(name.split_whitespace().collect::<Vec<_>>().join("."))
                }
                _ => None,
            };
        }
        let Some(path) = path.as_ref().filter(|_| line.starts_with("| `")) else { continue };
        let (names, meaning) = line[1..].split_once('|').unwrap();
        let names = names.split('`').skip(1).step_by(2).map(str::to_owned).collect();
        tables.entry(path.clone()).or_default().push((names, meaning.to_owned()));
    }
    tables
}

fn keys_of(tables: &BTreeMap<String, Vec<(Vec<String>, String)>>, path: &str) -> BTreeSet<String> {
    tables.get(path).into_iter().flatten().flat_map(|(names, _)| names.clone()).collect()
}

#[test]
fn keys_in_the_manual_are_those_that_are_accepted() {
    for (topic, format, listed_by_reader) in FORMATS {
        let accepted = Accepted::of(format);
        assert!(accepted.tables.len() > 1, "{topic}: no structure {format}");
        let tables = documented(topic);
        for (path, keys) in &accepted.tables {
            assert_eq!(keys_of(&tables, path), *keys, "{topic}, table '{path}'");
        }
        for path in tables.keys() {
            let is_known = accepted.tables.contains_key(path)
                || listed_by_reader.contains(&path.as_str())
                || ["table", "covariance"].contains(&path.as_str());
            assert!(is_known, "{topic}: no reader has a table '{path}'");
        }
        for ((path, key), words) in &accepted.words {
            let rows = tables.get(path).unwrap().iter();
            let rows: String = rows
                .filter(|(names, _)| names.contains(key))
                .map(|(_, meaning)| meaning.as_str())
                .collect();
            for word in words {
                assert!(rows.contains(&format!("`{word}`")), "{topic}: {path}.{key} may be {word}");
            }
        }
    }
}

/// The names that an error lists as known.
fn known(error: &str) -> BTreeSet<String> {
    let (_, list) = error.split_once("known ").unwrap_or_else(|| panic!("no list in: {error}"));
    let (_, list) = list.split_once(": ").unwrap();
    list.split(", ").map(|name| name.trim().to_owned()).collect()
}

#[test]
fn names_that_readers_list_themselves_are_in_the_manual() {
    let sandbox = Sandbox::with_demo();
    let options = ReadOptions::default();
    let with = |name: &str, end: &str| {
        sandbox.write("changed.toml", format!("{}\n{end}\n", sandbox.read(name)));
        sandbox.path("changed.toml")
    };
    let receiver = with("receiver.toml", "nonsense = 1");
    let error = read_receiver(&receiver, &options).unwrap_err().problem().to_string();
    assert_eq!(known(&error), keys_of(&documented("receiver"), "require"), "{error}");
    let guard = with("uncertainty.toml", "[decision.guard_band]\nnonsense = 1");
    let error = read_uncertainty(&guard, &options).unwrap_err().problem().to_string();
    assert_eq!(
        known(&error),
        keys_of(&documented("uncertainty"), "decision.guard_band"),
        "{error}"
    );
    sandbox.add("data-demo/wafer");
    let recipe = sandbox.read("recipe.toml").replace("[require]", "[require]\nnonsense = 1");
    sandbox.write("changed.toml", recipe);
    let error = read_recipe(&sandbox.path("changed.toml")).unwrap_err().problem().to_string();
    assert_eq!(known(&error), keys_of(&documented("recipe"), "require"), "{error}");
}

#[test]
fn columns_in_the_manual_are_those_that_are_accepted() {
    let sandbox = Sandbox::with_demo();
    let options = ReadOptions::default();
    sandbox.write("nonsense.csv", "nonsense\n1\n");
    let error = read_tones(&sandbox.path("nonsense.csv")).unwrap_err().problem().to_string();
    assert_eq!(known(&error), keys_of(&documented("tones"), ""), "{error}");
    for column in ["table", "covariance"] {
        let text = format!("[[source]]\n{column} = \"nonsense.csv\"\n");
        sandbox.write("u.toml", text);
        let error = read_uncertainty(&sandbox.path("u.toml"), &options).unwrap_err();
        let error = error.problem().to_string();
        assert_eq!(known(&error), keys_of(&documented("uncertainty"), column), "{error}");
    }
    let needed = keys_of(&documented("die-list"), "");
    assert_eq!(needed.len(), 4);
    for missing in &needed {
        let header: Vec<&str> =
            needed.iter().filter(|name| *name != missing).map(String::as_str).collect();
        sandbox.write("dies.csv", format!("{},hybrid,other\n", header.join(",")));
        let refused = DieList::open(&sandbox.path("dies.csv"), &["hybrid".to_owned()]);
        let error = refused.unwrap_err().problem().to_string();
        assert!(error.contains(&format!("no column '{missing}'")), "{error}");
    }
}
