//! Figures of the service for a monitoring system, in OpenMetrics text.
//!
//! Owns the names of the figures and the form of the text (OpenMetrics 1.0, from memory; a parser by others checks it
//! in the tests). A figure that is missing is left out: a made-up zero would be believed.

use std::fmt::Write as _;

use lauter_core::supervisor::Line;
use serde_json::Value;

use crate::runtime::request::TunStatus;
use crate::store::StoreHealth;

pub const MEDIA_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// A label's name and value.
type Label<'a> = (&'a str, &'a str);

/// One family of samples: a name, its kind and meaning, then a line for each.
struct Family {
    name: &'static str,
    suffix: &'static str,
    lines: String,
}

impl Family {
    fn gauge(name: &'static str, unit: &'static str, help: &str) -> Self {
        Self::new(name, "gauge", unit, "", help)
    }

    fn counter(name: &'static str, help: &str) -> Self {
        Self::new(name, "counter", "", "_total", help)
    }

    fn new(name: &'static str, kind: &str, unit: &str, suffix: &'static str, help: &str) -> Self {
        let mut lines = format!("# TYPE {name} {kind}\n");
        if !unit.is_empty() {
            let _ = writeln!(lines, "# UNIT {name} {unit}");
        }
        let _ = writeln!(lines, "# HELP {name} {help}");
        Self {
            name,
            suffix,
            lines,
        }
    }

    fn add(&mut self, labels: &[Label], value: f64) {
        let labels: Vec<String> = labels
            .iter()
            .map(|(name, value)| format!("{name}=\"{}\"", escaped(value)))
            .collect();
        let labels = if labels.is_empty() {
            String::new()
        } else {
            format!("{{{}}}", labels.join(","))
        };
        let _ = writeln!(self.lines, "{}{}{labels} {value}", self.name, self.suffix);
    }

    fn add_known(&mut self, labels: &[Label], value: Option<f64>) {
        if let Some(value) = value.filter(|value| value.is_finite()) {
            self.add(labels, value);
        }
    }
}

fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('\n', "\\n")
}

/// The figures of all tuns; `silent` is how many do not answer.
pub fn text(tuns: &[TunStatus], silent: usize, record: &StoreHealth) -> String {
    let mut text = String::new();
    for family in of_service(tuns, silent, record)
        .into_iter()
        .chain(of_runoff(tuns))
        .chain(of_instruments(tuns))
        .chain(of_publishers(tuns))
    {
        text.push_str(&family.lines);
    }
    text.push_str("# EOF\n");
    text
}

fn of_service(tuns: &[TunStatus], silent: usize, record: &StoreHealth) -> Vec<Family> {
    let mut build = Family::gauge(
        "lauterd_build",
        "",
        "Always 1; the version is in the label.",
    );
    build.add(&[("version", env!("CARGO_PKG_VERSION"))], 1.0);
    let mut answering = Family::gauge("lauterd_tuns_answering", "", "Tuns whose task answers.");
    answering.add(&[], tuns.len() as f64);
    let mut mute = Family::gauge(
        "lauterd_tuns_silent",
        "",
        "Tuns whose task does not answer.",
    );
    mute.add(&[], silent as f64);
    let mut queued = Family::gauge(
        "lauterd_record_queued",
        "",
        "Requests that wait for the record.",
    );
    queued.add(&[], record.queued as f64);
    let mut failed = Family::counter(
        "lauterd_record_failed",
        "Requests the record could not serve.",
    );
    failed.add(&[], record.failed as f64);
    let mut thinned = Family::counter(
        "lauterd_record_thinned",
        "Rows of the outbox given up for want of room.",
    );
    thinned.add(&[], record.thinned as f64);
    vec![build, answering, mute, queued, failed, thinned]
}

fn of_tun(status: &TunStatus) -> [Label<'_>; 2] {
    [("site", &status.site), ("tun", &status.tun)]
}

