//! A point and its line of line protocol.
//!
//! The client crate renders the line; this module sees to it that the crate only gets what it renders right.
//! Left alone it would write a line break or a trailing backslash in a tag as it is, which makes a bogus series
//! or swallows the next separator, and a backslash in a string field, which swallows the closing quote.

use influxdb2::models::{DataPoint, FieldValue, WriteDataPoint};

/// A field's value.
#[derive(Clone, Debug, PartialEq)]
pub enum Field {
    Number(f64),
    Text(String),
}

/// A point before it is checked.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    pub measurement: &'static str,
    pub tags: Vec<(&'static str, String)>,
    pub fields: Vec<(&'static str, Field)>,
    pub time_ns: i64,
}

/// Why a point cannot be written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PointFault {
    #[error("{measurement}: field {field} is not a finite number")]
    NotFinite {
        measurement: &'static str,
        field: &'static str,
    },
    #[error(
        "{measurement}: {name} {value:?} has a control character or ends in a backslash; rename it in the configuration"
    )]
    Unwritable {
        measurement: &'static str,
        name: &'static str,
        value: String,
    },
    #[error("{measurement}: tag {tag} is empty")]
    EmptyTag {
        measurement: &'static str,
        tag: &'static str,
    },
    #[error("{measurement}: a point needs a field")]
    NoField { measurement: &'static str },
}

impl Point {
    /// The point as one line without its line break.
    pub fn line(&self) -> Result<String, PointFault> {
        let measurement = self.measurement;
        let mut builder = DataPoint::builder(measurement).timestamp(self.time_ns);
        for (tag, value) in &self.tags {
            builder = builder.tag(*tag, self.checked_tag(tag, value)?);
        }
        for (field, value) in &self.fields {
            builder = builder.field(*field, self.checked_field(field, value)?);
        }
        let point = builder
            .build()
            .map_err(|_| PointFault::NoField { measurement })?;
        let mut line = Vec::new();
        point
            .write_data_point_to(&mut line)
            .unwrap_or_else(|error| unreachable!("memory takes every byte: {error}"));
        line.pop();
        Ok(String::from_utf8(line)
            .unwrap_or_else(|error| unreachable!("made of strings only: {error}")))
    }

    fn checked_tag(&self, tag: &'static str, value: &str) -> Result<String, PointFault> {
        let measurement = self.measurement;
        if value.is_empty() {
            return Err(PointFault::EmptyTag { measurement, tag });
        }
        if value.chars().any(char::is_control) || value.ends_with('\\') {
            return Err(PointFault::Unwritable {
                measurement,
                name: tag,
                value: value.to_owned(),
            });
        }
        Ok(value.to_owned())
    }

    fn checked_field(&self, field: &'static str, value: &Field) -> Result<FieldValue, PointFault> {
        let measurement = self.measurement;
        match value {
            Field::Number(number) if number.is_finite() => Ok(FieldValue::F64(*number)),
            Field::Number(_) => Err(PointFault::NotFinite { measurement, field }),
            Field::Text(text) if text.chars().any(char::is_control) => {
                Err(PointFault::Unwritable {
                    measurement,
                    name: field,
                    value: text.clone(),
                })
            }
            // The crate escapes quotes but not the backslash itself.
            Field::Text(text) => Ok(FieldValue::String(text.replace('\\', r"\\"))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point(tag: &str, field: Field) -> Point {
        Point {
            measurement: "reading",
            tags: vec![("instrument", tag.to_owned())],
            fields: vec![("value", field)],
            time_ns: 7,
        }
    }

    #[test]
    fn a_plain_point_is_a_plain_line() {
        let line = point("flow", Field::Number(60.5)).line().unwrap();
        assert_eq!(line, "reading,instrument=flow value=60.5 7");
    }

    #[test]
    fn separators_in_tags_and_quotes_in_text_are_escaped() {
        let line = point("a b,c=d", Field::Text(r#"say "no\" "#.to_owned()));
        assert_eq!(
            line.line().unwrap(),
            r#"reading,instrument=a\ b\,c\=d value="say \"no\\\" " 7"#
        );
    }

    #[test]
    fn numbers_that_are_not_finite_are_refused() {
        for number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(
                point("flow", Field::Number(number)).line(),
                Err(PointFault::NotFinite {
                    measurement: "reading",
                    field: "value"
                })
            );
        }
    }

    #[test]
    fn tags_that_would_break_the_line_are_refused() {
        for tag in ["", "a\nb", "a\\", "tab\there", "\u{85}"] {
            assert!(point(tag, Field::Number(1.0)).line().is_err(), "{tag:?}");
        }
    }

    #[test]
    fn a_point_without_a_field_is_refused() {
        let mut empty = point("flow", Field::Number(1.0));
        empty.fields.clear();
        assert_eq!(
            empty.line(),
            Err(PointFault::NoField {
                measurement: "reading"
            })
        );
    }

    /// Reads a line with a text field as InfluxDB's parser does: tag value and text.
    fn parse(line: &str) -> Option<(String, String)> {
        let rest = line.strip_prefix("reading,instrument=")?;
        let mut tag = String::new();
        let mut chars = rest.chars().peekable();
        loop {
            match chars.next()? {
                '\\' if matches!(chars.peek(), Some(',' | '=' | ' ')) => tag.push(chars.next()?),
                ' ' => break,
                ',' | '=' => return None,
                other => tag.push(other),
            }
        }
        let rest: String = chars.collect();
        let mut text = String::new();
        let mut chars = rest.strip_prefix("value=\"")?.chars().peekable();
        loop {
            match chars.next()? {
                '\\' if matches!(chars.peek(), Some('"' | '\\')) => text.push(chars.next()?),
                '"' => break,
                other => text.push(other),
            }
        }
        (chars.collect::<String>() == " 7").then_some((tag, text))
    }

    proptest! {
        #[test]
        fn whatever_is_accepted_reads_back_as_it_was(
            tag in r#"[a-z\\ ,="é]{1,12}|\PC{1,20}"#,
            text in r#"[a-z\\ ,="é]{0,12}|\PC{0,20}"#,
        ) {
            if let Ok(line) = point(&tag, Field::Text(text.clone())).line() {
                prop_assert_eq!(parse(&line), Some((tag, text)), "{}", line);
            } else {
                prop_assert!(tag.ends_with('\\') || (tag + &text).chars().any(char::is_control));
            }
        }

        #[test]
        fn any_string_at_all_gives_one_line_or_a_fault(tag in any::<String>(), text in any::<String>()) {
            if let Ok(line) = point(&tag, Field::Text(text)).line() {
                prop_assert!(!line.contains(char::is_control));
            }
        }

        #[test]
        fn numbers_keep_every_bit(bits in any::<u64>()) {
            let number = f64::from_bits(bits);
            if let Ok(line) = point("flow", Field::Number(number)).line() {
                let written = line.strip_prefix("reading,instrument=flow value=").unwrap();
                let read: f64 = written.strip_suffix(" 7").unwrap().parse().unwrap();
                prop_assert_eq!(read.to_bits(), bits);
            } else {
                prop_assert!(!number.is_finite());
            }
        }
    }
}
