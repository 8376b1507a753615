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
off-delay. To be gone, the value must come back behind its limit by the deadband. A latching alarm stays
`unacknowledged` even then, until somebody acknowledges it.

`lauterd alarms list` prints this table at any time, without a service; with `--config` as your tun has changed it.

## When an alarm comes

1. **Read it and do what it says.** The message says what is so. The advice under it is the next step. The caution
   comes before your hands do.
2. **Then acknowledge it.** That says: I have seen this and I am on it. It does not mend anything.

```sh
lauterd status                                                     # what stands, the most pressing first
lauterd alarms acknowledge stuck-bed --who \"shift brewer\"
lauterd alarms acknowledge instrument-fault --instrument runnings_ph --who \"shift brewer\"
```

Only what has been shown can be acknowledged. An alarm that went away before anybody saw it waits for you as
`returned-unacknowledged`; acknowledge it and it is gone.

**Several at once?** Begin with the one that came first. Alarms that come within two minutes of one another are one
burst; `status` shows the place of the later ones, and `place_in_burst` in the evidence of every line says it too: 1 came
first. What merely follows from another alarm is not shown at all, see below.

## Put one aside: shelve it

Shelve an alarm when you know why it is there, cannot mend it now, and it only disturbs: a probe that lies in its buffer,
a run-off that is slow on purpose.

```sh
lauterd alarms shelve instrument-fault --instrument runnings_ph --minutes 30 \\
  --reason \"probe in buffer\" --who \"shift brewer\"
lauterd alarms unshelve instrument-fault --instrument runnings_ph --who \"shift brewer\"
```

- It needs a time and a reason. The next shift reads the reason.
- **It returns by itself** when its time is over. If the condition is still there, the alarm comes again.
- Each alarm has a longest time; more is refused. `longest_shelving_min` in `[alarms.<alarm>]` changes it, up to 480 min.
- What it would explain stays quiet too: a shelved `stuck-bed` still explains a slow run-off.
- **Never shelve what you have not understood**, and never `kettle-high-level` to get a quiet minute: stop the run-off.

## Take one out of service

For an alarm that cannot work, for instance while its meter is away. It stays out until somebody returns it, also over a
restart and from brew to brew. It explains nothing meanwhile. Whoever takes one out answers for what it guarded; follow
the site's rules for such changes.

```sh
lauterd alarms out-of-service turbid-runnings --reason \"meter sent away\" --who \"shift brewer\"
lauterd alarms return turbid-runnings --who \"shift brewer\"
```

The hard-wired trips stand whatever is shelved or out of service here.

## What is suppressed, and why

One cause gives one alarm. What only follows from it is `suppressed`: it is in the record and on no list. The message
says from what it follows. When the cause is over and the consequence stays, it must last for its own on-delay; then it
comes.

The plant suppresses too: before wort flows there is no run-off to judge; while the wort goes back to the tun it may be
cloudy; while the bed drains the pace is the bed's; after `stop-point-reached` everything that merely comes of running on
is known. First wort and sparge suppress nothing. Without a brew the run-off is not judged, and an instrument at rest is
no alarm. A cause that is itself only about to be alarmed holds its consequences back until that is decided.

`kettle-high-level` and `stop-point-reached` are suppressed by nothing.

## Who did what

Every change of state is in the record: when, what, by whom, and why.

```sh
lauterd alarms trail --config tun-1.toml --brew 2026-0412
```

Over HTTP: `GET /api/v1/tuns/<site>/<tun>/alarms/trail`, and `/brews/<brew>/alarms` for the lines. Actions:
`POST .../alarms/<alarm>[?instrument=<id>]` with `who`, `action` (`acknowledge`, `shelve`, `unshelve`, `out-of-service`,
`return-to-service`), and for shelving `minutes`, for shelving and out of service `reason`.

## Are the alarms any good?

```sh
lauterd alarms report --config tun-1.toml --days 30
```

It counts alarms per operator hour and per 10 min, the worst 10 min, what stood, what went stale, what chattered or came
and went too fast to act on, the most frequent ones and the priorities, beside the benchmarks of EEMUA 191 and
ISA-18.2 / IEC 62682 (values from memory). Operator time is brew time: between brews nobody is at the tun. Those
benchmarks were made for operators of whole plants. A tun has sixteen kinds of alarms, so shares of priorities get a
verdict from 50 alarms on only. An alarm that is often on the list and never acted on is a fault of its setting: change
its delay or its limit, or switch it off with a reason.

## Change an alarm

Priority, delays, deadband, limit and longest shelving time can be changed for each tun: `[alarms.<alarm>]` in the
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

fn alarms() -> String {
    let mut page = HEAD.to_owned();
    page.push_str("\n## All alarms\n\n");
    page.push_str(
        "| alarm | priority | respond within | on-delay | off-delay | deadband | limit; without it | shelved at most |\n",
    );
    page.push_str("|---|---|---|---|---|---|---|---|\n");
    for row in &DEFINITIONS {
        let name = row.alarm.name();
        let deadband = match row.deadband_unit {
            "" => "none".to_owned(),
            unit => format!("{} {unit}", row.deadband),
        };
        let _ = writeln!(
            page,
            "| [`{name}`](#{name}) | {} | {} | {} s | {} s | {deadband} | {} | {} min |",
            row.priority.name(),
            row.time_to_respond,
            row.on_delay_s,
            row.off_delay_s,
            limit(row.alarm),
            row.longest_shelving_min
        );
    }
    page.push_str("\nTimes to respond and to shelve are common practice, no source.\n");
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
        if row.latching {
            page.push_str("- **Latching:** it stays until somebody acknowledges it.\n");
        }
        if let Some(standing) = row.standing {
            let _ = writeln!(
                page,
                "- **While it stands:** its text is told anew every {:.0} min; after {:.0} min its priority is {}, and it asks for \
                 acknowledgement once more.",
                standing.renewed_every_s / 60.0,
                standing.rises_after_s / 60.0,
                standing.rises_to.name()
            );
        }
        let suppressed_by = row.suppressed_by();
        if !suppressed_by.is_empty() {
            let _ = writeln!(page, "- **Suppressed:** {}.", suppressed_by.join("; "));
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

#[test]
fn the_description_of_the_interface_is_the_programs_own() {
    let file = root().join("docs/openapi.json");
    let mut expected = serde_json::to_string_pretty(&lauterd::web::openapi()).unwrap();
    expected.push('\n');
    if std::env::var_os("UPDATE_DOCUMENTS").is_some() {
        fs::write(&file, &expected).unwrap();
    }
    assert!(
        fs::read_to_string(&file).unwrap_or_default() == expected,
        "docs/openapi.json is out of date; run UPDATE_DOCUMENTS=1 cargo test --test documents"
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