fn of_runoff(tuns: &[TunStatus]) -> Vec<Family> {
    let mut brewing = Family::gauge("lauterd_brew_running", "", "1 while a brew is under way.");
    let mut volume = Family::gauge(
        "lauterd_kettle_volume_litres",
        "litres",
        "Volume in the kettle.",
    );
    let mut gravity = Family::gauge(
        "lauterd_kettle_gravity_plato",
        "plato",
        "Gravity in the kettle.",
    );
    let mut runnings = Family::gauge(
        "lauterd_runnings_gravity_plato",
        "plato",
        "Gravity of the runnings.",
    );
    let mut ph = Family::gauge(
        "lauterd_runnings_ph",
        "",
        "pH of the runnings, on the basis of the plan.",
    );
    let mut flow = Family::gauge(
        "lauterd_runoff_flow_litres_per_minute",
        "litres_per_minute",
        "Flow of the run-off.",
    );
    let mut pressure = Family::gauge(
        "lauterd_bed_pressure_drop_kilopascals",
        "kilopascals",
        "Pressure drop over the bed.",
    );
    let mut stop = Family::gauge(
        "lauterd_stop_volume_litres",
        "litres",
        "Projected volume at the stop-point.",
    );
    let mut alarms = Family::gauge(
        "lauterd_alarm_standing",
        "",
        "1 for every alarm that is not normal.",
    );
    for status in tuns {
        let tun = of_tun(status);
        brewing.add(&tun, f64::from(u8::from(status.brew.is_some())));
        if let Some(runoff) = &status.runoff {
            volume.add_known(&tun, Some(runoff.kettle_volume_l));
            gravity.add_known(&tun, runoff.kettle_gravity_p);
            runnings.add_known(&tun, runoff.runnings_gravity_p);
            ph.add_known(&tun, runoff.runnings_ph);
            flow.add_known(&tun, runoff.flow_l_min);
            pressure.add_known(&tun, runoff.pressure_drop_kpa);
        }
        let projected = status
            .projection
            .as_ref()
            .and_then(|line| line.stop.as_ref());
        stop.add_known(&tun, projected.map(|stop| stop.volume_l));
        for line in &status.alarms {
            let Line::Alarm(line) = line else { continue };
            let (state, priority) = (name(&line.to), name(&line.priority));
            alarms.add(
                &[
                    tun[0],
                    tun[1],
                    ("alarm", line.alarm.name()),
                    ("instrument", line.instrument.as_deref().unwrap_or_default()),
                    ("state", &state),
                    ("priority", &priority),
                ],
                1.0,
            );
        }
    }
    vec![
        brewing, volume, gravity, runnings, ph, flow, pressure, stop, alarms,
    ]
}

fn of_instruments(tuns: &[TunStatus]) -> Vec<Family> {
    let mut value = Family::gauge(
        "lauterd_reading",
        "",
        "Conditioned reading, in the unit of the label.",
    );
    let mut good = Family::gauge(
        "lauterd_reading_believed",
        "",
        "1 while the instrument has a value that is believed.",
    );
    for status in tuns {
        let tun = of_tun(status);
        for reading in &status.readings {
            let unit = name(&reading.unit);
            let id = ("instrument", reading.instrument.as_str());
            value.add_known(&[tun[0], tun[1], id, ("unit", &unit)], reading.value);
            let believed = f64::from(u8::from(reading.value.is_some()));
            good.add(&[tun[0], tun[1], id], believed);
        }
    }
    vec![value, good]
}

fn of_publishers(tuns: &[TunStatus]) -> Vec<Family> {
    let mut connected = Family::gauge(
        "lauterd_mqtt_connected",
        "",
        "1 while there is a connection to the broker.",
    );
    let mut acknowledged = Family::counter(
        "lauterd_mqtt_acknowledged",
        "Messages the broker has acknowledged.",
    );
    let mut dropped = Family::counter(
        "lauterd_mqtt_dropped",
        "Live messages that found no connection.",
    );
    let mut delivered = Family::counter(
        "lauterd_influx_delivered",
        "Points the time-series database has taken.",
    );
    for status in tuns {
        let tun = of_tun(status);
        let publishers = &status.health["publishers"];
        let mqtt = &publishers["mqtt"];
        let is_up = mqtt["connected"].as_bool();
        connected.add_known(&tun, is_up.map(|up| f64::from(u8::from(up))));
        acknowledged.add_known(&tun, mqtt["acknowledged"].as_f64());
        dropped.add_known(&tun, mqtt["dropped"].as_f64());
        delivered.add_known(&tun, publishers["influx"]["delivered"].as_f64());
    }
    vec![connected, acknowledged, dropped, delivered]
}

/// A plain enum's name.
fn name(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(Value::String(name)) => name,
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_cannot_break_its_line_and_a_missing_figure_is_left_out() {
        let mut family = Family::gauge("lauterd_x", "", "X.");
        family.add(&[("tun", "a\"b\\c\nd")], 1.5);
        family.add_known(&[], None);
        family.add_known(&[], Some(f64::NAN));
        let expected =
            "# TYPE lauterd_x gauge\n# HELP lauterd_x X.\nlauterd_x{tun=\"a\\\"b\\\\c\\nd\"} 1.5\n";
        assert_eq!(family.lines, expected);
    }
}
