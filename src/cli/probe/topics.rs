//! `lauterd probe topics`: what a broker carries, and the table of an instrument that publishes there.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::time::Duration;

use clap::Args;

use super::live::Live;
use super::wanted::{Wanted, leaves_open};
use super::{BrokerOptions, print, shown, unreachable};
use crate::clock;
use crate::commission::hearing::{Heard, Hearing};
use crate::commission::payloads::{Content, leaves};
use crate::exit::Failure;

/// Listens to a broker and lists every topic with what its messages hold
///
/// It publishes nothing. What only the broker remembers is marked: nothing may be sending it any more. What lauterd itself
/// publishes is left out, unless --all or a --filter asks for it.
#[derive(Debug, Args)]
pub struct Topics {
    #[command(flatten)]
    broker: BrokerOptions,
    /// Configuration of the tun, for its broker
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Topics to listen to; may be given more than once
    #[arg(long, value_name = "FILTER", default_value = "#")]
    filter: Vec<String>,
    /// How long to listen
    #[arg(long, value_name = "SECONDS", default_value_t = 15, value_parser = clap::value_parser!(u32).range(1..=3600))]
    listen_for: u32,
    /// Shows the values every second as they change
    #[arg(long)]
    watch: bool,
    #[command(flatten)]
    wanted: Wanted,
}

/// Most places kept, so that a broker with everything on it does not fill the memory. Own choice.
const MOST_PLACES: usize = 5000;

/// What lauterd itself publishes begins with this.
const OWN_TOPICS: &str = "lauterd/";

/// A topic and a JSON Pointer in it; no pointer: the payload is a plain number.
type Place = (String, Option<String>);

/// What was heard of one place.
#[derive(Debug)]
struct Seen {
    is_switch: bool,
    last: f64,
    least: f64,
    greatest: f64,
    /// Messages sent while it was listened to.
    live: u32,
}

#[derive(Debug, Default)]
struct Listing {
    places: BTreeMap<Place, Seen>,
    /// Topic to the pointer of a time in it.
    times: BTreeMap<String, String>,
    /// Topics with no number in them.
    other: BTreeMap<String, u32>,
    left_off: u64,
}

impl Listing {
    fn take(&mut self, heard: &Heard, now_s: f64) {
        let mut any = false;
        for leaf in leaves(&heard.payload, now_s) {
            any = true;
            let Some(value) = leaf.value() else {
                if let Some(pointer) = leaf.pointer {
                    self.times.entry(heard.topic.clone()).or_insert(pointer);
                }
                continue;
            };
            let room = self.places.len() < MOST_PLACES;
            let seen = match self.places.entry((heard.topic.clone(), leaf.pointer)) {
                Entry::Occupied(entry) => entry.into_mut(),
                Entry::Vacant(entry) if room => entry.insert(Seen {
                    is_switch: matches!(leaf.content, Content::Switch(_)),
                    last: value,
                    least: value,
                    greatest: value,
                    live: 0,
                }),
                Entry::Vacant(_) => {
                    self.left_off += 1;
                    continue;
                }
            };
            seen.last = value;
            seen.least = seen.least.min(value);
            seen.greatest = seen.greatest.max(value);
            seen.live += u32::from(!heard.retained);
        }
        if !any && self.other.len() < MOST_PLACES {
            *self.other.entry(heard.topic.clone()).or_default() += 1;
        }
    }
}

pub async fn show(asked: &Topics) -> Result<(), Failure> {
    let into = asked.wanted.file()?;
    let mqtt = asked.broker.of_file(asked.config.as_deref())?;
    let client_id = format!("{}-probe-{}", mqtt.client_id, std::process::id());
    let mut hearing = Hearing::open(&mqtt, &client_id, &asked.filter)
        .await
        .map_err(unreachable)?;
    let mut listing = Listing::default();
    let mut live = Live::new();
    for second in 1..=asked.listen_for {
        let listen = async {
            while let Some(heard) = hearing.next().await {
                let now_s = clock::wall_now().as_microsecond() as f64 / 1e6;
                listing.take(&heard, now_s);
            }
        };
        // The end of the second ends the listening of this turn; what waits is taken in the next.
        let _ = tokio::time::timeout(Duration::from_secs(1), listen).await;
        if asked.watch {
            live.show(second, &now(&listing, asked))?;
        }
    }
    listing.left_off += hearing.missed();
    let mut text = listed(&listing, asked);
    if let Some(((topic, pointer), seen)) = sorted(&listing, asked).get(asked.wanted.number() - 1) {
        if let Err(failure) = asked.wanted.settled(equals(&listing, asked)) {
            print(&text)?;
            return Err(failure);
        }
        let tables = tables(&listing, topic, pointer.as_deref(), asked);
        text.push_str(&asked.wanted.hand_over(&tables, into.as_ref())?);
        if seen.is_switch {
            text.push_str("It is a switch: measures and unit must be those of one.\n");
        }
        return print(&text);
    }
    print(&text)?;
    asked.wanted.left_as_it_was()
}

