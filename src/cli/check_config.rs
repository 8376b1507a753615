//! `lauterd check-config`: the resolved instruments as a table, and every error at once.

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;
use lauter_core::reading::Measures;
use lauter_core::units::Unit;
use serde_json::{Value, json};

use crate::config::model::{
    Configuration, ConfiguredInstrument, ModbusLink, ModbusPoint, Source, Transport, ValueType,
};
use crate::config::{self, Secrets, Surroundings};
use crate::exit::{Failure, Kind};

/// Checks configuration files: prints the resolved instruments, or everything that is wrong.
///
/// Several files, one for each tun, are also checked against one another. Secrets need not be there: what the
/// service would miss is noted on standard error.
#[derive(Debug, Args)]
pub struct Arguments {
    /// Configuration files, one for each tun.
    #[arg(required_unless_present = "schema", value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Prints what was resolved as JSON.
    #[arg(long)]
    pub json: bool,
    /// Prints the JSON Schema of the configuration file and ends.
    #[arg(long, conflicts_with_all = ["files", "json"])]
    pub schema: bool,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    if arguments.schema {
        return print(&format!("{:#}\n", config::schema::configuration()));
    }
    let surroundings = Surroundings::of_process(Secrets::Leave);
    let configurations = config::load_all_with(&arguments.files, &surroundings)?;
    note_missing_secrets(arguments, surroundings);
    for configuration in &configurations {
        for note in missing_instruments(configuration) {
            eprintln!("note: {}: {note}", configuration.file.display());
        }
    }
    if arguments.json {
        let all: Vec<Value> = configurations.iter().map(as_json).collect();
        return print(&format!("{:#}\n", Value::Array(all)));
    }
    let pages: Vec<String> = configurations.iter().map(page).collect();
    print(&pages.join("\n"))
}

/// A reader that has gone away, such as `head`, is no failure.
fn print(text: &str) -> Result<(), Failure> {
    use std::io::{ErrorKind, Write as _};
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            let message = format!("standard output cannot be written: {error}");
            Err(Failure::new(Kind::Io, message))
        }
        _ => Ok(()),
    }
}

fn note_missing_secrets(arguments: &Arguments, mut surroundings: Surroundings) {
    surroundings.secrets = Secrets::Read;
    if let Err(errors) = config::load_all_with(&arguments.files, &surroundings) {
        for error in errors.errors {
            eprintln!("note for the service: {error}");
        }
    }
}

/// What the kettle's extract balance lacks. Allowed, since an installation grows instrument by instrument, but
/// whoever forgot one should hear of it before the brew.
fn missing_instruments(configuration: &Configuration) -> Vec<&'static str> {
    let measures = |any: &[Measures]| {
        let mut instruments = configuration.instruments.iter();
        instruments.any(|configured| any.contains(&configured.instrument.measures))
    };
    let mut notes = Vec::new();
    if !measures(&[Measures::RunningsGravity]) {
        notes.push("no instrument measures runnings-gravity; without it the kettle's extract is not measured");
    }
    let volume = [
        Measures::RunoffFlow,
        Measures::RunoffTotal,
        Measures::KettleVolume,
    ];
    if !measures(&volume) {
        notes.push(
            "no instrument measures runoff-flow, runoff-total or kettle-volume; without one of them there is no \
             kettle volume and no stop-point",
        );
    }
    notes
}

fn page(configuration: &Configuration) -> String {
    let mut page = format!(
        "{} / {}: bed {} m2, kettle {} L, pressure drop up to {} kPa\n\n",
        configuration.site,
        configuration.tun.name,
        configuration.tun.bed_area_m2,
        configuration.kettle.capacity_l,
        configuration.tun.pressure_drop_limit_kpa
    );
    let heading = [
        "id",
        "measures",
        "unit",
        "range",
        "source",
        "compensated by",
        "stale after",
        "read every",
    ];
    let instruments = configuration.instruments.iter();
    let rows = instruments.map(|configured| row(configured, configuration));
    page.push_str(&columns(
        heading.map(str::to_owned).into_iter().collect(),
        rows.collect(),
    ));
    page.push('\n');
    for link in &configuration.modbus_links {
        let _ = writeln!(page, "modbus link {}: {}", link.name, link_text(link));
    }
    for line in services(configuration) {
        let _ = writeln!(page, "{line}");
    }
    let _ = writeln!(page, "\n{}: right", configuration.file.display());
    page
}

