//! What the page says about signing in, the connection and doubtful entries, in English and in German.
//!
//! Owns these words and the sentence about a doubtful sample. The other words of the page stand in `words`.

use lauter_core::supervisor::SampleDoubt;
use lauter_core::units::gravity_from_apparent_specific_gravity_p;

use super::Voice;
use super::terms::fill;
use crate::config::model::Language;

/// One language.
#[derive(Debug)]
pub struct Asked {
    pub signed_in: &'static str,
    pub sign_out: &'static str,
    pub sign_in: &'static str,
    pub session_over: &'static str,
    pub watch_only: &'static str,
    pub age: &'static str,
    pub no_answer: &'static str,
    pub unreachable: &'static str,
    pub sending: &'static str,
    pub repeated: &'static str,
    /// A sample that is not on the disk yet.
    pub kept: &'static str,
    pub sure: &'static str,
    pub decimal_only: &'static str,
    pub which_number: &'static str,
    pub withdraw: &'static str,
    pub withdraw_title: &'static str,
    pub withdraw_says: &'static str,
    pub withdrawn: &'static str,
    far: &'static str,
    looks_like_sg: &'static str,
}

static ENGLISH: Asked = Asked {
    signed_in: "Signed in as",
    sign_out: "Sign out",
    sign_in: "Sign in",
    session_over: "You are not signed in any more: the figures are old, and nothing you enter is taken.",
    watch_only: "You may watch. Ask whoever keeps the users if you need to act.",
    age: "shown: {0} s old",
    no_answer: "no answer within {0} s. It may still have been done: look at the page before you enter it again.",
    unreachable: "lauterd cannot be reached. Check the network, then try again.",
    sending: "Sending…",
    repeated: "That was given a moment ago; it counts once.",
    kept: "It counts and is kept in memory; it is written as soon as the record can be. Do not enter it again.",
    sure: "It is right: save",
    decimal_only: "a plain number, with digits and one decimal mark",
    which_number: "{0} can mean two numbers: write it without a mark between thousands, and decimals with \u{201c}{1}\u{201d}",
    withdraw: "Withdraw",
    withdraw_title: "Withdraw this sample?",
    withdraw_says: "It stays in the record as withdrawn and counts no more.",
    withdrawn: "Withdrawn.",
    far: "{0} {1} is far from the {2} that lauterd expects. Is it right?",
    looks_like_sg: "{0} looks like a specific gravity; that would be {1}.",
};

static GERMAN: Asked = Asked {
    signed_in: "Angemeldet als",
    sign_out: "Abmelden",
    sign_in: "Anmelden",
    session_over: "Sie sind nicht mehr angemeldet: Die Werte sind veraltet, und keine Eingabe wird angenommen.",
    watch_only: "Sie dürfen zusehen. Wer die Benutzer verwaltet, kann mehr erlauben.",
    age: "Stand: vor {0} s",
    no_answer: "keine Antwort in {0} s. Vielleicht ist es trotzdem geschehen: Erst auf der Seite nachsehen, dann neu eingeben.",
    unreachable: "lauterd ist nicht erreichbar. Netzwerk prüfen, dann noch einmal.",
    sending: "Wird gesendet…",
    repeated: "Das wurde eben schon eingegeben; es zählt einmal.",
    kept: "Es zählt, bleibt im Arbeitsspeicher und wird aufgezeichnet, sobald es geht. Nicht noch einmal eingeben.",
    sure: "Es stimmt: speichern",
    decimal_only: "eine einfache Zahl mit Ziffern und einem Dezimalzeichen",
    which_number: "{0} kann zwei Zahlen bedeuten: ohne Zeichen zwischen den Tausendern schreiben, Dezimalen mit \u{201e}{1}\u{201c}",
    withdraw: "Zurücknehmen",
    withdraw_title: "Diese Probe zurücknehmen?",
    withdraw_says: "Sie bleibt als zurückgenommen im Protokoll und zählt nicht mehr.",
    withdrawn: "Zurückgenommen.",
    far: "{0} {1} liegt weit weg von {2}, die lauterd erwartet. Stimmt das?",
    looks_like_sg: "{0} sieht nach einer relativen Dichte aus; das wären {1}.",
};

