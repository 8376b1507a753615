//! The manual says what the program does: the alarm table is the program's own, and no link leads nowhere.
//!
//! `UPDATE_DOCUMENTS=1 cargo test --test documents` writes docs/alarms.md anew.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use lauter_core::alarm::{AlarmId, DEFINITIONS};
use lauter_core::detect::Parameters;

const HEAD: &str = "\
# Alarms

An alarm asks for an action. Each one below says what to do next. Read the cautions before you need them.

Every alarm has a state, after IEC 62682 / ISA-18.2:

| state | meaning |
|---|---|
| `normal` | nothing to do |
| `unacknowledged` | it is so, and nobody has said that they saw it |
| `acknowledged` | it is still so, and somebody saw it |
| `returned-unacknowledged` | it is over, and nobody saw it |
| `shelved` | put aside for a while, by a person, with a reason |
| `suppressed` | it would come, but it only follows from what is known already |
| `out-of-service` | taken out by a person, with a reason |

An alarm comes when its condition has lasted for the on-delay. It returns when the condition has been gone for the
off-delay. To be gone, the value must come back behind its limit by the deadband.

Suppressed are:

- after `stop-point-reached`: everything that merely follows from running on;
- while the wort goes back to the tun: turbidity and the pace;
- while the bed drains: the pace;
- without a brew: `instrument-fault`;
- while its link is lost: `instrument-fault`. `link-lost` says it once for all.

Priority, delays, deadband and limit can be changed for each tun: `[alarms.<alarm>]` in the
[configuration](configuration.md). Limits are set by competent people on site.

This page is generated from the program's own definitions.
";

/// What `limit` in `[alarms.<alarm>]` means, and what holds without it.
fn limit(alarm: AlarmId) -> String {
    let rules = Parameters::default();
    match alarm {
        AlarmId::Channelling | AlarmId::InstrumentFault | AlarmId::LinkLost => "none".to_owned(),
        AlarmId::BedCompaction => "kPa; `tun.pressure_drop_limit_kpa`".to_owned(),
        AlarmId::StuckBed => format!("share of the usual flow; {}", rules.stuck_flow_share),
        AlarmId::GravityFloor => "°P; the plan's `gravity_floor_p`".to_owned(),
        AlarmId::PhCeiling => "pH; the plan's `ph_ceiling`".to_owned(),
        AlarmId::TanninLimitAhead => "s; `projection.limit_ahead_s`".to_owned(),
        AlarmId::StopPointAhead => "s; `projection.stop_ahead_s`".to_owned(),
        AlarmId::StopPointReached => "°P; the plan's `target_gravity_p`".to_owned(),
        AlarmId::KettleHighLevel => {
            format!("L; {} of `kettle.capacity_l`", rules.high_level_share)
        }
        AlarmId::RunoffTooFast => format!("share of the planned flow; {}", rules.too_fast_share),
        AlarmId::RunoffTooSlow => format!("share of the planned flow; {}", rules.too_slow_share),
        AlarmId::TurbidRunnings => format!("EBC; {}", rules.turbid_ebc),
        AlarmId::InstrumentsDisagree => {
            format!("standard deviations; {}", rules.disagreement_deviations)
        }
        AlarmId::DeliveryDelayed => format!("s; {}", rules.delivery_delay_s),
    }
}

fn priority(row: &lauter_core::alarm::Definition) -> String {
    serde_json::to_value(row.priority)
        .unwrap()
        .as_str()
        .unwrap()
        .to_owned()
}

