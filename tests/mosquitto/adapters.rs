//! The two adapters of one tun, started as the runtime would, with the far ends of their queues.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use lauter_core::reading::{Cause, Instrument, Measures, Reading};
use lauter_core::supervisor::LinkState;
use lauter_core::units::Unit;
use lauterd::clock::{Clock, Start};
use lauterd::config::model::{
    Configuration, ConfiguredInstrument, Display, Kettle, Mqtt, MqttPoint, Projection, Source,
    Store, Tun, Watch, Web,
};
use lauterd::ingest::mqtt::MqttIngestHealth;
use lauterd::ingest::{Arrival, Intake};
use lauterd::publish::mqtt::message::{Outlet, RECEIPTS_BOUND, Receipt};
use lauterd::publish::mqtt::{Publisher, Sequence};
use lauterd::{ingest, publish};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::eventually;

fn instrument(id: &str, measures: Measures, unit: Unit, point: MqttPoint) -> ConfiguredInstrument {
    ConfiguredInstrument {
        instrument: Instrument {
            id: id.to_owned(),
            measures,
            unit,
            span: None,
            temperature: None,
            low: None,
            high: None,
            stale_after_s: 10.0,
            zero: 0.0,
            link: Some(ingest::mqtt::LINK.to_owned()),
        },
        source: Source::Mqtt(point),
    }
}

fn point(topic: &str, pointer: Option<&str>) -> MqttPoint {
    MqttPoint {
        topic: topic.to_owned(),
        pointer: pointer.map(str::to_owned),
        time_pointer: None,
    }
}

fn configuration(mqtt: Mqtt) -> Configuration {
    Configuration {
        file: PathBuf::from("tun-1.toml"),
        site: "north-yard".to_owned(),
        tun: Tun {
            name: "tun-1".to_owned(),
            bed_area_m2: 7.0,
            pipe_volume_l: 60.0,
            pressure_drop_limit_kpa: 2.5,
        },
        kettle: Kettle {
            capacity_l: 7000.0,
            heel_l: 0.0,
            strapping: Vec::new(),
        },
        instruments: vec![
            instrument(
                "density",
                Measures::RunningsGravity,
                Unit::KilogramPerCubicMetre,
                point("skid/density", None),
            ),
            instrument(
                "flow",
                Measures::RunoffFlow,
                Unit::LitrePerMinute,
                point("skid/state", Some("/flow")),
            ),
            instrument(
                "rake",
                Measures::RakeRunning,
                Unit::Bool,
                point("skid/state", Some("/rake")),
            ),
        ],
        modbus_links: Vec::new(),
        store: Store {
            directory: PathBuf::from("store"),
            keep_readings_days: 90.0,
            keep_brews_days: None,
        },
        web: Web {
            enabled: false,
            listen: ([127, 0, 0, 1], 0).into(),
            host_name: None,
            users_file: None,
            certificate: None,
            session: std::time::Duration::from_secs(3600),
            watch_session: std::time::Duration::from_secs(3600),
            display: Display::default(),
        },
        mqtt: Some(mqtt),
        influx: None,
        alarms: BTreeMap::new(),
        watch: Watch {
            table_every_s: 600.0,
            runoff_every_s: 5.0,
            reading_every_s: 1.0,
            no_flow_l_min: 1.0,
            assumed_temperature_c: 75.0,
            wort_factor: 1.04,
        },
        projection: Projection {
            every_s: 30.0,
            stop_ahead_s: 600.0,
            limit_ahead_s: 600.0,
            top_up_temperature_c: 80.0,
        },
    }
}

/// The ingest adapter and everything it has handed over.
pub struct Ingest {
    arrivals: mpsc::Receiver<Arrival>,
    seen: Vec<Arrival>,
    pub health: Arc<MqttIngestHealth>,
    task: JoinHandle<()>,
    stop: CancellationToken,
}

impl Ingest {
    pub fn start(mqtt: Mqtt) -> Self {
        let (intake, arrivals) = Intake::channel();
        let stop = CancellationToken::new();
        let (task, health) = ingest::mqtt::start(
            &configuration(mqtt),
            intake,
            Clock::start(&Start::default()),
            stop.clone(),
        )
        .expect("instruments read from MQTT");
        Self {
            arrivals,
            seen: Vec::new(),
            health,
            task,
            stop,
        }
    }

    pub fn seen(&mut self) -> &[Arrival] {
        while let Ok(arrival) = self.arrivals.try_recv() {
            self.seen.push(arrival);
        }
        &self.seen
    }

    pub fn values(&mut self, wanted: usize) -> Vec<Result<f64, Cause>> {
        self.seen()
            .iter()
            .filter_map(|arrival| match arrival {
                Arrival::Reading {
                    instrument,
                    reading: Reading { value, .. },
                } if *instrument == wanted => Some(*value),
                _ => None,
            })
            .collect()
    }

    pub fn links(&mut self) -> Vec<LinkState> {
        self.seen()
            .iter()
            .filter_map(|arrival| match arrival {
                Arrival::Link { name, state, .. } if name == ingest::mqtt::LINK => Some(*state),
                _ => None,
            })
            .collect()
    }

    pub async fn connected(&self) {
        eventually("the instruments' connection", || {
            self.health.snapshot().connected
        })
        .await;
    }

    pub async fn end(self) {
        self.stop.cancel();
        self.task.await.expect("an orderly end");
    }
}

/// The publisher with both ends of its queues.
pub struct Published {
    pub outlet: Outlet,
    pub receipts: mpsc::Receiver<Receipt>,
    pub publisher: Publisher,
    pub sequence: Arc<AtomicU64>,
    pub stop: CancellationToken,
}

impl Published {
    pub fn start(mqtt: Mqtt) -> Self {
        let (outlet, inlet) = Outlet::lanes();
        let (sender, receipts) = mpsc::channel(RECEIPTS_BOUND);
        let sequence = Arc::new(AtomicU64::new(1_000_000));
        let stop = CancellationToken::new();
        let counter = Arc::clone(&sequence);
        let next: Sequence = Arc::new(move || counter.fetch_add(1, Ordering::Relaxed));
        let publisher = publish::mqtt::start(
            &configuration(mqtt),
            inlet,
            sender,
            next,
            Clock::start(&Start::default()),
            stop.clone(),
        )
        .expect("publishing is on");
        Self {
            outlet,
            receipts,
            publisher,
            sequence,
            stop,
        }
    }

    pub async fn connected(&self, connections: u64) {
        let health = self.publisher.health.clone();
        eventually("the publisher's connection", || {
            let state = health.borrow();
            state.connected && state.connections >= connections
        })
        .await;
    }
}
