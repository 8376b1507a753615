//! The core's words in the language of the page: alarms, phases, causes, states, quantities.

use lauter_core::alarm::{AlarmId, AlarmState, Definition, Priority};
use lauter_core::projection::StopCause;
use lauter_core::reading::{Cause, Measures, Status};
use lauter_core::supervisor::Phase;
use lauter_core::units::Unit;

use super::alarm_words::ALARMS;
use super::words::of;
use crate::config::model::Language;

/// Puts figures into a sentence.
pub fn fill(sentence: &str, figures: &[&str]) -> String {
    let mut text = sentence.to_owned();
    for (index, figure) in figures.iter().enumerate() {
        text = text.replace(&format!("{{{index}}}"), figure);
    }
    text
}

fn alarm_words(alarm: AlarmId) -> (&'static str, &'static str, &'static str) {
    let place = AlarmId::ALL.iter().position(|id| *id == alarm);
    ALARMS[place.unwrap_or(0)]
}

pub fn alarm_name(alarm: AlarmId, language: Language) -> &'static str {
    let (english, german, _) = alarm_words(alarm);
    match language {
        Language::English => english,
        Language::German => german,
    }
}

/// What to do about an alarm.
pub fn response(row: &Definition, language: Language) -> &'static str {
    match language {
        Language::English => row.response,
        Language::German => alarm_words(row.alarm).2,
    }
}

/// The caution that goes with it; None where nobody is put at risk.
pub fn caution(row: &Definition, language: Language) -> Option<&'static str> {
    if row.caution.is_empty() {
        return None;
    }
    let german = of(Language::German);
    Some(match language {
        Language::English => row.caution,
        Language::German if row.caution.contains("Rakes") => german.caution_rakes,
        Language::German if row.caution.contains("kettle") => german.caution_kettle,
        Language::German if row.caution.contains("Acids") => {
            "Säuren ätzen: Schutzbrille und Handschuhe, Säure ins Wasser geben. Heiße Würze und heißes Wasser verbrühen."
        }
        Language::German if row.caution.contains("Isolate") => {
            "Vor dem Öffnen einer Verschraubung absperren und entspannen; heiße Würze und Reinigungsmittel verletzen. \
             Messgeräte und Grenzen stellen Fachleute vor Ort ein."
        }
        Language::German => german.caution_scald,
    })
}

pub fn phase_name(phase: Phase, language: Language) -> &'static str {
    match (language, phase) {
        (Language::English, Phase::Idle) => "Idle",
        (Language::English, Phase::Recirculation) => "Recirculation",
        (Language::English, Phase::FirstWort) => "First wort",
        (Language::English, Phase::Sparge) => "Sparge",
        (Language::English, Phase::Draining) => "Draining",
        (Language::English, Phase::Finished) => "Finished",
        (Language::German, Phase::Idle) => "Ruhe",
        (Language::German, Phase::Recirculation) => "Umpumpen",
        (Language::German, Phase::FirstWort) => "Vorderwürze",
        (Language::German, Phase::Sparge) => "Überschwänzen",
        (Language::German, Phase::Draining) => "Leerlaufen",
        (Language::German, Phase::Finished) => "Fertig",
    }
}

pub fn priority_words(priority: Priority, language: Language) -> &'static str {
    let words = of(language);
    match priority {
        Priority::Low => words.priority_low,
        Priority::Medium => words.priority_medium,
        Priority::High => words.priority_high,
        Priority::Critical => words.priority_critical,
    }
}

pub fn state_words(state: AlarmState, language: Language) -> &'static str {
    let words = of(language);
    match state {
        AlarmState::Normal => words.state_normal,
        AlarmState::Unacknowledged => words.state_unacknowledged,
        AlarmState::Acknowledged => words.state_acknowledged,
        AlarmState::ReturnedUnacknowledged => words.state_returned,
        AlarmState::Shelved => words.state_shelved,
        AlarmState::Suppressed => words.state_suppressed,
        AlarmState::OutOfService => words.state_out_of_service,
    }
}

pub fn stop_cause_words(cause: StopCause, language: Language) -> &'static str {
    let words = of(language);
    match cause {
        StopCause::TargetGravity => words.by_target,
        StopCause::GravityFloor => words.by_floor,
        StopCause::PhCeiling => words.by_ceiling,
        StopCause::KettleCapacity => words.by_capacity,
        StopCause::RunoffEnded => words.by_end,
    }
}

pub fn cause_words(cause: Cause, language: Language) -> &'static str {
    let (english, german) = match cause {
        Cause::NeverRead => ("not read yet", "noch nie gelesen"),
        Cause::Stale => ("silent for too long", "zu lange still"),
        Cause::LinkLost => ("its link is down", "Verbindung unterbrochen"),
        Cause::DeviceError => ("the device answers with an error", "Gerät meldet Fehler"),
        Cause::BadPayload | Cause::NotFinite => ("what it sends is no number", "sendet keine Zahl"),
        Cause::OutsideLimits => ("outside its limits", "außerhalb der Grenzen"),
        Cause::LoopBelowRange => ("current loop below 3.6 mA", "Stromschleife unter 3,6 mA"),
        Cause::LoopAboveRange => ("current loop above 21 mA", "Stromschleife über 21 mA"),
        Cause::DeviceFailure => ("reports a failure", "meldet Ausfall"),
        Cause::FunctionCheck => ("is being tested", "wird geprüft"),
        Cause::Stuck => ("does not move", "bewegt sich nicht"),
        Cause::Spike => ("a lone spike", "einzelner Ausreißer"),
        Cause::Jumped => ("has jumped", "ist gesprungen"),
        Cause::MissingCompensation => ("its temperature is missing", "Temperatur fehlt"),
    };
    match language {
        Language::English => english,
        Language::German => german,
    }
}

