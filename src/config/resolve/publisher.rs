//! The MQTT broker and the time-series database.

use std::time::Duration;

use super::super::Surroundings;
use super::super::faults::Faults;
use super::super::key_path::KeyPath;
use super::super::model::{Influx, Mqtt, Sparkplug};
use super::super::tables::RootTable;
use super::secret::Reference;

/// Ports of MQTT without and with TLS (IANA service names mqtt and secure-mqtt).
const MQTT_PORT: u16 = 1883;
const MQTT_TLS_PORT: u16 = 8883;

pub fn mqtt(root: &RootTable, surroundings: &Surroundings, faults: &mut Faults) -> Option<Mqtt> {
    let at = KeyPath::default().key("mqtt");
    let table = root.mqtt.as_ref()?;
    let password = Reference {
        name: "password",
        file: table.password_file.as_ref(),
        credential: table.password_credential.as_ref(),
        at: &at,
    };
    if password.is_given() && table.username.is_none() {
        let message = "is missing; a password needs a user name (MQTT 3.1.1, 3.1.2.9)";
        faults.add(&at.key("username"), message);
    }
    if table.ca_file.is_some() && table.tls == Some(false) {
        faults.add(&at.key("ca_file"), "has no use without tls = true");
    }
    if table.commands == Some(true) {
        let users = root.web.as_ref().and_then(|web| web.users_file.as_ref());
        if users.is_none() {
            let message = "needs the tokens of a users' file: give web.users_file too";
            faults.add(&at.key("commands"), message);
        }
        if table.publish == Some(false) {
            faults.add(
                &at.key("commands"),
                "needs publish = true: commands are answered",
            );
        }
    }
    if table.overview == Some(true) && table.publish == Some(false) {
        let message = "needs publish = true: it is published";
        faults.add(&at.key("overview"), message);
    }
    let password = password.read(surroundings, faults);
    let tls = table.tls?;
    let site = root.site.as_ref()?.name.as_ref()?;
    let tun = root.tun.as_ref()?.name.as_ref()?;
    let given = table.client_id.clone();
    let client_id = given.unwrap_or_else(|| format!("lauterd-{site}-{tun}"));
    Some(Mqtt {
        host: table.host.clone()?,
        port: table
            .port
            .unwrap_or(if tls { MQTT_TLS_PORT } else { MQTT_PORT }),
        client_id,
        username: table.username.clone(),
        password,
        tls,
        ca_file: table.ca_file.as_ref().map(Into::into),
        keep_alive: Duration::from_secs(table.keep_alive_s?.into()),
        publish: table.publish?,
        reading_every: Duration::from_secs_f64(table.reading_every_s?),
        overview: table.overview?,
        commands: table.commands?,
    })
}

pub fn sparkplug(root: &RootTable, faults: &mut Faults) -> Option<Sparkplug> {
    let table = root.sparkplug.as_ref()?;
    if root.mqtt.is_none() {
        let message = "needs the table [mqtt]: it publishes to the same broker";
        faults.add(&KeyPath::default().key("sparkplug"), message);
    }
    let site = root.site.as_ref()?.name.as_ref()?;
    Some(Sparkplug {
        group: table.group.clone()?,
        edge_node: table.edge_node.clone().unwrap_or_else(|| site.clone()),
        primary_host: table.primary_host.clone(),
        reading_every: Duration::from_secs_f64(table.reading_every_s?),
    })
}

pub fn influx(
    root: &RootTable,
    surroundings: &Surroundings,
    faults: &mut Faults,
) -> Option<Influx> {
    let at = KeyPath::default().key("influx");
    let table = root.influx.as_ref()?;
    let token = Reference {
        name: "token",
        file: table.token_file.as_ref(),
        credential: table.token_credential.as_ref(),
        at: &at,
    };
    let token = token.read(surroundings, faults);
    Some(Influx {
        url: table.url.clone()?,
        organisation: table.organisation.clone()?,
        bucket: table.bucket.clone()?,
        token,
        timeout: Duration::from_secs_f64(table.timeout_s?),
        every: Duration::from_secs_f64(table.every_s?),
        batch: usize::try_from(table.batch?).ok()?,
    })
}
