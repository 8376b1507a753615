//! What a right configuration still lacks for a given use: live service, a plan, several tuns together.

use lauter_core::projection::{PhBasis, Plan};
use lauter_core::reading::Measures;

use super::error::ConfigError;
use super::faults::of_key;
use super::model::{Configuration, ConfiguredInstrument, ModbusLink, Source, Transport};

impl Configuration {
    /// What keeps this configuration from being run live: instruments that nothing reads.
    pub fn check_live(&self) -> Vec<ConfigError> {
        self.named()
            .filter(|(_, configured)| matches!(configured.source, Source::Recorded))
            .map(|(name, _)| {
                let message = "is not read from anywhere; add [instrument.modbus] or [instrument.mqtt] (without \
                               them it serves replay only)";
                of_key(&self.file, name, message)
            })
            .collect()
    }

    /// What keeps this configuration from serving `plan`.
    pub fn check_plan(&self, plan: &Plan) -> Vec<ConfigError> {
        if plan.ph_basis != PhBasis::Room {
            return Vec::new();
        }
        self.named()
            .filter(|(_, configured)| configured.instrument.measures == Measures::RunningsPh)
            .filter(|(_, configured)| configured.instrument.temperature.is_none())
            .map(|(name, _)| {
                let message = "is missing; the plan's ph_basis is \"room\", so the pH in the line has to be \
                               converted with the id of the instrument that measures its temperature (or set \
                               ph_basis = \"process\" in the plan)";
                of_key(&self.file, format!("{name}: temperature"), message)
            })
            .collect()
    }

    fn named(&self) -> impl Iterator<Item = (String, &ConfiguredInstrument)> {
        self.instruments
            .iter()
            .enumerate()
            .map(|(index, configured)| {
                let name = format!("instrument[{index}] {:?}", configured.instrument.id);
                (name, configured)
            })
    }
}

/// What keeps several tuns from being served together; each clash is reported for the later file.
pub fn clashes(configurations: &[Configuration]) -> Vec<ConfigError> {
    let mut errors = Vec::new();
    for (index, later) in configurations.iter().enumerate() {
        for earlier in &configurations[..index] {
            clash(earlier, later, &mut errors);
        }
    }
    errors
}

fn clash(earlier: &Configuration, later: &Configuration, errors: &mut Vec<ConfigError>) {
    let other = earlier.file.display();
    if earlier.site == later.site && earlier.tun.name == later.tun.name {
        let message = format!(
            "is {:?} at site {:?}, as in {other}; each tun has one file",
            later.tun.name, later.site
        );
        errors.push(of_key(&later.file, "tun.name", message));
    } else if let (Some(first), Some(second)) = (&earlier.mqtt, &later.mqtt)
        && (&first.host, first.port, &first.client_id)
            == (&second.host, second.port, &second.client_id)
    {
        let message = format!(
            "is {:?}, as in {other}; a broker serves one connection of each client identifier",
            second.client_id
        );
        errors.push(of_key(&later.file, "mqtt.client_id", message));
    }
    for (index, link) in later.modbus_links.iter().enumerate() {
        let shared = serial_device(link).filter(|device| {
            earlier
                .modbus_links
                .iter()
                .any(|it| serial_device(it) == Some(device))
        });
        if let Some(device) = shared {
            let message = format!("is {device:?}, as in {other}; a serial line serves one file");
            let key = format!("modbus_link[{index}] {:?}: rtu", link.name);
            errors.push(of_key(&later.file, key, message));
        }
    }
}

fn serial_device(link: &ModbusLink) -> Option<&str> {
    match &link.transport {
        Transport::Rtu { path, .. } => Some(path),
        Transport::Tcp(_) | Transport::RtuOverTcp(_) => None,
    }
}
