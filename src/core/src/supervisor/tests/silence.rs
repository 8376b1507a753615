//! Time without instruments and time without a watch.

use super::*;

impl Run {
    fn interrupt(&mut self, gap_s: f64, flow_l_min: f64) {
        let since = Moment::from_seconds(self.second);
        self.second += gap_s;
        self.volume_l += flow_l_min * gap_s / 60.0;
        let why = Unwatched::default();
        self.give(Event::Interrupted { since, why });
    }

    fn flow_without_level(&mut self, seconds: u32, l_min: f64) {
        for _ in 0..seconds {
            self.second += 1.0;
            self.volume_l += l_min / 60.0;
            self.read(FLOW, l_min + 0.3 * wobble(self.second, 0.0));
            let p = gravity_p(self.volume_l) + 0.02 * wobble(self.second, 1.0);
            self.read(GRAVITY, p);
            self.read(RECIRCULATING, 0.0);
        }
    }

    fn events(&self, name: &str) -> Vec<String> {
        let texts = self.outputs.iter().filter_map(|dated| match &dated.output {
            Output::Occurrence(occurrence) if occurrence.event == name => {
                Some(occurrence.text.clone())
            }
            _ => None,
        });
        texts.collect()
    }

    fn volume_se_l(&self) -> f64 {
        let brew = self.supervisor.brew.as_ref().expect("a brew");
        brew.kettle.contents().volume_se_l
    }
}

#[test]
fn an_interruption_is_marked_bridged_by_the_level_and_blamed_on_no_instrument() {
    let mut run = Run::new();
    run.flow(1800, 60.0, false);
    let told_before = run.outputs.len();
    run.interrupt(600.0, 40.0);
    assert!(run.volume_se_l() > 100.0, "{}", run.volume_se_l());
    run.flow(300, 60.0, false);
    let marks = run.events("not-watched");
    assert_eq!(marks.len(), 1);
    assert!(marks[0].contains("10 min"), "{}", marks[0]);
    assert!(marks[0].contains("kettle_level"), "{}", marks[0]);
    assert_eq!(run.alarms(), []);
    let in_the_gap = run.outputs[told_before..]
        .iter()
        .filter(|dated| (1801.0..2400.0).contains(&dated.at.seconds()));
    assert_eq!(in_the_gap.count(), 0, "nothing is told of what nobody saw");
    let brew = run.supervisor.brew.as_ref().unwrap();
    let believed_l = brew.kettle.contents().volume_l;
    assert!(
        (believed_l / run.volume_l - 1.0).abs() < 0.003,
        "{believed_l} L, in truth {} L",
        run.volume_l
    );
    assert!(run.volume_se_l() < 20.0, "{}", run.volume_se_l());
}

#[test]
fn an_interruption_with_no_counter_and_no_level_stays_in_doubt_until_somebody_measures() {
    let mut run = Run::new();
    run.flow_without_level(1800, 60.0);
    run.interrupt(600.0, 40.0);
    run.flow_without_level(300, 60.0);
    let believed_l = run.projections().last().unwrap().kettle_volume_l;
    let doubt_l = run.volume_se_l();
    assert!(
        (believed_l - run.volume_l).abs() < 2.0 * doubt_l,
        "{believed_l} ± {doubt_l} L, in truth {} L",
        run.volume_l
    );
    let sample = Sample {
        place: Place::Kettle,
        gravity_p: None,
        ph: None,
        volume_l: Some(run.volume_l),
    };
    run.give(Event::Sample(sample));
    assert!(run.volume_se_l() < 0.5 * doubt_l, "{}", run.volume_se_l());
}

#[test]
fn a_moment_without_the_service_is_no_gap_but_is_said() {
    let (mut unbroken, mut broken) = (Run::new(), Run::new());
    unbroken.flow(1800, 60.0, false);
    broken.flow(1800, 60.0, false);
    let since = Moment::from_seconds(broken.second);
    broken.second += 0.9;
    let why = Unwatched::default();
    broken.give(Event::Interrupted { since, why });
    broken.second -= 0.9;
    unbroken.flow(600, 60.0, false);
    broken.flow(600, 60.0, false);
    assert_eq!(unbroken.lines(), broken.lines());
    assert_eq!(broken.events("not-watched").len(), 1);
}

