//! Reads the paths that a Rust source names, without comments and literals: enough
//! of the language to follow `use` trees, inline modules, `self` and `super`.

/// The paths named in a file, each from the root of the crate (`crate::room::…`) or
/// from another crate. `module` is the file's own place, e.g. `["api", "rounds"]`.
pub fn paths(source: &str, module: &[String]) -> Vec<Vec<String>> {
    let tokens = tokens(source);
    let mut module = module.to_vec();
    let mut inline = Vec::new();
    let mut depth = 0_usize;
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(token) = tokens.get(at) {
        let next = |ahead: usize| tokens.get(at + ahead).map(String::as_str);
        match token.as_str() {
            "{" => depth += 1,
            "}" => {
                depth = depth.saturating_sub(1);
                if inline.last() == Some(&depth) {
                    inline.pop();
                    module.pop();
                }
            }
            "mod" if next(2) == Some("{") => {
                inline.push(depth);
                module.push(next(1).unwrap_or_default().to_owned());
                at += 1;
            }
            "use" if next(1) != Some("<") => {
                let mut tree = Vec::new();
                at = use_tree(&tokens, at + 1, &[], &mut tree);
                found.extend(tree.iter().map(|path| resolve(path, &module)));
                continue;
            }
            word if is_word(word) && next(1) == Some("::") => {
                let mut path = vec![word.to_owned()];
                while tokens.get(at + 1).is_some_and(|token| token == "::")
                    && tokens.get(at + 2).is_some_and(|token| is_word(token))
                {
                    path.push(tokens[at + 2].clone());
                    at += 2;
                }
                // A lone word is a method with its type spelt out: `collect::<…>`.
                if path.len() > 1 {
                    found.push(resolve(&path, &module));
                }
            }
            _ => {}
        }
        at += 1;
    }
    found
}

/// Follows one `use` tree; returns the place after it.
fn use_tree(
    tokens: &[String],
    mut at: usize,
    before: &[String],
    found: &mut Vec<Vec<String>>,
) -> usize {
    let mut path = before.to_vec();
    while let Some(token) = tokens.get(at) {
        match token.as_str() {
            "::" => {}
            "{" => {
                at += 1;
                while tokens.get(at).is_some_and(|token| token != "}") {
                    at = use_tree(tokens, at, &path, found);
                    if tokens.get(at).is_some_and(|token| token == ",") {
                        at += 1;
                    }
                }
                return at + 1;
            }
            "as" => at += 1,
            "self" if !path.is_empty() => {}
            word if is_word(word) || word == "*" => path.push(word.to_owned()),
            _ => break,
        }
        at += 1;
    }
    found.push(path);
    at
}

fn resolve(path: &[String], module: &[String]) -> Vec<String> {
    let mut rest = path.iter().peekable();
    let mut base = module.to_vec();
    match rest.peek().map(|first| first.as_str()) {
        Some("crate" | "emberbook") => {
            rest.next();
            base.clear();
        }
        Some("self") => {
            rest.next();
        }
        Some("super") => {}
        _ => return path.to_vec(),
    }
    while rest.next_if(|word| *word == "super").is_some() {
        base.pop();
    }
    let root = std::iter::once("crate".to_owned());
    root.chain(base).chain(rest.cloned()).collect()
}

fn is_word(token: &str) -> bool {
    token.starts_with(|c: char| c.is_alphabetic() || c == '_')
}

