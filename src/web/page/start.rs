//! The form that starts a run-off with its plan.

use maud::{Markup, html};

use super::View;

/// A number of the plan: its key, its words, its unit, its value to begin with and whether it may stay empty.
struct Field<'a> {
    key: &'a str,
    label: &'a str,
    unit: &'a str,
    value: String,
    needed: bool,
}

/// Gravities and volumes are asked for as the page shows them; the interface converts them (`as_shown`).
pub fn form(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    // As the plan's own defaults.
    let (floor, ceiling) = (voice.gravity(3.0), voice.number(6.0, 1));
    let fields = [
        Field {
            key: "grist_kg",
            label: words.grist,
            unit: "kg",
            value: String::new(),
            needed: true,
        },
        Field {
            key: "target_gravity_p",
            label: words.start_of_boil_gravity,
            unit: voice.gravity_unit(),
            value: String::new(),
            needed: true,
        },
        Field {
            key: "planned_volume_l",
            label: words.planned_volume,
            unit: voice.volume_unit(),
            value: String::new(),
            needed: true,
        },
        Field {
            key: "runoff_minutes",
            label: words.runoff_time,
            unit: "min",
            value: "90".to_owned(),
            needed: true,
        },
        Field {
            key: "first_wort_gravity_p",
            label: words.first_wort_gravity,
            unit: voice.gravity_unit(),
            value: String::new(),
            needed: false,
        },
        Field {
            key: "gravity_floor_p",
            label: words.gravity_floor,
            unit: voice.gravity_unit(),
            value: floor,
            needed: true,
        },
        Field {
            key: "ph_ceiling",
            label: words.ph_ceiling,
            unit: "", // It stands in the words.
            value: ceiling,
            needed: true,
        },
    ];
    html! {
        h2 { (words.start_runoff) }
        form class="plan" data-act="start" id="start-form" novalidate {
            div class="field wide" {
                label for="plan-brew" { (words.brew_id) }
                input id="plan-brew" name="brew" required maxlength="64" autocomplete="off";
            }
            div class="field wide" {
                label for="plan-recipe" { (words.recipe) }
                input id="plan-recipe" name="recipe" maxlength="100" autocomplete="off";
            }
            @for field in &fields {
                div class="field" {
                    label for={ "plan-" (field.key) } { (field.label) @if !field.unit.is_empty() { ", " (field.unit) } @if !field.needed { " (" (words.optional) ")" } }
                    input id={ "plan-" (field.key) } name=(field.key) inputmode="decimal" data-number=(if field.unit == "SG" { "fine" } else { "" })
                        value=(field.value) required[field.needed] autocomplete="off";
                }
            }
            div class="field wide" {
                label for="plan-basis" { (words.ph_basis) }
                select id="plan-basis" name="ph_basis" {
                    option value="room" { (words.cooled) }
                    option value="process" { (words.in_line) }
                }
            }
            p class="caution wide" { strong { (words.caution) } " " (words.caution_start) }
            button type="submit" class="wide" { (words.start_runoff) }
        }
    }
}
