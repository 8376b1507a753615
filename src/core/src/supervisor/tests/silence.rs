//! Time without instruments and time without a watch.

use super::*;

impl Run {
    fn interrupt(&mut self, gap_s: f64, flow_l_min: f64) {
        let since = Moment::from_seconds(self.second);
        self.second += gap_s;
        self.volume_l += flow_l_min * gap_s / 60.0;
        self.give(Event::Interrupted { since });
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
    broken.give(Event::Interrupted { since });
    broken.second -= 0.9;
    unbroken.flow(600, 60.0, false);
    broken.flow(600, 60.0, false);
    assert_eq!(unbroken.lines(), broken.lines());
    assert_eq!(broken.events("not-watched").len(), 1);
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
