//! A simulated brewhouse that is served live, and the service's files for it.

use std::fs;
use std::net::TcpListener;
use std::path::{Path, PathBuf};

use lauterd::config::{self, Configuration, Surroundings};
use lauterd::runtime::request::{Request, TunHandle};
use lauterd::runtime::{self, Service};
use simulators::scenario::Setpoint;
use simulators::serve::{self, Handle, Options};
use simulators::{Fault, Scenario, lauterd_files, scenario};
use tempfile::TempDir;

/// A scenario of the simulators, by its name.
pub fn scenario(name: &str) -> Scenario {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("simulators/scenarios")
        .join(format!("{name}.toml"));
    let text = fs::read_to_string(path).expect("the scenario is there");
    Scenario::from_toml(&text).expect("the scenario is right")
}

/// The same brewhouse with wort flowing to the kettle from the first second on, and nothing else happening.
pub fn flowing_at_once(name: &str) -> Scenario {
    let mut scenario = scenario(name);
    scenario.events.clear();
    scenario.run.flow = vec![Setpoint {
        at_s: 0.0,
        share: 1.0,
    }];
    scenario.run.ramp_per_min = 10.0;
    scenario
}

pub fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    listener.local_addr().expect("its address").port()
}

/// The service's side: a directory with its files, and the port of its page.
pub struct Site {
    directory: TempDir,
    pub scenario: Scenario,
    pub web_port: u16,
}

impl Site {
    /// For a scenario with the addresses it is served at.
    pub fn of(scenario: &Scenario) -> Self {
        let site = Self {
            directory: tempfile::tempdir().expect("a temporary directory"),
            scenario: scenario.clone(),
            web_port: free_port(),
        };
        fs::write(site.path("plan.toml"), lauterd_files::plan(scenario)).expect("the plan");
        site
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    /// Writes the configuration: its record in the site's directory, quick to tell, and changed as told.
    pub fn configure(&self, change: impl FnOnce(&mut toml::Table)) -> PathBuf {
        let text = lauterd_files::configuration(&self.scenario);
        let mut table: toml::Table = text.parse().expect("TOML");
        set(
            &mut table,
            "store.directory",
            self.path("store").display().to_string(),
        );
        set(
            &mut table,
            "web.listen",
            format!("127.0.0.1:{}", self.web_port),
        );
        set(&mut table, "watch.table_every_s", 10.0);
        set(&mut table, "watch.runoff_every_s", 1.0);
        set(&mut table, "projection.every_s", 1.0);
        // A database is there only for the test that is about it.
        table.remove("influx");
        change(&mut table);
        let path = self.path("tun.toml");
        fs::write(&path, table.to_string()).expect("the configuration");
        path
    }

    /// As the service would read it.
    pub fn configuration(&self, change: impl FnOnce(&mut toml::Table)) -> Configuration {
        let path = self.configure(change);
        config::load_with(&path, &Surroundings::none()).expect("the configuration is right")
    }

    pub fn plan(&self) -> String {
        fs::read_to_string(self.path("plan.toml")).expect("the plan")
    }
}

/// Sets a key by its path, making the tables on the way.
pub fn set(table: &mut toml::Table, path: &str, value: impl Into<toml::Value>) {
    let (tables, key) = path.rsplit_once('.').unwrap_or(("", path));
    let mut here = table;
    for name in tables.split('.').filter(|name| !name.is_empty()) {
        let entry = here
            .entry(name)
            .or_insert_with(|| toml::Table::new().into());
        here = entry.as_table_mut().expect("a table");
    }
    here.insert(key.to_owned(), value.into());
}

/// A brewhouse on a free port.
pub struct Brewhouse {
    pub handle: Handle,
}

impl Brewhouse {
    /// `broker`: the port of the instruments' broker.
    pub async fn start(scenario: &Scenario, speed: f64, broker: Option<u16>) -> Self {
        Self::start_at(scenario, speed, broker, 0).await
    }

    pub async fn start_at(
        scenario: &Scenario,
        speed: f64,
        broker: Option<u16>,
        modbus_port: u16,
    ) -> Self {
        let options = Options {
            speed,
            modbus_tcp: Some(([127, 0, 0, 1], modbus_port).into()),
            mqtt: broker.map(|port| scenario::Mqtt {
                host: "127.0.0.1".to_owned(),
                port,
            }),
            ..Options::with_seed(scenario.seed)
        };
        let handle = serve::start(scenario, options).await.expect("it is served");
        Self { handle }
    }

    pub fn site(&self) -> Site {
        Site::of(self.handle.scenario())
    }

    pub async fn inject(&self, command: &str) {
        let fault = Fault::from_command(command).expect("a command");
        self.handle.inject(fault).await.expect("it happens");
    }
}

/// The service within the test, with the site's brew begun on its one tun.
pub async fn begin_brew(
    site: &Site,
    configuration: Configuration,
    options: runtime::Options,
) -> (Service, TunHandle) {
    let plan = config::load_plan(&site.path("plan.toml")).expect("a plan");
    let service = Service::start(vec![configuration], options)
        .await
        .expect("it starts");
    let tun = service.tuns[0].clone();
    tun.ask(|reply| Request::StartBrew {
        who: "brewer".to_owned(),
        plan: Box::new(plan),
        reply,
    })
    .await
    .expect("the brew starts");
    (service, tun)
}
