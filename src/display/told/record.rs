//! What is said of a record that takes nothing or is not safe.
//!
//! Owns the German of its causes. One that fits no pattern here is a system's own words and stands as it is.

use lauter_core::supervisor::{AlarmLine, RECORD};

use crate::display::Voice;
use crate::display::pattern::{Pattern, matched};

/// How the alarm's sentence begins, and what comes before its cause in German.
const HEADS: [(&str, &str); 2] = [
    (
        "Nothing is being recorded: ",
        "Es wird nichts aufgezeichnet",
    ),
    ("The record is not safe: ", "Das Protokoll ist nicht sicher"),
];

const CAUSES: [Pattern; 7] = [
    (
        "the disk is full; free disk space",
        "die Platte ist voll; Platz schaffen",
    ),
    (
        "the file system of store {} is read-only{}",
        "das Dateisystem von {0} ist schreibgeschützt; im Protokoll des Systems nach dem Fehler der Platte sehen, dann wieder \
         beschreibbar einhängen",
    ),
    (
        "the disk of the record does not answer{}",
        "die Platte des Protokolls antwortet nicht; Platte und Kabel ansehen",
    ),
    (
        "no permission for store {} while {}",
        "für {0} fehlt die Berechtigung; dem Benutzer des Dienstes das Schreiben erlauben",
    ),
    (
        "the record {} was removed or replaced{}",
        "das Protokoll {0} wurde entfernt oder ersetzt; es wird aus dem Geöffneten zurückgelegt, sobald es geht: Verzeichnis und \
         Platte frei machen, den Dienst nicht vorher beenden",
    ),
    (
        "store {} is in use by another lauterd{}",
        "das Protokoll {0} wird von einem anderen lauterd benutzt; den anderen beenden",
    ),
    (
        "store {} is damaged {}",
        "das Protokoll {0} ist beschädigt; eine frühere Kopie zurücklegen oder den Dienst neu starten, der dann ein neues beginnt",
    ),
];

/// The German of an alarm about the record; None where the line is about a publisher, or says something else.
pub(super) fn said(line: &AlarmLine, voice: Voice) -> Option<String> {
    if line.instrument.as_deref() != Some(RECORD) {
        return None;
    }
    let (rest, head) = HEADS
        .iter()
        .find_map(|(from, to)| Some((line.message.strip_prefix(from)?, to)))?;
    let depth = line.evidence.get("depth").copied().unwrap_or(0.0);
    let (cause, waits) = match rest.split_once(&format!(". {depth:.0} rows wait in memory.")) {
        Some((cause, _)) => {
            let depth = voice.number(depth, 0);
            (cause, format!(" {depth} Zeilen warten im Arbeitsspeicher."))
        }
        None => (rest.trim_end_matches('.'), String::new()),
    };
    let cause = matched(&CAUSES, cause, voice).unwrap_or_else(|| cause.to_owned());
    Some(format!("{head}: {cause}.{waits}"))
}
