//! Every word about loop checks and corrections, in English and in German.
//!
//! Owns the words alone. `{0}`, `{1}` … stand for figures.

use super::Voice;
use super::pattern::{Pattern, matched};
use super::told::Said;
use crate::config::model::Language;

/// What somebody should see to at an instrument, as the page says it.
pub fn hint_said(hint: &str, voice: Voice) -> Said {
    if voice.language() == Language::English {
        return Said::own(hint.to_owned());
    }
    match matched(&HINTS, hint, voice) {
        Some(german) => Said::own(german),
        None => Said::english(hint, voice),
    }
}

const HINTS: [Pattern; 3] = [
    (
        "its loop check was due on {}; check it against a reference (lauterd loop-check guide)",
        "Die Prüfung war am {0} fällig: mit einer Referenz prüfen",
    ),
    (
        "its electrode is near its end; clean it, calibrate it anew, and have another at hand",
        "Die Elektrode ist am Ende: reinigen, neu kalibrieren und eine andere bereithalten",
    ),
    (
        "its correction {} was made for readings in {} and is not in force, since it reads in {} now; calibrate it anew",
        "Die Korrektur {0} galt für Anzeigen in {1} und ist nicht in Kraft, da jetzt {2} angezeigt werden: neu kalibrieren",
    ),
];

pub fn of(language: Language) -> &'static Words {
    match language {
        Language::English => &ENGLISH,
        Language::German => &GERMAN,
    }
}