impl Voice {
    pub fn asked(self) -> &'static Asked {
        match self.language() {
            Language::English => &ENGLISH,
            Language::German => &GERMAN,
        }
    }

    /// What is doubtful about a sample, with both figures, as a question.
    pub fn doubt(self, doubt: &SampleDoubt) -> String {
        let words = self.words;
        let gravity = |p: f64| format!("{} {}", self.gravity_finely(p), self.gravity_unit());
        let (what, given, expected, typed_p) = match *doubt {
            SampleDoubt::KettleGravity {
                sample_p,
                expected_p,
            } => (
                words.kettle,
                gravity(sample_p),
                gravity(expected_p),
                Some(sample_p),
            ),
            SampleDoubt::RunningsGravity {
                sample_p,
                expected_p,
            } => (
                words.runnings,
                gravity(sample_p),
                gravity(expected_p),
                Some(sample_p),
            ),
            SampleDoubt::RunningsPh {
                sample_ph,
                expected_ph,
            } => (
                words.runnings,
                self.acid(sample_ph),
                self.acid(expected_ph),
                None,
            ),
            SampleDoubt::KettleVolume {
                sample_l,
                expected_l,
            } => (
                words.kettle,
                self.volume_as_typed(sample_l),
                self.volume_with_unit(expected_l),
                None,
            ),
        };
        let mut text = fill(self.asked().far, &[&format!("{what}:"), &given, &expected]);
        if let Some(hint) = typed_p.and_then(|p| self.specific_gravity_typed(p)) {
            text.push(' ');
            text.push_str(&hint);
        }
        text
    }

    /// A number between 1.0 and 1.2 where °P were asked for is a specific gravity more likely than not.
    fn specific_gravity_typed(self, gravity_p: f64) -> Option<String> {
        let is_one = self.gravity_unit() == "°P" && (1.0..1.2).contains(&gravity_p);
        let meant_p = is_one
            .then(|| gravity_from_apparent_specific_gravity_p(gravity_p).ok())
            .flatten()?;
        let (typed, meant) = (self.number(gravity_p, 3), self.gravity_with_unit(meant_p));
        Some(fill(self.asked().looks_like_sg, &[&typed, &meant]))
    }

    fn acid(self, ph: f64) -> String {
        format!("pH {}", self.ph(ph))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::model::Display;

    #[test]
    fn a_specific_gravity_typed_as_plato_is_named_as_such_with_both_figures() {
        let voice = Voice::new(Display::default());
        let doubt = SampleDoubt::KettleGravity {
            sample_p: 1.076,
            expected_p: 18.57,
        };
        let text = voice.doubt(&doubt);
        for part in ["1.08 °P", "18.57 °P", "1.076 looks like", "18.4 °P"] {
            assert!(text.contains(part), "{part}: {text}");
        }
        let german = Voice::new(Display {
            language: Language::German,
            ..Display::default()
        });
        let text = german.doubt(&SampleDoubt::KettleVolume {
            sample_l: 4.5,
            expected_l: 2400.0,
        });
        assert!(
            text.contains(" 4.5 L ") && text.contains("2400 L") && text.contains("erwartet"),
            "{text}"
        );
    }

    #[test]
    fn both_languages_leave_room_for_the_same_figures() {
        for (english, german) in [
            (ENGLISH.age, GERMAN.age),
            (ENGLISH.no_answer, GERMAN.no_answer),
            (ENGLISH.which_number, GERMAN.which_number),
            (ENGLISH.far, GERMAN.far),
            (ENGLISH.looks_like_sg, GERMAN.looks_like_sg),
        ] {
            for place in ["{0}", "{1}", "{2}"] {
                assert_eq!(english.contains(place), german.contains(place), "{english}");
            }
        }
    }
}
