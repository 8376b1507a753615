//! What an alarm says, in the language of the page: its sentence is made from the evidence.
//!
//! Owns the German of alarms. The record itself stays English, which other programs rely on; what has no German
//! here is shown as it stands and marked as English.

mod record;

use lauter_core::alarm::{AlarmId, AlarmState};
use lauter_core::reading::Cause;
use lauter_core::supervisor::{AlarmLine, cause_in_words};

use super::Voice;
use super::pattern::{Pattern, matched};
use super::terms::{alarm_name, cause_words};
use crate::config::model::Language;

/// A sentence, and the language it is in where that is not the page's.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    pub text: String,
    pub lang: Option<&'static str>,
}

impl Said {
    pub(super) fn own(text: String) -> Self {
        Self { text, lang: None }
    }

    pub(super) fn english(text: &str, voice: Voice) -> Self {
        Self {
            text: text.to_owned(),
            lang: (voice.language() != Language::English).then_some("en"),
        }
    }
}

/// What an alarm's line says: what was found, what became of it and who did it.
pub fn alarm_said(line: &AlarmLine, voice: Voice) -> Said {
    if voice.language() == Language::English {
        return Said::own(line.message.clone());
    }
    let name = alarm_name(line.alarm, voice.language());
    let finding = finding(line, voice).unwrap_or_else(|| format!("{name}."));
    let deed = deed(&line.message, voice);
    let text = match line.to {
        AlarmState::Unacknowledged | AlarmState::Acknowledged => finding,
        AlarmState::Suppressed => format!("{finding} Unterdrückt."),
        AlarmState::Normal | AlarmState::ReturnedUnacknowledged => format!("Vorbei: {name}."),
        AlarmState::Shelved | AlarmState::OutOfService => String::new(),
    };
    let parts = [text, deed.unwrap_or_default()];
    let said: Vec<&str> = parts
        .iter()
        .map(String::as_str)
        .filter(|it| !it.is_empty())
        .collect();
    if said.is_empty() {
        return Said::english(&line.message, voice);
    }
    Said::own(said.join(" "))
}

/// What somebody did, at the end or the beginning of a message.
const DEEDS: [Pattern; 5] = [
    (
        "Shelved for {} ({}) by {}. It returns by itself.",
        "Zurückgestellt für {0} ({1}) von {2}; kommt von selbst wieder.",
    ),
    (
        "Taken out of service ({}) by {}, until somebody returns it.",
        "Außer Betrieb genommen ({0}) von {1}.",
    ),
    ("Taken from the shelf by {}. {}", "Zurückgeholt von {0}."),
    (
        "Returned to service by {}. {}",
        "Wieder in Betrieb genommen von {0}.",
    ),
    ("{}Acknowledged by {}.", "Quittiert von {1}."),
];

fn deed(message: &str, voice: Voice) -> Option<String> {
    matched(&DEEDS, message, voice)
}

