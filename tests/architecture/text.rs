//! Rust source without what is no code: comments, the insides of literals, and items only tests are built with.
//!
//! Every rule looks at the result. Line breaks stay where they were, so that a finding can name its line.

/// The text with comments and the insides of string and character literals blanked.
pub fn without_comments_and_literals(text: &str) -> String {
    let characters: Vec<char> = text.chars().collect();
    let mut plain = String::with_capacity(text.len());
    let mut at = 0;
    while at < characters.len() {
        let end = end_of_comment(&characters, at)
            .or_else(|| end_of_raw_string(&characters, at))
            .or_else(|| end_of_string(&characters, at))
            .or_else(|| end_of_character(&characters, at));
        if let Some(end) = end {
            blank(&mut plain, &characters[at..end]);
            at = end;
        } else {
            plain.push(characters[at]);
            at += 1;
        }
    }
    plain
}

fn blank(plain: &mut String, characters: &[char]) {
    plain.extend(
        characters
            .iter()
            .map(|c| if *c == '\n' { '\n' } else { ' ' }),
    );
}

fn starts(characters: &[char], at: usize, with: &str) -> bool {
    with.chars()
        .enumerate()
        .all(|(offset, c)| characters.get(at + offset) == Some(&c))
}

fn end_of_comment(characters: &[char], at: usize) -> Option<usize> {
    if starts(characters, at, "//") {
        let length = characters[at..].iter().position(|c| *c == '\n');
        return Some(length.map_or(characters.len(), |length| at + length));
    }
    if !starts(characters, at, "/*") {
        return None;
    }
    let (mut depth, mut here) = (0, at);
    while here < characters.len() {
        if starts(characters, here, "/*") {
            depth += 1;
            here += 2;
        } else if starts(characters, here, "*/") {
            depth -= 1;
            here += 2;
            if depth == 0 {
                break;
            }
        } else {
            here += 1;
        }
    }
    Some(here)
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// `r"…"`, `r#"…"#`, with `b` or `c` before the `r`.
fn end_of_raw_string(characters: &[char], at: usize) -> Option<usize> {
    if at > 0 && is_word(characters[at - 1]) {
        return None;
    }
    let mut here = at + usize::from(matches!(characters[at], 'b' | 'c'));
    if characters.get(here) != Some(&'r') {
        return None;
    }
    here += 1;
    let hashes = characters[here..].iter().take_while(|c| **c == '#').count();
    here += hashes;
    if characters.get(here) != Some(&'"') {
        return None;
    }
    let end: String = format!("\"{}", "#".repeat(hashes));
    here += 1;
    while here < characters.len() && !starts(characters, here, &end) {
        here += 1;
    }
    Some((here + 1 + hashes).min(characters.len()))
}

fn end_of_string(characters: &[char], at: usize) -> Option<usize> {
    if characters[at] != '"' {
        return None;
    }
    let mut here = at + 1;
    while here < characters.len() && characters[here] != '"' {
        here += if characters[here] == '\\' { 2 } else { 1 };
    }
    Some((here + 1).min(characters.len()))
}

/// A character literal, told from a lifetime by its closing quote.
fn end_of_character(characters: &[char], at: usize) -> Option<usize> {
    if characters[at] != '\'' {
        return None;
    }
    if characters.get(at + 1) == Some(&'\\') {
        let mut here = at + 3;
        while here < characters.len() && characters[here] != '\'' {
            here += 1;
        }
        return Some((here + 1).min(characters.len()));
    }
    (characters.get(at + 2) == Some(&'\'')).then_some(at + 3)
}

/// The plain text with every item under `#[cfg(test)]` blanked, and the names of modules declared so that stand
/// in files of their own.
pub fn without_tests(plain: &str) -> (String, Vec<String>) {
    let characters: Vec<char> = plain.chars().collect();
    let mut kept = String::with_capacity(plain.len());
    let mut modules = Vec::new();
    let mut at = 0;
    while at < characters.len() {
        if let Some(attribute_end) = end_of_test_attribute(&characters, at) {
            let end = end_of_item(&characters, attribute_end);
            modules.extend(module_elsewhere(&characters[attribute_end..end]));
            blank(&mut kept, &characters[at..end]);
            at = end;
        } else {
            kept.push(characters[at]);
            at += 1;
        }
    }
    (kept, modules)
}

/// Where an attribute ends that keeps an item for tests.
fn end_of_test_attribute(characters: &[char], at: usize) -> Option<usize> {
    if !starts(characters, at, "#[") {
        return None;
    }
    let end = end_of_brackets(characters, at + 1);
    let attribute: String = characters[at..end]
        .iter()
        .filter(|c| !c.is_whitespace())
        .collect();
    let words: Vec<&str> = attribute.split(|c| !is_word(c)).collect();
    let for_tests =
        attribute.starts_with("#[cfg(") && words.contains(&"test") && !words.contains(&"not");
    for_tests.then_some(end)
}

/// Behind the bracket that closes the one at `at`, of whichever kind.
fn end_of_brackets(characters: &[char], at: usize) -> usize {
    let mut depth = 0;
    for (offset, c) in characters[at..].iter().enumerate() {
        match c {
            '(' | '[' | '{' => depth += 1,
            ')' | ']' | '}' => {
                depth -= 1;
                if depth == 0 {
                    return at + offset + 1;
                }
            }
            _ => {}
        }
    }
    characters.len()
}

/// Behind the item's `;` or its closing brace.
fn end_of_item(characters: &[char], from: usize) -> usize {
    let mut here = from;
    while here < characters.len() {
        match characters[here] {
            ';' => return here + 1,
            '{' => return end_of_brackets(characters, here),
            '(' | '[' => here = end_of_brackets(characters, here),
            _ => here += 1,
        }
    }
    here
}

fn module_elsewhere(item: &[char]) -> Option<String> {
    let item: String = item.iter().collect();
    let declaration = item.trim().strip_suffix(';')?;
    let (_, name) = declaration.rsplit_once("mod ")?;
    Some(name.trim().to_owned())
}
