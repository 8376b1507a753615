//! What goes wrong in a study of faults, and where it is drawn into an ordinary brew.
//!
//! Owns the families and their ranges: common practice, no source. A family whose fault nothing on site could
//! contradict is drawn only where something can; `disturbed` says so by adding what is missing or by None.

use lauter_core::reading::Measures;
use lauter_core::units::Unit;

use super::{Event, Scenario, draw, draw_instruments};
use crate::fault::Fault;
use crate::noise::Noise;

/// One thing that goes wrong in a study.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Disturbance {
    /// Nothing: what is alarmed is false.
    None,
    /// A channel of 25 to 60 % of the flow within 1 to 5 minutes; the bed's pressure drop is measured. No rakes and
    /// no pause in the ten minutes about it.
    Channelling,
    /// The same where no pressure drop is measured.
    ChannellingUnseen,
    /// The bed packs two- to fivefold.
    Compaction,
    /// The bed packs until the flow is lost: eight- to thirtyfold.
    Stuck,
    /// The rakes run once.
    Raking,
    /// No flow for 3 to 20 minutes.
    Pause,
    /// Runnings go back for 3 to 10 minutes.
    Recirculation,
    /// The flow changes by 20 to 40 % at once.
    FlowStep,
    /// A pause in which the line runs empty, so that the gravity meter reads froth.
    EmptyPipe,
    /// An instrument repeats its last value.
    FrozenGravity,
    FrozenFlow,
    FrozenLevel,
    FrozenPressureDrop,
    /// An instrument's error jumps: 1 to 3 °P; 10 to 30 % of the planned flow; 3 to 10 % of the planned volume; 20
    /// to 50 % of the fresh bed's pressure drop; pH 0.3 to 0.8.
    GravityStep,
    FlowMeterStep,
    LevelStep,
    PressureDropStep,
    PhStep,
    /// An instrument drifts, an hour: 1 to 3 °P; 5 to 15 % of the planned flow; 3 to 8 % of the planned volume;
    /// pH 0.2 to 0.6.
    GravityDrift,
    FlowDrift,
    LevelDrift,
    PhDrift,
    /// Gas in the gravity meter for 2 to 10 minutes.
    Bubbles,
    /// The gravity meter does not answer for 1 to 10 minutes.
    Dropout,
}

impl Disturbance {
    pub const ALL: [Self; 25] = [
        Self::None,
        Self::Channelling,
        Self::ChannellingUnseen,
        Self::Compaction,
        Self::Stuck,
        Self::Raking,
        Self::Pause,
        Self::Recirculation,
        Self::FlowStep,
        Self::EmptyPipe,
        Self::FrozenGravity,
        Self::FrozenFlow,
        Self::FrozenLevel,
        Self::FrozenPressureDrop,
        Self::GravityStep,
        Self::FlowMeterStep,
        Self::LevelStep,
        Self::PressureDropStep,
        Self::PhStep,
        Self::GravityDrift,
        Self::FlowDrift,
        Self::LevelDrift,
        Self::PhDrift,
        Self::Bubbles,
        Self::Dropout,
    ];