/// The finding from the figures that speak for it; None where the line has them not.
fn finding(line: &AlarmLine, voice: Voice) -> Option<String> {
    let figure = |name: &str| line.evidence.get(name).copied();
    let gravity = |name: &str| {
        figure(name).map(|p| format!("{} {}", voice.gravity_finely(p), voice.gravity_unit()))
    };
    let volume = |name: &str| figure(name).map(|l| voice.volume_with_unit(l));
    let flow =
        |name: &str| figure(name).map(|l| format!("{} {}", voice.flow(l), voice.flow_unit()));
    let kpa = |name: &str| figure(name).map(|it| format!("{} kPa", voice.number(it, 2)));
    Some(match line.alarm {
        AlarmId::Channelling => channelling(line, voice),
        AlarmId::BedCompaction => {
            let ahead =
                figure("time_to_limit_s").filter(|_| line.message.contains("reaches the limit"));
            let ahead = ahead.map_or(String::new(), |s| {
                format!(" Die Grenze kommt in etwa {}.", span(s, voice))
            });
            format!(
                "Das Bett zieht sich zu: Differenzdruck {} von {}.{ahead}",
                kpa("pressure_drop_kpa")?,
                kpa("pressure_drop_limit_kpa")?
            )
        }
        AlarmId::StuckBed => format!(
            "Das Bett sitzt fest: {} statt der üblichen {}, obwohl gezogen wird.",
            flow("flow_l_min")?,
            flow("usual_flow_l_min")?
        ),
        AlarmId::GravityFloor => format!(
            "Der Extrakt im Ablauf ist mit {} an der Grenze von {}.",
            gravity("runnings_gravity_p")?,
            gravity("gravity_floor_p")?
        ),
        AlarmId::PhCeiling => format!(
            "Der pH im Ablauf ist mit {} an der Grenze von {}.",
            voice.ph(figure("runnings_ph")?),
            voice.ph(figure("ph_ceiling")?)
        ),
        AlarmId::TanninLimitAhead => limit_ahead(line, voice)?,
        AlarmId::StopPointAhead => format!(
            "Noch etwa {} bis zum Endpunkt bei {} in der Pfanne.",
            span(figure("time_to_stop_s")?.max(0.0), voice),
            volume("stop_volume_l")?
        ),
        AlarmId::StopPointReached => format!(
            "Der Extrakt in der Pfanne hat mit {} bei {} sein Ziel erreicht. Ablauf jetzt beenden.",
            gravity("kettle_gravity_p")?,
            volume("kettle_volume_l")?
        ),
        AlarmId::KettleHighLevel => format!(
            "In der Pfanne sind {} von {}: fast voll. Ablauf jetzt beenden.",
            volume("kettle_volume_l")?,
            volume("capacity_l")?
        ),
        AlarmId::RunoffTooFast | AlarmId::RunoffTooSlow => {
            let timely = flow("timely_flow_l_min").map_or_else(
                || "Das geplante Ende ist vorbei.".to_owned(),
                |timely| format!("Ab jetzt wäre {timely} pünktlich."),
            );
            format!(
                "Durchfluss {}; der Plan sieht {} vor. {timely}",
                flow("flow_l_min")?,
                flow("planned_flow_l_min")?
            )
        }
        AlarmId::TurbidRunnings => format!(
            "Der Ablauf ist trüb: {} EBC, Grenze {} EBC.",
            voice.number(figure("turbidity_ebc")?, 0),
            voice.number(figure("turbidity_limit_ebc")?, 0)
        ),
        _ => of_instruments(line, voice)?,
    })
}

/// The same for what is about instruments, links and receivers.
fn of_instruments(line: &AlarmLine, voice: Voice) -> Option<String> {
    let figure = |name: &str| line.evidence.get(name).copied();
    let about = line.instrument.as_deref().unwrap_or_default();
    Some(match line.alarm {
        AlarmId::InstrumentFault => {
            let cause = Cause::ALL
                .into_iter()
                .find(|cause| line.message.contains(cause_in_words(*cause)));
            match cause {
                Some(cause) => format!(
                    "{about} liefert keinen brauchbaren Wert: {}.",
                    cause_words(cause, voice.language())
                ),
                None => format!("{about} liefert keinen brauchbaren Wert."),
            }
        }
        AlarmId::InstrumentsDisagree => disagreement(line, voice)?,
        AlarmId::LinkLost => matched(&LINK_LOST, &line.message, voice).unwrap_or_else(|| {
            let fault = if line.message.contains("sent garbage") {
                "liefert nichts Verständliches"
            } else {
                "ist ausgefallen"
            };
            format!("Die Verbindung „{about}“ {fault}; alle ihre Messgeräte schweigen.")
        }),
        AlarmId::DeliveryDelayed => {
            if let Some(said) = record::said(line, voice) {
                return Some(said);
            }
            let refused = line.message.contains("refuses the service");
            let wait = format!(
                "{} Zeilen warten auf {about}, die älteste seit {}.",
                voice.number(figure("depth")?, 0),
                span(figure("oldest_age_s")?, voice)
            );
            let stands = figure("stands_s").map_or(String::new(), |stands_s| {
                format!(" Das dauert seit {} an.", span(stands_s, voice))
            });
            if refused {
                format!("{about} weist den Dienst ab. {wait}{stands}")
            } else {
                format!("{wait}{stands}")
            }
        }
        _ => return None,
    })
}

