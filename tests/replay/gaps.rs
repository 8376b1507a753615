//! Times in which nobody watched, beside a recording.

use lauterd::store::Database;

use super::recorded::{Recorded, scenario};

/// Ten minutes in the middle of the run-off.
const GAPS: &str = "elapsed_s,since_s,why\n3000.250000,2400.500000,cut-off\n";

/// A recording without the rows of the gap.
fn recorded() -> Recorded {
    let recorded = Recorded::scenario(&scenario("orchard-ale-channel"));
    let whole = recorded.read("RUN.csv");
    let outside = whole.lines().filter(|row| {
        let elapsed_s = row
            .split(',')
            .next()
            .and_then(|cell| cell.parse::<f64>().ok());
        elapsed_s.is_none_or(|at| !(2400.5..3000.25).contains(&at))
    });
    let cut: Vec<&str> = outside.collect();
    recorded.write("RUN.csv", &(cut.join("\n") + "\n"));
    recorded.write("gaps.csv", GAPS);
    recorded
}

#[test]
fn a_brew_with_a_gap_kept_exported_and_replayed_gives_the_same_lines() {
    let recorded = recorded();
    let silent = recorded.replay().text();
    let replay = recorded.replay().with("--gaps", "gaps.csv");
    let unwatched = replay.with("--store", "new/store").text();
    assert_ne!(
        unwatched, silent,
        "nobody is blamed for a time in which nobody watched"
    );
    let mut database = Database::open(&recorded.path("new/store")).expect("a store");
    let tun = database.tun("orchard", "tun-1").expect("the tun");
    let brew = database.brews(tun).expect("brews")[0].id;
    database
        .export(brew, &recorded.path("export"))
        .expect("files");
    assert_eq!(recorded.read("export/gaps.csv"), GAPS);
    let exported = || recorded.replay().data("export/RUN.csv");
    let again = exported().with("--gaps", "export/gaps.csv");
    assert_eq!(again.text(), unwatched);
}

#[test]
fn a_fault_in_the_file_of_gaps_is_named_with_its_line() {
    let recorded = recorded();
    for (text, expected) in [
        ("elapsed_s,since_s\n", ":1: needed are the columns"),
        (
            "elapsed_s,since_s,why\n10.0,20.0,cut-off\n",
            ":2: since_s must not be after",
        ),
        ("elapsed_s,since_s,why\n20.0,10.0,asleep\n", ":2: "),
        (
            "elapsed_s,since_s,why\n20.0,10.0\n",
            ":2: the row has 2 cells",
        ),
        (
            "elapsed_s,since_s,why\n20.0,NaN,cut-off\n",
            ":2: since_s must not be after",
        ),
    ] {
        recorded.write("gaps.csv", text);
        let output = recorded.replay().with("--gaps", "gaps.csv").output();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(65), "{errors}");
        assert!(errors.contains(expected), "{errors}");
    }
}
