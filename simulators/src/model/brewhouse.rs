//! The whole brewhouse, stepped in time: process, events, crossings, instruments.
//!
//! Owns the order of things within a step. Steps are of fixed length and counted in whole numbers, so that it
//! makes no difference in what portions time is asked for.

use super::bed::Bed;
use super::flow::FlowController;
use super::kettle::Kettle;
use super::pipe::{Parcel, Pipe};
use super::truth::{Crossing, Crossings, Truth};
use super::tun::Head;
use super::turbidity::{Stirring, Turbidity};
use super::wort::Wort;
use crate::fault::{Fault, FaultError};
use crate::instrument::{InstrumentReading, Instruments};
use crate::noise::Noise;
use crate::scenario::{Event, Scenario};
use lauter_core::units;

/// Streams of randomness; instruments follow from 16 on.
const BED_STREAM: u64 = 0;
const FLOW_STREAM: u64 = 1;

/// Runnings lose this on the way through the pipe, K.
const PIPE_LOSS_K: f64 = 0.5;

/// A simulated brewhouse in the middle of a brew.
#[derive(Clone, Debug)]
pub struct Brewhouse {
    scenario: Scenario,
    events: Vec<Event>,
    next_event: usize,
    wort: Wort,
    head: Head,
    bed: Bed,
    pipe: Pipe,
    kettle: Kettle,
    flow: FlowController,
    turbidity: Turbidity,
    instruments: Instruments,
    tun_temperature_c: f64,
    steps: u64,
    asked_s: f64,
    paused_until_s: f64,
    recirculating_until_s: f64,
    raking_until_s: f64,
    rake_strength: f64,
    truth: Truth,
    crossings: Crossings,
}

/// Extract and water everywhere, for the balance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inventory {
    pub extract_kg: f64,
    /// Water in tun, pipe and kettle less the liquor given.
    pub water_kg: f64,
}

/// What passed the meters in one step.
#[derive(Clone, Copy, Debug)]
struct Metered {
    water_kg: f64,
    extract_kg: f64,
    volume_l: f64,
}

impl Brewhouse {
    /// The brewhouse at the start of the run-off.
    pub fn new(scenario: &Scenario, seed: u64) -> Self {
        let wort = Wort::at(scenario.wort.temperature_c);
        let lanes_seed = scenario.bed.lanes_seed.unwrap_or(seed);
        let bed = Bed::new(scenario, &wort, &mut Noise::stream(lanes_seed, BED_STREAM));
        let plan = &scenario.plan;
        let concentration_kg_l = wort.concentration_kg_l(plan.first_wort_gravity_p);
        let pipe_l = scenario.tun.pipe_volume_l;
        let first_turbidity = scenario.wort.turbidity_ebc + scenario.wort.first_turbidity_ebc;
        let pipe = Pipe::filled(Parcel {
            volume_l: pipe_l,
            extract_kg: pipe_l * concentration_kg_l,
            turbidity_ebc_l: pipe_l * first_turbidity,
        });
        let planned_l_min = plan.planned_volume_l / plan.runoff_minutes;
        let mut events = scenario.events.clone();
        events.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        let mut brewhouse = Self {
            head: Head::new(scenario, &wort, bed.volume_l() + pipe_l),
            kettle: Kettle::with_heel(&scenario.kettle, scenario.wort.temperature_c),
            flow: FlowController::new(
                &scenario.run,
                planned_l_min,
                Noise::stream(seed, FLOW_STREAM),
            ),
            turbidity: Turbidity::new(
                &scenario.wort,
                scenario.bed.mobile_l_per_kg * plan.grist_kg,
                planned_l_min,
            ),
            instruments: Instruments::new(scenario, seed),
            tun_temperature_c: scenario.wort.temperature_c,
            scenario: scenario.clone(),
            events,
            next_event: 0,
            wort,
            bed,
            pipe,
            steps: 0,
            asked_s: 0.0,
            paused_until_s: 0.0,
            recirculating_until_s: 0.0,
            raking_until_s: 0.0,
            rake_strength: 0.0,
            truth: Truth::default(),
            crossings: Crossings::default(),
        };
        brewhouse.observe_start(plan.first_wort_gravity_p, first_turbidity);
        brewhouse
    }

