//! What is said of a raking's effect on the bed, and when nothing can be.

use super::*;

const PRESSURE_DROP: usize = 4;
const RAKES: usize = 5;

const NOT_MEASURED: &str = "The effect of the raking on the bed resistance was not measured.";

/// A tun that measures its pressure drop and sees its rakes.
struct Tun {
    run: Run,
}

impl Tun {
    fn new() -> Self {
        let more = [
            ("bed", Measures::BedPressureDrop, Unit::Kilopascal, 10.0),
            ("rakes", Measures::RakeRunning, Unit::Bool, 1.0),
        ];
        let more = more.map(|(id, measures, unit, high)| instrument(id, measures, unit, 0.0, high));
        let all = instruments().into_iter().chain(more).collect();
        let mut run = Run {
            supervisor: Supervisor::new(plant(), all, Parameters::default()),
            outputs: Vec::new(),
            volume_l: 0.0,
            second: 0.0,
        };
        run.give(Event::BrewStarted {
            plan: Box::new(plan()),
            zero: Moment::ZERO,
            profile: None,
            corrections: Vec::new(),
        });
        Self { run }
    }

    /// `seconds` of even flow; without a pressure drop its instrument is silent.
    fn flow(&mut self, seconds: u32, pressure_drop_kpa: Option<f64>, raking: bool) {
        for _ in 0..seconds {
            self.run.flow(1, 60.0, false);
            if let Some(kpa) = pressure_drop_kpa {
                let noise = 0.002 * wobble(self.run.second, 2.0);
                self.run.read(PRESSURE_DROP, kpa + noise);
            }
            self.run.read(RAKES, f64::from(u8::from(raking)));
        }
    }

    /// What was said of the bed's resistance after rakings.
    fn told(&self) -> Vec<&str> {
        let outputs = self.run.outputs.iter();
        outputs
            .filter_map(|dated| match &dated.output {
                Output::Occurrence(it) if it.event == "rake-effect" => Some(it.text.as_str()),
                _ => None,
            })
            .filter(|text| text.contains("resistance"))
            .collect()
    }
}

#[test]
fn a_raking_is_judged_by_the_resistance_measured_close_before_and_after_it() {
    let mut tun = Tun::new();
    tun.flow(900, Some(1.0), false);
    tun.flow(120, Some(1.0), true);
    tun.flow(700, Some(0.75), false);
    let told = tun.told();
    assert!(
        matches!(told[..], [text] if text.starts_with("Raking lowered the bed resistance (−2")),
        "{told:?}"
    );
}

#[test]
fn a_raking_after_a_gap_of_the_pressure_drop_was_not_measured() {
    let mut tun = Tun::new();
    tun.flow(900, Some(1.0), false);
    tun.flow(300, None, false);
    tun.flow(120, None, true);
    tun.flow(700, Some(0.75), false);
    assert_eq!(tun.told(), [NOT_MEASURED]);
}

#[test]
fn a_raking_before_a_gap_of_the_pressure_drop_was_not_measured() {
    let mut tun = Tun::new();
    tun.flow(900, Some(1.0), false);
    tun.flow(120, Some(1.0), true);
    tun.flow(590, None, false);
    assert_eq!(tun.told(), [""; 0], "it may still come");
    tun.flow(300, None, false);
    tun.flow(300, Some(0.75), false);
    assert_eq!(tun.told(), [NOT_MEASURED]);
}

#[test]
fn nothing_is_said_of_a_resistance_that_no_instrument_tells() {
    let mut tun = Tun::new();
    tun.flow(900, None, false);
    tun.flow(120, None, true);
    tun.flow(900, None, false);
    assert_eq!(tun.told(), [""; 0]);
}
