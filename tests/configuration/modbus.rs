//! Registers, links and status bits.

use crate::support::{COMPLETE, MINIMAL, complete_with, edited, faults, minimal_with, parse};

const TCP: &str = "tcp = \"127.0.0.1:502\"";

#[test]
fn a_link_that_there_is_not_is_refused() {
    minimal_with(
        &[("link = \"skid\"", "link = \"skidd\"")],
        "instrument[0] \"runnings_gravity\": modbus.link: is \"skidd\"; allowed is the name of a [[modbus_link]]: skid",
    );
    let without_links = MINIMAL.split("[[modbus_link]]").next().unwrap();
    assert_eq!(
        faults(without_links)[0],
        "instrument[0] \"runnings_gravity\": modbus.link: is \"skid\", but the file has no [[modbus_link]]"
    );
}

#[test]
fn a_value_must_end_within_the_table() {
    minimal_with(
        &[("address = 0", "address = 65535")],
        "instrument[0] \"runnings_gravity\": modbus.address: is 65535; a value of type f32 there ends beyond the last \
         address, 65535",
    );
    for (value_type, address) in [("u16", 65_535), ("f32", 65_534), ("f64", 65_532)] {
        let last = format!("address = {address}\ntype = \"{value_type}\"");
        parse(&edited(MINIMAL, &[("address = 0\ntype = \"f32\"", &last)])).unwrap();
    }
}

#[test]
fn a_table_of_bits_holds_bits_and_a_table_of_registers_none() {
    minimal_with(
        &[("table = \"input\"", "table = \"coil\"")],
        "instrument[0] \"runnings_gravity\": modbus.type: is \"f32\"; allowed in the table coil is bit",
    );
    minimal_with(
        &[("type = \"f32\"", "type = \"bit\"")],
        "instrument[0] \"runnings_gravity\": modbus.type: is \"bit\"; allowed in the table input is u16, i16, u32, i32, \
         f32, u64, i64 or f64",
    );
}

#[test]
fn a_bit_is_a_switch() {
    minimal_with(
        &[
            ("table = \"input\"", "table = \"coil\""),
            ("type = \"f32\"", "type = \"bit\""),
        ],
        "instrument[0] \"runnings_gravity\": modbus.type: is \"bit\", but the unit is degP; a bit has the unit bool",
    );
}

#[test]
fn a_scale_of_zero_is_refused() {
    minimal_with(
        &[("address = 0", "address = 0\nscale = 0")],
        "instrument[0] \"runnings_gravity\": modbus.scale: is 0; allowed is any other number, because 0 makes every \
         reading the same",
    );
}

#[test]
fn a_reading_period_out_of_range_is_refused() {
    minimal_with(
        &[("address = 0", "address = 0\nevery_ms = 10")],
        "instrument[0] \"runnings_gravity\": modbus.every_ms: is 10; allowed is a whole number from 50 to 600000",
    );
}

#[test]
fn a_serial_line_has_fewer_unit_identifiers_than_tcp() {
    for unit_id in [0, 248] {
        let line = format!("unit_id = {unit_id}");
        parse(&edited(MINIMAL, &[("unit_id = 1", &line)])).unwrap();
        for way in ["rtu_over_tcp = \"127.0.0.1:502\"", "rtu = \"/dev/ttyS0\""] {
            minimal_with(
                &[("unit_id = 1", &line), (TCP, way)],
                &format!(
                    "instrument[0] \"runnings_gravity\": modbus.unit_id: is {unit_id}; allowed on a serial line is 1 to 247"
                ),
            );
        }
    }
    minimal_with(
        &[("unit_id = 1", "unit_id = 256")],
        "instrument[0] \"runnings_gravity\": modbus.unit_id: is 256; allowed is a whole number from 0 to 255",
    );
}

#[test]
fn a_status_register_has_sixteen_bits() {
    for bit in ["16", "03", "x"] {
        complete_with(
            &[("\"0\" = \"failure\"", &format!("\"{bit}\" = \"failure\""))],
            &format!(
                "instrument[0] \"runnings_density\": modbus.status.bits.{bit}: is no bit; allowed are \"0\" to \"15\", \
                 found \"{bit}\""
            ),
        );
    }
}

#[test]
fn a_status_bit_stands_for_a_class_of_fault() {
    complete_with(
        &[("\"0\" = \"failure\"", "\"0\" = \"good\"")],
        "instrument[0] \"runnings_density\": modbus.status.bits.0: is \"good\"; a bit stands for a fault, and good is when \
         none is set",
    );
    complete_with(
        &[("\"0\" = \"failure\"", "\"0\" = \"fail\"")],
        "instrument[0] \"runnings_density\": modbus.status.bits.0: is \"fail\"; allowed is good, maintenance-required, \
         out-of-specification, function-check or failure",
    );
}

#[test]
fn a_status_register_needs_a_bit_and_a_register_table() {
    let status = "type = \"bit\"\n[instrument.modbus.status]\naddress = 0\nbits = {}";
    let text = edited(COMPLETE, &[("type = \"bit\"", status)]);
    assert_eq!(
        faults(&text),
        [
            "instrument[11] \"rake_running\": modbus.status: needs 16-bit registers; the instrument's table must be input \
             or holding",
            "instrument[11] \"rake_running\": modbus.status.bits: is empty; needed is at least one bit, such as \"0\" = \
             \"failure\"",
        ]
    );
}

#[test]
fn a_link_has_exactly_one_way() {
    minimal_with(
        &[(TCP, "")],
        "modbus_link[0] \"skid\": needs one of tcp = \"host:port\", rtu_over_tcp = \"host:port\" and rtu = \"/dev/…\"",
    );
    minimal_with(
        &[(TCP, "tcp = \"127.0.0.1:502\"\nrtu = \"/dev/ttyS0\"")],
        "modbus_link[0] \"skid\": rtu: tcp is given too; a link has one of them",
    );
}

#[test]
fn the_settings_of_a_serial_line_belong_to_rtu() {
    for setting in ["baud = 9600", "parity = \"odd\"", "stop_bits = 2"] {
        let key = setting.split(' ').next().unwrap();
        minimal_with(
            &[(TCP, &format!("rtu_over_tcp = \"127.0.0.1:502\"\n{setting}"))],
            &format!(
                "modbus_link[0] \"skid\": {key}: belongs to rtu only; a gateway sets its own serial line"
            ),
        );
    }
}

#[test]
fn a_link_is_not_named_like_the_broker() {
    let text = MINIMAL.replace("\"skid\"", "\"mqtt\"");
    assert_eq!(
        faults(&text),
        [
            "modbus_link[0] \"mqtt\": name: is \"mqtt\", which names the MQTT broker; give it another name"
        ]
    );
}

#[test]
fn a_link_stands_once_by_name_and_by_address() {
    let text = format!("{MINIMAL}\n[[modbus_link]]\nname = \"skid\"\n{TCP}\n");
    assert_eq!(
        faults(&text),
        [
            "modbus_link[1] \"skid\": name: is \"skid\", as is modbus_link[0]; a name stands once",
            "modbus_link[1] \"skid\": tcp: is \"127.0.0.1:502\", as in modbus_link[0]; one link serves all devices behind \
             one address",
        ]
    );
}