fn row(configured: &ConfiguredInstrument, configuration: &Configuration) -> Vec<String> {
    let instrument = &configured.instrument;
    let unit = match &instrument.span {
        Some(span) => format!(
            "mA ({} to {} {})",
            span.at_4_ma,
            span.at_20_ma,
            span.unit.name()
        ),
        None => instrument.unit.name().to_owned(),
    };
    let range = match (instrument.low, instrument.high) {
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (Some(low), None) => format!("from {low}"),
        (None, Some(high)) => format!("to {high}"),
        (None, None) if instrument.unit == Unit::Bool => "0, 1".to_owned(),
        (None, None) => "-".to_owned(),
    };
    let compensation = instrument.temperature.map_or("-".to_owned(), |index| {
        configuration.instruments[index].instrument.id.clone()
    });
    let every = match &configured.source {
        Source::Modbus(point) => format!("{} ms", point.every.as_millis()),
        Source::Mqtt(_) | Source::Recorded => "-".to_owned(),
    };
    vec![
        instrument.id.clone(),
        config::spelt(instrument.measures),
        unit,
        range,
        source_text(&configured.source, configuration),
        compensation,
        format!("{} s", instrument.stale_after_s),
        every,
    ]
}

fn source_text(source: &Source, configuration: &Configuration) -> String {
    match source {
        Source::Modbus(point) => modbus_text(point, &configuration.modbus_links[point.link]),
        Source::Mqtt(point) => {
            let pointer = point.pointer.as_deref().unwrap_or_default();
            format!(
                "mqtt {}{}{pointer}",
                point.topic,
                if pointer.is_empty() { "" } else { " " }
            )
        }
        Source::Recorded => "recorded only".to_owned(),
    }
}

fn modbus_text(point: &ModbusPoint, link: &ModbusLink) -> String {
    let mut text = format!(
        "{} unit {} {} {} {}",
        link.name,
        point.unit_id,
        config::spelt(point.table),
        point.address,
        config::spelt(point.value_type)
    );
    if !matches!(
        point.value_type,
        ValueType::U16 | ValueType::I16 | ValueType::Bit
    ) {
        let _ = write!(text, " {}", config::spelt(point.byte_order));
    }
    text
}

fn link_text(link: &ModbusLink) -> String {
    let timeout = link.timeout.as_millis();
    match &link.transport {
        Transport::Tcp(address) => format!("Modbus TCP {address}, answers within {timeout} ms"),
        Transport::RtuOverTcp(address) => {
            format!("Modbus RTU through the gateway {address}, answers within {timeout} ms")
        }
        Transport::Rtu {
            path,
            baud,
            parity,
            stop_bits,
        } => format!(
            "Modbus RTU {path}, {baud} bit/s, parity {}, stop bits {stop_bits}, answers within {timeout} ms",
            config::spelt(parity)
        ),
    }
}