#[test]
fn a_gap_of_which_nobody_knows_the_cause_is_not_said_to_have_one() {
    let mut run = Run::new();
    run.flow(1800, 60.0, false);
    for gap_s in [600.0, 2.0] {
        let since = Moment::from_seconds(run.second);
        run.second += gap_s;
        let why = Unwatched::Unknown;
        run.give(Event::Interrupted { since, why });
        run.flow(60, 60.0, false);
    }
    let marks = run.events("not-watched");
    assert_eq!(marks.len(), 2, "{marks:?}");
    for mark in marks {
        assert!(mark.starts_with("The record has nothing of "), "{mark}");
        assert!(mark.contains("not running, or could not write."), "{mark}");
    }
}

#[test]
fn a_silence_of_months_writes_a_quarter_of_an_hour_and_says_where_it_rests() {
    let mut run = Run::new();
    run.flow(1800, 60.0, false);
    let before = run.outputs.len();
    run.second += 1e7;
    run.give(Event::Tick);
    let told = run.outputs.len() - before;
    assert!(told < 400, "{told}");
    assert_eq!(run.events("silent").len(), 1);
    run.flow(60, 60.0, false);
    let again = run.events("heard-again");
    assert_eq!(again.len(), 1, "{again:?}");
    assert!(again[0].contains("kettle_level"), "{}", again[0]);
    assert!(!run.projections().is_empty());
}

#[test]
fn a_silence_is_the_same_however_often_the_engine_is_called_in_it() {
    let (mut plain, mut ticked) = (Run::new(), Run::new());
    plain.flow(1800, 60.0, false);
    ticked.flow(1800, 60.0, false);
    plain.second += 3000.4;
    for tenth in 1..30_000 {
        let now = Moment::from_seconds(ticked.second + 0.1 * f64::from(tenth));
        ticked.supervisor.handle(Event::Tick, now);
    }
    ticked.second += 3000.4;
    plain.flow(120, 60.0, false);
    ticked.flow(120, 60.0, false);
    assert_eq!(plain.outputs, ticked.outputs);
}

#[test]
fn a_stop_point_that_only_an_assumption_has_reached_says_so() {
    let mut run = Run::new();
    run.flow(4700, 60.0, false);
    run.second += 800.0;
    run.give(Event::Tick);
    let reached = run.lines().into_iter().find_map(|line| match line {
        Line::Alarm(line)
            if line.alarm == AlarmId::StopPointReached && line.to == AlarmState::Unacknowledged =>
        {
            Some(line.message.clone())
        }
        _ => None,
    });
    let message = reached.expect("the assumed flow carries it there");
    assert!(message.starts_with("Not measured: "), "{message}");
}

#[test]
fn a_supervisor_that_rests_can_be_stored() {
    let mut run = Run::new();
    run.flow(600, 60.0, false);
    run.second += 2000.0;
    run.give(Event::Tick);
    let json = serde_json::to_string(&run.supervisor).unwrap();
    let again: Supervisor = serde_json::from_str(&json).unwrap();
    assert_eq!(again, run.supervisor);
}

#[test]
fn the_mark_of_a_gap_says_why_nobody_watched_and_never_more_than_is_known() {
    let marked = |why: Unwatched, gap_s: f64| {
        let mut run = Run::new();
        run.flow(1800, 60.0, false);
        let since = Moment::from_seconds(run.second);
        run.second += gap_s;
        run.give(Event::Interrupted { since, why });
        run.events("not-watched").remove(0)
    };
    for gap_s in [2.0, 600.0] {
        let ended = marked(Unwatched::NotRunning, gap_s);
        assert!(ended.contains("was not running"), "{ended}");
        let still = marked(Unwatched::StoodStill, gap_s);
        assert!(
            still.contains("stood still") && !still.contains("not running"),
            "{still}"
        );
        let unwritten = marked(Unwatched::Unrecorded, gap_s);
        assert!(unwritten.contains("record has nothing"), "{unwritten}");
        assert!(!unwritten.contains("Nobody watched"), "{unwritten}");
        let cut = marked(Unwatched::CutOff, gap_s);
        assert!(
            cut.contains("cut off") && !cut.contains("not running"),
            "{cut}"
        );
    }
}

#[test]
fn a_gap_of_a_record_that_does_not_say_why_is_that_of_a_service_that_had_ended() {
    let old = r#"{"interrupted":{"since":5000000}}"#;
    let event: Event = serde_json::from_str(old).unwrap();
    let why = Unwatched::NotRunning;
    let since = Moment::from_seconds(5.0);
    assert_eq!(event, Event::Interrupted { since, why });
    assert_eq!(serde_json::to_string(&event).unwrap(), old);
}

/// Gravity of everything that has truly run off.
fn true_kettle_p(volume_l: f64) -> f64 {
    let (mut extract, mut wort, mut at_l) = (0.0, 0.0, 0.5);
    while at_l < volume_l {
        let p = gravity_p(at_l);
        let kg = crate::units::wort_density_kg_m3(p, 75.0);
        extract += kg * p;
        wort += kg;
        at_l += 1.0;
    }
    extract / wort
}

