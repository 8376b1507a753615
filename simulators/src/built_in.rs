//! The scenarios that the program brings, so that it needs no file beside it.
//!
//! Owns their names. What stands in them is read like any other scenario.

/// Name and text; the name is that of the scenario in it.
pub const ALL: [(&str, &str); 5] = [
    (
        "harbour-stout",
        include_str!("../scenarios/harbour-stout.toml"),
    ),
    (
        "orchard-ale-channel",
        include_str!("../scenarios/orchard-ale-channel.toml"),
    ),
    ("hill-lager", include_str!("../scenarios/hill-lager.toml")),
    ("small-rtu", include_str!("../scenarios/small-rtu.toml")),
    ("three-makes", include_str!("../scenarios/three-makes.toml")),
];

/// The text of a scenario.
pub fn named(name: &str) -> Option<&'static str> {
    let found = ALL.iter().find(|(known, _)| *known == name);
    found.map(|(_, text)| *text)
}

/// All names, for messages.
pub fn names() -> String {
    ALL.map(|(name, _)| name).join(", ")
}

/// The first sentence of the remark at its head.
pub fn what_it_is(text: &str) -> String {
    let remark: Vec<&str> = text
        .lines()
        .map_while(|line| line.strip_prefix("# "))
        .collect();
    let remark = remark.join(" ");
    let sentence = remark.split_once(". ").map(|(first, _)| first);
    sentence.unwrap_or(&remark).trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Scenario;

    #[test]
    fn every_scenario_is_found_under_its_own_name_and_says_what_it_is() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios");
        let files = std::fs::read_dir(folder).expect("the scenarios").count();
        assert_eq!(files, ALL.len(), "each is built in");
        for (name, text) in ALL {
            assert_eq!(Scenario::from_toml(text).expect("a scenario").name, name);
            let words = what_it_is(named(name).expect("found"));
            assert!(words.len() > 20 && !words.contains('#'), "{words}");
        }
        assert_eq!(named("no-such"), None);
    }
}