/// The classes of NAMUR NE 107.
pub fn status_words(status: Status, language: Language) -> &'static str {
    let (english, german) = match status {
        Status::Good => ("good", "gut"),
        Status::MaintenanceRequired => ("maintenance required", "Wartungsbedarf"),
        Status::OutOfSpecification => ("out of specification", "außerhalb der Spezifikation"),
        Status::FunctionCheck => ("function check", "Funktionskontrolle"),
        Status::Failure => ("failure", "Ausfall"),
    };
    match language {
        Language::English => english,
        Language::German => german,
    }
}

/// A unit as people write it; empty for what has none.
pub fn unit_words(unit: Unit) -> &'static str {
    match unit {
        Unit::KilogramPerCubicMetre => "kg/m³",
        Unit::DegreePlato => "°P",
        Unit::SpecificGravity => "SG",
        Unit::DegreeBrix => "°Bx",
        Unit::LitrePerMinute => "L/min",
        Unit::LitrePerHour => "L/h",
        Unit::HectolitrePerHour => "hL/h",
        Unit::CubicMetrePerHour => "m³/h",
        Unit::Litre => "L",
        Unit::Hectolitre => "hL",
        Unit::CubicMetre => "m³",
        Unit::Percent => "%",
        Unit::Kilopascal => "kPa",
        Unit::Millibar => "mbar",
        Unit::Pascal => "Pa",
        Unit::MillimetreOfWater => "mm H₂O",
        Unit::Ebc => "EBC",
        Unit::Ntu => "NTU",
        Unit::Fnu => "FNU",
        Unit::Celsius => "°C",
        Unit::Fahrenheit => "°F",
        Unit::Kelvin => "K",
        Unit::Ph => "pH",
        Unit::Milliampere => "mA",
        Unit::Bool => "",
    }
}

/// Digits after the mark that instruments of the trade resolve in a unit.
pub fn unit_digits(unit: Unit) -> usize {
    match unit {
        Unit::Bool | Unit::CubicMetre | Unit::SpecificGravity => 4,
        Unit::Ph | Unit::Kilopascal | Unit::Milliampere | Unit::CubicMetrePerHour => 3,
        Unit::KilogramPerCubicMetre
        | Unit::DegreePlato
        | Unit::DegreeBrix
        | Unit::Hectolitre
        | Unit::HectolitrePerHour
        | Unit::Millibar
        | Unit::Celsius
        | Unit::Fahrenheit
        | Unit::Kelvin => 2,
        Unit::LitrePerMinute
        | Unit::LitrePerHour
        | Unit::Litre
        | Unit::Percent
        | Unit::MillimetreOfWater
        | Unit::Ebc
        | Unit::Ntu
        | Unit::Fnu => 1,
        Unit::Pascal => 0,
    }
}

pub fn measures_words(measures: Measures, language: Language) -> &'static str {
    let (english, german) = match measures {
        Measures::RunningsGravity => ("runnings gravity", "Extrakt im Ablauf"),
        Measures::RunningsTemperature => ("runnings temperature", "Temperatur im Ablauf"),
        Measures::RunningsPh => ("runnings pH", "pH im Ablauf"),
        Measures::RunningsTurbidity => ("runnings turbidity", "Trübung im Ablauf"),
        Measures::RunoffFlow => ("run-off flow", "Durchfluss"),
        Measures::RunoffTotal => ("run-off total", "Durchfluss, gezählt"),
        Measures::SpargeFlow => ("sparge flow", "Überschwänzwasser"),
        Measures::KettleVolume => ("kettle volume", "Pfannenvolumen"),
        Measures::KettleGravity => ("kettle gravity", "Extrakt in der Pfanne"),
        Measures::KettleTemperature => ("kettle temperature", "Pfannentemperatur"),
        Measures::BedPressureDrop => ("bed pressure drop", "Differenzdruck"),
        Measures::RakeRunning => ("rakes running", "Hackwerk läuft"),
        Measures::PumpRunning => ("pump running", "Pumpe läuft"),
        Measures::Recirculating => ("recirculating", "Umpumpen"),
    };
    match language {
        Language::English => english,
        Language::German => german,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lauter_core::alarm::definition;

    #[test]
    fn every_caution_of_the_alarm_table_has_its_german() {
        for alarm in AlarmId::ALL {
            let row = definition(alarm);
            let german = caution(row, Language::German);
            assert_eq!(german.is_some(), !row.caution.is_empty(), "{alarm:?}");
            if row.caution.contains("lock-out") {
                assert!(
                    german.is_some_and(|text| text.contains("Freischalt")),
                    "{alarm:?}"
                );
            }
        }
    }

    #[test]
    fn figures_find_their_places() {
        assert_eq!(fill("{1} of {0}", &["ten", "nine"]), "nine of ten");
    }
}
