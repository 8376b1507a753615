//! Signs that go with a colour, so that no meaning hangs on colour alone: each priority has a shape and a number.

use lauter_core::alarm::Priority;
use maud::{Markup, html};

use crate::display::Voice;
use crate::display::terms::priority_words;

/// Shape and number of a priority; hollow once it has been acknowledged.
pub fn priority_symbol(priority: Priority, filled: bool, voice: Voice) -> Markup {
    let (shape, number) = match priority {
        Priority::Critical => (html! { rect x="4" y="4" width="32" height="32" {} }, "1"),
        Priority::High => (html! { polygon points="20,3 38,36 2,36" {} }, "2"),
        Priority::Medium => (html! { polygon points="20,2 38,20 20,38 2,20" {} }, "3"),
        Priority::Low => (html! { circle cx="20" cy="20" r="17" {} }, "4"),
    };
    let y = if priority == Priority::High {
        "32"
    } else {
        "27"
    };
    let class = if filled { "filled" } else { "hollow" };
    html! {
        svg class={ "symbol " (priority.name()) " " (class) } viewBox="0 0 40 40" role="img"
            aria-label=(priority_words(priority, voice.language())) {
            (shape)
            text x="20" y=(y) text-anchor="middle" { (number) }
        }
    }
}

/// Stands before words that tell of something abnormal.
pub fn flag() -> Markup {
    html! {
        svg class="flagged" viewBox="0 0 20 20" aria-hidden="true" focusable="false" {
            polygon points="10,1 19,18 1,18" {}
            rect class="bang" x="9" y="7" width="2" height="6" {}
            rect class="bang" x="9" y="14.5" width="2" height="2" {}
        }
    }
}