fn services(configuration: &Configuration) -> Vec<String> {
    let store = &configuration.store;
    let web = &configuration.web;
    let mqtt = configuration
        .mqtt
        .as_ref()
        .map_or("none".to_owned(), |mqtt| {
            let tls = if mqtt.tls { " with TLS" } else { "" };
            let does = if mqtt.publish {
                "publishes"
            } else {
                "reads instruments only"
            };
            format!(
                "{}:{}{tls} as {}, {does}",
                mqtt.host, mqtt.port, mqtt.client_id
            )
        });
    let influx = configuration
        .influx
        .as_ref()
        .map_or("none".to_owned(), |influx| {
            format!(
                "{}, bucket {} of {}",
                influx.url, influx.bucket, influx.organisation
            )
        });
    let brews = store
        .keep_brews_days
        .map_or("for good".to_owned(), |days| format!("for {days} days"));
    let mut lines = vec![
        format!(
            "record: {}, readings kept for {} days, brews {brews}",
            store.directory.display(),
            store.keep_readings_days
        ),
        if web.enabled {
            let scheme = if web.certificate.is_some() {
                "https"
            } else {
                "http"
            };
            let who = match &web.users_file {
                Some(file) => format!("users of {}", file.display()),
                None => "this machine may act, others may watch".to_owned(),
            };
            format!("page: {scheme}://{}; {who}", web.listen)
        } else {
            "page: none".to_owned()
        },
        format!("MQTT: {mqtt}"),
        format!("time-series database: {influx}"),
    ];
    if let Some(sparkplug) = &configuration.sparkplug {
        lines.push(format!(
            "Sparkplug B: edge node {} of the group {}, at the same broker",
            sparkplug.edge_node, sparkplug.group
        ));
    }
    let changed: Vec<&str> = configuration
        .alarms
        .keys()
        .map(|alarm| alarm.name())
        .collect();
    if !changed.is_empty() {
        lines.push(format!("alarms changed here: {}", changed.join(", ")));
    }
    for error in configuration.check_live() {
        lines.push(format!("for replay only: {} {}", error.key, error.message));
    }
    lines
}

/// Rows below a heading, each column as wide as its widest cell.
fn columns(heading: Vec<String>, rows: Vec<Vec<String>>) -> String {
    let all: Vec<Vec<String>> = std::iter::once(heading).chain(rows).collect();
    let widths: Vec<usize> = (0..all[0].len())
        .map(|column| {
            all.iter()
                .map(|row| row[column].chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    let mut text = String::new();
    for row in all {
        let cells = row
            .iter()
            .zip(&widths)
            .map(|(cell, width)| format!("{cell:width$}"));
        let line = cells.collect::<Vec<_>>().join("  ");
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

fn as_json(configuration: &Configuration) -> Value {
    let instruments: Vec<Value> = configuration
        .instruments
        .iter()
        .map(|configured| instrument_json(configured, configuration))
        .collect();
    let links: Vec<Value> = configuration
        .modbus_links
        .iter()
        .map(|link| json!({"name": link.name, "link": link_text(link)}))
        .collect();
    json!({
        "file": configuration.file.display().to_string(),
        "site": configuration.site,
        "tun": configuration.tun.name,
        "instruments": instruments,
        "modbus_links": links,
        "services": {
            "store": configuration.store.directory.display().to_string(),
            "web": configuration.web.enabled.then(|| configuration.web.listen.to_string()),
            "mqtt": configuration.mqtt.as_ref().map(|mqtt| format!("{}:{}", mqtt.host, mqtt.port)),
            "sparkplug": configuration.sparkplug.as_ref().map(|given| format!("{}/{}", given.group, given.edge_node)),
            "influx": configuration.influx.as_ref().map(|influx| influx.url.clone()),
        },
        "live": configuration.check_live().is_empty(),
    })
}

fn instrument_json(configured: &ConfiguredInstrument, configuration: &Configuration) -> Value {
    let mut value = json!(configured.instrument);
    value["temperature"] = configured
        .instrument
        .temperature
        .map_or(Value::Null, |index| {
            json!(configuration.instruments[index].instrument.id)
        });
    value["source"] = json!(source_text(&configured.source, configuration));
    value["every_ms"] = match &configured.source {
        Source::Modbus(point) => json!(point.every.as_millis() as u64),
        Source::Mqtt(_) | Source::Recorded => Value::Null,
    };
    value
}