/// A link that says nothing at all, apart from one that refuses.
const LINK_LOST: [Pattern; 1] = [(
    "The link \"{}\" is silent: none of its instruments has answered for {}.",
    "Die Verbindung „{0}“ schweigt: seit {1} hat keines ihrer Messgeräte geantwortet.",
)];

fn limit_ahead(line: &AlarmLine, voice: Voice) -> Option<String> {
    let figure = |name: &str| line.evidence.get(name).copied();
    let limit = match (figure("ph_ceiling"), figure("gravity_floor_p")) {
        (Some(ph), _) => format!("die pH-Grenze von {}", voice.ph(ph)),
        (None, Some(floor)) => format!("die Extraktgrenze von {}", voice.gravity_with_unit(floor)),
        (None, None) => "eine Gerbstoffgrenze".to_owned(),
    };
    let may = if line.message.contains("may reach") {
        "vielleicht "
    } else {
        ""
    };
    let ahead = span(figure("time_to_limit_s")?.max(0.0), voice);
    Some(format!(
        "Der Ablauf erreicht in etwa {ahead} {may}{limit}, bevor die Pfanne am Ziel ist."
    ))
}

fn channelling(line: &AlarmLine, voice: Voice) -> String {
    let figure = |name: &str| line.evidence.get(name).copied();
    let gravity = |p: f64| voice.gravity_with_unit(p);
    let mut signs = Vec::new();
    if let Some(share) = figure("resistance_fall_share").filter(|share| *share > 0.02) {
        let within = figure("resistance_fall_s")
            .map_or(String::new(), |s| format!("in {} ", span(s, voice)));
        signs.push(format!(
            "der Treberwiderstand ist {within}um {} % gefallen",
            voice.percent(share, 0)
        ));
    }
    if let Some((now, forecast)) = figure("runnings_gravity_p").zip(figure("forecast_gravity_p"))
        && forecast - now > 0.2
    {
        signs.push(format!(
            "der Ablauf hat {} statt der vorhergesagten {}",
            gravity(now),
            gravity(forecast)
        ));
    }
    if line.message.contains("turned cloudy") {
        signs.push("der Ablauf ist trüb geworden".to_owned());
    }
    let head = "Wasser hat sich einen Kanal durch die Treber gesucht";
    if signs.is_empty() {
        format!("{head}.")
    } else {
        format!("{head}: {}.", signs.join(", "))
    }
}

fn disagreement(line: &AlarmLine, voice: Voice) -> Option<String> {
    let figure = |name: &str| line.evidence.get(name).copied();
    let about = line.instrument.as_deref().unwrap_or_default();
    let deviations = |sum: f64| voice.number(sum, 1);
    if let Some(sum) = figure("sample_standard_deviations") {
        return Some(format!(
            "Handproben widersprechen {about} (Summe {} Standardabweichungen).",
            deviations(sum)
        ));
    }
    if let Some(apart_l) = figure("level_minus_flow_l") {
        let apart = voice.volume_with_unit(apart_l.abs());
        return Some(format!(
            "Pfannenstand und summierter Durchfluss sind um {apart} auseinandergelaufen: {about} ist eher falsch."
        ));
    }
    let sum = figure("disagreement_standard_deviations")?;
    let what = if line.message.contains("level") {
        "Der Pfannenstand widerspricht dem summierten Durchfluss"
    } else {
        "Der Extrakt in der Pfanne widerspricht der Extraktbilanz"
    };
    Some(format!(
        "{what} ({} Standardabweichungen).",
        deviations(sum)
    ))
}

fn span(seconds: f64, voice: Voice) -> String {
    if seconds < 90.0 {
        format!("{} s", voice.number(seconds, 0))
    } else {
        format!("{} min", voice.minutes(seconds))
    }
}

#[cfg(test)]
mod tests;
