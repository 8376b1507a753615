//! Whatever a file holds, the answer is a configuration or its errors, never a panic.

use std::path::Path;

use lauterd::config::{self, ConfigErrors, Configuration, Surroundings};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;

use crate::support::{COMPLETE, parse};

fn says_something(outcome: &Result<Configuration, ConfigErrors>) -> Result<(), TestCaseError> {
    if let Err(errors) = outcome {
        prop_assert!(!errors.errors.is_empty());
        for error in &errors.errors {
            prop_assert!(!error.message.is_empty());
            prop_assert!(
                error.to_string().starts_with("tun.toml")
                    || error.to_string().starts_with("environment")
            );
        }
    }
    Ok(())
}

fn value() -> impl Strategy<Value = String> {
    prop_oneof![
        select(vec![
            "0",
            "-1",
            "1e300",
            "1e999",
            "-1e999",
            "nan",
            "inf",
            "-inf",
            "99999999999999999999",
            "0x7fffffffffffffff",
            "true",
            "''",
            "\"\"",
            "[]",
            "{}",
            "[[]]",
            "[1, {}]",
            "{ id = 1 }",
            "[{ id = [] }]",
            "2026-01-01",
            "1_0",
            "\"\\u0000\"",
            "'a/b'",
            "'runnings_density'",
            "'mA'",
            "'%'",
            "'bit'",
            "'f64'",
            "65535",
            "0.5",
        ])
        .prop_map(str::to_owned),
        any::<f64>().prop_map(|number| format!("{number:?}")),
        "[ -~]{0,12}",
    ]
}

/// The complete example with some values replaced, some lines dropped and some doubled.
fn mangled() -> impl Strategy<Value = String> {
    let lines = COMPLETE.lines().count();
    vec((0..lines, 0..4_u8, value()), 1..12).prop_map(|changes| {
        let mut text: Vec<String> = COMPLETE.lines().map(str::to_owned).collect();
        for (line, change, value) in changes {
            let old = text[line].clone();
            text[line] = match (change, old.split_once('=')) {
                (0, Some((key, _))) => format!("{key}= {value}"),
                (1, Some((_, rest))) => format!("{value} ={rest}"),
                (2, _) => String::new(),
                _ => format!("{old}\n{old}"),
            };
        }
        text.join("\n")
    })
}

/// Text that looks like TOML from afar.
fn tomlish() -> impl Strategy<Value = String> {
    let name = select(vec![
        "site",
        "tun",
        "kettle",
        "instrument",
        "modbus_link",
        "mqtt",
        "influx",
        "alarms",
        "kettle.strapping",
        "instrument.modbus",
        "instrument.modbus.status",
        "alarms.stuck-bed",
        "\"a.b\"",
        "\"x[7]\"",
        "x",
        "name",
        "id",
        "unit",
        "measures",
        "span",
        "bits",
        "low",
    ]);
    let line = (name, 0..3_u8, value()).prop_map(|(name, kind, value)| match kind {
        0 => format!("[{name}]"),
        1 => format!("[[{name}]]"),
        _ => format!("{name} = {value}"),
    });
    vec(line, 0..30).prop_map(|lines| lines.join("\n"))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn a_mangled_example_is_resolved_or_refused(text in mangled()) {
        says_something(&parse(&text))?;
    }

    #[test]
    fn text_like_toml_is_resolved_or_refused(text in tomlish()) {
        says_something(&parse(&text))?;
    }

    #[test]
    fn any_text_is_resolved_or_refused(text in any::<String>()) {
        says_something(&parse(&text))?;
    }

    #[test]
    fn any_variable_is_applied_or_refused(
        parts in vec(select(vec![
            "INSTRUMENT", "0", "99", "18446744073709551616", "RUNNINGS_PH", "MODBUS", "STATUS", "BITS", "3", "", "X",
            "KETTLE", "STRAPPING", "READING", "ALARMS", "STUCK_BED", "LIMIT", "SPAN", "UNIT", "Ä", "MQTT", "HOST", "[0]",
            ".", "TUN", "NAME",
        ]), 1..7),
        value in value(),
    ) {
        let surroundings = Surroundings {
            variables: vec![(format!("LAUTERD_{}", parts.join("__")), value)],
            ..Surroundings::none()
        };
        says_something(&config::parse(Path::new("tun.toml"), COMPLETE.to_owned(), &surroundings))?;
    }
}