fn alarms() -> String {
    let mut page = HEAD.to_owned();
    page.push_str("\n## All alarms\n\n");
    page.push_str("| alarm | priority | respond within | on-delay | off-delay | deadband | limit; without it |\n");
    page.push_str("|---|---|---|---|---|---|---|\n");
    for row in &DEFINITIONS {
        let name = row.alarm.name();
        let deadband = match row.deadband_unit {
            "" => "none".to_owned(),
            unit => format!("{} {unit}", row.deadband),
        };
        let _ = writeln!(
            page,
            "| [`{name}`](#{name}) | {} | {} | {} s | {} s | {deadband} | {} |",
            priority(row),
            row.time_to_respond,
            row.on_delay_s,
            row.off_delay_s,
            limit(row.alarm)
        );
    }
    page.push_str("\nTimes to respond are common practice, no source.\n");
    for row in &DEFINITIONS {
        let _ = write!(
            page,
            "\n## {}\n\n{}\n\n- **Do:** {}\n- **Otherwise:** {}\n",
            row.alarm.name(),
            row.cause,
            row.response,
            row.consequence
        );
        if !row.caution.is_empty() {
            let _ = writeln!(page, "- **Caution:** {}", row.caution);
        }
    }
    page
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn the_alarm_table_is_the_programs_own() {
    let file = root().join("docs/alarms.md");
    let expected = alarms();
    if std::env::var_os("UPDATE_DOCUMENTS").is_some() {
        fs::write(&file, &expected).unwrap();
    }
    assert!(
        fs::read_to_string(&file).unwrap_or_default() == expected,
        "docs/alarms.md is out of date; run UPDATE_DOCUMENTS=1 cargo test --test documents"
    );
}

/// The pages of the manual.
fn pages() -> Vec<PathBuf> {
    let in_docs = fs::read_dir(root().join("docs"))
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let at_top =
        ["README.md", "DEVELOPERS.md", "tests/peers/README.md"].map(|name| root().join(name));
    in_docs
        .filter(|file| file.extension().is_some_and(|extension| extension == "md"))
        .chain(at_top)
        .collect()
}

/// Targets of the links in a page: file and heading.
fn links(text: &str) -> Vec<(String, Option<String>)> {
    text.split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .filter(|target| !target.contains("://"))
        .map(|target| match target.split_once('#') {
            Some((file, heading)) => (file.to_owned(), Some(heading.to_owned())),
            None => (target.to_owned(), None),
        })
        .collect()
}

/// Headings as links spell them.
fn headings(text: &str) -> Vec<String> {
    text.lines()
        .filter(|line| line.starts_with('#'))
        .map(|line| {
            let plain = line.trim_start_matches('#').trim().to_lowercase();
            let kept = plain
                .chars()
                .filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_'));
            kept.map(|c| if c == ' ' { '-' } else { c }).collect()
        })
        .collect()
}

/// Links of a page at `file` that lead nowhere.
fn dead_links(file: &Path, text: &str) -> Vec<String> {
    let leads = |(target, heading): &(String, Option<String>)| {
        let aim = if target.is_empty() {
            file.to_owned()
        } else {
            file.parent().unwrap().join(target)
        };
        let there = if target.is_empty() {
            Some(text.to_owned())
        } else {
            fs::read_to_string(&aim).ok()
        };
        match heading {
            None => aim.exists(),
            Some(heading) => there.is_some_and(|there| headings(&there).contains(heading)),
        }
    };
    links(text)
        .iter()
        .filter(|link| !leads(link))
        .map(|(target, heading)| format!("{}: {target} {heading:?}", file.display()))
        .collect()
}

#[test]
fn every_link_of_the_manual_leads_somewhere() {
    let mut dead = Vec::new();
    let mut count = 0;
    for file in pages() {
        let text = fs::read_to_string(&file).unwrap();
        count += links(&text).len();
        dead.extend(dead_links(&file, &text));
    }
    assert!(count > 20, "only {count} links were found");
    assert_eq!(dead, Vec::<String>::new());
    let bad = "# Alarms\n[a](absent.md) [b](#alarms) [c](#none) [d](README.md)";
    assert_eq!(dead_links(&root().join("made-up.md"), bad).len(), 2);
}

#[test]
fn the_front_page_shows_every_caution() {
    let page = fs::read_to_string(root().join("README.md"))
        .unwrap()
        .to_lowercase();
    let page = page.split_whitespace().collect::<Vec<_>>().join(" ");
    for caution in [
        "scald",
        "guards and interlocks",
        "manway",
        "lock-out",
        "hard-wired high-level trip",
        "carbon dioxide",
        "cleaning chemicals",
        "not a safety function",
        "competent people",
    ] {
        assert!(page.contains(caution), "{caution}");
    }
}
