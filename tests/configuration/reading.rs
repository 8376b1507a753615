//! What a right file is read as.

use std::path::Path;

use lauter_core::alarm::{AlarmId, Priority};
use lauterd::config::model::{ByteOrder, Parity, Source, Transport};

use crate::support::{COMPLETE, MINIMAL, edited, parse, with_instrument};

#[test]
fn the_minimal_example_is_completed_with_the_documented_defaults() {
    let configuration = parse(MINIMAL).unwrap();
    assert_eq!(configuration.tun.pipe_volume_l, 0.0);
    assert_eq!(configuration.tun.pressure_drop_limit_kpa, 2.5);
    assert_eq!(configuration.kettle.heel_l, 0.0);
    assert_eq!(configuration.store.directory, Path::new("/var/lib/lauterd"));
    assert_eq!(configuration.store.keep_readings_days, 400.0);
    assert_eq!(configuration.store.keep_brews_days, None);
    assert!(configuration.web.enabled);
    assert_eq!(configuration.web.listen.to_string(), "127.0.0.1:8780");
    assert!(configuration.mqtt.is_none() && configuration.influx.is_none());
    assert_eq!(configuration.watch.table_every_s, 600.0);
    assert_eq!(configuration.projection.every_s, 30.0);
    let first = &configuration.instruments[0];
    assert_eq!(first.instrument.stale_after_s, 10.0);
    assert_eq!(first.instrument.link.as_deref(), Some("skid"));
    let Source::Modbus(point) = &first.source else {
        panic!("read over Modbus: {first:?}");
    };
    assert_eq!(point.byte_order, ByteOrder::Abcd);
    assert_eq!((point.scale, point.offset), (1.0, 0.0));
    assert_eq!(point.every.as_millis(), 1000);
}

#[test]
fn the_complete_example_keeps_what_it_says() {
    let configuration = parse(COMPLETE).unwrap();
    assert_eq!(configuration.instruments.len(), 14);
    assert_eq!(configuration.instruments[0].instrument.temperature, Some(1));
    assert_eq!(configuration.kettle.strapping.len(), 3);
    let Source::Modbus(density) = &configuration.instruments[0].source else {
        panic!("density is read over Modbus");
    };
    assert_eq!(density.status.as_ref().unwrap().bits.len(), 4);
    let serial = &configuration.modbus_links[2].transport;
    let Transport::Rtu {
        baud,
        parity,
        stop_bits,
        ..
    } = serial
    else {
        panic!("the third link is serial: {serial:?}");
    };
    assert_eq!((*baud, *parity, *stop_bits), (19_200, Parity::Even, 1));
    let alarm = &configuration.alarms[&AlarmId::TurbidRunnings];
    assert_eq!(alarm.priority, Some(Priority::Medium));
    assert_eq!(alarm.limit, Some(60.0));
}

#[test]
fn numbers_may_be_integers_or_floats_everywhere() {
    let text = edited(
        MINIMAL,
        &[
            ("7.0", "7"),
            ("7000.0", "7000"),
            ("address = 0", "address = 0.0"),
            ("-1.0", "-1"),
        ],
    );
    assert_eq!(parse(&text).unwrap().tun.bed_area_m2, 7.0);
}

#[test]
fn a_serial_line_without_parity_has_two_stop_bits() {
    let serial = "rtu = \"/dev/ttyS0\"\nparity = \"none\"";
    let text = edited(MINIMAL, &[("tcp = \"127.0.0.1:502\"", serial)]);
    let transport = parse(&text).unwrap().modbus_links.remove(0).transport;
    assert!(
        matches!(transport, Transport::Rtu { stop_bits: 2, .. }),
        "{transport:?}"
    );
}

#[test]
fn a_slowly_read_instrument_is_stale_after_ten_periods() {
    let text = edited(MINIMAL, &[("address = 0", "address = 0\nevery_ms = 30000")]);
    assert_eq!(
        parse(&text).unwrap().instruments[0]
            .instrument
            .stale_after_s,
        300.0
    );
}

#[test]
fn the_zero_of_a_pressure_drop_is_given_in_its_own_unit() {
    // 1 mmH2O is 9.80665 Pa (ISO 80000-4).
    let units = [
        ("kPa", 0.12),
        ("mbar", 1.2),
        ("Pa", 120.0),
        ("mmH2O", 0.12 / 9.80665e-3),
    ];
    for (unit, zero) in units {
        let text = with_instrument(&format!(
            "id = \"dp\"\nmeasures = \"bed-pressure-drop\"\nunit = \"{unit}\"\nlow = -1\nhigh = 1000\nzero_kpa = 0.12"
        ));
        let found = parse(&text).unwrap().instruments[2].instrument.zero;
        assert!((found - zero).abs() < 1e-9, "{unit}: {found}");
    }
}

#[test]
fn the_zero_of_a_current_is_its_share_of_sixteen_milliampere() {
    // 1.2 mbar of a span of 100 mbar.
    let zero = parse(COMPLETE).unwrap().instruments[7].instrument.zero;
    assert!((zero - 0.192).abs() < 1e-12, "{zero}");
}

#[test]
fn a_gravity_that_the_instrument_compensates_itself_needs_no_temperature() {
    for unit in ["degP", "sg", "degBx"] {
        parse(&edited(MINIMAL, &[("degP", unit)])).unwrap();
    }
}

#[test]
fn limits_of_a_switch_are_left_out() {
    let text = with_instrument(
        "id = \"rake\"\nmeasures = \"rake-running\"\nunit = \"bool\"\nlow = 0\nhigh = 1",
    );
    let rake = &parse(&text).unwrap().instruments[2].instrument;
    assert_eq!((rake.low, rake.high), (None, None));
}
