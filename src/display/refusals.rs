//! Why something was not done, as the page says it: without advice for a command line, in the language and the units of the
//! page.
//!
//! Owns these words. Programs get the refusal as it is; what fits no pattern is left as it stands.

use super::Voice;
use super::pattern::matched;
use crate::config::model::Language;

/// A refusal, what an English page says of it, and what a German one does.
type Refused = (&'static str, &'static str, &'static str);

const REFUSED: [Refused; 34] = [
    (
        "brew {} is under way; end it first (lauterd brew end)",
        "brew {0} is under way; end it first",
        "Sud {0} läuft noch; erst abschließen",
    ),
    (
        "no brew is under way; start one first (lauterd brew start --plan PLAN.toml)",
        "no brew is under way; start one first",
        "es läuft kein Sud; erst einen starten",
    ),
    (
        "brew {} is in the record already; give this one another id, or replace the earlier record (lauterd brew start --replace)",
        "brew {0} is in the record already; give this one another number",
        "Sud {0} steht schon im Protokoll; diesem eine andere Nummer geben",
    ),
    (
        "the plan does not fit this tun: {} is {} °P; as a specific gravity that would be {} °P: give °P",
        "{1} °P cannot be meant: as a specific gravity that would be {2} °P; give °P",
        "{1} °P kann nicht gemeint sein: als relative Dichte wären das {2} °P; in °P eingeben",
    ),
    (
        "the plan does not fit this tun: target_gravity_p is {} °P, below gravity_floor_p ({} °P): {}",
        "the start-of-boil gravity of {0 °P} is below the gravity floor of {1 °P}: correct one of them",
        "die Pfannevollwürze von {0 °P} liegt unter der Extraktgrenze von {1 °P}: eines berichtigen",
    ),
    (
        "the plan does not fit this tun: planned_volume_l is {} L; the kettle holds {} L",
        "the planned volume is {0 L}, but the kettle holds {1 L}",
        "das geplante Volumen ist {0 L}, die Pfanne fasst aber {1 L}",
    ),
    (
        "the plan does not fit this tun: planned_volume_l is {} L for {} kg of grist, {} L for each kg; {}",
        "{0 L} for {1} kg of grist are {2} L for each kg; usual are 3 to 8. Write thousands without a mark between them",
        "{0 L} auf {1} kg Schüttung sind {2} L je kg; üblich sind 3 bis 8. Tausender ohne Zeichen schreiben",
    ),
    (
        "{} has no correction; there is nothing to take back",
        "{0} has no correction; there is nothing to take back",
        "{0} hat keine Korrektur; es gibt nichts zurückzunehmen",
    ),
    (
        "there is nothing at {}; the interface stands below {}",
        "there is nothing at {0}",
        "unter {0} gibt es nichts",
    ),
    (
        "the plan does not fit this tun: {}",
        "the plan does not fit this tun: {0}",
        "der Plan passt nicht zu diesem Bottich: {0}",
    ),
    (
        "alarm {} is in state {}: there is nothing to acknowledge",
        "there is nothing to acknowledge any more",
        "es gibt nichts mehr zu quittieren",
    ),
    (
        "alarm {} is shelved already; unshelve it first, then shelve it anew with a reason",
        "it is shelved already; unshelve it first",
        "er ist schon zurückgestellt; erst zurückholen",
    ),
    (
        "alarm {} is in state {}: it is not on the shelf",
        "it is not on the shelf any more",
        "er ist nicht mehr zurückgestellt",
    ),
    (
        "alarm {} is out of service; return it to service first",
        "it is out of service; return it to service first",
        "er ist außer Betrieb; erst wieder in Betrieb nehmen",
    ),
    (
        "alarm {} is in state {}: it is in service",
        "it is in service already",
        "er ist schon in Betrieb",
    ),
    (
        "alarm {} may be shelved for {} min at most, not for {} min; {}",
        "it may be shelved for {1} min at most",
        "er darf höchstens {1} min zurückgestellt werden",
    ),
    (
        "the record cannot be written: {}",
        "the record cannot be written: {0}",
        "das Protokoll lässt sich nicht schreiben: {0}",
    ),
    (
        "it is done and kept in memory, and written as soon as the record can be; do not enter it again. The record cannot be written now: {}",
        "it is done and kept in memory, and will be written: do not enter it again. The record cannot be written now: {0}",
        "das ist geschehen, im Arbeitsspeicher aufbewahrt und wird noch aufgezeichnet: nicht noch einmal eingeben. Das Protokoll lässt sich gerade nicht schreiben: {0}",
    ),
    (
        "the service is stopping",
        "the service is stopping",
        "der Dienst wird gerade beendet",
    ),
    (
        "sample: ph is {}; allowed is {} to {}",
        "pH {0} cannot be; allowed is {1} to {2}",
        "pH {0} kann nicht sein; erlaubt ist {1} bis {2}",
    ),
    (
        "sample: volume_l is {} L; allowed is {} to {} L",
        "{0 L} cannot be; allowed is {1 L} to {2 L}",
        "{0 L} kann nicht sein; erlaubt ist {1 L} bis {2 L}",
    ),
    (
        "sample: gravity_p is {} °P; allowed is {} to {} °P",
        "{0} °P cannot be; allowed is {1} to {2} °P",
        "{0} °P kann nicht sein; erlaubt ist {1} bis {2} °P",
    ),
    (
        "sample: gravity_sg is {}; allowed is {} to {}; write {} if that is meant",
        "SG {0} cannot be; allowed is {1} to {2}. Write {3} if that is meant",
        "SG {0} kann nicht sein; erlaubt ist {1} bis {2}. Wenn {3} gemeint ist, so eingeben",
    ),
    (
        "sample: gravity_sg is {}; allowed is {} to {}",
        "SG {0} cannot be; allowed is {1} to {2}",
        "SG {0} kann nicht sein; erlaubt ist {1} bis {2}",
    ),
    (
        "sample: gravity_bx is {}; allowed is {} to {}",
        "{0} °Bx cannot be; allowed is {1} to {2} °Bx",
        "{0} °Bx kann nicht sein; erlaubt ist {1} bis {2} °Bx",
    ),
    (
        "sample: volume_l is {} L; the kettle holds {} L",
        "{0 L} cannot be; the kettle holds {1 L}",
        "{0 L} kann nicht sein; die Pfanne fasst {1 L}",
    ),
    (
        "sample {} does not stand in this brew: {}",
        "this sample does not stand any more: it was never given, or has been withdrawn",
        "diese Probe steht nicht mehr: nie gegeben oder schon zurückgenommen",
    ),
    (
        "this service has no tun {}; it serves {}",
        "this service has no tun {0}; it serves {1}",
        "dieser Dienst hat keinen Bottich {0}; er bedient {1}",
    ),
    (
        "there is no instrument {}; the instruments are {}",
        "there is no instrument {0}; the instruments are {1}",
        "es gibt kein Messgerät {0}; die Messgeräte sind {1}",
    ),
    (
        "this service does not list all tuns; {}",
        "this service does not list all tuns; {0}",
        "dieser Dienst listet nicht alle Bottiche; dafür fleet = true in [web] setzen, mit einem Broker in [mqtt]",
    ),
    (
        "the password could not be checked; try again",
        "the password could not be checked; try again",
        "das Passwort ließ sich nicht prüfen; noch einmal versuchen",
    ),
    (
        "crush: fractions add up to {} %; {}",
        "the fractions add up to {0} %; the sieves and the pan together hold 100 %",
        "die Anteile ergeben {0} %; Siebe und Boden zusammen sind 100 %",
    ),
    (
        "crush: gap_mm is {} mm; allowed is {} to {} mm",
        "a gap of {0} mm cannot be; allowed is {1} to {2} mm",
        "ein Spalt von {0} mm kann nicht sein; erlaubt ist {1} bis {2} mm",
    ),
    (
        "the tun's task has not answered within {} s; {}",
        "no answer within {0} s. It may still be done: look at the page before you enter it again",
        "keine Antwort in {0} s. Vielleicht geschieht es noch: erst auf der Seite nachsehen",
    ),
];

/// A gravity of hardly more than water, where the page speaks of specific gravities: it need not be told what they are.
const HARDLY_WORT: Refused = (
    "the plan does not fit this tun: {} is {} °P; as a specific gravity that would be {} °P: give °P",
    "{1 °P} cannot be meant: that is hardly more than water",
    "{1 °P} kann nicht gemeint sein: das ist kaum mehr als Wasser",
);

/// A refusal as the page says it.
pub fn refusal_told(error: &str, voice: Voice) -> String {
    let own = |(from, english, german): Refused| {
        let to = match voice.language() {
            Language::English => english,
            Language::German => german,
        };
        (from, to)
    };
    let hardly_wort = (voice.gravity_unit() == "SG").then(|| own(HARDLY_WORT));
    hardly_wort
        .and_then(|pattern| matched(&[pattern], error, voice))
        .or_else(|| matched(&REFUSED.map(own), error, voice))
        .unwrap_or_else(|| error.to_owned())
}

#[cfg(test)]
mod tests {
    use lauter_core::alarm::{AlarmState, OperationFault};

    use super::*;
    use crate::config::model::{DecimalMark, Display, GravityUnit, VolumeUnit};
    use crate::runtime::request::Refusal;

    fn refusal_said(error: &str, language: Language) -> String {
        refusal_told(error, Voice::of_language(language))
    }

    #[test]
    fn figures_are_told_in_the_units_that_the_page_takes_them_in() {
        let voice = Voice::new(Display {
            language: Language::German,
            gravity: GravityUnit::SpecificGravity,
            volume: VolumeUnit::Hl,
            decimal: DecimalMark::Comma,
        });
        for (error, said) in [
            (
                "sample: volume_l is 120000 L; the kettle holds 7000 L",
                "1200,0 hL kann nicht sein; die Pfanne fasst 70,0 hL",
            ),
            (
                "sample: volume_l is -5 L; allowed is 0 to 1000000 L",
                "−0,05 hL kann nicht sein; erlaubt ist 0,0 hL bis 10000,0 hL",
            ),
            (
                "the plan does not fit this tun: planned_volume_l is 450000 L; the kettle holds 7000 L",
                "das geplante Volumen ist 4500,0 hL, die Pfanne fasst aber 70,0 hL",
            ),
            (
                "the plan does not fit this tun: planned_volume_l is 4500 L for 98000 kg of grist, 0.046 L for each kg; usual are 3 to 8. Write thousands without a mark between them: 4500",
                "45,0 hL auf 98000 kg Schüttung sind 0,046 L je kg; üblich sind 3 bis 8. Tausender ohne Zeichen schreiben",
            ),
            (
                "the plan does not fit this tun: target_gravity_p is 2.57 °P, below gravity_floor_p (3.07 °P): correct one",
                "die Pfannevollwürze von SG 1,010 liegt unter der Extraktgrenze von SG 1,012: eines berichtigen",
            ),
            (
                "the plan does not fit this tun: target_gravity_p is 1.02 °P; as a specific gravity that would be 5.1 °P: give °P",
                "SG 1,004 kann nicht gemeint sein: das ist kaum mehr als Wasser",
            ),
        ] {
            assert_eq!(refusal_told(error, voice), said);
        }
    }

    #[test]
    fn what_the_tun_refuses_is_said_without_a_command_line_and_in_the_pages_language() {
        let alarm = |fault| Refusal::Alarm {
            alarm: "channelling".to_owned(),
            fault,
        };
        for refusal in [
            Refusal::BrewUnderWay("7".to_owned()),
            Refusal::NoBrew,
            Refusal::Plan("too much".to_owned()),
            alarm(OperationFault::NothingToAcknowledge {
                state: AlarmState::Normal,
            }),
            alarm(OperationFault::AlreadyShelved),
            alarm(OperationFault::NotShelved {
                state: AlarmState::Normal,
            }),
            alarm(OperationFault::AlreadyOutOfService),
            alarm(OperationFault::InService {
                state: AlarmState::Normal,
            }),
            alarm(OperationFault::ShelvedTooLong {
                minutes: 60.0,
                longest_min: 15.0,
            }),
            Refusal::Store("disk full".to_owned()),
            Refusal::Unwritten("disk full".to_owned()),
            Refusal::Stopping,
        ] {
            let error = refusal.to_string();
            let german = refusal_said(&error, Language::German);
            assert_ne!(german, error);
            let english = refusal_said(&error, Language::English);
            assert!(!english.contains("lauterd "), "{english}");
        }
        assert_eq!(
            refusal_said("sample: ph is 14.5; allowed is 3 to 9", Language::German),
            "pH 14,5 kann nicht sein; erlaubt ist 3 bis 9"
        );
        assert_eq!(
            refusal_said(
                "sample: gravity_sg is 1076.5; allowed is 1 to 1.154; write 1.0765 if that is meant",
                Language::German
            ),
            "SG 1076,5 kann nicht sein; erlaubt ist 1 bis 1,154. Wenn 1,0765 gemeint ist, so eingeben"
        );
        assert_eq!(
            refusal_said("something new", Language::German),
            "something new"
        );
    }
}
