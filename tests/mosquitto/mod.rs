//! A real mosquitto broker on a free loopback port, with its own configuration, users and data.
//!
//! Owns finding, starting, stopping, freezing and killing it, and a second client that listens as other systems
//! would. Without mosquitto the tests say so and pass; with `LAUTERD_PEERS=1` its absence is a failure.

pub mod adapters;

use std::fs;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use lauterd::config::model::{Mqtt, Secret};
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, PublishOptions, QoS};
use tempfile::TempDir;
use tokio::task::JoinHandle;

pub const USER: &str = "tun-1";
pub const PASSWORD: &str = "correct horse";

/// Far beyond anything a working program needs, also on a busy machine.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// Where the program is, also when /usr/sbin is not on the path.
fn program(name: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path)
        .chain([
            "/usr/sbin".into(),
            "/usr/bin".into(),
            "/usr/local/sbin".into(),
        ])
        .map(|directory| directory.join(name))
        .find(|candidate| candidate.is_file())
}

/// The program, or a notice that the test is skipped.
pub fn peer(name: &str) -> Option<PathBuf> {
    let found = program(name);
    if found.is_none() {
        assert!(
            std::env::var("LAUTERD_PEERS").as_deref() != Ok("1"),
            "{name} is not installed, and LAUTERD_PEERS=1 asks for it"
        );
        eprintln!("skipped: {name} is not installed");
    }
    found
}

pub struct Mosquitto {
    program: PathBuf,
    directory: TempDir,
    pub port: u16,
    process: Option<Child>,
}

impl Mosquitto {
    /// None, after a notice, where mosquitto is not installed.
    pub async fn start() -> Option<Self> {
        Self::start_with("").await
    }

    /// `extra` lines follow the listener's in its configuration. Clients without a name are refused unless they
    /// say otherwise.
    pub async fn start_with(extra: &str) -> Option<Self> {
        let program = peer("mosquitto")?;
        let passwords = peer("mosquitto_passwd")?;
        let directory = tempfile::tempdir().expect("a temporary directory");
        let mut broker = Self {
            program,
            directory,
            port: free_port(),
            process: None,
        };
        let password_file = broker.path("passwords");
        let made = Command::new(passwords)
            .args(["-b", "-c"])
            .arg(&password_file)
            .args([USER, PASSWORD])
            .stderr(Stdio::null())
            .status()
            .expect("mosquitto_passwd runs");
        assert!(made.success(), "mosquitto_passwd: {made}");
        broker.write_configuration(&password_file, extra);
        broker.resume_from_disk().await;
        Some(broker)
    }

    fn write_configuration(&self, password_file: &Path, extra: &str) {
        // Nothing may wait in the broker's memory for a listener that is there: a killed broker would take an
        // acknowledged message with it, which no publisher can repair.
        let nameless = if extra.contains("allow_anonymous") {
            ""
        } else {
            "allow_anonymous false"
        };
        let configuration = format!(
            "listener {port} 127.0.0.1\n{extra}\n{nameless}\npassword_file {passwords}\n\
             persistence true\npersistence_location {directory}/\nmax_inflight_messages 0\n\
             max_queued_messages 0\nset_tcp_nodelay true\nuser {user}\n",
            port = self.port,
            passwords = password_file.display(),
            directory = self.directory.path().display(),
            user = current_user(),
        );
        fs::write(self.path("mosquitto.conf"), configuration)
            .expect("its configuration is written");
    }