    /// Advances by this long, in whole steps; a remainder waits for the next call.
    pub fn advance(&mut self, seconds: f64) {
        self.asked_s += seconds.max(0.0);
        let step_s = self.scenario.run.step_s;
        let due = ((self.asked_s + 1e-9) / step_s).floor() as u64;
        while self.steps < due {
            self.step();
        }
    }

    /// Lets simulated time reach `elapsed_s`; what lies in the past changes nothing.
    pub fn advance_to(&mut self, elapsed_s: f64) {
        self.advance(elapsed_s - self.asked_s);
    }

    /// Stops the flow for good: the run is over, the instruments go on.
    pub fn stop_flow(&mut self) {
        self.paused_until_s = f64::INFINITY;
    }

    /// Seconds since the start of the run.
    pub fn elapsed_s(&self) -> f64 {
        self.steps as f64 * self.scenario.run.step_s
    }

    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    pub fn crossings(&self) -> &Crossings {
        &self.crossings
    }

    pub fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// The latest reading of each instrument, in the scenario's order.
    pub fn readings(&self) -> &[InstrumentReading] {
        self.instruments.readings()
    }

    /// Whether a link (or "mqtt") answers at present.
    pub fn link_is_up(&self, link: &str) -> bool {
        self.instruments.link_is_up(link, self.elapsed_s())
    }

    /// Whether the run is over: long enough past the target, or its longest duration.
    pub fn is_finished(&self) -> bool {
        let run = &self.scenario.run;
        let now_s = self.elapsed_s();
        let past_target = self
            .crossings
            .target
            .is_some_and(|crossing| now_s >= crossing.elapsed_s + run.past_target_s);
        past_target || now_s >= run.longest_s
    }

    /// Lets something happen now.
    pub fn inject(&mut self, fault: &Fault) -> Result<(), FaultError> {
        fault.check()?;
        let now_s = self.elapsed_s();
        match fault {
            Fault::Channel { share, over_s } => {
                if !self.bed.open_channel(*share, now_s, *over_s) {
                    return Err(FaultError::SingleLane);
                }
            }
            Fault::Rake { for_s, strength } => {
                self.raking_until_s = now_s + for_s;
                self.rake_strength = *strength;
            }
            Fault::Pause { for_s } => self.paused_until_s = now_s + for_s,
            Fault::Recirculate { for_s } => self.recirculating_until_s = now_s + for_s,
            Fault::FlowStep { to_l_min } => self.flow.step_to(*to_l_min),
            Fault::Compaction { factor, over_s } => self.bed.force_packing(*factor, *over_s),
            _ => self.instruments.inject(fault, now_s)?,
        }
        Ok(())
    }

    /// Everything in tun, pipe and kettle.
    pub fn inventory(&self) -> Inventory {
        let tun_l = self.head.volume_l + self.bed.volume_l() + self.pipe.volume_l();
        let tun_extract_kg = self.tun_extract_kg();
        let tun_water_kg = self.wort.water_kg(tun_l, tun_extract_kg);
        Inventory {
            extract_kg: tun_extract_kg + self.kettle.extract_kg,
            water_kg: tun_water_kg + self.kettle.water_kg
                - self.wort.water_kg(self.head.liquor_l(), 0.0),
        }
    }

    fn tun_extract_kg(&self) -> f64 {
        self.head.extract_kg + self.bed.extract_kg() + self.pipe.extract_kg()
    }

