//! What the command line says of a brew that the disk does not take.

use std::fs;

use super::brewhouse::{Brewhouse, flowing_at_once};
use super::disk::{SmallDisk, is_written};
use super::program::{Program, command};

#[tokio::test(flavor = "multi_thread")]
async fn a_brew_that_is_only_in_memory_is_not_shown_the_rows_of_the_one_before() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let Some(disk) = SmallDisk::mount(&site.path("store"), 8) else {
        return;
    };
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    program.until_status("it is written", is_written).await;
    disk.fill();
    let plan = site.plan().replace("2026-0412", "2026-0413");
    fs::write(site.path("next.toml"), plan).expect("a plan");
    let (config, next) = (site.path("tun.toml"), site.path("next.toml"));
    let (config, next) = (config.display().to_string(), next.display().to_string());
    let ask = |arguments: &[&str]| {
        let output = command(&[arguments, &["--config", &config]].concat()).output();
        let output = output.expect("the binary runs");
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let words = |bytes| String::from_utf8(bytes).expect("text");
        (words(output.stdout), words(output.stderr))
    };
    let (said, _) = ask(&["brew", "end"]);
    assert!(said.contains("it is done, kept in memory"), "{said}");
    let words = "brew 2026-0413 is under way and kept in memory";
    let (_, noted) = ask(&["brew", "start", "--plan", &next]);
    assert!(noted.contains(words), "{noted}");
    for asked in ["table", "list"] {
        let (shown, noted) = ask(&["brew", asked]);
        assert!(noted.contains(words), "{noted}");
        assert!(asked == "list" || shown.is_empty(), "{shown}");
    }
    disk.free();
    program.until_status("it is written", is_written).await;
    let (shown, noted) = ask(&["brew", "table"]);
    assert!(
        shown.starts_with("brew 2026-0413") && noted.is_empty(),
        "{shown}{noted}"
    );
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
}
