//! `lauterd run` as a process: started, asked over HTTP, signalled, killed.

use std::fs::{self, File};
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::Duration;

use serde_json::Value;

use super::brewhouse::Site;
use super::http::{self, Answer, get};
use super::mosquitto::PATIENCE;

/// A command that reads nothing from the surroundings of the tests.
pub fn command(arguments: &[&str]) -> Command {
    let other = std::env::var_os("FLEET_LAUTERD");
    let mut command = Command::new(other.unwrap_or_else(|| env!("CARGO_BIN_EXE_lauterd").into()));
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("LAUTERD_") {
            command.env_remove(name);
        }
    }
    command
        .env_remove("RUST_LOG")
        .env_remove("JOURNAL_STREAM")
        .env_remove("NOTIFY_SOCKET")
        .args(arguments);
    command
}

pub struct Program {
    process: Option<Child>,
    log: PathBuf,
    port: u16,
    /// Below `/api/v1`.
    tun: String,
}

impl Program {
    /// Starts `lauterd run` on a site's configuration and waits until it answers.
    pub async fn start(site: &Site) -> Self {
        Self::start_with(site, &[], &[]).await
    }

    /// The same with more arguments and with variables of the environment.
    pub async fn start_with(site: &Site, arguments: &[&str], environment: &[(&str, &str)]) -> Self {
        let log = site.path("lauterd.log");
        let file = File::options().create(true).append(true).open(&log);
        let config = site.path("tun.toml").display().to_string();
        let process = command(&["run", "--config", &config])
            .args(arguments)
            .envs(environment.iter().copied())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(file.expect("a log"))
            .spawn()
            .expect("the binary runs");
        let mut program = Self {
            process: Some(process),
            log,
            port: site.web_port,
            tun: format!(
                "/api/v1/tuns/{}/{}",
                site.scenario.site, site.scenario.tun.name
            ),
        };
        let port = program.port;
        program
            .until("it answers", async || {
                get(port, "/api/v1/health").await.ok()
            })
            .await;
        program
    }

    pub fn log(&self) -> String {
        fs::read_to_string(&self.log).expect("a log")
    }

    /// Asks again and again until there is an answer; fails when the process ends or patience does.
    pub async fn until<T>(&mut self, what: &str, mut ask: impl AsyncFnMut() -> Option<T>) -> T {
        let wait = async {
            loop {
                if let Some(answer) = ask().await {
                    return answer;
                }
                tokio::time::sleep(Duration::from_millis(100)).await;
                let process = self.process.as_mut().expect("it runs");
                let ended = process.try_wait().expect("its state");
                assert!(ended.is_none(), "{what}: ended with {ended:?}");
            }
        };
        let answer = tokio::time::timeout(PATIENCE, wait).await;
        answer.unwrap_or_else(|_| panic!("never happened: {what}; its log:\n{}", self.log()))
    }

    pub async fn status(&self) -> Value {
        let answer = get(self.port, &self.tun).await.expect("an answer");
        assert_eq!(answer.status, 200, "{}", answer.body);
        answer.json()
    }

    /// Waits until the status shows it.
    pub async fn until_status<T>(
        &mut self,
        what: &str,
        show: impl Fn(&Value) -> Option<T> + Copy,
    ) -> T {
        let (port, tun) = (self.port, self.tun.clone());
        self.until(what, async || {
            let answer = get(port, &tun).await.ok()?;
            show(&answer.json())
        })
        .await
    }

    /// Waits until an alarm is not normal, and gives its latest line.
    pub async fn until_alarm(&mut self, alarm: &str) -> Value {
        self.until_status(alarm, |status| {
            let alarms = status["alarms"].as_array()?;
            alarms.iter().find(|line| line["alarm"] == alarm).cloned()
        })
        .await
    }

    /// Waits until it says that nothing is being recorded, which must be for this reason; gives its words.
    pub async fn until_not_recorded(&mut self, why: &str) -> String {
        let alarm = self.until_alarm("delivery-delayed").await;
        let message = alarm["message"].as_str().expect("words").to_owned();
        assert!(message.contains(why), "{alarm}");
        message
    }

    pub async fn post(&self, below: &str, body: (&str, &str)) -> Answer {
        self.try_post(below, body).await.expect("an answer")
    }

    pub async fn try_post(&self, below: &str, body: (&str, &str)) -> std::io::Result<Answer> {
        self.request("POST", below, body).await
    }

    pub async fn delete(&self, below: &str) -> Answer {
        self.request("DELETE", below, ("application/json", ""))
            .await
            .expect("an answer")
    }

    async fn request(
        &self,
        method: &str,
        below: &str,
        body: (&str, &str),
    ) -> std::io::Result<Answer> {
        let target = format!("{}{below}", self.tun);
        http::request(self.port, method, &target, body).await
    }

    pub async fn start_brew(&self, site: &Site) {
        let answer = self.post("/brew", ("application/toml", &site.plan())).await;
        assert_eq!(answer.status, 201, "{}", answer.body);
    }

    /// Where its pages are served.
    pub fn page_port(&self) -> u16 {
        self.port
    }

    pub fn id(&self) -> u32 {
        self.process.as_ref().expect("it runs").id()
    }

    pub fn kill(&mut self) {
        let mut process = self.process.take().expect("it runs");
        process.kill().expect("it is killed");
        process.wait().expect("it ends");
    }

    /// Sends a signal and waits for the end.
    pub fn end_by(mut self, signal: &str) -> (ExitStatus, String) {
        let sent = Command::new("kill")
            .args(["-s", signal, &self.id().to_string()])
            .status()
            .expect("kill runs");
        assert!(sent.success());
        let status = self.process.as_mut().expect("it runs").wait();
        (status.expect("it ends"), self.log())
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        if let Some(mut process) = self.process.take() {
            let _ = process.kill();
            let _ = process.wait();
        }
    }
}
