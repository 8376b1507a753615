//! `lauterd calc` as the brewer runs it: text, JSON, and exit codes.

use std::process::{Command, Output};

fn calc(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lauterd"))
        .arg("calc")
        .args(arguments)
        .output()
        .expect("the binary runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("output is UTF-8")
}

#[test]
fn flow_is_answered_with_unit_formula_source_and_caution() {
    let output = calc(&["flow", "--volume-l", "5500", "--minutes", "90"]);
    assert_eq!(output.status.code(), Some(0));
    let answer = text(&output.stdout);
    for expected in ["61.1 L/min", "Q = V/t", "source", "caution"] {
        assert!(answer.contains(expected), "{expected} in:\n{answer}");
    }
}

#[test]
fn json_is_one_object_with_unrounded_figures() {
    let output = calc(&[
        "density",
        "--gravity-p",
        "12",
        "--temperature-c",
        "75",
        "--json",
    ]);
    let answer: serde_json::Value =
        serde_json::from_slice(&output.stdout).expect("one JSON object");
    let density = &answer["figures"][0];
    assert_eq!(density["name"], "density");
    assert_eq!(density["unit"], "kg/m³");
    let value = density["value"].as_f64().expect("a number");
    assert!((value - 1021.405).abs() < 5.1e-4, "{value}");
}

#[test]
fn a_value_out_of_range_ends_with_usage_naming_option_and_range() {
    for (arguments, expected) in [
        (
            vec!["density", "--gravity-p", "50", "--temperature-c", "75"],
            "--gravity-p is 50 °P; allowed is 0 to 35 °P",
        ),
        (
            vec!["flow", "--volume-l", "-1"],
            "--volume-l is -1 L; allowed is 0.1 to 1000000 L",
        ),
        (
            vec![
                "ph",
                "--ph",
                "5.5",
                "--basis",
                "process",
                "--temperature-c",
                "200",
            ],
            "--temperature-c is 200 °C; allowed is 0 to 100 °C",
        ),
        (
            vec!["convert", "1040", "--from", "kg/m3"],
            "--temperature-c is missing",
        ),
        (vec!["mix", "--portion", "5000"], "5000,16,75"),
    ] {
        let output = calc(&arguments);
        assert_eq!(output.status.code(), Some(64), "{arguments:?}");
        let message = text(&output.stderr);
        assert!(message.contains(expected), "{expected} in:\n{message}");
        assert!(output.stdout.is_empty());
    }
}

#[test]
fn every_calculation_helps_with_an_example_that_works() {
    for name in [
        "convert",
        "density",
        "mix",
        "dilute",
        "contraction",
        "flow",
        "brew-length",
        "extract",
        "ph",
    ] {
        let help = text(&calc(&[name, "--help"]).stdout).replace("\\\n", " ");
        let prefix = format!("lauterd calc {name}");
        let examples: Vec<&str> = help
            .lines()
            .filter_map(|line| line.trim().strip_prefix("lauterd calc "))
            .collect();
        assert!(!examples.is_empty(), "{prefix} shows no example:\n{help}");
        for example in examples {
            let arguments: Vec<&str> = example.split_whitespace().collect();
            let output = calc(&arguments);
            let message = text(&output.stderr);
            assert_eq!(output.status.code(), Some(0), "{example}: {message}");
        }
    }
}
