//! What happened in a brew and what it teaches, in the language of the page: occurrences by their pattern, lessons by
//! their reason.
//!
//! Owns the German of the course. The record itself stays English; what fits no pattern is shown as it stands and
//! marked as English.

use lauter_core::profile::Reason;

use super::Voice;
use super::pattern::{Pattern, matched};
use super::told::Said;
use crate::config::model::Language;

/// What happened, as the record tells it; words of people stay as they are.
pub fn occurrence_said(event: &str, text: &str, voice: Voice) -> Said {
    if voice.language() == Language::English || event == "note" {
        return Said::own(text.to_owned());
    }
    match matched(&OCCURRENCES, text, voice) {
        Some(german) => Said::own(german),
        None => Said::english(text, voice),
    }
}

/// The patterns of the core's occurrences; the first that fits counts.
const OCCURRENCES: [Pattern; 35] = [
    (
        "Brew {} started: {} kg of grist, target {} °P at about {} L.",
        "Sud {0} begonnen: {1} kg Schüttung, Ziel {2} °P bei etwa {3} L.",
    ),
    ("Brew {} ended.", "Sud {0} abgeschlossen."),
    (
        "Phase recirculation: {} L/min go back to the tun.",
        "Umpumpen: {0} L/min laufen in den Bottich zurück.",
    ),
    (
        "Phase finished: flow has stopped after the stop-point.",
        "Fertig: nach dem Endpunkt steht der Durchfluss.",
    ),
    (
        "Phase first wort: {} L/min run to the kettle.",
        "Vorderwürze: {0} L/min laufen in die Pfanne.",
    ),
    (
        "Phase first wort: wort runs to the kettle again.",
        "Vorderwürze: die Würze läuft wieder in die Pfanne.",
    ),
    (
        "Phase sparge: wort runs to the kettle again.",
        "Überschwänzen: die Würze läuft wieder in die Pfanne.",
    ),
    (
        "Phase draining: wort runs to the kettle again.",
        "Leerlaufen: die Würze läuft wieder in die Pfanne.",
    ),
    (
        "Phase {}: wort runs to the kettle again.",
        "Die Würze läuft wieder in die Pfanne.",
    ),
    (
        "Phase sparge: sparge liquor runs at {} L/min.",
        "Überschwänzen: Überschwänzwasser läuft mit {0} L/min.",
    ),
    (
        "Phase sparge: runnings have fallen to {} °P.",
        "Überschwänzen: der Extrakt im Ablauf ist auf {0} °P gefallen.",
    ),
    (
        "Phase sparge: sparge liquor runs again at {} L/min.",
        "Überschwänzen: Überschwänzwasser läuft wieder mit {0} L/min.",
    ),
    (
        "Phase draining: the sparge has ended and the bed drains.",
        "Leerlaufen: das Überschwänzen ist beendet, die Treber laufen leer.",
    ),
    (
        "Hand sample of the runnings: {}.",
        "Handprobe aus dem Ablauf: {0}.",
    ),
    (
        "Hand sample of the kettle: {}.",
        "Handprobe aus der Pfanne: {0}.",
    ),
    ("{}: raking for {} min.", "{0}: Hacken für {1} min."),
    (
        "Raking lowered the bed resistance ({} %).",
        "Das Hacken hat den Treberwiderstand gesenkt ({0} %).",
    ),
    (
        "Raking did not lower the bed resistance ({} %).",
        "Das Hacken hat den Treberwiderstand nicht gesenkt ({0} %).",
    ),
    (
        "The effect of the raking on the bed resistance was not measured.",
        "Die Wirkung des Hackens auf den Treberwiderstand wurde nicht gemessen.",
    ),
    (
        "Bed resistance rose with the raking ({} %), as it does when a channel closes.",
        "Mit dem Hacken ist der Treberwiderstand gestiegen ({0} %), wie wenn sich ein Kanal schließt.",
    ),
    (
        "After the raking the runnings lay {} °P above the forecast: {} kg of extract regained in ten minutes.",
        "Nach dem Hacken lag der Ablauf {0} °P über der Vorhersage: {1} kg Extrakt in zehn Minuten zurückgewonnen.",
    ),
    (
        "After the raking the runnings lay {} °P below the forecast: no extract regained in ten minutes.",
        "Nach dem Hacken lag der Ablauf {0} °P unter der Vorhersage: in zehn Minuten kein Extrakt zurückgewonnen.",
    ),
    (
        "Kettle gravity {} °P is below the target of {} °P and running on lowers it: the target is out of reach of the run-off. Boiling off {} % of the kettle's mass would reach it.",
        "Der Extrakt in der Pfanne liegt mit {0} °P unter dem Ziel von {1} °P und sinkt weiter: der Ablauf erreicht es nicht mehr. {2} % der Masse in der Pfanne müssten verdampfen.",
    ),
    (
        "Every instrument has been silent for {}. Table and projection rest until one answers. Go on with hand samples.",
        "Alle Messgeräte schweigen seit {0}. Protokoll und Vorhersage ruhen, bis eines antwortet. Mit Handproben weitermachen.",
    ),
    (
        "Instruments answer again after {} of silence. {}",
        "Nach {0} Stille antworten die Messgeräte wieder.",
    ),
    (
        "Nobody watched for {}: the service was not running. {}",
        "{0} lang hat niemand zugesehen: der Dienst lief nicht.",
    ),
    (
        "The service was not running for {} s.",
        "Der Dienst lief {0} s lang nicht.",
    ),
    (
        "Nobody watched for {}: the service stood still (it was stopped, or the machine was). {}",
        "{0} lang hat niemand zugesehen: der Dienst stand still (er war angehalten oder der Rechner).",
    ),
    (
        "The service stood still for {} s.",
        "Der Dienst stand {0} s lang still.",
    ),
    (
        "The record has nothing of {}: the service could not write it before it ended. {}",
        "Von {0} steht nichts in der Aufzeichnung: der Dienst konnte vor seinem Ende nicht mehr schreiben.",
    ),
    (
        "The record has nothing of {}: the service was cut off (killed, without power, or unable to write). {}",
        "Von {0} steht nichts in der Aufzeichnung: der Dienst brach ab (beendet, ohne Strom oder ohne schreiben zu können).",
    ),
    (
        "The service was cut off: the record has nothing of {} s.",
        "Der Dienst brach ab: von {0} s steht nichts in der Aufzeichnung.",
    ),
    (
        "The record has nothing of {}: the service was not running, or could not write. {}",
        "Von {0} steht nichts in der Aufzeichnung: der Dienst lief nicht oder konnte nicht schreiben.",
    ),
    (
        "The record has nothing of {} s: the service was not running, or could not write.",
        "Von {0} s steht nichts in der Aufzeichnung: der Dienst lief nicht oder konnte nicht schreiben.",
    ),
    (
        "The record has nothing of {} s: it could not be written.",
        "Von {0} s steht nichts in der Aufzeichnung: sie ließ sich nicht schreiben.",
    ),
];