/// What is known four minutes after a gap of ten in which nobody saw how much ran off.
fn after_a_gap(begin_s: u32, l_min: f64) -> (Run, ProjectionLine) {
    let mut run = Run::new();
    run.flow_without_level(begin_s, 60.0);
    run.interrupt(600.0, l_min);
    run.flow_without_level(240, 60.0);
    let line = (*run.projections().last().expect("a projection")).clone();
    (run, line)
}

#[test]
fn after_an_unmeasured_gap_the_bands_of_kettle_and_target_are_wider() {
    let mut unbroken = Run::new();
    unbroken.flow_without_level(4440, 60.0);
    let sure = (*unbroken.projections().last().expect("a projection")).clone();
    let (_, line) = after_a_gap(3600, 60.0);
    let widths = |line: &ProjectionLine| {
        let target = line.target.expect("a target");
        let width = |band: Band| band.p95 - band.p5;
        (width(target.volume_l), width(target.elapsed_s))
    };
    let ((wide_l, wide_s), (sure_l, sure_s)) = (widths(&line), widths(&sure));
    assert!(wide_l > 1.5 * sure_l, "{wide_l} L after {sure_l} L");
    assert!(wide_s > 1.5 * sure_s, "{wide_s} s after {sure_s} s");
    let se_p = |line: &ProjectionLine| line.kettle_gravity_se_p.expect("a standard error");
    assert!(se_p(&line) > 3.0 * se_p(&sure), "{line:?}, {sure:?}");
}

#[test]
fn after_an_unmeasured_gap_the_bands_hold_the_truth_however_much_ran_off_in_it() {
    for begin_s in [1800, 3600] {
        for l_min in [20.0, 40.0, 60.0, 80.0] {
            let (run, line) = after_a_gap(begin_s, l_min);
            let told = format!("{begin_s} s, {l_min} L/min: {line:?}");
            let target = line.target.expect("a target");
            let holds = |band: Band, value: f64| (band.p5..=band.p95).contains(&value);
            let (true_l, _) = truth();
            assert!(holds(target.volume_l, true_l), "{told}: {true_l} L");
            // At 60 L/min the seconds left are the litres left.
            let true_s = run.second + true_l - run.volume_l;
            assert!(holds(target.elapsed_s, true_s), "{told}: {true_s} s");
            let se_p = line.kettle_gravity_se_p.expect("a standard error");
            let kettle_p = line.kettle_gravity_p.expect("a gravity");
            let true_p = true_kettle_p(run.volume_l);
            assert!(
                (kettle_p - true_p).abs() < 2.0 * se_p,
                "{told}: {true_p} °P"
            );
        }
    }
}

#[test]
fn a_kettle_volume_that_somebody_enters_after_a_gap_settles_volume_and_gravity() {
    let (mut run, line) = after_a_gap(3600, 20.0);
    run.give(Event::Sample(Sample {
        place: Place::Kettle,
        gravity_p: None,
        ph: None,
        volume_l: Some(run.volume_l),
    }));
    run.flow_without_level(60, 60.0);
    let settled = *run.projections().last().expect("a projection");
    let true_p = true_kettle_p(run.volume_l);
    let miss = |line: &ProjectionLine| (line.kettle_gravity_p.expect("a gravity") - true_p).abs();
    assert!(
        miss(settled) < 0.5 * miss(&line),
        "{settled:?}, in truth {true_p} °P"
    );
    assert!(
        settled.kettle_gravity_se_p < line.kettle_gravity_se_p,
        "{settled:?}"
    );
    let off_l = settled.kettle_volume_l - run.volume_l;
    assert!(off_l.abs() < 100.0, "{off_l} L");
}

#[test]
fn a_resting_balance_says_for_how_long_nothing_has_been_measured() {
    let mut run = Run::new();
    let silent_s = |run: &Run| {
        let outlook = run.supervisor.outlook(Moment::from_seconds(run.second));
        outlook.expect("a brew").silent_s
    };
    run.flow(1800, 60.0, false);
    run.second += 600.0;
    run.give(Event::Tick);
    assert_eq!(silent_s(&run), None, "an assumed flow still stands in");
    run.second += 600.0;
    run.give(Event::Tick);
    let silent = silent_s(&run).expect("the balance rests");
    assert!((1100.0..=1200.0).contains(&silent), "{silent} s");
    run.flow(60, 60.0, false);
    assert_eq!(silent_s(&run), None, "instruments answer again");
}
