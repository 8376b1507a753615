//! The interface of the running binary against its own description, by a program that was written for that and knows
//! nothing else of it; and its figures against a parser by others.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use super::brewhouse::{Brewhouse, Site, flowing_at_once, set};
use super::mosquitto::peer;
use super::program::{Program, command};

/// The peers' interpreter, or a notice that the test is skipped.
fn python() -> Option<PathBuf> {
    match std::env::var_os("LAUTERD_PYTHON") {
        Some(python) => Some(python.into()),
        None => peer("python3").filter(|python| {
            let installed = Command::new(python)
                .args(["-c", "import schemathesis, prometheus_client"])
                .stderr(Stdio::null())
                .status();
            let installed = installed.is_ok_and(|status| status.success());
            if !installed {
                assert!(
                    std::env::var("LAUTERD_PEERS").as_deref() != Ok("1"),
                    "schemathesis is not installed, and LAUTERD_PEERS=1 asks for it"
                );
                eprintln!("skipped: schemathesis is not installed");
            }
            installed
        }),
    }
}

fn told(arguments: &[&str], input: &str) -> String {
    let mut child = command(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary runs");
    child
        .stdin
        .take()
        .expect("its input")
        .write_all(input.as_bytes())
        .expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success(), "{arguments:?}: {output:?}");
    String::from_utf8(output.stdout).expect("text")
}

/// A service with users, a finished brew in its record and one under way.
async fn guarded(site: &Site) -> (Program, String) {
    let users = site.path("users.toml").display().to_string();
    let config = site
        .configure(|table| set(table, "web.users_file", users))
        .display()
        .to_string();
    let here = ["--config", config.as_str()];
    told(
        &[&["user", "add", "anna", "--role", "operate"], &here[..]].concat(),
        "correct horse battery\n",
    );
    let token = told(
        &[&["token", "add", "tester", "--role", "engineer"], &here[..]].concat(),
        "",
    );
    let token_file = site.path("token");
    fs::write(&token_file, &token).expect("the token");
    let program = Program::start(site).await;
    let known = token_file.display().to_string();
    let as_tester = ["--config", config.as_str(), "--token-file", known.as_str()];
    let act = |arguments: &[&str]| told(&[arguments, &as_tester[..]].concat(), "");
    let plan = site.path("plan.toml").display().to_string();
    act(&["brew", "start", "--plan", &plan]);
    act(&["brew", "end"]);
    let mut next: toml::Table = site.plan().parse().expect("TOML");
    set(&mut next, "brew", "the next one");
    fs::write(site.path("next.toml"), next.to_string()).expect("a plan");
    let next = site.path("next.toml").display().to_string();
    act(&["brew", "start", "--plan", &next]);
    (program, token.trim().to_owned())
}

/// Where values of a path come from, and what the description cannot say of a body: values that are checked together.
fn settings(site: &Site) -> String {
    format!(
        "[parameters]\n\"path.site\" = {:?}\n\"path.tun\" = {:?}\n\"path.instrument\" = \"runnings_density\"\n\
         [[operations]]\ninclude-operation-id = [\"start_brew\", \"operate_alarm\", \"sample\", \"log_crush\", \"enter_loop_check\", \"correct\"]\n\
         checks.positive_data_acceptance.expected-statuses = [\"2xx\", \"404\", \"409\", \"422\"]\n",
        site.scenario.site, site.scenario.tun.name
    )
}

fn schemathesis(python: &Path, site: &Site, token: &str) -> std::process::Output {
    fs::write(site.path("schemathesis.toml"), settings(site)).expect("its settings");
    let description = format!("http://127.0.0.1:{}/api/v1/openapi.json", site.web_port);
    Command::new(python)
        .args(["-m", "schemathesis.cli", "--config-file"])
        .arg(site.path("schemathesis.toml"))
        .args([
            "run",
            &description,
            "--header",
            &format!("Authorization: Bearer {token}"),
        ])
        // A stream of events goes on for as long as somebody listens.
        .args(["--exclude-operation-id", "events"])
        .args(["--phases", "examples,coverage,fuzzing"])
        .args([
            "--max-examples",
            "40",
            "--seed",
            "1",
            "--warnings",
            "off",
            "--continue-on-failure",
        ])
        .current_dir(site.path(""))
        .output()
        .expect("it runs")
}

#[tokio::test(flavor = "multi_thread")]
async fn schemathesis_finds_no_server_error_and_no_answer_that_is_not_described() {
    let Some(python) = python() else { return };
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let (program, token) = guarded(&site).await;
    let output = schemathesis(&python, &site, &token);
    let report = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{report}\n{}\n{}",
        String::from_utf8_lossy(&output.stderr),
        program.log()
    );
    // It did look: every operation was asked.
    let operations = lauterd::web::openapi()["paths"]
        .as_object()
        .expect("paths")
        .values()
        .filter_map(|path| path.as_object().map(serde_json::Map::len))
        .sum::<usize>();
    assert!(
        report.contains(&format!("Tested: {}", operations - 1)),
        "{report}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_parser_by_others_reads_the_figures() {
    let Some(python) = python() else { return };
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let (mut program, token) = guarded(&site).await;
    let port = site.web_port;
    let script = format!(
        "import urllib.request\n\
         from prometheus_client.openmetrics.parser import text_string_to_metric_families as read\n\
         request = urllib.request.Request('http://127.0.0.1:{port}/metrics', \
         headers={{'Authorization': 'Bearer {token}'}})\n\
         text = urllib.request.urlopen(request).read().decode()\n\
         found = {{family.name: family.samples for family in read(text)}}\n\
         assert found['lauterd_brew_running'][0].value == 1, text\n\
         assert found['lauterd_reading'], text\n\
         print(len(found))\n"
    );
    let families = program
        .until("readings among the figures", async || {
            let output = Command::new(&python).args(["-c", &script]).output().ok()?;
            let text = String::from_utf8(output.stdout).ok()?;
            text.trim().parse::<usize>().ok()
        })
        .await;
    assert!(families > 15, "{families}");
}
