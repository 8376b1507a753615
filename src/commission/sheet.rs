//! The acceptance sheet: one line for each thing that was looked at.
//!
//! Owns the verdicts and how a sheet reads as text, as a page to print and as JSON. Must not know how a line came about.

use std::fmt::Write as _;

use maud::{DOCTYPE, PreEscaped, html as markup};
use serde::Serialize;

/// What came of one line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    Pass,
    Fail,
    /// Nobody has looked yet, and somebody should.
    NotDone,
    /// This tun has nothing to look at here.
    NotApplicable,
}

impl Verdict {
    pub fn words(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "FAIL",
            Self::NotDone => "not done",
            Self::NotApplicable => "does not apply",
        }
    }
}

/// Parts of the walk, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    Links,
    Instruments,
    SignsAndUnits,
    LoopChecks,
    Alarms,
    DryRun,
}

impl Part {
    pub const ALL: [Self; 6] = [
        Self::Links,
        Self::Instruments,
        Self::SignsAndUnits,
        Self::LoopChecks,
        Self::Alarms,
        Self::DryRun,
    ];

    pub fn words(self) -> &'static str {
        match self {
            Self::Links => "Links",
            Self::Instruments => "Instruments",
            Self::SignsAndUnits => "Signs and units",
            Self::LoopChecks => "Loop checks of the record",
            Self::Alarms => "Alarms, provoked and seen at the broker",
            Self::DryRun => "Dry run of a whole run-off",
        }
    }
}

/// One line of the sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    pub part: Part,
    pub item: String,
    pub verdict: Verdict,
    /// What was read or seen, and what to do where it failed.
    pub reading: String,
    /// When, RFC 3339 in UTC to the second.
    pub time: String,
}

/// A whole sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sheet {
    pub site: String,
    pub tun: String,
    pub configuration: String,
    /// Digest of the settings that bear on the answers.
    pub settings: String,
    pub version: String,
    pub who: Option<String>,
    pub started: String,
    pub ended: String,
    pub lines: Vec<Line>,
}

/// What no test of this program proves.
const CAUTION: &str = "lauterd supports judgement and is no safety function. Interlocks, guards and the kettle's hard-wired \
     high-level trip are proved by the site's own procedure, by people licensed for it. Hot wort and liquor scald; rakes \
     are rotating machinery.";

const STYLE: &str = "body{font:11pt/1.4 system-ui,sans-serif;max-width:62rem;margin:2rem auto;padding:0 1rem;color:#111}\
     table{border-collapse:collapse;width:100%;margin-bottom:1.5rem}th,td{border:1px solid #888;padding:.3rem .5rem;\
     text-align:left;vertical-align:top}td.verdict{white-space:nowrap;font-weight:bold}tr.fail td{background:#fbe3e0}\
     tr.not-done td{background:#fdf6d8}.signature span{display:inline-block;min-width:16rem;border-bottom:1px solid #111;\
     margin-right:2rem}@media print{body{margin:0}}";

impl Sheet {
    pub fn count(&self, verdict: Verdict) -> usize {
        self.lines
            .iter()
            .filter(|line| line.verdict == verdict)
            .count()
    }

    /// One sentence on the whole.
    pub fn outcome(&self) -> String {
        let (failed, open) = (self.count(Verdict::Fail), self.count(Verdict::NotDone));
        let passed = self.count(Verdict::Pass);
        match (failed, open) {
            (0, 0) => format!("Accepted: all {passed} lines passed."),
            (0, open) => format!("Nothing failed, but {open} lines are not done; {passed} passed."),
            (failed, open) => {
                format!(
                    "Not accepted: {failed} lines failed, {open} are not done, {passed} passed."
                )
            }
        }
    }

