//! The words of the page that lists all tuns.

use crate::config::model::Language;

pub fn of(language: Language) -> &'static Words {
    match language {
        Language::English => &ENGLISH,
        Language::German => &GERMAN,
    }
}

words! {
    all_tuns: "All tuns" / "Alle Bottiche";
    all_tuns_say: "Every tun behind the broker, as it told of itself last. What is not there or silent shows no figures." / "Alle Bottiche am Broker, wie sie sich zuletzt gemeldet haben. Was fehlt oder schweigt, zeigt keine Werte.";
    tun: "Tun" / "Bottich";
    phase: "Phase" / "Phase";
    brew: "Brew" / "Sud";
    stop_point: "Stop-point" / "Endpunkt";
    stop_in: "{0} in {1} min" / "{0} in {1} min";
    kettle_gravity: "Kettle gravity" / "Extrakt in der Pfanne";
    alarms: "Alarms" / "Alarme";
    heard: "Last heard" / "Zuletzt gehört";
    seconds_ago: "{0} s ago" / "vor {0} s";
    minutes_ago: "{0} min ago" / "vor {0} min";
    hours_ago: "{0} h ago" / "vor {0} h";
    never: "never" / "nie";
    gone: "not there" / "nicht da";
    silent: "silent" / "schweigt";
    there: "there" / "da";
    none_yet: "No tun has told of itself at this broker. Set overview = true in [mqtt] of each." / "Noch kein Bottich hat sich an diesem Broker gemeldet. In jedem [mqtt] overview = true setzen.";
    broker_away: "The broker is not reached: the list is old." / "Der Broker ist nicht erreichbar: die Liste ist alt.";
    count: "{0} tuns, {1} not there or silent, {2} with alarms" / "{0} Bottiche, {1} nicht da oder schweigend, {2} mit Alarmen";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_languages_have_the_same_figures() {
        for (key, english, german) in PAIRS {
            for figure in ["{0}", "{1}", "{2}"] {
                assert_eq!(english.contains(figure), german.contains(figure), "{key}");
            }
        }
    }
}
