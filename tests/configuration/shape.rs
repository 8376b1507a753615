//! Keys, types, ranges and choices.

use lauterd::config::Place;

use crate::support::{COMPLETE, MINIMAL, complete_with, edited, faults, minimal_with, parse};

#[test]
fn text_that_is_not_toml_is_reported_with_line_and_column() {
    let errors = parse("[site]\nname = \n").unwrap_err();
    assert_eq!(errors.errors[0].place, Place::Column(2, 8));
    assert!(
        errors.to_string().starts_with("tun.toml:2:8: not TOML: "),
        "{errors}"
    );
}

#[test]
fn every_syntax_error_is_reported() {
    let errors = parse("[site]\nname = \n[tun\nname = 'x'\nx = = 1\n").unwrap_err();
    assert!(errors.errors.len() >= 3, "{errors}");
}

#[test]
fn an_unknown_key_is_refused_with_the_nearest_one() {
    minimal_with(
        &[("bed_area_m2 = 7.0", "bed_area_m2 = 7.0\nbed_aera = 1")],
        "tun.bed_aera: is an unknown key; did you mean bed_area_m2?",
    );
}

#[test]
fn an_unknown_key_like_no_other_is_refused_with_what_is_allowed() {
    minimal_with(
        &[("capacity_l = 7000.0", "capacity_l = 7000.0\nzzz = 1")],
        "kettle.zzz: is an unknown key; allowed here is capacity_l, heel_l or strapping",
    );
}

#[test]
fn an_unknown_table_is_refused() {
    minimal_with(
        &[("[tun]", "[tum]\n[tun]")],
        "tum: is an unknown key; did you mean tun?",
    );
}

#[test]
fn an_unknown_alarm_is_refused() {
    complete_with(
        &[("[alarms.turbid-runnings]", "[alarms.turbid-runings]")],
        "alarms.turbid-runings: is an unknown key; did you mean turbid-runnings?",
    );
}

#[test]
fn a_limit_of_an_alarm_without_a_threshold_is_refused() {
    minimal_with(
        &[("[site]", "[alarms.channelling]\nlimit = 0.5\n[site]")],
        "alarms.channelling.limit: has no use: this alarm has no threshold; leave it out",
    );
}

#[test]
fn a_quoted_path_is_no_key() {
    let text = format!("\"tun.bed_area_m2\" = 3\n\"x[999999999]\" = 1\n{MINIMAL}");
    let errors = parse(&text).unwrap_err().to_string();
    assert_eq!(
        errors,
        "tun.toml:1:1: unknown key \"tun.bed_area_m2\"; a quoted key cannot stand for a path\n\
         tun.toml:2:1: unknown key \"x[999999999]\"; a quoted key cannot stand for a path"
    );
}

#[test]
fn a_needed_key_that_is_missing_is_named_with_its_range() {
    minimal_with(
        &[("bed_area_m2 = 7.0", "")],
        "tun.bed_area_m2: is missing; needed is a number from 0.01 to 500",
    );
}

#[test]
fn a_needed_table_that_is_missing_is_named() {
    minimal_with(
        &[("[site]\nname = \"north-yard\"", "")],
        "site: is missing; needed is a table",
    );
}

#[test]
fn at_least_one_instrument_is_needed() {
    let text = "instrument = []\n[site]\nname='a'\n[tun]\nname='b'\nbed_area_m2=7\n[kettle]\ncapacity_l=7000\n";
    assert_eq!(faults(text), ["instrument: has 0; needed are at least 1"]);
    let text = text.replace("instrument = []", "");
    assert_eq!(
        faults(&text),
        ["instrument: is missing; needed is an array of tables"]
    );
}

#[test]
fn a_value_out_of_range_is_refused_with_the_range() {
    minimal_with(
        &[("7.0", "-7.0")],
        "tun.bed_area_m2: is -7.0; allowed is a number from 0.01 to 500",
    );
}

#[test]
fn text_for_a_number_is_refused() {
    minimal_with(
        &[("7.0", "\"7\"")],
        "tun.bed_area_m2: is \"7\"; allowed is a number from 0.01 to 500",
    );
}

#[test]
fn a_number_for_text_is_refused() {
    complete_with(
        &[("bucket = \"lauter\"", "bucket = 3")],
        "influx.bucket: is 3; allowed is text, not empty and without control characters",
    );
}

#[test]
fn anything_but_true_or_false_for_a_switch_is_refused() {
    complete_with(
        &[("tls = true", "tls = 1")],
        "mqtt.tls: is 1; allowed is true or false",
    );
}

#[test]
fn a_fraction_for_a_whole_number_is_refused() {
    minimal_with(
        &[("address = 0", "address = 0.5")],
        "instrument[0] \"runnings_gravity\": modbus.address: is 0.5; allowed is a whole number from 0 to 65535",
    );
}

#[test]
fn not_a_number_and_infinity_are_refused() {
    for value in ["nan", "inf", "-inf"] {
        minimal_with(
            &[("high = 35.0", &format!("high = {value}"))],
            "instrument[0] \"runnings_gravity\": high: is not a finite number; allowed is a number",
        );
    }
}