/// Why a brew teaches or does not.
pub fn reason_said(reason: Reason, voice: Voice) -> &'static str {
    if voice.language() == Language::English {
        return reason.in_words();
    }
    match reason {
        Reason::Teaches => "nichts spricht dagegen",
        Reason::TunChanged => "er gleicht den zuletzt abgelehnten: der Bottich hat sich geändert",
        Reason::TargetNotReached => "das Ziel wurde nicht erreicht",
        Reason::Channelled => "das Bett hat einen Kanal gebildet",
        Reason::InstrumentsDisagreed => "Messgeräte haben sich widersprochen",
        Reason::GravityMissing => "der Extrakt im Ablauf fehlte zu lange",
        Reason::FlowMissing => "der Durchfluss fehlte zu lange",
        Reason::TooShort => "der Ablauf war zu kurz",
        Reason::UnlikeOthers => "seine Auswaschung gleicht keinem anderen Sud dieses Bottichs",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::model::{DecimalMark, Display};

    fn german() -> Voice {
        Voice::new(Display {
            language: Language::German,
            decimal: DecimalMark::Comma,
            ..Display::default()
        })
    }

    #[test]
    fn the_course_of_a_brew_is_told_in_german_with_the_mark_of_the_page() {
        for (event, english, expected) in [
            (
                "brew-started",
                "Brew 2026-0077 started: 980 kg of grist, target 14.6 °P at about 4500 L.",
                "Sud 2026-0077 begonnen: 980 kg Schüttung, Ziel 14,6 °P bei etwa 4500 L.",
            ),
            (
                "phase",
                "Phase sparge: runnings have fallen to 18.0 °P.",
                "Überschwänzen: der Extrakt im Ablauf ist auf 18,0 °P gefallen.",
            ),
            (
                "hand-sample",
                "Hand sample of the kettle: 18.40 °P, pH 5.41.",
                "Handprobe aus der Pfanne: 18,40 °P, pH 5,41.",
            ),
            (
                "not-watched",
                "The record has nothing of 10 min: the service was not running, or could not write. meter tells what ran \
                 off meanwhile.",
                "Von 10 min steht nichts in der Aufzeichnung: der Dienst lief nicht oder konnte nicht schreiben.",
            ),
            (
                "raking",
                "anna: raking for 2 min.",
                "anna: Hacken für 2 min.",
            ),
            ("note", "anna: raking for 2 min.", "anna: raking for 2 min."),
        ] {
            let said = occurrence_said(event, english, german());
            assert_eq!((said.text.as_str(), said.lang), (expected, None));
        }
        let other = occurrence_said("other", "Something new.", german());
        assert_eq!(other.lang, Some("en"));
    }
}