    pub fn id(&self) -> u32 {
        self.process.as_ref().expect("it runs").id()
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    /// Starts the process anew with what it had saved.
    pub async fn resume_from_disk(&mut self) {
        let log = fs::File::create(self.path("mosquitto.log")).expect("its log");
        let process = Command::new(&self.program)
            .arg("-c")
            .arg(self.path("mosquitto.conf"))
            .stdout(log.try_clone().expect("its log"))
            .stderr(log)
            .spawn()
            .expect("mosquitto starts");
        self.process = Some(process);
        let port = self.port;
        eventually("mosquitto listens", || {
            TcpStream::connect(("127.0.0.1", port)).is_ok()
        })
        .await;
    }

    fn signal(&self, signal: &str) {
        let process = self.process.as_ref().expect("it runs");
        let sent = Command::new("kill")
            .args(["-s", signal, &process.id().to_string()])
            .status()
            .expect("kill runs");
        assert!(sent.success(), "kill: {sent}");
    }

    /// It neither reads nor answers, but its connections stand.
    pub fn freeze(&self) {
        self.signal("STOP");
    }

    pub fn thaw(&self) {
        self.signal("CONT");
    }

    /// Ends at once, saving nothing.
    pub fn kill(&mut self) {
        let mut process = self.process.take().expect("it runs");
        process.kill().expect("it is killed");
        process.wait().expect("it ends");
    }

    /// Ends in order, saving its sessions.
    pub fn stop(&mut self) {
        self.signal("TERM");
        let mut process = self.process.take().expect("it runs");
        process.wait().expect("it ends");
    }

    pub fn settings(&self) -> Mqtt {
        Mqtt {
            host: "127.0.0.1".to_owned(),
            port: self.port,
            client_id: "lauterd-tun-1".to_owned(),
            username: Some(USER.to_owned()),
            password: Some(Secret(PASSWORD.to_owned())),
            tls: false,
            ca_file: None,
            keep_alive: Duration::from_secs(2),
            publish: true,
            reading_every: Duration::from_secs(1),
            overview: false,
            commands: false,
        }
    }

    /// A client as another system would be, listening to `filter`. Its session is kept by the broker.
    pub fn listener(&self, client_id: &str, filter: &str) -> Listener {
        let mut options = MqttOptions::new(client_id, ("127.0.0.1", self.port));
        options
            .set_credentials(USER, PASSWORD)
            .set_clean_session(false)
            .set_max_packet_size(1024 * 1024, 1024 * 1024)
            .set_keep_alive(2);
        let (client, mut event_loop) = AsyncClient::builder(options).capacity(64).build();
        let heard = Arc::<Mutex<Heard>>::default();
        let (filter, shared, subscriber) = (filter.to_owned(), Arc::clone(&heard), client.clone());
        let task = tokio::spawn(async move {
            loop {
                match event_loop.poll().await {
                    Ok(Event::Incoming(Packet::ConnAck(answer))) if !answer.session_present => {
                        subscriber
                            .try_subscribe(filter.clone(), QoS::AtLeastOnce)
                            .expect("room for a subscription");
                    }
                    Ok(Event::Incoming(Packet::ConnAck(_) | Packet::SubAck(_))) => {
                        shared.lock().expect("no panic").ready += 1;
                    }
                    Ok(Event::Incoming(Packet::Publish(publish))) => {
                        let topic = String::from_utf8(publish.topic.to_vec()).expect("a topic");
                        shared
                            .lock()
                            .expect("no panic")
                            .messages
                            .push(HeardMessage {
                                topic,
                                payload: publish.payload.to_vec(),
                                retained: publish.retain,
                            });
                    }
                    Ok(_) => {}
                    Err(_) => tokio::time::sleep(Duration::from_millis(50)).await,
                }
            }
        });
        Listener {
            client,
            heard,
            task,
        }
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        if let Some(mut process) = self.process.take() {
            let _ = process.kill();
            let _ = process.wait();
        }
    }
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeardMessage {
    pub topic: String,
    pub payload: Vec<u8>,
    pub retained: bool,
}

impl HeardMessage {
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.payload).expect("JSON")
    }
}

#[derive(Default)]
struct Heard {
    ready: u64,
    messages: Vec<HeardMessage>,
}

pub struct Listener {
    client: AsyncClient,
    heard: Arc<Mutex<Heard>>,
    task: JoinHandle<()>,
}

impl Listener {
    /// How often it was connected and subscribed.
    pub fn ready(&self) -> u64 {
        self.heard.lock().expect("no panic").ready
    }

    pub fn messages(&self) -> Vec<HeardMessage> {
        self.heard.lock().expect("no panic").messages.clone()
    }

    /// Publishes as an instrument would.
    pub async fn publish(&self, topic: &str, payload: &str, retain: bool) {
        let options = PublishOptions::new(QoS::AtLeastOnce).retain(retain);
        let notice = self
            .client
            .publish_tracked(topic, payload, options)
            .await
            .expect("the event loop runs");
        notice.wait_async().await.expect("an acknowledgement");
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Waits until `condition` holds; fails after a time that no working program needs.
pub async fn eventually(what: &str, condition: impl FnMut() -> bool) {
    let mut condition = condition;
    let wait = async {
        while !condition() {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    assert!(
        tokio::time::timeout(PATIENCE, wait).await.is_ok(),
        "never happened: {what}"
    );
}

fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    listener.local_addr().expect("its address").port()
}

/// Started by root, mosquitto would change to a user that cannot read the temporary directory.
fn current_user() -> String {
    let output = Command::new("id").arg("-un").output().expect("id runs");
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}
