//! Environment variables, secrets, several files, and the command with its exit codes.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use lauter_core::alarm::AlarmId;
use lauterd::config::{self, ConfigErrors, Configuration, Secrets, Surroundings};
use lauterd::exit::Kind;

use crate::support::{COMPLETE, MINIMAL, complete_with, edited};

const EXAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/config");

fn with_variables(text: &str, variables: &[(&str, &str)]) -> Result<Configuration, ConfigErrors> {
    let owned = |(name, value): &(&str, &str)| ((*name).to_owned(), (*value).to_owned());
    let surroundings = Surroundings {
        variables: variables.iter().map(owned).collect(),
        ..Surroundings::none()
    };
    config::parse(Path::new("tun.toml"), text.to_owned(), &surroundings)
}

fn refused(variable: &str, value: &str) -> String {
    with_variables(MINIMAL, &[(variable, value)])
        .unwrap_err()
        .to_string()
}

#[test]
fn a_variable_overrides_its_key_and_is_read_as_the_key_wants_it() {
    let variables = [
        ("LAUTERD_TUN__BED_AREA_M2", "7.5"),
        ("LAUTERD_TUN__NAME", "7"),
        ("LAUTERD_WEB__ENABLED", "no"),
        ("LAUTERD_MQTT__HOST", "broker"),
        ("LAUTERD_INSTRUMENT__0__HIGH", "30"),
        ("LAUTERD_INSTRUMENT__RUNOFF_FLOW__MODBUS__ADDRESS", " 40 "),
        ("LAUTERD_MODBUS_LINK__SKID__TCP", "plc:1502"),
        ("LAUTERD_ALARMS__STUCK_BED__LIMIT", "2"),
    ];
    let configuration = with_variables(MINIMAL, &variables).unwrap();
    assert_eq!(configuration.tun.bed_area_m2, 7.5);
    assert_eq!(configuration.tun.name, "7");
    assert!(!configuration.web.enabled);
    assert_eq!(configuration.mqtt.unwrap().host, "broker");
    assert_eq!(configuration.instruments[0].instrument.high, Some(30.0));
    assert!(format!("{:?}", configuration.instruments[1].source).contains("address: 40,"));
    assert!(format!("{:?}", configuration.modbus_links[0].transport).contains("plc:1502"));
    assert_eq!(configuration.alarms[&AlarmId::StuckBed].limit, Some(2.0));
}

#[test]
fn a_wrong_value_names_its_variable() {
    assert_eq!(
        refused("LAUTERD_TUN__BED_AREA_M2", "wide"),
        "tun.toml: LAUTERD_TUN__BED_AREA_M2: tun.bed_area_m2: is \"wide\"; allowed is a number from 0.01 to 500"
    );
}

#[test]
fn a_variable_that_matches_no_key_is_refused() {
    assert_eq!(
        refused("LAUTERD_TUN__BED_AREA", "7"),
        "environment: LAUTERD_TUN__BED_AREA: matches no key; did you mean LAUTERD_TUN__BED_AREA_M2?"
    );
    assert_eq!(
        refused("LAUTERD_SITE", "x"),
        "environment: LAUTERD_SITE: matches no key; there are LAUTERD_SITE__NAME"
    );
    assert_eq!(
        refused("LAUTERD_SITE__NAME__X", "x"),
        "environment: LAUTERD_SITE__NAME__X: matches no key; there are none below this one"
    );
    assert_eq!(
        refused("LAUTERD_INSTRUMENT__2__LOW", "1"),
        "environment: LAUTERD_INSTRUMENT__2__LOW: matches no key: instrument has 0 (runnings_gravity), 1 (runoff_flow)"
    );
    assert_eq!(
        refused("LAUTERD_KETTLE__STRAPPING__0__READING", "1"),
        "environment: LAUTERD_KETTLE__STRAPPING__0__READING: matches no key: the file has no kettle.strapping"
    );
    assert_eq!(
        refused("LAUTERD_INSTRUMENT", "1"),
        "environment: LAUTERD_INSTRUMENT: names all of instrument; name one element by its index or id, such as \
         LAUTERD_INSTRUMENT__0__…"
    );
}