    /// As it stands in commands and tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Channelling => "channelling",
            Self::ChannellingUnseen => "channelling-unseen",
            Self::Compaction => "compaction",
            Self::Stuck => "stuck",
            Self::Raking => "raking",
            Self::Pause => "pause",
            Self::Recirculation => "recirculation",
            Self::FlowStep => "flow-step",
            Self::EmptyPipe => "empty-pipe",
            Self::FrozenGravity => "frozen-gravity",
            Self::FrozenFlow => "frozen-flow",
            Self::FrozenLevel => "frozen-level",
            Self::FrozenPressureDrop => "frozen-pressure-drop",
            Self::GravityStep => "gravity-step",
            Self::FlowMeterStep => "flow-meter-step",
            Self::LevelStep => "level-step",
            Self::PressureDropStep => "pressure-drop-step",
            Self::PhStep => "ph-step",
            Self::GravityDrift => "gravity-drift",
            Self::FlowDrift => "flow-drift",
            Self::LevelDrift => "level-drift",
            Self::PhDrift => "ph-drift",
            Self::Bubbles => "bubbles",
            Self::Dropout => "dropout",
        }
    }

    /// What the lying instrument of the family measures; none where the process itself is disturbed.
    pub fn lying(self) -> Option<Measures> {
        match self {
            Self::FrozenGravity
            | Self::GravityStep
            | Self::GravityDrift
            | Self::Bubbles
            | Self::Dropout => Some(Measures::RunningsGravity),
            Self::FrozenFlow | Self::FlowMeterStep | Self::FlowDrift => Some(Measures::RunoffFlow),
            Self::FrozenLevel | Self::LevelStep | Self::LevelDrift => Some(Measures::KettleVolume),
            Self::FrozenPressureDrop | Self::PressureDropStep => Some(Measures::BedPressureDrop),
            Self::PhStep | Self::PhDrift => Some(Measures::RunningsPh),
            _ => None,
        }
    }

    /// When it begins in the scenario that was drawn for it, s; an ordinary brew begins with its fault of none.
    pub fn onset_s(self, scenario: &Scenario) -> f64 {
        if self == Self::None {
            return 0.0;
        }
        onset_s(
            scenario,
            &mut Noise::stream(scenario.seed, DISTURBANCE_STREAM),
        )
    }

    /// Whether a drift has come to something by the stop-point: 0.6 °P, pH 0.3, 3 % of the planned volume in level or
    /// summed flow. What is less nobody would act on. Own choice.
    pub fn matters(self, scenario: &Scenario, stop_s: f64) -> bool {
        let hours = (stop_s - self.onset_s(scenario)) / 3600.0;
        let drift = scenario.events.iter().find_map(|event| match event.what {
            Fault::Drift { per_h, .. } => Some(per_h.abs()),
            _ => None,
        });
        let Some(per_h) = drift.filter(|_| hours > 0.0) else {
            return true;
        };
        let planned_l = scenario.plan.planned_volume_l;
        match self {
            Self::GravityDrift => per_h * hours >= 0.6 * gravity_scale(scenario),
            Self::PhDrift => per_h * hours >= 0.3,
            Self::LevelDrift => per_h * hours >= 0.03 * planned_l,
            Self::FlowDrift => 0.5 * per_h * 60.0 * hours * hours >= 0.03 * planned_l,
            _ => true,
        }
    }

    /// Nothing but hand samples can contradict the instrument: they are taken in this family.
    pub fn needs_hand_samples(self) -> bool {
        matches!(self, Self::GravityDrift | Self::PhDrift)
    }

    /// Whether the brewer leaves the bed alone about the time it begins; see [`handles`].
    fn comes_alone(self) -> bool {
        matches!(
            self,
            Self::Channelling
                | Self::ChannellingUnseen
                | Self::GravityStep
                | Self::FlowMeterStep
                | Self::PressureDropStep
                | Self::PhStep
        )
    }

    /// What must be measured so that the fault can be seen at all.
    fn needs(self) -> &'static [Measures] {
        match self {
            Self::FlowDrift
            | Self::FlowMeterStep
            | Self::LevelDrift
            | Self::LevelStep
            | Self::FrozenLevel => &[Measures::KettleVolume],
            Self::Channelling | Self::FrozenPressureDrop | Self::PressureDropStep => {
                &[Measures::BedPressureDrop]
            }
            Self::PhStep | Self::PhDrift => &[Measures::RunningsPh],
            _ => &[],
        }
    }
}

/// Stream of the draw, apart from those of the run.
const DISTURBANCE_STREAM: u64 = 1003;

/// The ordinary brew of this seed with one thing going wrong between 25 and 70 % of the planned time. None where
/// the brewhouse lacks what the family needs.
pub fn disturbed(seed: u64, disturbance: Disturbance) -> Option<Scenario> {
    let mut scenario = draw::ordinary(seed);
    let measured = |measures: &Measures| {
        let mut instruments = scenario.instruments.iter();
        instruments.any(|instrument| instrument.measures == *measures)
    };
    if !disturbance.needs().iter().all(measured) {
        return None;
    }
    let noise = &mut Noise::stream(seed, DISTURBANCE_STREAM);
    let at_s = onset_s(&scenario, noise);
    match disturbance {
        // A schedule's later setpoint would end a step of the flow by hand.
        Disturbance::FlowStep => scenario.run.flow.retain(|entry| entry.at_s < at_s),
        Disturbance::Recirculation if !draw::tells_recirculation(&scenario) => {
            let switch = draw_instruments::recirculation_switch();
            scenario.instruments.push(switch);
        }
        Disturbance::ChannellingUnseen => scenario
            .instruments
            .retain(|instrument| instrument.measures != Measures::BedPressureDrop),
        _ => {}
    }
    if disturbance.comes_alone() {
        scenario.events.retain(|event| !handles(event, at_s));
    }
    let whats = faults(disturbance, &scenario, noise);
    scenario
        .events
        .extend(whats.into_iter().map(|what| Event { at_s, what }));
    scenario.events.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    Some(scenario)
}

/// Rakes or a pause about the time a channel opens or an instrument jumps: whoever rakes has answered the channel
/// already, and what bed, runnings and instruments then show is theirs.
fn handles(event: &Event, opens_s: f64) -> bool {
    let about = (opens_s - 720.0)..(opens_s + 600.0);
    matches!(event.what, Fault::Rake { .. } | Fault::Pause { .. }) && about.contains(&event.at_s)
}

