//! A source file as the rules see it: its module, and the paths its code names.
//!
//! A scan of words, not a compiler: `use` trees are spread out, `self` and `super` are resolved from the file's
//! place, and nothing else is. That suffices for rules about who may name whom.

use std::fs;
use std::path::Path;

use crate::text;

/// A path that the code names, such as `crate::kettle::Contents`; a macro ends in `!`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    pub line: usize,
    pub path: Vec<String>,
}

/// A queue made with a bound: where, and the first word of the bound.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Queue {
    pub line: usize,
    pub bound: String,
}

#[derive(Clone, Debug)]
pub struct Source {
    /// Relative to the repository.
    pub file: String,
    /// Below the crate's root: `["kettle", "fusion"]`.
    pub module: Vec<String>,
    pub named: Vec<Named>,
    pub queues: Vec<Queue>,
    /// Files and directories, without `.rs`, that only tests are built with.
    for_tests: Vec<String>,
}

impl Source {
    /// `root` is the crate's source directory, which `file` begins with.
    pub fn of(root: &str, file: &str, content: &str) -> Self {
        let (code, test_modules) =
            text::without_tests(&text::without_comments_and_literals(content));
        let module = module_of(root, file);
        let words = words(&code);
        let below = file
            .rsplit_once('/')
            .map_or(String::new(), |(directory, name)| match name {
                "mod.rs" | "lib.rs" | "main.rs" => directory.to_owned(),
                _ => file.trim_end_matches(".rs").to_owned(),
            });
        Self {
            file: file.to_owned(),
            named: named(&words, &module),
            queues: queues(&words),
            for_tests: test_modules
                .iter()
                .map(|name| format!("{below}/{name}"))
                .collect(),
            module,
        }
    }

    pub fn at(&self, line: usize) -> String {
        format!("{}:{line}", self.file)
    }
}

fn module_of(root: &str, file: &str) -> Vec<String> {
    let below = file
        .trim_start_matches(root)
        .trim_start_matches('/')
        .trim_end_matches(".rs");
    let mut module: Vec<String> = below.split('/').map(str::to_owned).collect();
    if module
        .last()
        .is_some_and(|last| matches!(last.as_str(), "mod" | "lib" | "main"))
    {
        module.pop();
    }
    module
}

/// Every source below `root`, a directory of the repository, in order of their names; `but` is left out. Files
/// that only tests are built with are not among them.
pub fn sources(repository: &Path, root: &str, but: &[&str]) -> Vec<Source> {
    let mut files = Vec::new();
    collect(repository, root, but, &mut files);
    files.sort();
    let all: Vec<Source> = files
        .iter()
        .map(|file| {
            Source::of(
                root,
                file,
                &fs::read_to_string(repository.join(file)).unwrap(),
            )
        })
        .collect();
    let for_tests: Vec<String> = all
        .iter()
        .flat_map(|source| source.for_tests.clone())
        .collect();
    all.into_iter()
        .filter(|source| {
            let stem = source.file.trim_end_matches(".rs");
            !for_tests
                .iter()
                .any(|test| stem == test || source.file.starts_with(&format!("{test}/")))
        })
        .collect()
}