    fn step(&mut self) {
        let now_s = self.elapsed_s();
        let seconds = self.scenario.run.step_s;
        self.run_events(now_s);
        let raking = now_s < self.raking_until_s;
        let recirculating = now_s < self.recirculating_until_s;
        if raking {
            self.bed.rake(seconds, self.rake_strength);
        }
        let (parcel, pressure_drop_kpa, sparge_l_min) = self.wash(now_s, seconds, recirculating);
        let parcel = self.with_turbidity(parcel, seconds, raking);
        let out = self.pipe.push(parcel);
        let before = self.truth;
        let metered = self.meter(out, seconds);
        self.deliver(out, metered, recirculating);
        self.steps += 1;
        self.truth.pressure_drop_kpa = pressure_drop_kpa;
        self.truth.sparge_flow_l_min = sparge_l_min;
        self.truth.raking = raking;
        self.truth.recirculating = recirculating;
        self.truth.pump_running = self.flow.is_on() && now_s >= self.paused_until_s;
        self.complete_truth();
        self.find_crossings(&before, metered, recirculating);
        let now_s = self.elapsed_s();
        self.instruments.observe(&self.truth, now_s, seconds);
    }

    fn run_events(&mut self, now_s: f64) {
        while let Some(event) = self.events.get(self.next_event)
            && event.at_s <= now_s
        {
            let what = event.what.clone();
            self.next_event += 1;
            self.inject(&what)
                .expect("a scenario's events are checked when it is read");
        }
    }

    /// Liquor onto the bed, wort through it; gives what enters the pipe.
    fn wash(&mut self, now_s: f64, seconds: f64, returned: bool) -> (Parcel, f64, f64) {
        let paused = now_s < self.paused_until_s;
        let largest_l_min = self.bed.largest_flow_l_min();
        let wanted_l_min = self.flow.advance(now_s, seconds, paused, largest_l_min);
        let sparge_l_min = self.head.sparge_flow_l_min(wanted_l_min, returned);
        self.head.add_liquor(sparge_l_min * seconds / 60.0);
        self.warm(seconds, sparge_l_min * seconds / 60.0);
        // A bed never runs dry here: without wort above it there is no flow.
        let flow_l_min = wanted_l_min.min(self.head.volume_l * 60.0 / seconds);
        let volume_l = flow_l_min * seconds / 60.0;
        let head_kg_l = self.head.concentration_kg_l();
        self.head.add(-volume_l, -volume_l * head_kg_l);
        let out = self.bed.advance(now_s, seconds, flow_l_min, head_kg_l);
        self.bed
            .refresh_viscosity(seconds, &self.wort, self.tun_temperature_c);
        let parcel = Parcel {
            volume_l,
            extract_kg: out.extract_kg,
            turbidity_ebc_l: 0.0,
        };
        (parcel, out.pressure_drop_kpa, sparge_l_min)
    }

    fn warm(&mut self, seconds: f64, liquor_l: f64) {
        let tun_l = self.head.volume_l + self.bed.volume_l();
        let towards = self.scenario.sparge.temperature_c - self.tun_temperature_c;
        self.tun_temperature_c += towards * liquor_l / tun_l;
        self.tun_temperature_c -= self.scenario.wort.cooling_k_per_h * seconds / 3600.0;
    }

    fn with_turbidity(&mut self, parcel: Parcel, seconds: f64, raking: bool) -> Parcel {
        let stirring = Stirring {
            volume_l: parcel.volume_l,
            flow_l_min: parcel.volume_l * 60.0 / seconds,
            rake_strength: if raking { self.rake_strength } else { 0.0 },
            channel_share: self.bed.channel_share(),
            relative_resistance: self.bed.relative_resistance(),
        };
        Parcel {
            turbidity_ebc_l: parcel.volume_l * self.turbidity.advance(seconds, stirring),
            ..parcel
        }
    }

    /// The meters: mass by the tun's additive volumes, volume by the table density of that mass.
    fn meter(&mut self, out: Parcel, seconds: f64) -> Metered {
        let temperature_c = self.tun_temperature_c - PIPE_LOSS_K;
        self.truth.runnings_temperature_c = temperature_c;
        let water_kg = self.wort.water_kg(out.volume_l, out.extract_kg);
        if out.volume_l > 0.0 {
            let gravity_p = 100.0 * out.extract_kg / (out.extract_kg + water_kg);
            self.truth.runnings_gravity_p = gravity_p;
            self.truth.turbidity_ebc = out.turbidity_ebc_l / out.volume_l;
        }
        let density = units::wort_density_kg_m3(self.truth.runnings_gravity_p, temperature_c);
        let volume_l = (water_kg + out.extract_kg) * 1000.0 / density;
        self.truth.flow_l_min = volume_l * 60.0 / seconds;
        self.truth.metered_volume_l += volume_l;
        Metered {
            water_kg,
            extract_kg: out.extract_kg,
            volume_l,
        }
    }