/// The first draw of the disturbance's stream.
fn onset_s(scenario: &Scenario, noise: &mut Noise) -> f64 {
    let planned_s = scenario.plan.runoff_minutes * 60.0;
    (planned_s * noise.within(0.25, 0.7)).round()
}

/// What happens, all at the same moment.
fn faults(disturbance: Disturbance, scenario: &Scenario, noise: &mut Noise) -> Vec<Fault> {
    let plan = &scenario.plan;
    let flow_l_min = plan.planned_volume_l / plan.runoff_minutes;
    let sign = if noise.chance(0.5) { 1.0 } else { -1.0 };
    let instrument = disturbance
        .lying()
        .and_then(|measures| scenario.instruments.iter().find(|i| i.measures == measures))
        .map_or_else(String::new, |instrument| instrument.id.clone());
    let step = |by: f64| {
        let instrument = instrument.clone();
        vec![Fault::Step { instrument, by }]
    };
    let drift = |per_h: f64| {
        let instrument = instrument.clone();
        vec![Fault::Drift { instrument, per_h }]
    };
    match disturbance {
        Disturbance::None => Vec::new(),
        Disturbance::Channelling | Disturbance::ChannellingUnseen => vec![Fault::Channel {
            share: noise.within(0.25, 0.6),
            over_s: noise.within(60.0, 300.0),
        }],
        Disturbance::Compaction => vec![Fault::Compaction {
            factor: noise.within(2.0, 5.0),
            over_s: noise.within(600.0, 1800.0),
        }],
        Disturbance::Stuck => vec![Fault::Compaction {
            factor: noise.log_within(8.0, 30.0),
            over_s: noise.within(900.0, 2400.0),
        }],
        Disturbance::Raking => vec![Fault::Rake {
            for_s: noise.within(60.0, 240.0),
            strength: noise.within(0.5, 1.0),
        }],
        Disturbance::Pause => vec![Fault::Pause {
            for_s: noise.within(180.0, 1200.0),
        }],
        Disturbance::Recirculation => vec![Fault::Recirculate {
            for_s: noise.within(180.0, 600.0),
        }],
        Disturbance::FlowStep => vec![Fault::FlowStep {
            to_l_min: flow_l_min * (1.0 + sign * noise.within(0.2, 0.4)),
        }],
        Disturbance::EmptyPipe => {
            let for_s = noise.within(180.0, 600.0);
            let froth = Fault::Bubbles {
                instrument: scenario.instruments[0].id.clone(),
                depth: noise.within(5.0, 30.0) * gravity_scale(scenario),
                for_s: Some(for_s + 30.0),
            };
            vec![Fault::Pause { for_s }, froth]
        }
        Disturbance::FrozenGravity
        | Disturbance::FrozenFlow
        | Disturbance::FrozenLevel
        | Disturbance::FrozenPressureDrop => vec![Fault::Freeze {
            instrument,
            for_s: None,
        }],
        Disturbance::GravityStep => step(sign * noise.within(1.0, 3.0) * gravity_scale(scenario)),
        Disturbance::FlowMeterStep => step(sign * noise.within(0.1, 0.3) * flow_l_min),
        Disturbance::LevelStep => step(sign * noise.within(0.03, 0.1) * plan.planned_volume_l),
        Disturbance::PressureDropStep => {
            step(sign * noise.within(0.2, 0.5) * scenario.bed.pressure_drop_kpa)
        }
        Disturbance::PhStep => step(sign * noise.within(0.3, 0.8)),
        Disturbance::GravityDrift => drift(sign * noise.within(1.0, 3.0) * gravity_scale(scenario)),
        Disturbance::FlowDrift => drift(sign * noise.within(0.05, 0.15) * flow_l_min),
        Disturbance::LevelDrift => drift(sign * noise.within(0.03, 0.08) * plan.planned_volume_l),
        Disturbance::PhDrift => drift(sign * noise.within(0.2, 0.6)),
        Disturbance::Bubbles => vec![Fault::Bubbles {
            instrument,
            depth: noise.log_within(2.0, 30.0) * gravity_scale(scenario),
            for_s: Some(noise.within(120.0, 600.0)),
        }],
        Disturbance::Dropout => vec![Fault::Dropout {
            instrument,
            for_s: Some(noise.within(60.0, 600.0)),
        }],
    }
}

/// What one °P is in the unit of the gravity meter.
fn gravity_scale(scenario: &Scenario) -> f64 {
    match scenario.instruments[0].unit {
        Unit::KilogramPerCubicMetre => 4.1,
        Unit::SpecificGravity => 0.0041,
        _ => 1.0,
    }
}