fn is_expected(seen: &Seen, asked: &Topics) -> bool {
    asked.wanted.expected().is_some_and(|(low, high)| {
        (low..=high).contains(&seen.least) && (low..=high).contains(&seen.greatest)
    })
}

fn now(listing: &Listing, asked: &Topics) -> Vec<(String, String)> {
    let any = asked.wanted.expected().is_some();
    let places = listing.places.iter();
    places
        .filter(|((topic, _), seen)| {
            !is_left_out(topic, asked) && (!any || is_expected(seen, asked))
        })
        .map(|((topic, pointer), seen)| {
            let name = format!("{topic} {}", pointer.as_deref().unwrap_or(""));
            (name, shown(seen.last))
        })
        .collect()
}

/// Expected ones first, and of these what is sent before what is only remembered, what moves before what stands.
fn sorted<'a>(listing: &'a Listing, asked: &Topics) -> Vec<(&'a Place, &'a Seen)> {
    let mut rows: Vec<_> = listing.places.iter().collect();
    rows.retain(|((topic, _), _)| !is_left_out(topic, asked));
    let any = asked.wanted.expected().is_some();
    if any && !asked.wanted.all {
        rows.retain(|(_, seen)| is_expected(seen, asked));
    }
    rows.sort_by(|(_, one), (_, other)| {
        let distance = |seen: &Seen| {
            if is_expected(seen, asked) {
                asked.wanted.distance(seen.last)
            } else {
                0.0
            }
        };
        let by_merit = merit(one, asked).cmp(&merit(other, asked));
        by_merit.then(distance(one).total_cmp(&distance(other)))
    });
    rows
}

/// The least is the best.
fn merit(seen: &Seen, asked: &Topics) -> (bool, bool, bool) {
    let marked = is_expected(seen, asked);
    (
        !marked,
        marked && seen.live == 0,
        marked && seen.least >= seen.greatest,
    )
}

/// How many places fit as well as the first.
fn equals(listing: &Listing, asked: &Topics) -> usize {
    let rows = sorted(listing, asked);
    let Some((_, first)) = rows.first() else {
        return 0;
    };
    let nearest = asked.wanted.distance(first.last);
    rows.iter()
        .take_while(|(_, other)| merit(other, asked) == merit(first, asked))
        .filter(|(_, other)| leaves_open(nearest, asked.wanted.distance(other.last)))
        .count()
}

/// What lauterd publishes is no instrument: what it computed would come back to it as measured.
fn is_left_out(topic: &str, asked: &Topics) -> bool {
    let sought = asked
        .filter
        .iter()
        .any(|filter| filter.starts_with(OWN_TOPICS));
    topic.starts_with(OWN_TOPICS) && !sought && !asked.wanted.all
}

fn listed(listing: &Listing, asked: &Topics) -> String {
    let mut text = format!(
        "Listened for {} s: {} places with a number\n",
        asked.listen_for,
        listing.places.len()
    );
    if listing.left_off > 0 {
        let _ = writeln!(
            text,
            "{} more were left off; narrow it with --filter",
            listing.left_off
        );
    }
    let mut topics = listing.places.keys().map(|(topic, _)| topic);
    if topics.any(|topic| is_left_out(topic, asked)) {
        text.push_str("What lauterd itself publishes is left out; --all lists it\n");
    }
    let rows = sorted(listing, asked);
    if rows.is_empty() {
        text.push_str(
            "None of them fits. Wait longer with --listen-for, widen --filter, check what the instrument shows now; --all \
             lists them all.\n",
        );
    } else {
        text.push_str("   no     a minute  value  topic  pointer\n");
    }
    for (number, ((topic, pointer), seen)) in (1..).zip(&rows) {
        let mark = if is_expected(seen, asked) { '*' } else { ' ' };
        let rate = if seen.live == 0 {
            "remembered".to_owned()
        } else {
            format!(
                "{:.0}",
                f64::from(seen.live) * 60.0 / f64::from(asked.listen_for)
            )
        };
        let moved = if seen.least < seen.greatest {
            format!(" ({} to {})", shown(seen.least), shown(seen.greatest))
        } else {
            String::new()
        };
        let pointer = pointer.as_deref().unwrap_or("(plain number)");
        let _ = writeln!(
            text,
            "{number:>5}  {mark}  {rate:>8}  {}{moved}  {topic}  {pointer}",
            shown(seen.last)
        );
    }
    if asked.wanted.all {
        for (topic, count) in &listing.other {
            let _ = writeln!(text, "no number in {count} messages of {topic}");
        }
    }
    text
}