#[test]
fn a_secret_in_the_file_or_the_environment_is_refused_with_the_way_to_give_it() {
    let advice = |secret: &str| {
        format!(
            "a {secret} must not stand in this file or in the environment; put it in a file of its own, readable by the \
             service only, and name that file with {secret}_file, or name a systemd credential with {secret}_credential"
        )
    };
    complete_with(
        &[(
            "username = \"lauterd\"",
            "username = \"lauterd\"\npassword = \"x\"",
        )],
        &format!("mqtt.password: {}", advice("password")),
    );
    complete_with(
        &[("bucket = \"lauter\"", "bucket = \"lauter\"\ntoken = \"x\"")],
        &format!("influx.token: {}", advice("token")),
    );
    assert_eq!(
        refused("LAUTERD_MQTT__PASSWORD", "x"),
        format!(
            "environment: LAUTERD_MQTT__PASSWORD: {}",
            advice("password")
        )
    );
}

fn with_secrets(text: &str, credentials: Option<&Path>) -> Result<Configuration, ConfigErrors> {
    let surroundings = Surroundings {
        variables: Vec::new(),
        credentials_directory: credentials.map(Path::to_owned),
        secrets: Secrets::Read,
    };
    config::parse(Path::new("tun.toml"), text.to_owned(), &surroundings)
}

fn broker(secret: &str) -> String {
    format!("{MINIMAL}\n[mqtt]\nhost = \"broker\"\nusername = \"u\"\n{secret}\n")
}

#[test]
fn secrets_come_from_a_file_or_a_credential_and_are_never_shown() {
    let directory = tempfile::tempdir().unwrap();
    std::fs::write(directory.path().join("mqtt"), "open sesame\n").unwrap();
    let file = format!("password_file = \"{}/mqtt\"", directory.path().display());
    for (secret, credentials) in [
        (file.as_str(), None),
        ("password_credential = \"mqtt\"", Some(directory.path())),
    ] {
        let configuration = with_secrets(&broker(secret), credentials).unwrap();
        assert!(!format!("{configuration:?}").contains("sesame"));
        assert_eq!(
            configuration.mqtt.unwrap().password.unwrap().0,
            "open sesame"
        );
    }
}

#[test]
fn a_secret_that_cannot_be_had_is_refused_with_its_place() {
    let directory = tempfile::tempdir().unwrap();
    let place = directory.path().display();
    std::fs::write(directory.path().join("empty"), "\n").unwrap();
    std::fs::write(directory.path().join("long"), "a\nb\n").unwrap();
    let file = |name: &str| format!("password_file = \"{place}/{name}\"");
    let key = "tun.toml:48: mqtt.password_file: ";
    let cases = [
        (
            file("absent"),
            format!("{key}{place}/absent cannot be read: No such file or directory (os error 2)"),
        ),
        (
            file("empty"),
            format!("{key}{place}/empty is empty; it must hold the secret on one line"),
        ),
        (
            file("long"),
            format!("{key}{place}/long holds more than one line; it must hold the secret alone"),
        ),
        (
            "password_credential = \"mqtt\"".to_owned(),
            "tun.toml:48: mqtt.password_credential: there are no credentials here; the service's unit needs \
             LoadCredential=mqtt:/path/of/the/password"
                .to_owned(),
        ),
        (
            "password_file = \"x\"\npassword_credential = \"mqtt\"".to_owned(),
            "tun.toml:49: mqtt.password_credential: password_file is given too; give one of them".to_owned(),
        ),
    ];
    for (secret, message) in cases {
        assert_eq!(
            with_secrets(&broker(&secret), None)
                .unwrap_err()
                .to_string(),
            message
        );
    }
}