/// Every file below `root` that ends in `.rs`, tests among them.
pub fn collect(repository: &Path, root: &str, but: &[&str], files: &mut Vec<String>) {
    for entry in fs::read_dir(repository.join(root)).unwrap() {
        let entry = entry.unwrap();
        let name = format!("{root}/{}", entry.file_name().to_string_lossy());
        if entry.file_type().unwrap().is_dir() {
            if !but.contains(&name.as_str()) {
                collect(repository, &name, but, files);
            }
        } else if Path::new(&name)
            .extension()
            .is_some_and(|extension| extension == "rs")
        {
            files.push(name);
        }
    }
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Word {
    Name(String),
    /// `::`
    Path,
    Sign(char),
}

fn words(code: &str) -> Vec<(usize, Word)> {
    let mut found = Vec::new();
    for (number, line) in code.lines().enumerate() {
        let mut rest = line;
        while let Some(first) = rest.chars().next() {
            let length = rest
                .find(|c: char| !(c.is_alphanumeric() || c == '_'))
                .unwrap_or(rest.len());
            let (word, taken) = if length > 0 {
                (Word::Name(rest[..length].to_owned()), length)
            } else if rest.starts_with("::") {
                (Word::Path, 2)
            } else {
                (Word::Sign(first), first.len_utf8())
            };
            if !matches!(word, Word::Sign(sign) if sign.is_whitespace()) {
                found.push((number + 1, word));
            }
            rest = &rest[taken..];
        }
    }
    found
}

fn named(words: &[(usize, Word)], module: &[String]) -> Vec<Named> {
    let mut found = Vec::new();
    let mut at = 0;
    while at < words.len() {
        let (line, word) = &words[at];
        match word {
            Word::Name(name) if name == "use" => {
                at = use_tree(words, at + 1, &mut Vec::new(), &mut found);
            }
            Word::Name(name) => {
                let mut path = vec![name.clone()];
                at += 1;
                while let (Some((_, Word::Path)), Some((_, Word::Name(next)))) =
                    (words.get(at), words.get(at + 1))
                {
                    path.push(next.clone());
                    at += 2;
                }
                if let Some((_, Word::Sign('!'))) = words.get(at) {
                    path.last_mut().unwrap().push('!');
                }
                found.push(Named { line: *line, path });
            }
            _ => at += 1,
        }
    }
    for named in &mut found {
        resolve(&mut named.path, module);
    }
    found
}

/// Spreads one branch of a `use` out; returns where its end stands.
fn use_tree(
    words: &[(usize, Word)],
    mut at: usize,
    path: &mut Vec<String>,
    found: &mut Vec<Named>,
) -> usize {
    let depth = path.len();
    let mut line = 0;
    while let Some((here, word)) = words.get(at) {
        match word {
            Word::Name(name) if name == "as" => at += 1,
            Word::Name(name) => {
                path.push(name.clone());
                line = *here;
            }
            Word::Sign('*') => {
                path.push("*".to_owned());
                line = *here;
            }
            Word::Sign('{') => {
                at += 1;
                while !matches!(words.get(at), None | Some((_, Word::Sign('}')))) {
                    let end = use_tree(words, at, path, found);
                    let stands = end == at || matches!(words.get(end), Some((_, Word::Sign(','))));
                    at = end + usize::from(stands);
                }
            }
            Word::Path => {}
            Word::Sign(_) => break,
        }
        at += 1;
    }
    if line > 0 {
        found.push(Named {
            line,
            path: path.clone(),
        });
    }
    path.truncate(depth);
    at
}

fn resolve(path: &mut Vec<String>, module: &[String]) {
    let mut base = module.to_vec();
    let mut taken = 0;
    for part in path.iter() {
        match part.as_str() {
            "self" if taken == 0 => {}
            "super" => _ = base.pop(),
            _ => break,
        }
        taken += 1;
    }
    if taken > 0 {
        let rest = path.split_off(taken);
        *path = std::iter::once("crate".to_owned())
            .chain(base)
            .chain(rest)
            .collect();
    }
}

fn queues(words: &[(usize, Word)]) -> Vec<Queue> {
    let mut found = Vec::new();
    for (at, (line, word)) in words.iter().enumerate() {
        let Word::Name(name) = word else { continue };
        let before = at.checked_sub(2).map(|at| &words[at].1);
        let bounded = name == "channel"
            && matches!(before, Some(Word::Name(kind)) if kind == "mpsc" || kind == "broadcast");
        if !bounded && name != "sync_channel" {
            continue;
        }
        let open = words[at..]
            .iter()
            .position(|(_, word)| *word == Word::Sign('('));
        if let Some((_, Word::Name(bound))) = open.and_then(|open| words.get(at + open + 1)) {
            found.push(Queue {
                line: *line,
                bound: bound.clone(),
            });
        }
    }
    found
}
