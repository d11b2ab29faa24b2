//! Words that must not come back into what a user reads: help, reports, errors, warnings, pictures and
//! the manual. The data-sheet term stands beside each.

use crate::harness::project;
use fourphase::report::MANUAL_TOPICS;
use std::path::Path;
use syn::visit::{self, Visit};

/// A word or words in lower case, and what to write.
const AVOIDED: [(&str, &str); 46] = [
    ("mend", "make ideal, correct"),
    ("mended", "if ideal"),
    ("spoil", "degrade"),
    ("spoils", "degrades"),
    ("nought", "0"),
    ("whatever", "any, regardless of"),
    ("told from", "inferred from, distinguished from"),
    ("told apart", "distinguished"),
    ("are told", "are reported"),
    ("is told", "is reported"),
    ("so would serve", "equivalent"),
    ("stands apart", "outlier"),
    ("stand apart", "outlier"),
    ("stands twice", "duplicate"),
    ("hang together", "are correlated"),
    ("touchdown", "measurement"),
    ("touchdowns", "measurements"),
    ("bowl", "radial trend"),
    ("rim", "edge"),
    ("all round", "radial"),
    ("edition", "Touchstone version"),
    ("left over", "unconnected, remaining"),
    ("trim of", "I/Q correction"),
    ("capability index", "Ppk"),
    ("misfit", "fit residual"),
    ("invented", "synthetic"),
    ("ordinary file", "regular file"),
    ("settles", "converges"),
    ("to be expected", "expected"),
    ("how sure", "uncertainty"),
    ("truths", "true values"),
    ("no sign", "magnitude"),
    ("least db", "min dB"),
    ("closed by", "terminated by"),
    ("closed with", "terminated by"),
    ("taken off", "removed"),
    ("feeds", "access lines"),
    ("pads and leads", "pads and interconnects"),
    ("loads ring", "resonance"),
    ("rings at", "is singular at"),
    ("share db", "allowance"),
    ("must shrink", "reduce to"),
    ("taken for exact", "taken as exact"),
    ("what is left", "the remaining"),
    ("the pen", "mistake"),
    ("thru line", "thru"),
];

/// Words in lower case with one blank between, and a blank at both ends.
fn plain(text: &str) -> String {
    let letters: String =
        text.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { ' ' }).collect();
    let words: Vec<&str> = letters.split_whitespace().collect();
    format!(" {} ", words.join(" "))
}

fn found_in(text: &str) -> Vec<String> {
    let text = plain(text);
    let found = AVOIDED.iter().filter(|(avoided, _)| text.contains(&format!(" {avoided} ")));
    found.map(|(avoided, instead)| format!("'{avoided}', write '{instead}'")).collect()
}

/// The sentences among the literals of a file, tests left out; those of help are attributes.
struct Sentences {
    /// Whether documentation is shown to users, as that of arguments is.
    with_documentation: bool,
    found: Vec<String>,
}

impl<'a> Visit<'a> for Sentences {
    fn visit_item_mod(&mut self, item: &'a syn::ItemMod) {
        let is_test = |attribute: &syn::Attribute| {
            attribute.path().is_ident("cfg")
                && attribute.parse_args::<syn::Ident>().is_ok_and(|name| name == "test")
        };
        if !item.attrs.iter().any(is_test) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_attribute(&mut self, attribute: &'a syn::Attribute) {
        if attribute.path().is_ident("doc") && !self.with_documentation {
            return;
        }
        visit::visit_attribute(self, attribute);
        if let syn::Meta::List(list) = &attribute.meta {
            self.literals_of(list.tokens.clone());
        }
    }

    fn visit_lit_str(&mut self, literal: &'a syn::LitStr) {
        self.add(&literal.value());
    }

    fn visit_macro(&mut self, call: &'a syn::Macro) {
        self.literals_of(call.tokens.clone());
    }
}

impl Sentences {
    /// A single word is a name, such as a former one that an error explains.
    fn add(&mut self, text: &str) {
        if text.trim().contains(' ') {
            self.found.push(text.to_owned());
        }
    }

    fn literals_of(&mut self, tokens: proc_macro2::TokenStream) {
        for token in tokens {
            match token {
                proc_macro2::TokenTree::Group(group) => self.literals_of(group.stream()),
                proc_macro2::TokenTree::Literal(literal) => {
                    if let syn::Lit::Str(text) = syn::Lit::new(literal) {
                        self.add(&text.value());
                    }
                }
                _ => {}
            }
        }
    }
}

fn sources(folder: &Path, files: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, files);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            files.push(path);
        }
    }
}

#[test]
fn avoided_words_are_in_no_text_for_users() {
    let (mut files, mut wrong, mut count) = (Vec::new(), Vec::new(), 0);
    sources(&project("src"), &mut files);
    for path in files {
        let parsed = syn::parse_file(&std::fs::read_to_string(&path).unwrap()).unwrap();
        let is_help = path.file_name().unwrap().to_str().unwrap().ends_with("args.rs");
        let mut sentences = Sentences { with_documentation: is_help, found: Vec::new() };
        sentences.visit_file(&parsed);
        count += sentences.found.len();
        for sentence in sentences.found {
            for found in found_in(&sentence) {
                wrong.push(format!("{}: {found} in: {sentence}", path.display()));
            }
        }
    }
    assert!(count > 1000, "only {count} sentences");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn avoided_words_are_not_in_the_manual_or_the_readme() {
    let readme = std::fs::read_to_string(project("README.md")).unwrap();
    let topics = MANUAL_TOPICS.iter().map(|topic| (topic.name, topic.markdown()));
    for (name, text) in topics.chain([("README", readme)]) {
        for line in text.lines() {
            assert_eq!(found_in(line), Vec::<String>::new(), "{name}: {line}");
        }
    }
}

#[test]
fn doc_comments_are_sentences() {
    let (mut files, mut wrong) = (Vec::new(), Vec::new());
    sources(&project("src"), &mut files);
    for path in files {
        for (at, line) in std::fs::read_to_string(&path).unwrap().lines().enumerate() {
            let words = ["Where.", "Why.", "What.", "Which.", "When.", "Whose.", "How."];
            let comment = line.trim().strip_prefix("/// ");
            if comment.is_some_and(|comment| words.contains(&comment)) {
                wrong.push(format!("{}:{}", path.display(), at + 1));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}