#[test]
fn several_files_are_reported_on_together() {
    let directory = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let file = directory.path().join(name);
        std::fs::write(&file, text).unwrap();
        file
    };
    let files = [
        write("one.toml", MINIMAL),
        write("two.toml", &edited(MINIMAL, &[("7.0", "-7.0")])),
        write("three.toml", MINIMAL),
        directory.path().join("four.toml"),
    ];
    let errors = config::load_all_with(&files, &Surroundings::none()).unwrap_err();
    assert_eq!(errors.kind, Kind::Configuration);
    let found: Vec<String> = errors
        .errors
        .iter()
        .map(|error| format!("{}: {}", error.key, error.message))
        .collect();
    assert_eq!(
        found,
        [
            "tun.bed_area_m2: is -7.0; allowed is a number from 0.01 to 500".to_owned(),
            ": there is no such file".to_owned(),
            format!(
                "tun.name: is \"tun-1\" at site \"north-yard\", as in {}; each tun has one file",
                files[0].display()
            ),
        ]
    );
}

fn check_config(arguments: &[&str], variables: &[(&str, &str)]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lauterd"));
    command
        .current_dir(EXAMPLES)
        .arg("check-config")
        .args(arguments);
    command.envs(variables.iter().copied()).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn the_command_shows_the_resolved_instruments_and_says_right() {
    let output = check_config(&["lauterd.toml"], &[]);
    assert_eq!(output.status.code(), Some(0));
    let page = text(&output.stdout);
    assert!(page.ends_with("\nlauterd.toml: right\n"), "{page}");
    for id in [
        "runnings_density",
        "bed_pressure_drop",
        "recirculating",
        "modbus link turbidity",
    ] {
        assert!(page.contains(id), "{id} in\n{page}");
    }
    assert!(text(&output.stderr).contains("note for the service: lauterd.toml:"));
}

#[test]
fn the_command_notes_what_the_extract_balance_lacks() {
    let found = check_config(&["minimal.toml"], &[]);
    assert!(!text(&found.stderr).contains("no instrument measures"));
    let variables = [("LAUTERD_INSTRUMENT__RUNOFF_FLOW__MEASURES", "sparge-flow")];
    let output = check_config(&["minimal.toml"], &variables);
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(
        text(&output.stderr),
        "note: minimal.toml: no instrument measures runoff-flow, runoff-total or kettle-volume; without one of \
         them there is no kettle volume and no stop-point\n"
    );
}

#[test]
fn the_command_ends_with_78_and_all_errors_where_something_is_wrong() {
    let variables = [("LAUTERD_TUN__BED_AREA_M2", "0"), ("LAUTERD_TUN__NAM", "x")];
    let output = check_config(&["minimal.toml"], &variables);
    assert_eq!(output.status.code(), Some(78));
    assert_eq!(output.stdout, b"");
    let errors = text(&output.stderr);
    assert!(
        errors.contains("LAUTERD_TUN__BED_AREA_M2: tun.bed_area_m2: is 0.0; allowed"),
        "{errors}"
    );
    assert!(
        errors.contains("LAUTERD_TUN__NAM: matches no key"),
        "{errors}"
    );
}

#[test]
fn the_command_ends_with_66_without_the_file() {
    let output = check_config(&["absent.toml"], &[]);
    assert_eq!(output.status.code(), Some(66));
    assert_eq!(
        text(&output.stderr),
        "lauterd: absent.toml: there is no such file\n"
    );
}

#[test]
fn the_command_gives_json_for_programs() {
    let output = check_config(&["--json", "minimal.toml"], &[]);
    let pages: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(pages[0]["instruments"][0]["id"], "runnings_gravity");
    assert_eq!(pages[0]["live"], true);
}

#[test]
fn a_file_without_its_secrets_is_right_for_replay_and_wrong_for_the_service() {
    let file = PathBuf::from(EXAMPLES).join("lauterd.toml");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), COMPLETE);
    let mut surroundings = Surroundings::none();
    assert!(config::load_with(&file, &surroundings).is_ok());
    surroundings.secrets = Secrets::Read;
    assert!(config::load_with(&file, &surroundings).is_err());
}
