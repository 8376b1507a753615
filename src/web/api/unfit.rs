//! What is said of JSON or of an address's parameters that do not fit: by the key, and without the program's own names for
//! its shapes.
//!
//! Owns these sentences. They are made from those of the libraries that read, whose words for a shape nobody outside can
//! look up.

use crate::web::wire::Fault;

type Failed = serde_path_to_error::Error<serde_json::Error>;

pub fn fault(error: &Failed) -> Fault {
    let path = error.path().to_string();
    let place = if path == "." { "" } else { &path };
    let text = error.inner().to_string();
    let text = text.rsplit_once(" at line ").map_or(&*text, |(it, _)| it);
    of_text(place, text)
}

/// What is not JSON at all: where it ceases to be.
pub fn no_json(error: &serde_json::Error) -> String {
    let (line, column) = (error.line(), error.column());
    if error.is_eof() {
        format!("the body is not JSON: it breaks off at line {line}, column {column}")
    } else {
        format!(
            "the body is not JSON: what stands at line {line}, column {column} does not belong there"
        )
    }
}

/// What axum says of a query that it cannot read.
pub fn parameter(text: &str) -> Fault {
    let text = text
        .strip_prefix("Failed to deserialize query string: ")
        .unwrap_or(text);
    let is_name = |it: &str| it.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
    match text.split_once(": ").filter(|(name, _)| is_name(name)) {
        Some((name, text)) => of_text(name, text),
        None => of_text("", text),
    }
}

fn of_text(place: &str, text: &str) -> Fault {
    if let Some(key) = text.strip_prefix("duplicate field ") {
        return Fault::new(&key_of(key), "is given twice");
    }
    if let Some(wanted) = of_letters(text) {
        return Fault::new(place, format!("must be {wanted}"));
    }
    if let Some(key) = text.strip_prefix("missing field ") {
        return Fault::new(&below(place, key), "is missing");
    }
    if let Some((key, known)) = text
        .strip_prefix("unknown field ")
        .and_then(|rest| rest.split_once(", "))
    {
        return Fault::new(
            &key_of(key),
            format!("is not known here; {}", listed(known)),
        );
    }
    if let Some((word, known)) = text
        .strip_prefix("unknown variant ")
        .and_then(|rest| rest.split_once(", "))
    {
        let message = format!("{} is not known here; {}", key_of(word), listed(known));
        return Fault::new(place, message);
    }
    let of_shape = ["invalid type: ", "invalid value: ", "invalid length "];
    match text.rsplit_once(", expected ") {
        Some((given, wanted)) if of_shape.iter().any(|it| given.starts_with(it)) => {
            Fault::new(place, format!("must be {}", shape(wanted)))
        }
        _ => Fault::new(place, text),
    }
}

/// What should have stood where letters could not be read; the standard library's words. Whole numbers of an address are
/// all of 32 bits.
fn of_letters(text: &str) -> Option<&'static str> {
    match text {
        "provided string was not `true` or `false`" => Some("true or false"),
        "invalid digit found in string"
        | "cannot parse integer from empty string"
        | "number too large to fit in target type" => Some("a whole number from 0 to 4294967295"),
        "invalid float literal" | "cannot parse float from empty string" => Some("a number"),
        _ => None,
    }
}

fn key_of(quoted: &str) -> String {
    quoted.replace('`', "")
}

fn below(place: &str, quoted: &str) -> String {
    let key = key_of(quoted);
    if place.is_empty() {
        key
    } else {
        format!("{place}.{key}")
    }
}

/// "expected one of `a`, `b`" and "expected `a` or `b`", without the marks.
fn listed(known: &str) -> String {
    let names = known
        .trim_start_matches("expected ")
        .trim_start_matches("one of ");
    match names {
        "there are no fields" => "nothing is taken".to_owned(),
        names => format!("known is {}", names.replace('`', "").replace(" or ", ", ")),
    }
}

/// What JSON calls what the library wants.
fn shape(wanted: &str) -> &str {
    match wanted {
        "f32" | "f64" => "a number",
        "u8" | "u16" | "u32" | "u64" | "usize" => "a whole number of 0 or above",
        "i8" | "i16" | "i32" | "i64" | "isize" => "a whole number",
        "a sequence" => "an array",
        _ if wanted.starts_with("struct ") || wanted.contains("enum ") || wanted == "a map" => {
            "an object"
        }
        other => other,
    }
}
