//! The topic names of Sparkplug B (specification 3.0.0, chapter 4), and what a primary host says of itself.

use serde::Deserialize;

/// What a message is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    NodeBirth,
    NodeDeath,
    NodeData,
    NodeCommand,
    DeviceBirth,
    DeviceDeath,
    DeviceData,
    DeviceCommand,
}

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Self::NodeBirth => "NBIRTH",
            Self::NodeDeath => "NDEATH",
            Self::NodeData => "NDATA",
            Self::NodeCommand => "NCMD",
            Self::DeviceBirth => "DBIRTH",
            Self::DeviceDeath => "DDEATH",
            Self::DeviceData => "DDATA",
            Self::DeviceCommand => "DCMD",
        }
    }
}

/// The topics of one edge node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Topics {
    pub group: String,
    pub edge_node: String,
}

impl Topics {
    pub fn node(&self, kind: Kind) -> String {
        format!("spBv1.0/{}/{}/{}", self.group, kind.name(), self.edge_node)
    }

    pub fn device(&self, kind: Kind, device: &str) -> String {
        format!("{}/{device}", self.node(kind))
    }

    /// Every device's commands.
    pub fn device_commands(&self) -> String {
        format!("{}/+", self.node(Kind::DeviceCommand))
    }
}

/// Where a host application says whether it is there.
pub fn state_of(host: &str) -> String {
    format!("spBv1.0/STATE/{host}")
}

/// The primary host as it says itself.
#[derive(Debug, Default)]
pub struct PrimaryHost {
    last: Option<State>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
struct State {
    online: bool,
    timestamp: u64,
}

impl PrimaryHost {
    /// Whether it is there after this message, or None where the message says nothing: it is none, or older than
    /// what is known, as a last will of an earlier connection that comes late.
    pub fn told(&mut self, payload: &[u8]) -> Option<bool> {
        let state: State = serde_json::from_slice(payload).ok()?;
        if self
            .last
            .is_some_and(|last| state.timestamp < last.timestamp)
        {
            return None;
        }
        self.last = Some(state);
        Some(state.online)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn topics_are_those_of_the_specification() {
        let topics = Topics {
            group: "brewery".to_owned(),
            edge_node: "north-yard".to_owned(),
        };
        assert_eq!(
            topics.node(Kind::NodeBirth),
            "spBv1.0/brewery/NBIRTH/north-yard"
        );
        assert_eq!(
            topics.device(Kind::DeviceData, "tun-1"),
            "spBv1.0/brewery/DDATA/north-yard/tun-1"
        );
        assert_eq!(state_of("scada"), "spBv1.0/STATE/scada");
    }

    #[test]
    fn a_hosts_older_word_does_not_overrule_a_newer_one() {
        let mut host = PrimaryHost::default();
        assert_eq!(host.told(br#"{"online":true,"timestamp":20}"#), Some(true));
        assert_eq!(host.told(br#"{"online":false,"timestamp":19}"#), None);
        assert_eq!(
            host.told(br#"{"online":false,"timestamp":20}"#),
            Some(false)
        );
        assert_eq!(host.told(b"ONLINE"), None);
        assert_eq!(host.told(br#"{"online":true}"#), None);
        assert_eq!(host.told(br#"{"online":true,"timestamp":21}"#), Some(true));
    }
}
