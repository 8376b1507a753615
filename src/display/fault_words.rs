//! What is wrong with the fields of a form, by the names that stand beside them, in English and in German.
//!
//! Owns these words. A program gets each fault by its key; what fits no pattern here is said as it stands.

use super::Voice;
use super::pattern::matched;
use crate::config::model::Language;

/// The end of a fault after its key, what an English page says of it, and what a German one does.
const FAULTS: [(&str, &str, &str); 18] = [
    (
        "is {}; it must be above target_gravity_p ({})",
        "{0 °P} is not above the start-of-boil gravity of {1 °P}",
        "{0 °P} liegt nicht über der Pfannevollwürze von {1 °P}",
    ),
    (
        "is {}; allowed is above 0",
        "{0} cannot be; allowed is above 0",
        "{0} kann nicht sein; erlaubt ist mehr als 0",
    ),
    (
        "is {}; allowed is 0 or above",
        "{0} cannot be; allowed is 0 or above",
        "{0} kann nicht sein; erlaubt ist 0 oder mehr",
    ),
    (
        "is {}; allowed is {} to {}; write {} if that is meant",
        "{0} cannot be; allowed is {1} to {2}. Write {3} if that is meant",
        "{0} kann nicht sein; erlaubt ist {1} bis {2}. Wenn {3} gemeint ist, so eingeben",
    ),
    (
        "is {}; allowed is {} to {}",
        "{0} cannot be; allowed is {1} to {2}",
        "{0} kann nicht sein; erlaubt ist {1} bis {2}",
    ),
    ("is missing; needed is {}", "is missing", "fehlt"),
    ("is missing", "is missing", "fehlt"),
    (
        "must be a name without control characters or '/'",
        "must be a name without '/'",
        "muss ein Name ohne '/' sein",
    ),
    (
        "is {}, which means a directory; give a name",
        "{0} means a directory; give a name",
        "{0} bedeutet ein Verzeichnis; einen Namen angeben",
    ),
    (
        "must be one line of 1 to {} characters",
        "must be one line of 1 to {0} characters",
        "muss eine Zeile von 1 bis {0} Zeichen sein",
    ),
    (
        "is empty, and so is as_left; give at least one point",
        "enter at least one reading",
        "mindestens eine Anzeige eingeben",
    ),
    (
        "reads {} {}, outside the instrument's limits {} to {}; {}",
        "a reading of {0} {1} is outside the instrument's limits {2} to {3}. Correct the entry; if it was really read, the \
         instrument is at fault: check its limits in the configuration",
        "die Anzeige {0} {1} liegt außerhalb der Grenzen des Geräts, {2} bis {3}. Die Eingabe berichtigen; wurde sie wirklich \
         abgelesen, ist das Gerät gestört: seine Grenzen in der Konfiguration prüfen",
    ),
    (
        "applied: {}",
        "the applied value does not fit: {0}",
        "die Vorgabe passt nicht",
    ),
    (
        "{} points were given; needed are 1 to 20",
        "{0} readings were entered; needed are 1 to 20",
        "{0} Anzeigen eingegeben; nötig sind 1 bis 20",
    ),
    (
        "only pH and gravity are corrected here; {}",
        "only pH and gravity are corrected here; {0}",
        "nur pH und Extrakt werden hier korrigiert; dieses Gerät nach seiner Anleitung justieren und die Prüfung eintragen",
    ),
    (
        "the two applied values are only {} apart; needed are at least {}",
        "the two applied values are only {0} apart; needed are at least {1}",
        "die beiden Vorgaben liegen nur {0} auseinander; nötig sind mindestens {1}",
    ),
    (
        "the electrode would have a slope of {} % and an offset of {} mV; {}",
        "the electrode would have a slope of {0} % and an offset of {1} mV; {2}",
        "die Elektrode hätte eine Steilheit von {0} % und einen Nullpunkt von {1} mV, das ist nicht glaubhaft. Sind die \
         Puffer frisch und nicht verwechselt, steht die Anzeige? Sonst die Elektrode reinigen oder ersetzen",
    ),
    (
        "a reading would be moved by {}; allowed are {}. {}",
        "a reading would be moved by {0}; allowed are {1}. {2}",
        "eine Anzeige würde um {0} verschoben; erlaubt sind {1}. Stimmt die Referenz? Sonst das Messgerät ansehen lassen",
    ),
];

/// The same of a volume, which travels in L whatever the page shows.
const OF_VOLUMES: [(&str, &str, &str); 1] = [(
    "is {}; allowed is {} to {}",
    "{0 L} cannot be; allowed is {1 L} to {2 L}",
    "{0 L} kann nicht sein; erlaubt ist {1 L} bis {2 L}",
)];

