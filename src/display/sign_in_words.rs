//! What the page says on which people sign in, in English and in German.

use crate::access::{Role, SignInRefused};
use crate::config::model::Language;

use super::terms::fill;

pub fn of(language: Language) -> &'static Words {
    match language {
        Language::English => &ENGLISH,
        Language::German => &GERMAN,
    }
}

words! {
    title: "sign in" / "anmelden";
    name: "Name" / "Name";
    password: "Password" / "Passwort";
    sign_in: "Sign in" / "Anmelden";
    sign_out: "Sign out" / "Abmelden";
    signed_in: "Signed in as" / "Angemeldet als";
    known_as: "Known as {0}." / "Bekannt als {0}.";
    role: "role" / "Rolle";
    watch: "watch" / "zusehen";
    operate: "operate" / "bedienen";
    engineer: "engineer" / "Technik";
    to_runoff: "To the run-off" / "Zum Ablauf";
    wrong: "User name or password is wrong." / "Name oder Passwort ist falsch.";
    wait: "Too many attempts; wait {0} s and try again." / "Zu viele Versuche; {0} s warten, dann noch einmal.";
    nobody: "Nobody signs in here: [web] users_file is not set." / "Hier meldet sich niemand an: [web] users_file ist nicht gesetzt.";
    busy: "The password could not be checked; try again." / "Das Passwort ließ sich nicht prüfen; noch einmal versuchen.";
    page_too_old: "That page is too old. Sign out again." / "Diese Seite ist zu alt. Noch einmal abmelden.";
}

impl Words {
    pub fn role_name(&self, role: Role) -> &'static str {
        match role {
            Role::Watch => self.watch,
            Role::Operate => self.operate,
            Role::Engineer => self.engineer,
        }
    }

    /// Why somebody was not let in.
    pub fn refused(&self, refused: &SignInRefused) -> String {
        match refused {
            SignInRefused::Wrong => self.wrong.to_owned(),
            SignInRefused::Wait(seconds) => fill(self.wait, &[&seconds.to_string()]),
            SignInRefused::NoUsers => self.nobody.to_owned(),
            SignInRefused::Busy => self.busy.to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_languages_have_the_same_figures() {
        for (key, english, german) in PAIRS {
            assert!(!english.is_empty() && !german.is_empty(), "{key}");
            assert_eq!(english.contains("{0}"), german.contains("{0}"), "{key}");
        }
    }
}
