//! A service around invented brews, with a task that answers for each tun as the real one would.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::{Arc, Mutex};

use lauter_core::alarm::{AlarmId, AlarmState, OperationFault};
use lauter_core::projection::Plan;
use lauter_core::supervisor::{Place, Sample, SampleDoubt};
use lauterd::clock::wall_now;
use lauterd::config::{self, Configuration, Surroundings};
use lauterd::runtime::request::{
    NewCorrection, News, REQUESTS_BOUND, Refusal, Request, SampleReceipt, TunHandle,
};
use lauterd::store::{NewCheck, Store, StoredCheck, StoredCorrection, TunId};
use lauterd::web::{self, Entrance};
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::http::{self, Reply};
use crate::invented::{header, record_brew, status};

pub const SITE: &str = "north-yard";
pub const TUN: &str = "tun-1";
/// The brew of the record; a name that needs encoding in an address.
pub const BREW: &str = "2026 #0412 Süd";

/// Everything the tuns were asked for and did, in order.
pub type Done = Arc<Mutex<Vec<String>>>;

pub struct Brewhouse {
    runtime: Runtime,
    pub address: SocketAddr,
    pub directory: TempDir,
    pub store: Store,
    done: Done,
    stop: CancellationToken,
    service: Option<JoinHandle<()>>,
}

impl Brewhouse {
    /// One tun with one finished brew in its record and none under way.
    pub fn new() -> Self {
        Self::with_tuns(&[TUN])
    }

    pub fn with_tuns(names: &[&str]) -> Self {
        Self::behind(Entrance::open(), names)
    }

    /// With a door of its own.
    pub fn behind(entrance: Entrance, names: &[&str]) -> Self {
        Self::set_up(entrance, names, "")
    }

    /// One tun with more in its configuration.
    pub fn with_settings(settings: &str) -> Self {
        Self::set_up(Entrance::open(), &[TUN], settings)
    }

    fn set_up(entrance: Entrance, names: &[&str], settings: &str) -> Self {
        let configuration = Arc::new(configuration(settings));
        let directory = tempfile::tempdir().unwrap();
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .unwrap();
        let done = Done::default();
        let stop = CancellationToken::new();
        let (address, store, service) = runtime.block_on(async {
            let store = Store::open(directory.path()).unwrap();
            let mut tuns = Vec::new();
            for name in names {
                let id = store.tun(SITE, name).await.unwrap();
                tuns.push(tun(id, name, &store, &done, &configuration));
            }
            let first = tuns[0].id();
            store
                .run(move |db| Ok(record_brew(db, first)))
                .await
                .unwrap();
            let listener = web::bind("127.0.0.1:0".parse().unwrap()).unwrap();
            let address = listener.local_addr().unwrap();
            let service = web::serve(listener, tuns, store.clone(), entrance, stop.clone());
            (address, store, service)
        });
        Self {
            runtime,
            address,
            directory,
            store,
            done,
            stop,
            service: Some(service),
        }
    }

    pub fn done(&self) -> Vec<String> {
        self.done.lock().unwrap().clone()
    }

    pub fn wait<T>(&self, future: impl Future<Output = T>) -> T {
        self.runtime.block_on(future)
    }

    /// Tells the service to stop.
    pub fn begin_stop(&self) {
        self.stop.cancel();
    }

    /// Waits until it has stopped.
    pub fn stopped(&mut self) {
        let service = self.service.take().expect("stopped once");
        self.runtime.block_on(service).unwrap();
    }

    /// GET below the first tun.
    pub fn get(&self, path: &str) -> Reply {
        self.get_at(&format!("/api/v1/tuns/{SITE}/{TUN}{path}"))
    }

    pub fn get_at(&self, path: &str) -> Reply {
        http::request(self.address, "GET", path, &[], "")
    }

    /// POST of JSON below the first tun.
    pub fn post(&self, path: &str, body: &str) -> Reply {
        self.post_as("application/json", path, body)
    }

    pub fn post_as(&self, content_type: &str, path: &str, body: &str) -> Reply {
        let path = format!("/api/v1/tuns/{SITE}/{TUN}{path}");
        http::request(
            self.address,
            "POST",
            &path,
            &[("Content-Type", content_type)],
            body,
        )
    }
}