    fn deliver(&mut self, out: Parcel, metered: Metered, recirculating: bool) {
        if recirculating {
            self.head.add(out.volume_l, out.extract_kg);
        } else {
            self.kettle.fill(
                metered.water_kg,
                metered.extract_kg,
                metered.volume_l,
                self.truth.runnings_temperature_c,
            );
        }
    }

    fn observe_start(&mut self, gravity_p: f64, turbidity_ebc: f64) {
        self.truth.runnings_gravity_p = gravity_p;
        self.truth.turbidity_ebc = turbidity_ebc;
        self.truth.runnings_temperature_c = self.tun_temperature_c - PIPE_LOSS_K;
        self.complete_truth();
        self.instruments.observe(&self.truth, 0.0, 0.0);
    }

    fn complete_truth(&mut self) {
        let plan = &self.scenario.plan;
        let keys = &self.scenario.wort;
        let truth = &mut self.truth;
        let lost = 1.0 - truth.runnings_gravity_p / plan.first_wort_gravity_p;
        truth.runnings_ph_room =
            keys.first_wort_ph + keys.ph_rise * lost.clamp(0.0, 1.0).powf(keys.ph_exponent);
        truth.runnings_ph =
            units::ph_in_process(truth.runnings_ph_room, truth.runnings_temperature_c);
        truth.elapsed_s = self.steps as f64 * self.scenario.run.step_s;
        truth.kettle_volume_l = self.kettle.volume_l;
        truth.kettle_gravity_p = self.kettle.gravity_p().unwrap_or(truth.runnings_gravity_p);
        truth.kettle_temperature_c = self.kettle.temperature_c;
        truth.extract_kg = self.kettle.extract_kg;
        truth.tun_extract_kg =
            self.head.extract_kg + self.bed.extract_kg() + self.pipe.extract_kg();
        truth.relative_resistance = self.bed.relative_resistance();
        truth.channel_share = self.bed.channel_share();
    }

    fn find_crossings(&mut self, before: &Truth, metered: Metered, recirculating: bool) {
        let after = self.truth;
        let between = |share: f64| Crossing {
            elapsed_s: before.elapsed_s + share * (after.elapsed_s - before.elapsed_s),
            volume_l: before.kettle_volume_l
                + share * (after.kettle_volume_l - before.kettle_volume_l),
        };
        let plan = &self.scenario.plan;
        let target = plan.target_gravity_p;
        if self.crossings.target.is_none()
            && !recirculating
            && before.kettle_gravity_p > target
            && after.kettle_gravity_p <= target
        {
            // Exact within the step: masses grow linearly, so E - w M is linear.
            let w = target / 100.0;
            let excess =
                self.kettle.extract_kg - w * (self.kettle.extract_kg + self.kettle.water_kg);
            let change = metered.extract_kg - w * (metered.extract_kg + metered.water_kg);
            self.crossings.target = Some(between(1.0 - excess / change));
        }
        let line = |from: f64, to: f64, limit: f64| between((limit - from) / (to - from));
        let floor = plan.gravity_floor_p;
        let (from, to) = (before.runnings_gravity_p, after.runnings_gravity_p);
        if self.crossings.gravity_floor.is_none() && from > floor && to <= floor {
            self.crossings.gravity_floor = Some(line(from, to, floor));
        }
        let (from, to) = if plan.ph_basis == "process" {
            (before.runnings_ph, after.runnings_ph)
        } else {
            (before.runnings_ph_room, after.runnings_ph_room)
        };
        let ceiling = plan.ph_ceiling;
        if self.crossings.ph_ceiling.is_none() && from < ceiling && to >= ceiling {
            self.crossings.ph_ceiling = Some(line(from, to, ceiling));
        }
    }
}
