//! Words and phrases that do not come back into texts, help and documentation.

use proc_macro2::{TokenStream, TokenTree};
use std::path::Path;
use syn::visit::{self, Visit};

/// A phrase in lower case, and what to write instead.
const NOT_ALLOWED: &[(&str, &str)] = &[
    ("begin anew", "start again"),
    ("begun anew", "started again"),
    ("brought down to", "set to"),
    ("cannot be told", "cannot be distinguished"),
    ("channel gives nothing", "channel has no output"),
    ("feeds, pads", "access lines, pads"),
    ("held against", "compared with"),
    ("it is told", "it is reported"),
    ("left over", "unconnected, remaining"),
    ("mended", "if ideal"),
    ("nought", "zero"),
    ("pads and leads", "pads and interconnects"),
    ("slip of the pen", "typing error"),
    ("spoils", "degrades"),
    ("stand apart", "outlier"),
    ("stands apart", "outlier"),
    ("stands twice", "duplicate"),
    ("symmetric through", "2x-thru"),
    ("taken off", "removed"),
    ("told from", "distinguished from"),
    ("of several touchdowns", "retest rule"),
    ("trim of q", "I/Q correction"),
];

/// Comments that are no sentence.
const NO_SENTENCE: [&str; 4] = ["Where.", "Why.", "Which.", "Hertz."];

#[derive(Default)]
struct Texts(Vec<(usize, String)>);

impl Texts {
    /// Texts within macros and lists of attributes, which syn leaves as tokens.
    fn add_tokens(&mut self, tokens: TokenStream) {
        for token in tokens {
            match token {
                TokenTree::Group(group) => self.add_tokens(group.stream()),
                TokenTree::Literal(literal) => {
                    if let Ok(text) = syn::parse_str::<syn::LitStr>(&literal.to_string()) {
                        self.0.push((literal.span().start().line, text.value()));
                    }
                }
                _ => {}
            }
        }
    }
}

impl<'ast> Visit<'ast> for Texts {
    fn visit_macro(&mut self, invoked: &'ast syn::Macro) {
        self.add_tokens(invoked.tokens.clone());
        visit::visit_macro(self, invoked);
    }

    fn visit_lit_str(&mut self, text: &'ast syn::LitStr) {
        self.0.push((text.span().start().line, text.value()));
        visit::visit_lit_str(self, text);
    }

    fn visit_attribute(&mut self, attribute: &'ast syn::Attribute) {
        if let syn::Meta::NameValue(pair) = &attribute.meta
            && let syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(text), .. }) = &pair.value
        {
            self.0.push((text.span().start().line, text.value()));
        } else if let syn::Meta::List(list) = &attribute.meta {
            self.add_tokens(list.tokens.clone());
        }
    }
}

fn findings(place: &str, text: &str) -> Vec<String> {
    let plain = text.to_lowercase();
    let mut found: Vec<String> = NOT_ALLOWED
        .iter()
        .filter(|(phrase, _)| plain.contains(phrase))
        .map(|(phrase, instead)| format!("{place}: '{phrase}', write '{instead}'"))
        .collect();
    if NO_SENTENCE.contains(&text.trim()) {
        found.push(format!("{place}: '{}' is no sentence", text.trim()));
    }
    found
}

#[test]
fn texts_of_the_source_avoid_the_listed_words() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut open = vec![root.join("src")];
    let mut found = Vec::new();
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                let parsed = syn::parse_file(&std::fs::read_to_string(&path).unwrap()).unwrap();
                let mut texts = Texts::default();
                texts.visit_file(&parsed);
                for (line, text) in texts.0 {
                    found.extend(findings(&format!("{}:{line}", path.display()), &text));
                }
            }
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}