#[test]
fn a_number_beyond_64_bits_is_refused_with_its_line() {
    for number in ["99999999999999999999", "1e999"] {
        let errors = parse(&edited(MINIMAL, &[("7.0", number)])).unwrap_err();
        assert_eq!(errors.to_string(), "tun.toml:8:15: the number is too large");
    }
}

#[test]
fn a_table_for_a_value_and_a_value_for_a_table_are_refused() {
    minimal_with(
        &[("bed_area_m2 = 7.0", "bed_area_m2 = { x = 1 }")],
        "tun.bed_area_m2: is a table; allowed is a number from 0.01 to 500",
    );
    minimal_with(
        &[("[site]", "web = 3\n[site]")],
        "web: is 3; allowed is a table",
    );
    minimal_with(
        &[("[site]", "alarms = []\n[site]")],
        "alarms: is an array; allowed is a table",
    );
}

#[test]
fn a_choice_that_there_is_not_is_refused_with_those_there_are() {
    complete_with(
        &[("byte_order = \"ABCD\"", "byte_order = \"ABDC\"")],
        "instrument[0] \"runnings_density\": modbus.byte_order: is \"ABDC\"; allowed is ABCD, CDAB, BADC or DCBA",
    );
    complete_with(
        &[("baud = 19200", "baud = 19000")],
        "modbus_link[2] \"turbidity\": baud: is 19000; allowed is 1200, 2400, 4800, 9600, 19200, 38400, 57600 or \
         115200",
    );
}

#[test]
fn names_that_cannot_be_topic_levels_or_file_names_are_refused() {
    for name in ["", "a/b", "a+b", "a#b", "..", "a\\u0007", "a\\\\b", " a"] {
        minimal_with(
            &[("name = \"tun-1\"", &format!("name = \"{name}\""))],
            &format!(
                "tun.name: is \"{name}\"; allowed is a name of 1 to 64 characters without '/', '\\', '+', '#' and \
                 control characters, not beginning with '.' and without a space at either end"
            ),
        );
    }
}

#[test]
fn an_id_that_cannot_be_a_topic_level_or_a_heading_is_refused() {
    minimal_with(
        &[("id = \"runoff_flow\"", "id = \"runoff flow\"")],
        "instrument[1] \"runoff flow\": id: is \"runoff flow\"; allowed is 1 to 64 of the characters A-Z, a-z, 0-9, \
         '_' and '-'",
    );
}

#[test]
fn what_follows_from_a_fault_is_not_reported_beside_it() {
    complete_with(
        &[("host = \"127.0.0.1\"", "host = 3")],
        "mqtt.host: is 3; allowed is text, not empty and without control characters",
    );
    complete_with(
        &[("low = 900.0", "low = \"900\"")],
        "instrument[0] \"runnings_density\": low: is \"900\"; allowed is a number",
    );
    let not_a_table = edited(COMPLETE, &[("[web]", "[webb]")]);
    assert_eq!(
        faults(&not_a_table),
        ["webb: is an unknown key; did you mean web?"]
    );
}

#[test]
fn everything_that_is_wrong_is_reported_at_once_in_the_order_of_the_file() {
    let text = edited(
        MINIMAL,
        &[
            ("name = \"north-yard\"", "nmae = \"north-yard\""),
            ("capacity_l = 7000.0", "capacity_l = 0"),
            ("unit = \"degP\"", "unit = \"kg/m3\""),
            ("table = \"input\"", "table = \"inputs\""),
            ("low = -5.0", "low = 500"),
            (
                "tcp = \"127.0.0.1:502\"",
                "tcp = \"127.0.0.1\"\nbaud = 9600",
            ),
        ],
    );
    let errors = parse(&text).unwrap_err().to_string();
    assert_eq!(
        errors.lines().collect::<Vec<_>>(),
        [
            "tun.toml:3: site.name: is missing; needed is a name of 1 to 64 characters without '/', '\\', '+', '#' and \
             control characters, not beginning with '.' and without a space at either end",
            "tun.toml:4: site.nmae: is an unknown key; did you mean name?",
            "tun.toml:11: kettle.capacity_l: is 0; allowed is a number from 1 to 1000000",
            "tun.toml:13: instrument[0] \"runnings_gravity\": temperature: is missing; a density in kg/m3 needs the id of \
             the instrument that measures its temperature",
            "tun.toml:23: instrument[0] \"runnings_gravity\": modbus.table: is \"inputs\"; allowed is input, holding, \
             discrete or coil",
            "tun.toml:32: instrument[1] \"runoff_flow\": high: is 200; allowed is more than low (500)",
            "tun.toml:43: modbus_link[0] \"skid\": tcp: is \"127.0.0.1\"; allowed is a host and port, such as \
             192.0.2.10:502",
            "tun.toml:44: modbus_link[0] \"skid\": baud: belongs to rtu only; a gateway sets its own serial line",
        ]
    );
}
