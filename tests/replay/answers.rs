//! One truth for each form of recording: sampled finely or coarsely, with pauses.

use simulators::Fault;
use simulators::scenario::Event;

use super::recorded::{Recorded, assert_within, scenario};
use super::table::Table;

#[test]
fn a_run_sampled_every_10_s_and_every_30_s_still_gives_the_stop_point() {
    for name in ["harbour-stout", "orchard-ale-channel"] {
        let recorded = Recorded::of(name);
        let true_l = recorded.target().volume_l;
        for every_s in [1, 10, 30] {
            let mut table = Table::of(&recorded.read("RUN.csv"));
            let mut rows = 0..;
            table
                .rows
                .retain(|_| rows.next().is_some_and(|row| row % every_s == 0));
            recorded.write("thinned.csv", &table.text());
            // Instruments read this seldom are not stale between two readings.
            let config = recorded
                .read("config.toml")
                .replace("stale_after_s = 10.0", "stale_after_s = 75.0");
            recorded.write("thinned.toml", &config);
            let lines = recorded
                .replay()
                .data("thinned.csv")
                .config("thinned.toml")
                .lines();
            let what = format!("{name} every {every_s} s");
            assert_within(&what, lines.stop_volume_l(), true_l, 0.015);
        }
    }
}

#[test]
fn a_pause_without_flow_is_no_fault_of_an_instrument() {
    let mut paused = scenario("harbour-stout");
    for at_s in [1500.0, 3000.0] {
        paused.events.push(Event {
            at_s,
            what: Fault::Pause { for_s: 600.0 },
        });
    }
    let recorded = Recorded::scenario(&paused);
    let lines = recorded.replay().lines();
    assert_eq!(lines.annunciated("instrument-fault"), Vec::<f64>::new());
    assert_within(
        "stop-point",
        lines.stop_volume_l(),
        recorded.target().volume_l,
        0.015,
    );
}

#[test]
fn a_pause_read_as_exactly_nought_is_no_fault_of_an_instrument() {
    // A meter with a low-flow cut-off says 0 and nothing else while nothing flows.
    let mut paused = scenario("harbour-stout");
    paused.events.push(Event {
        at_s: 2400.0,
        what: Fault::Pause { for_s: 900.0 },
    });
    let recorded = Recorded::scenario(&paused);
    let mut table = Table::of(&recorded.read("RUN.csv"));
    for flow in ["runoff_flow", "sparge_flow"] {
        table.change(
            flow,
            |m3_per_h, _| if m3_per_h < 0.1 { 0.0 } else { m3_per_h },
        );
    }
    recorded.write("cut-off.csv", &table.text());
    let lines = recorded.replay().data("cut-off.csv").lines();
    assert_eq!(lines.annunciated("instrument-fault"), Vec::<f64>::new());
    assert_within(
        "stop-point",
        lines.stop_volume_l(),
        recorded.target().volume_l,
        0.015,
    );
}