/// Starts a task that answers for a tun. A plan with more than 5000 kg does not fit it, and its turbidity alarm
/// is normal.
fn tun(
    id: TunId,
    name: &str,
    store: &Store,
    done: &Done,
    configuration: &Arc<Configuration>,
) -> TunHandle {
    let (requests, mut received) = mpsc::channel(REQUESTS_BOUND);
    let (store, done, tun) = (store.clone(), Arc::clone(done), name.to_owned());
    let (news_in, news) = watch::channel(News::default());
    tokio::spawn(async move {
        let mut brew: Option<Plan> = None;
        let note = |text: String| done.lock().unwrap().push(text);
        while let Some(request) = received.recv().await {
            news_in.send_modify(|news| news.told += 1);
            // Who asked may have gone.
            match request {
                Request::StartBrew { plan, who, reply } => {
                    let answer = start(brew.as_ref(), &plan);
                    if answer.is_ok() {
                        store.begin_brew(header(id, &plan.brew)).await.unwrap();
                        note(format!("start {}{}", plan.brew, by(&who)));
                        brew = Some(*plan);
                    }
                    let _ = reply.send(answer);
                }
                Request::EndBrew { who, reply } => {
                    let answer = brew.take().map(|plan| plan.brew).ok_or(Refusal::NoBrew);
                    if let Ok(brew) = &answer {
                        note(format!("end {brew}{}", by(&who)));
                    }
                    let _ = reply.send(answer);
                }
                Request::Sample {
                    sample,
                    ask,
                    who,
                    reply,
                } => {
                    let answer = sampled(brew.as_ref(), &sample, ask);
                    if answer.is_ok() {
                        note(format!("{sample:?}{}", by(&who)));
                    }
                    let _ = reply.send(answer);
                }
                Request::WithdrawSample { number, who, reply } => {
                    let answer = withdrawn(brew.as_ref(), number);
                    if answer.is_ok() {
                        note(format!("withdraw {}{}", number + 1, by(&who)));
                    }
                    let _ = reply.send(answer);
                }
                Request::Operate {
                    alarm,
                    instrument,
                    who,
                    action,
                    reply,
                } => {
                    let answer = operated(alarm);
                    if answer.is_ok() {
                        note(format!("{} {instrument:?} {who} {action:?}", alarm.name()));
                    }
                    let _ = reply.send(answer);
                }
                Request::Deed { who, deed, reply } => {
                    note(format!("{deed}{}", by(&who)));
                    let _ = reply.send(Ok(()));
                }
                Request::Report { event, reply } => {
                    let answer = brew.as_ref().map(|_| ()).ok_or(Refusal::NoBrew);
                    if answer.is_ok() {
                        note(format!("{event:?}"));
                    }
                    let _ = reply.send(answer);
                }
                Request::Correct { new, reply } => {
                    let stored = corrected(&store, id, new).await;
                    note(format!(
                        "correction {} of {}",
                        stored.version, stored.instrument
                    ));
                    let _ = reply.send(Ok(stored));
                }
                Request::EnterCheck { new, reply } => {
                    let stored = checked(&store, id, *new).await;
                    let instrument = &stored.check.instrument;
                    note(format!("loop-check {} of {instrument}", stored.number));
                    let _ = reply.send(Ok(stored));
                }
                Request::Forecast { reply } => {
                    let _ = reply.send(Vec::new());
                }
                Request::Status { reply } => {
                    let _ = reply.send(status(&tun, brew.as_ref()));
                }
            }
        }
    });
    TunHandle {
        site: SITE.to_owned(),
        tun: name.to_owned(),
        place: Arc::new(id.into()),
        requests,
        news,
        configuration: Arc::clone(configuration),
    }
}

/// There is nothing to do about the turbidity's alarm.
fn operated(alarm: AlarmId) -> Result<(), Refusal> {
    if alarm != AlarmId::TurbidRunnings {
        return Ok(());
    }
    let state = AlarmState::Normal;
    Err(Refusal::Alarm {
        alarm: alarm.name().to_owned(),
        fault: OperationFault::NothingToAcknowledge { state },
    })
}

/// Whoever wants to be asked is, about a gravity of less than 5 °P.
fn sampled(brew: Option<&Plan>, sample: &Sample, ask: bool) -> Result<SampleReceipt, Refusal> {
    let far = sample.gravity_p.filter(|gravity_p| ask && *gravity_p < 5.0);
    match (brew, far) {
        (None, _) => Err(Refusal::NoBrew),
        (Some(_), Some(sample_p)) => {
            let expected_p = 18.6;
            let doubt = SampleDoubt::KettleGravity {
                sample_p,
                expected_p,
            };
            Err(Refusal::FarSample(vec![doubt]))
        }
        (Some(_), None) => Ok(SampleReceipt {
            number: 0,
            repeated: false,
            recorded: true,
        }),
    }
}

/// There is one sample.
fn withdrawn(brew: Option<&Plan>, number: usize) -> Result<Sample, Refusal> {
    match (brew, number) {
        (None, _) => Err(Refusal::NoBrew),
        (Some(_), 0) => Ok(Sample {
            place: Place::Kettle,
            gravity_p: Some(1.076),
            ph: None,
            volume_l: None,
        }),
        (Some(_), number) => Err(Refusal::NoSample(number)),
    }
}

async fn corrected(store: &Store, tun: TunId, new: NewCorrection) -> StoredCorrection {
    let entry = StoredCorrection {
        instrument: new.instrument.clone(),
        version: 0,
        made: wall_now(),
        due: new.due,
        who: new.who,
        correction: new.correction,
    };
    let entered = store.run(move |db| db.enter_correction(tun, &new.instrument, entry));
    entered.await.unwrap()
}

async fn checked(store: &Store, tun: TunId, new: NewCheck) -> StoredCheck {
    let entered = store.run(move |db| db.enter_check(tun, wall_now(), new));
    entered.await.unwrap()
}

/// Who did it, where somebody signed in or was named.
fn by(who: &str) -> String {
    match who {
        "somebody at this machine" => String::new(),
        who => format!(" by {who}"),
    }
}

/// The least of configurations and what is wanted beside; what the page shows of the tun comes from it.
fn configuration(settings: &str) -> Configuration {
    let minimal = include_str!("../../config/minimal.toml");
    let text = format!("{minimal}\n{settings}");
    config::parse(Path::new("minimal.toml"), text, &Surroundings::none()).unwrap()
}

fn start(under_way: Option<&Plan>, plan: &Plan) -> Result<(), Refusal> {
    match under_way {
        Some(other) => Err(Refusal::BrewUnderWay(other.brew.clone())),
        None if plan.grist_kg > 5000.0 => Err(Refusal::Plan(
            "grist_kg is more than the tun holds".to_owned(),
        )),
        None => Ok(()),
    }
}