words! {
    certificate: "Loop check certificate" / "Prüfprotokoll Messkreis";
    number: "No. {0}" / "Nr. {0}";
    loop_checks: "Loop checks" / "Messkreisprüfungen";
    loop_check: "Loop check" / "Messkreisprüfung";
    no_checks: "This instrument has not been checked yet." / "Dieses Messgerät wurde noch nicht geprüft.";
    checked_on: "Checked on" / "Geprüft am";
    by: "by" / "von";
    due: "Due again" / "Wieder fällig";
    overdue: "overdue" / "überfällig";
    never: "never" / "nie";
    reference: "Reference" / "Referenz";
    reference_says: "which one, its certificate, its lot" / "welche, ihr Zertifikat, ihre Charge";
    reference_uncertainty: "Expanded uncertainty of the reference (k = 2)" / "Erweiterte Unsicherheit der Referenz (k = 2)";
    temperature_uncertainty: "Expanded uncertainty of its temperature (k = 2), K" / "Erweiterte Unsicherheit ihrer Temperatur (k = 2), K";
    tolerance: "Tolerance, either way" / "Toleranz, beidseitig";
    resolution: "Least step of the reading" / "Kleinster Schritt der Anzeige";
    as_found: "As-found" / "Wie vorgefunden";
    as_left: "As-left" / "Wie hinterlassen";
    applied: "Applied" / "Vorgabe";
    reading: "Reading" / "Anzeige";
    uncorrected: "Before correction" / "Vor Korrektur";
    error: "Error" / "Abweichung";
    hysteresis: "Hysteresis" / "Hysterese";
    combined: "Combined" / "Kombiniert";
    freedom: "Degrees of freedom" / "Freiheitsgrade";
    factor: "k" / "k";
    expanded: "Expanded" / "Erweitert";
    verdict: "Result" / "Ergebnis";
    pass: "pass" / "bestanden";
    fail: "fail" / "nicht bestanden";
    in_doubt: "in doubt" / "zweifelhaft";
    in_doubt_says: "In doubt: the tolerance lies within the uncertainty, so the result might have come out otherwise." / "Zweifelhaft: die Toleranz liegt innerhalb der Unsicherheit, das Ergebnis hätte anders ausfallen können.";
    repeatability_is: "Repeatability of one reading: {0} ({1} degrees of freedom)." / "Wiederholbarkeit einer Anzeige: {0} ({1} Freiheitsgrade).";
    not_repeated: "No applied value was repeated." / "Keine Vorgabe wurde wiederholt.";
    readings: "Readings" / "Anzeigen";
    direction: "Way" / "Richtung";
    up: "up" / "aufwärts";
    down: "down" / "abwärts";
    budget: "Uncertainty" / "Unsicherheit";
    by_reference: "reference" / "Referenz";
    by_repeatability: "repeatability" / "Wiederholbarkeit";
    by_resolution: "least step" / "kleinster Schritt";
    by_hysteresis: "hysteresis" / "Hysterese";
    by_temperature: "temperature" / "Temperatur";
    by_formula: "formula" / "Formel";
    how_reckoned: "Uncertainty after JCGM 100 (GUM): contributions combined as root of the sum of squares; the expanded uncertainty is k times the combined one, k = 2 or, where few repeats stand behind it, Student's factor for 95.45 % at the effective degrees of freedom (Welch-Satterthwaite). Pass means that the error lies within the tolerance." / "Unsicherheit nach JCGM 100 (GUM): Beiträge als Wurzel der Quadratsumme; die erweiterte Unsicherheit ist das k-Fache der kombinierten, k = 2 oder bei wenigen Wiederholungen der Student-Faktor für 95,45 % bei den effektiven Freiheitsgraden (Welch-Satterthwaite). Bestanden heißt: die Abweichung liegt innerhalb der Toleranz.";
    buffers_from: "Buffer values: NIST / DIN 19266." / "Pufferwerte: NIST / DIN 19266.";
    water_from: "Flow from a weighed tank: density of water after IAPWS, buoyancy of air; the principle of ISO 4185." / "Durchfluss aus gewogenem Behälter: Wasserdichte nach IAPWS, Luftauftrieb; Prinzip der ISO 4185.";
    gravity_from: "Gravity and density: the sugar form of ICUMSA SPS-4." / "Extrakt und Dichte: Zuckerformel nach ICUMSA SPS-4.";
    correction: "Correction" / "Korrektur";
    no_correction: "No correction: readings pass as they come." / "Keine Korrektur: Anzeigen gelten wie gekommen.";
    correction_is: "Version {0} of {1}, by {2}" / "Version {0} vom {1}, von {2}";
    electrode_is: "offset {0} mV, slope {1} % of Nernst, isopotential point pH 7" / "Nullpunkt {0} mV, Steilheit {1} % nach Nernst, Isothermenschnittpunkt pH 7";
    line_is: "{0} × reading {1}" / "{0} × Anzeige {1}";
    taken_back: "taken back" / "zurückgenommen";
    correction_says: "Kept here and applied to every reading; nothing is written to the instrument." / "Hier gehalten und auf jede Anzeige angewandt; ins Messgerät wird nichts geschrieben.";
    correct_now: "Correct by the as-found readings" / "Nach den vorgefundenen Anzeigen korrigieren";
    take_back: "Take the correction back" / "Korrektur zurücknehmen";
    enter_check: "Enter a loop check" / "Messkreisprüfung eintragen";
    steps: "1. Isolate and release pressure, then connect the reference. 2. Apply each value upwards, then downwards; wait until the reading stands still and take it. 3. If it fails: adjust, or correct here. 4. Take every value again as-left. 5. Save." / "1. Absperren und entspannen, dann die Referenz anschließen. 2. Jeden Wert aufwärts, dann abwärts vorgeben; warten, bis die Anzeige steht, und übernehmen. 3. Falls nicht bestanden: justieren oder hier korrigieren. 4. Jeden Wert noch einmal wie hinterlassen. 5. Speichern.";
    brew_runs: "A run-off is under way: a loop check now spoils its record. Wait for its end, or use hand samples alone." / "Ein Ablauf läuft: eine Prüfung jetzt verdirbt sein Protokoll. Das Ende abwarten oder nur Handproben nehmen.";
    take: "Take" / "Übernehmen";
    temperature: "Temperature, °C" / "Temperatur, °C";
    buffer: "Buffer" / "Puffer";
    phthalate: "phthalate" / "Phthalat";
    phosphate: "phosphate" / "Phosphat";
    borate: "borate" / "Borat";
    mass: "Mass, kg" / "Masse, kg";
    seconds: "Time, s" / "Zeit, s";
    days: "Days to the next check" / "Tage bis zur nächsten Prüfung";
    drift: "Drift from check to check" / "Drift von Prüfung zu Prüfung";
    drift_says: "Greatest error as a share of the tolerance: rings as-found, dots as-left. The broken lines are the tolerance." / "Größte Abweichung als Anteil der Toleranz: Ringe wie vorgefunden, Punkte wie hinterlassen. Gestrichelt die Toleranz.";
    share_of_tolerance: "% of tolerance" / "% der Toleranz";
    engineer: "Engineer" / "Techniker";
    approved: "Approved" / "Freigegeben";
    note: "Note" / "Bemerkung";
    all_instruments: "All instruments" / "Alle Messgeräte";
    last_check: "Last check" / "Letzte Prüfung";
    corrected_value: "Corrected" / "Korrigiert";
    caution_check: "Lines under pressure, hot wort, liquor and caustic injure: isolate, release pressure and drain before you open a fitting or draw a probe; wear goggles and gloves. Vessels that held cleaning chemicals or carbon dioxide are not safe to lean into. Take interlocks that use this instrument out of service only by the site's procedure. Local codes and licensed practice come first; a certificate of this program replaces neither an accredited calibration nor a legal verification." / "Leitungen unter Druck, heiße Würze, heißes Wasser und Lauge verletzen: absperren, entspannen und entleeren, bevor eine Verschraubung geöffnet oder eine Sonde gezogen wird; Schutzbrille und Handschuhe tragen. In Gefäße, die Reinigungsmittel oder Kohlendioxid enthielten, nicht hineinbeugen. Verriegelungen, die dieses Messgerät benutzen, nur nach dem Verfahren des Betriebs außer Betrieb nehmen. Örtliche Vorschriften und zugelassene Fachleute gehen vor; ein Protokoll dieses Programms ersetzt weder eine akkreditierte Kalibrierung noch eine Eichung.";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_german_page_says_in_german_what_to_see_to() {
        let german = Voice::of_language(Language::German);
        let hint = "its loop check was due on 2026-03-01; check it against a reference (lauterd loop-check guide)";
        let said = hint_said(hint, german);
        assert_eq!(
            (said.text.as_str(), said.lang),
            (
                "Die Prüfung war am 2026-03-01 fällig: mit einer Referenz prüfen",
                None
            )
        );
        assert_eq!(hint_said("something new", german).lang, Some("en"));
    }

    #[test]
    fn both_languages_say_something_with_the_same_figures() {
        for (key, english, german) in PAIRS {
            assert!(!english.is_empty() && !german.is_empty(), "{key}");
            for place in ["{0}", "{1}", "{2}"] {
                let the_same = english.contains(place) == german.contains(place);
                assert!(the_same, "{key}: {place} stands in one language only");
            }
        }
    }
}
