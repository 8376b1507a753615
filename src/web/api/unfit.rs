//! What is said of JSON that does not fit: by the key, and without the program's own names for its shapes.
//!
//! Owns these sentences. They are made from those of the JSON library, whose words for a shape nobody outside can look up.

use crate::web::wire::Fault;

type Failed = serde_path_to_error::Error<serde_json::Error>;

pub fn fault(error: &Failed) -> Fault {
    let path = error.path().to_string();
    let place = if path == "." { "" } else { &path };
    let text = error.inner().to_string();
    let text = text.rsplit_once(" at line ").map_or(&*text, |(it, _)| it);
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
