//! The frame around every page: head, heading, navigation, cautions.

use axum::http::StatusCode;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde_json::json;

use super::dialogs;
use super::view::{api_path, page_path};
use crate::display::refusals::refusal_told;
use crate::display::{Voice, fleet_words};
use crate::web::problem::Problem;

/// Which page it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    Runoff,
    Brews,
    Tun,
    Instruments,
}

/// Whose page it is.
#[derive(Clone, Copy, Debug)]
pub struct Frame<'a> {
    pub site: &'a str,
    pub tun: &'a str,
    pub voice: Voice,
    pub place: Place,
    /// The page of all tuns is served too.
    pub fleet: bool,
}

impl Frame<'_> {
    /// Where the changing parts of the page come from; None for a page that stands still.
    fn parts(&self) -> Option<String> {
        let below = match self.place {
            Place::Runoff => "parts",
            Place::Instruments => "instruments/parts",
            Place::Brews | Place::Tun => return None,
        };
        Some(page_path(self.site, self.tun, below))
    }

    /// A whole page; `beside` stands in the heading, beneath the name.
    pub fn page(&self, title: &str, beside: &Markup, body: &Markup) -> Markup {
        let (words, asked) = (self.voice.words, self.voice.asked());
        let links = [
            (Place::Runoff, "", words.runoff),
            (Place::Brews, "brews", words.brews),
            (Place::Tun, "tun", words.tun),
            (Place::Instruments, "instruments", words.instruments),
        ];
        html! {
            (DOCTYPE)
            html lang=(self.voice.tag()) {
                (head(&format!("{title} · {}", self.tun)))
                body data-api=(api_path(self.site, self.tun, ""))
                     data-parts=[self.parts()]
                     data-words=(script_words(self.voice)) {
                    a class="skip" href="#main" { (words.skip) }
                    header class="top" {
                        div class="name" {
                            p class="tun" { (self.tun) " " span class="site" { (self.site) } }
                            (beside)
                        }
                        nav aria-label=(words.pages) {
                            @for (place, below, label) in links {
                                a href=(page_path(self.site, self.tun, below)) aria-current=[(place == self.place).then_some("page")] { (label) }
                            }
                            @if self.fleet { a href="/fleet" { (fleet_words::of(self.voice.language()).all_tuns) } }
                        }
                        div class="tools" {
                            span class="link" id="link" role="status" data-live=(words.live) data-lost=(words.not_live) {}
                            button type="button" class="quiet" id="who" data-act="who" { (words.who) }
                            span class="account" id="account" hidden {
                                span class="hidden" { (asked.signed_in) " " } span class="who" id="account-name" {}
                                a class="button" href="/sign-in" { (asked.sign_out) }
                            }
                            button type="button" class="quiet" id="theme" data-act="theme" aria-label=(words.theme_says) { (words.theme) }
                        }
                    }
                    div class="session-over" id="session-over" role="alert" hidden {
                        span { (asked.session_over) } a class="button" href="/sign-in" { (asked.sign_in) }
                    }
                    main id="main" tabindex="-1" { h1 class="hidden" { (title) } (body) }
                    (dialogs::who(self.voice))
                    div id="toast" role="status" aria-live="polite" {}
                    div id="call" class="hidden" role="alert" aria-live="assertive" {}
                    footer { p { strong { (words.caution) } " " (words.cautions) } }
                }
            }
        }
    }
}

pub fn head(title: &str) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            meta name="csrf" content="";
            title { (title) " · lauterd" }
            link rel="icon" href="/assets/icon.svg" type="image/svg+xml";
            link rel="stylesheet" href="/assets/charts.css";
            link rel="stylesheet" href="/assets/page.css";
            script src="/assets/theme.js" {}
            script src="/assets/page.js" defer {}
        }
    }
}

/// What the script says by itself.
pub fn script_words(voice: Voice) -> String {
    let (words, asked) = (voice.words, voice.asked());
    json!({
        "session_over": asked.session_over,
        "age": asked.age,
        "no_answer": asked.no_answer,
        "unreachable": asked.unreachable,
        "sending": asked.sending,
        "repeated": asked.repeated,
        "kept": asked.kept,
        "sure": asked.sure,
        "decimal_only": asked.decimal_only,
        "which_number": asked.which_number,
        "withdrawn": asked.withdrawn,
        "saved": words.saved,
        "failed": words.not_saved,
        "number": words.number_needed,
        "text": words.text_needed,
        "started": words.started,
        "ended": words.ended_now,
        "who": words.who,
        "point": voice.number(0.5, 1).chars().nth(1).unwrap_or('.').to_string(),
        "gravity": voice.gravity_unit(),
        "volume": voice.volume_unit(),
        "remove": words.remove,
    })
    .to_string()
}

/// A page that only says what is wrong.
pub fn trouble(voice: Voice, problem: &Problem) -> Markup {
    let words = voice.words;
    let title = if problem.status == StatusCode::NOT_FOUND {
        words.not_found
    } else {
        words.cannot_be_shown
    };
    let said = refusal_told(&problem.body.error, voice);
    html! {
        (DOCTYPE)
        html lang=(voice.tag()) {
            (head(title))
            body { main id="main" class="single" {
                section class="panel" { h1 { (title) } p { (said) } p { a class="button" href="/" { (words.to_start) } } }
            } }
        }
    }
}

/// Drawn SVG as it is.
pub fn drawn(svg: &str) -> Markup {
    PreEscaped(svg.to_owned())
}
