//! The crush log: reading it and adding to it.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Extension, Path, State};
use axum::http::{HeaderMap, StatusCode};
use jiff::Timestamp;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Service, body};
use crate::access::Caller;
use crate::clock;
use crate::store::Crush;
use crate::web::problem::{Answer, Problem};
use crate::web::wire::{Fault, Time, check_text};

/// An entry with its time.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LoggedCrush {
    #[schemars(with = "Time")]
    pub time: Timestamp,
    #[serde(flatten)]
    pub crush: Crush,
}

pub async fn list(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Answer<Vec<LoggedCrush>> {
    let id = service.tun(&site, &tun)?.id;
    let log = service
        .store
        .read(move |database| database.crushes(id))
        .await?;
    let log = log
        .into_iter()
        .map(|(time, crush)| LoggedCrush { time, crush });
    Ok(Json(log.collect()))
}

pub async fn enter(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    Path((site, tun)): Path<(String, String)>,
    headers: HeaderMap,
    received: body::Received,
) -> Result<(StatusCode, Json<LoggedCrush>), Problem> {
    let id = service.tun(&site, &tun)?.id;
    let mut crush: Crush = body::json(&headers, received)?;
    crush.who = caller.who(&crush.who);
    let faults = faults(&crush);
    if !faults.is_empty() {
        return Err(Problem::unprocessable("crush", faults));
    }
    if let Some(replaces) = crush.replaces {
        let log = service
            .store
            .read(move |database| database.crushes(id))
            .await?;
        if !log.iter().any(|(time, _)| *time == replaces) {
            let message = format!("names {replaces}, and the log has no entry of that time");
            return Err(Problem::unprocessable(
                "crush",
                vec![Fault::new("replaces", message)],
            ));
        }
    }
    let time = clock::wall_now();
    let kept = crush.clone();
    service
        .store
        .run(move |database| database.log_crush(id, time, &kept))
        .await?;
    Ok((StatusCode::CREATED, Json(LoggedCrush { time, crush })))
}

/// Sieves of one analysis at most.
const SIEVES_BOUND: usize = 12;
/// What an analysis may add up to beside 100 %: scales and losses.
const SUM_MAY_MISS: f64 = 3.0;

/// Everything that is wrong with an entry.
fn faults(crush: &Crush) -> Vec<Fault> {
    let mut faults = Vec::new();
    check_text("who", Some(&crush.who), &mut faults);
    if !(0.05..=5.0).contains(&crush.gap_mm) {
        let message = format!("is {} mm; allowed is 0.05 to 5 mm", crush.gap_mm);
        faults.push(Fault::new("gap_mm", message));
    }
    if crush.note.chars().count() > 200 || crush.note.chars().any(char::is_control) {
        faults.push(Fault::new(
            "note",
            "must be one line of at most 200 characters",
        ));
    }
    if crush.fractions.len() > SIEVES_BOUND {
        let message = format!("has {}; allowed are {SIEVES_BOUND}", crush.fractions.len());
        faults.push(Fault::new("fractions", message));
        return faults;
    }
    for fraction in &crush.fractions {
        if !(0.0..=10.0).contains(&fraction.opening_mm)
            || !(0.0..=100.0).contains(&fraction.percent)
        {
            let message = "has a sieve outside 0 to 10 mm or a share outside 0 to 100 %";
            faults.push(Fault::new("fractions", message));
            return faults;
        }
    }
    let sum: f64 = crush
        .fractions
        .iter()
        .map(|fraction| fraction.percent)
        .sum();
    if !crush.fractions.is_empty() && (sum - 100.0).abs() > SUM_MAY_MISS {
        let message = format!("add up to {sum:.1} %; the sieves and the pan together hold 100 %");
        faults.push(Fault::new("fractions", message));
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Fraction;

    #[test]
    fn an_analysis_that_does_not_add_up_is_refused_with_its_sum() {
        let crush = |percents: &[f64]| Crush {
            who: "mill".to_owned(),
            gap_mm: 0.45,
            fractions: percents
                .iter()
                .map(|percent| Fraction {
                    opening_mm: 1.0,
                    percent: *percent,
                })
                .collect(),
            note: String::new(),
            replaces: None,
        };
        assert_eq!(faults(&crush(&[20.0, 55.0, 25.0])), []);
        assert_eq!(faults(&crush(&[])), []);
        let found = faults(&crush(&[20.0, 55.0]));
        assert!(found[0].message.contains("75.0 %"), "{found:?}");
        let wide = Crush {
            gap_mm: 9.0,
            ..crush(&[])
        };
        assert_eq!(faults(&wide)[0].key, "gap_mm");
    }
}
