//! Where a value stands in the configuration: keys and indices from the root.

use std::fmt::Write as _;

use serde_json::Value;

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Segment {
    Key(String),
    /// Counted from 0.
    Index(usize),
}

/// Path of a value from the root of the file.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct KeyPath(Vec<Segment>);

impl KeyPath {
    pub fn segments(&self) -> &[Segment] {
        &self.0
    }

    /// The path of `keys`, joined by dots, below this one.
    #[must_use]
    pub fn key(&self, keys: &str) -> Self {
        let keys = keys.split('.').map(|key| Segment::Key(key.to_owned()));
        Self(self.0.iter().cloned().chain(keys).collect())
    }

    /// The path of one key that may itself hold dots.
    #[must_use]
    pub fn literal_key(&self, key: &str) -> Self {
        self.with(Segment::Key(key.to_owned()))
    }

    #[must_use]
    pub fn index(&self, index: usize) -> Self {
        self.with(Segment::Index(index))
    }

    fn with(&self, segment: Segment) -> Self {
        Self(self.0.iter().cloned().chain([segment]).collect())
    }

    pub fn parent(&self) -> Option<Self> {
        let (_, rest) = self.0.split_last()?;
        Some(Self(rest.to_vec()))
    }

    pub fn starts_with(&self, other: &Self) -> bool {
        self.0.starts_with(&other.0)
    }

    /// As the reader sees it, with the name of the instrument or link it lies in:
    /// `instrument[2] "runnings_ph": modbus.byte_order`. `tree` is the configuration it belongs to.
    pub fn label(&self, tree: &Value) -> String {
        let mut label = String::new();
        let mut here = Some(tree);
        for segment in &self.0 {
            match segment {
                Segment::Key(key) => {
                    if !label.is_empty() && !label.ends_with(' ') {
                        label.push('.');
                    }
                    label.push_str(&spelled(key));
                    here = here.and_then(|value| value.get(key));
                }
                Segment::Index(index) => {
                    let _ = write!(label, "[{index}]");
                    here = here.and_then(|value| value.get(index));
                    if let Some(name) = here.and_then(name_of) {
                        let _ = write!(label, " {name:?}: ");
                    }
                }
            }
        }
        label.trim_end_matches([' ', ':']).to_owned()
    }
}

/// The name that tells one element of an array from the others.
pub fn name_of(element: &Value) -> Option<&str> {
    element.get("id").or_else(|| element.get("name"))?.as_str()
}

fn spelled(key: &str) -> String {
    let bare = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    if !key.is_empty() && key.chars().all(bare) {
        key.to_owned()
    } else {
        format!("{key:?}")
    }
}