/// The words and signs of a source; comments, literals and lifetimes' quotes are left out.
fn tokens(source: &str) -> Vec<String> {
    let text: Vec<char> = source.chars().collect();
    let peek = |at: usize| text.get(at).copied().unwrap_or('\0');
    let mut tokens = Vec::new();
    let mut at = 0;
    while at < text.len() {
        match peek(at) {
            '/' if peek(at + 1) == '/' => {
                while at < text.len() && peek(at) != '\n' {
                    at += 1;
                }
            }
            '/' if peek(at + 1) == '*' => at = after_comment(&text, at),
            '"' => at = after_string(&text, at),
            '\'' if peek(at + 1) == '\\' => {
                at += 3;
                while at < text.len() && peek(at) != '\'' {
                    at += 1;
                }
                at += 1;
            }
            '\'' if peek(at + 2) == '\'' => at += 3,
            c if c.is_alphanumeric() || c == '_' => {
                let start = at;
                while peek(at).is_alphanumeric() || peek(at) == '_' {
                    at += 1;
                }
                let word: String = text[start..at].iter().collect();
                match raw_string_hashes(&text, at) {
                    Some(hashes) if ["r", "br", "cr"].contains(&word.as_str()) => {
                        at = after_raw_string(&text, at + hashes + 1, hashes);
                    }
                    _ if ["b", "c"].contains(&word.as_str()) && "'\"".contains(peek(at)) => {}
                    _ if word == "r" && peek(at) == '#' => at += 1,
                    _ => tokens.push(word),
                }
            }
            ':' if peek(at + 1) == ':' => {
                tokens.push("::".to_owned());
                at += 2;
            }
            c => {
                if !c.is_whitespace() {
                    tokens.push(c.to_string());
                }
                at += 1;
            }
        }
    }
    tokens
}

fn after_comment(text: &[char], mut at: usize) -> usize {
    let mut open = 0_usize;
    while at < text.len() {
        match text[at..] {
            ['/', '*', ..] => {
                open += 1;
                at += 2;
            }
            ['*', '/', ..] => {
                open -= 1;
                at += 2;
                if open == 0 {
                    break;
                }
            }
            _ => at += 1,
        }
    }
    at
}

fn after_string(text: &[char], mut at: usize) -> usize {
    at += 1;
    while at < text.len() && text[at] != '"' {
        at += if text[at] == '\\' { 2 } else { 1 };
    }
    at + 1
}

/// How many `#` stand before the quote of a raw string, if one starts here.
fn raw_string_hashes(text: &[char], at: usize) -> Option<usize> {
    let hashes = text[at..].iter().take_while(|&&c| c == '#').count();
    (text.get(at + hashes) == Some(&'"')).then_some(hashes)
}

fn after_raw_string(text: &[char], mut at: usize, hashes: usize) -> usize {
    while at < text.len() {
        let closing = text[at] == '"' && raw_end(text, at + 1) >= hashes;
        at += 1;
        if closing {
            return at + hashes;
        }
    }
    at
}

fn raw_end(text: &[char], at: usize) -> usize {
    text[at..].iter().take_while(|&&c| c == '#').count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(source: &str) -> Vec<String> {
        let module = ["api".to_owned(), "rounds".to_owned()];
        paths(source, &module)
            .iter()
            .map(|path| path.join("::"))
            .collect()
    }

    #[test]
    fn follows_use_trees_with_nesting_renaming_and_globs() {
        let source = "use crate::{store::{self, Row as R}, trail::*};\npub use ::sqlx::PgPool;";
        let expected = [
            "crate::store",
            "crate::store::Row",
            "crate::trail::*",
            "sqlx::PgPool",
        ];
        let mut found = named(source);
        // `Row as R` keeps the name that it has at its home.
        found.dedup();
        assert_eq!(found, expected);
    }

    #[test]
    fn follows_self_and_super_through_inline_modules() {
        assert_eq!(named("use super::super::store::a;"), ["crate::store::a"]);
        assert_eq!(
            named("mod tests { use super::*; fn f() { super::super::x::y() } } use self::z;"),
            [
                "crate::api::rounds::*",
                "crate::api::x::y",
                "crate::api::rounds::z"
            ]
        );
    }

    #[test]
    fn reads_paths_in_code_but_not_in_comments_or_literals() {
        let source = r##"
            //! crate::store
            /* a /* crate::store */ crate::store */
            fn f<'a>(c: char) -> Vec<crate::service::A> {
                let text = "crate::store \" crate::store";
                let raw = r#"crate::store "quoted" crate::store"#;
                let bytes = (b"crate::store", b'\'', '"', '\'');
                chrono::Utc::now().collect::<std::string::String>()
            }"##;
        assert_eq!(
            named(source),
            [
                "crate::service::A",
                "chrono::Utc::now",
                "std::string::String"
            ]
        );
    }
}