/// The faults of what a form sent, as the page says them.
pub fn faults_said<'a>(faults: impl Iterator<Item = (&'a str, &'a str)>, voice: Voice) -> String {
    let own = |(from, english, german)| {
        let to = match voice.language() {
            Language::English => english,
            Language::German => german,
        };
        (from, to)
    };
    let (of_all, of_volumes) = (FAULTS.map(own), OF_VOLUMES.map(own));
    let said: Vec<String> = faults
        .map(|(key, message)| {
            let of_volume = (key == "planned_volume_l")
                .then(|| matched(&of_volumes, message, voice))
                .flatten();
            let said = of_volume
                .or_else(|| matched(&of_all, message, voice))
                .unwrap_or_else(|| message.to_owned());
            match field_name(key, voice) {
                Some(name) => format!("{name}: {said}"),
                None => said,
            }
        })
        .collect();
    format!("{}.", said.join("; "))
}

/// What stands beside the field; None where the fault speaks for itself.
fn field_name(key: &str, voice: Voice) -> Option<&'static str> {
    let (words, about) = (voice.words, voice.calibration_words());
    // `as_found[2]` is a row of its series.
    let (key, _) = key.split_once('[').unwrap_or((key, ""));
    Some(match key {
        "brew" => words.brew_id,
        "recipe" => words.recipe,
        "grist_kg" => words.grist,
        "target_gravity_p" => words.start_of_boil_gravity,
        "planned_volume_l" => words.planned_volume,
        "runoff_minutes" => words.runoff_time,
        "first_wort_gravity_p" => words.first_wort_gravity,
        "gravity_floor_p" => words.gravity_floor,
        "ph_ceiling" => words.ph_ceiling,
        "ph_basis" => words.ph_basis,
        "who" => words.your_name,
        "reason" => words.reason,
        "text" | "note" => words.note,
        "reference.name" => about.reference,
        "reference.expanded_uncertainty" => about.reference_uncertainty,
        "reference.temperature_uncertainty_c" => about.temperature_uncertainty,
        "tolerance" => about.tolerance,
        "resolution" => about.resolution,
        "as_found" => about.as_found,
        "as_left" => about.as_left,
        "due_days" => about.days,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use lauter_core::projection::{PhBasis, Plan};

    use super::*;
    use crate::config::model::{DecimalMark, Display, GravityUnit, VolumeUnit};

    #[test]
    fn a_plans_gravities_and_volume_are_told_in_the_units_of_the_page() {
        let voice = Voice::new(Display {
            language: Language::German,
            gravity: GravityUnit::SpecificGravity,
            volume: VolumeUnit::Hl,
            decimal: DecimalMark::Comma,
        });
        let faults = [
            (
                "first_wort_gravity_p",
                "is 2.57; it must be above target_gravity_p (14.5)",
            ),
            ("planned_volume_l", "is 5000000; allowed is 1 to 1000000"),
        ];
        // 2.57 °P is SG 1.0100 and 14.5 °P SG 1.0590, from the density tables the core is held against.
        assert_eq!(
            faults_said(faults.into_iter(), voice),
            "Vorderwürze: SG 1,010 liegt nicht über der Pfannevollwürze von SG 1,059; \
             Geplantes Volumen: 50000,0 hL kann nicht sein; erlaubt ist 0,01 hL bis 10000,0 hL."
        );
    }

    #[test]
    fn every_fault_of_a_plan_is_said_by_the_words_of_its_field_in_both_languages() {
        let plan = Plan {
            brew: "a/b".to_owned(),
            recipe: String::new(),
            grist_kg: 0.5,
            target_gravity_p: 0.1,
            planned_volume_l: 0.5,
            runoff_minutes: 1.0,
            first_wort_gravity_p: Some(0.1),
            gravity_floor_p: 20.0,
            ph_ceiling: 9.0,
            ph_basis: PhBasis::Room,
        };
        let faults = plan.check();
        assert!(faults.len() >= 8, "{faults:?}");
        let pairs = || faults.iter().map(|it| (it.key, it.message.as_str()));
        let english = faults_said(pairs(), Voice::new(Display::default()));
        assert!(english.contains("Grist: 0.5 cannot be"), "{english}");
        let german = Voice::new(Display {
            language: Language::German,
            decimal: DecimalMark::Comma,
            ..Display::default()
        });
        let german = faults_said(pairs(), german);
        assert!(
            german.contains("Schüttung: 0,5 kann nicht sein"),
            "{german}"
        );
        for remnant in ["_", "allowed", "must", "above", " is "] {
            assert!(!german.contains(remnant), "{remnant:?}: {german}");
        }
        assert!(!english.contains('_'), "{english}");
    }

    #[test]
    fn a_reading_outside_the_limits_is_said_with_its_figures_in_both_languages() {
        let message = "reads 25.5 pH, outside the instrument's limits 2 to 10; correct the entry, or if it was really \
                       read, the instrument is at fault; check its limits in the configuration";
        let said = |voice| faults_said([("as_found[0]", message)].into_iter(), voice);
        let english = said(Voice::new(Display::default()));
        assert!(english.contains("a reading of 25.5 pH is"), "{english}");
        let german = said(Voice::new(Display {
            language: Language::German,
            decimal: DecimalMark::Comma,
            ..Display::default()
        }));
        assert!(german.contains("die Anzeige 25,5 pH liegt"), "{german}");
        assert!(german.contains("2 bis 10. Die Eingabe"), "{german}");
    }
}