    pub fn text(&self) -> String {
        let mut text = format!(
            "Acceptance of {}/{}\n{}, settings {}, lauterd {}\n{} to {}, by {}\n",
            self.site,
            self.tun,
            self.configuration,
            self.settings,
            self.version,
            self.started,
            self.ended,
            self.who.as_deref().unwrap_or("(nobody named)")
        );
        for part in Part::ALL {
            let lines: Vec<&Line> = self.lines.iter().filter(|line| line.part == part).collect();
            if lines.is_empty() {
                continue;
            }
            let _ = writeln!(text, "\n{}", part.words());
            let width = lines
                .iter()
                .map(|line| line.item.chars().count())
                .max()
                .unwrap_or(0);
            for line in lines {
                let _ = writeln!(
                    text,
                    "  {:<14}  {:<width$}  {}",
                    line.verdict.words(),
                    line.item,
                    line.reading
                );
            }
        }
        let _ = write!(text, "\n{}\n{CAUTION}\n", self.outcome());
        text
    }

    pub fn json(&self) -> String {
        // All keys are text and there are no maps with others.
        let text = serde_json::to_string_pretty(self).unwrap_or_default();
        format!("{text}\n")
    }

    /// A page that needs nothing beside it, to print and to sign.
    pub fn html(&self) -> String {
        let page = markup! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { "Acceptance of " (self.site) "/" (self.tun) }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    h1 { "Acceptance of " (self.site) " / " (self.tun) }
                    p { (self.configuration) ", settings " (self.settings) ", lauterd " (self.version) br;
                        (self.started) " to " (self.ended) ", by " (self.who.as_deref().unwrap_or("–")) }
                    p { strong { (self.outcome()) } }
                    @for part in Part::ALL {
                        @if self.lines.iter().any(|line| line.part == part) {
                            h2 { (part.words()) }
                            table {
                                thead { tr { th { "Item" } th { "Result" } th { "Reading" } th { "Time" } } }
                                tbody {
                                    @for line in self.lines.iter().filter(|line| line.part == part) {
                                        tr class=(class(line.verdict)) {
                                            td { (line.item) } td class="verdict" { (line.verdict.words()) }
                                            td { (line.reading) } td { (line.time) }
                                        }
                                    }
                                }
                            }
                        }
                    }
                    p { (CAUTION) }
                    p class="signature" { "Commissioned by " span { } " Date " span { } }
                    p class="signature" { "Accepted by " span { } " Date " span { } }
                }
            }
        };
        page.into_string()
    }
}

fn class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fail => "fail",
        Verdict::NotDone => "not-done",
        Verdict::Pass | Verdict::NotApplicable => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(verdicts: &[Verdict]) -> Sheet {
        let line = |verdict: &Verdict| Line {
            part: Part::Instruments,
            item: "flow <meter>".to_owned(),
            verdict: *verdict,
            reading: "61.5 L/min".to_owned(),
            time: "2026-04-12T08:00:00Z".to_owned(),
        };
        Sheet {
            site: "yard".to_owned(),
            tun: "tun-1".to_owned(),
            configuration: "tun-1.toml".to_owned(),
            settings: "00".to_owned(),
            version: "0.1.0".to_owned(),
            who: Some("A. Engineer".to_owned()),
            started: "2026-04-12T08:00:00Z".to_owned(),
            ended: "2026-04-12T08:10:00Z".to_owned(),
            lines: verdicts.iter().map(line).collect(),
        }
    }

    #[test]
    fn only_a_sheet_without_an_open_line_is_accepted() {
        let outcome = |verdicts: &[Verdict]| sheet(verdicts).outcome();
        assert!(outcome(&[Verdict::Pass, Verdict::NotApplicable]).starts_with("Accepted"));
        assert!(outcome(&[Verdict::Pass, Verdict::NotDone]).starts_with("Nothing failed, but 1"));
        assert!(outcome(&[Verdict::Fail, Verdict::NotDone]).starts_with("Not accepted: 1"));
    }

    #[test]
    fn every_line_is_in_every_form_and_what_people_wrote_stays_text() {
        let sheet = sheet(&[Verdict::Pass, Verdict::Fail]);
        let (text, page) = (sheet.text(), sheet.html());
        for part in ["flow", "61.5 L/min", "FAIL", "A. Engineer"] {
            assert!(text.contains(part) && page.contains(part), "{part}");
        }
        assert!(page.contains("flow &lt;meter&gt;"));
        let json: serde_json::Value = serde_json::from_str(&sheet.json()).unwrap();
        assert_eq!(json["lines"][1]["verdict"], "fail");
    }
}