fn tables(listing: &Listing, topic: &str, pointer: Option<&str>, asked: &Topics) -> String {
    let mut text = asked.wanted.table_head();
    let _ = write!(text, "\n[instrument.mqtt]\ntopic = {topic:?}\n");
    if let Some(pointer) = pointer {
        let _ = writeln!(text, "pointer = {pointer:?}");
        if let Some(time) = listing.times.get(topic) {
            let _ = writeln!(text, "time_pointer = {time:?}");
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        topics: Topics,
    }

    fn asked(words: &[&str]) -> Topics {
        Line::parse_from(["probe"].iter().chain(words)).topics
    }

    fn heard(topic: &str, payload: &str, retained: bool) -> Heard {
        Heard {
            topic: topic.to_owned(),
            payload: payload.as_bytes().to_vec(),
            retained,
        }
    }

    const NOW_S: f64 = 1_750_000_000.0;

    #[test]
    fn the_instrument_that_sends_stands_before_what_the_broker_remembers_and_its_table_is_right() {
        let mut listing = Listing::default();
        listing.take(&heard("old/flow", "61.0", true), NOW_S);
        for value in ["60.5", "61.5"] {
            let payload =
                format!(r#"{{"flow":{value},"t":"2025-06-15T15:06:40Z","serial":90210}}"#);
            listing.take(&heard("skid/state", &payload, false), NOW_S);
        }
        let asked = asked(&[
            "--expect",
            "50..70",
            "--id",
            "runoff_flow",
            "--measures",
            "runoff-flow",
        ]);
        let text = listed(&listing, &asked);
        let first = text
            .lines()
            .find(|line| line.trim_start().starts_with("1 "))
            .unwrap();
        assert!(first.contains("skid/state  /flow"), "{text}");
        assert!(text.contains("remembered"), "{text}");
        assert!(!text.contains("/serial"), "{text}");
        let (topic, pointer) = sorted(&listing, &asked)[0].0;
        let table = tables(&listing, topic, pointer.as_deref(), &asked);
        let table: toml::Table = table.parse().expect("a table to paste");
        let instrument = &table["instrument"][0];
        assert_eq!(instrument["unit"].as_str(), Some("L/min"));
        let mqtt = &instrument["mqtt"];
        assert_eq!(mqtt["topic"].as_str(), Some("skid/state"));
        assert_eq!(mqtt["pointer"].as_str(), Some("/flow"));
        assert_eq!(mqtt["time_pointer"].as_str(), Some("/t"));
    }

    #[test]
    fn what_lauterd_publishes_itself_is_offered_only_to_who_asks_for_it() {
        let mut listing = Listing::default();
        listing.take(
            &heard("lauterd/site/tun/reading/flow", r#"{"value":60.5}"#, false),
            NOW_S,
        );
        listing.take(&heard("skid/flow", "60.0", false), NOW_S);
        let text = |words: &[&str]| listed(&listing, &asked(words));
        let usual = text(&["--expect", "50..70"]);
        assert!(!usual.contains("lauterd/site"), "{usual}");
        assert!(usual.contains("--all lists it"), "{usual}");
        for words in [&["--all"][..], &["--filter", "lauterd/#"]] {
            assert!(text(words).contains("lauterd/site"), "{words:?}");
        }
        assert_eq!(equals(&listing, &asked(&["--expect", "50..70"])), 1);
        assert_eq!(
            equals(&listing, &asked(&["--expect", "50..70", "--all"])),
            2
        );
    }

    #[test]
    fn a_broker_with_everything_on_it_is_cut_short_and_that_is_said() {
        let mut listing = Listing::default();
        for number in 0..MOST_PLACES + 7 {
            listing.take(&heard(&format!("t/{number}"), "1", false), NOW_S);
        }
        let text = listed(&listing, &asked(&[]));
        assert!(text.contains("7 more were left off"), "{}", &text[..200]);
    }
}
