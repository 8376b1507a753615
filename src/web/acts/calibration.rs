//! Loop checks and corrections: an engineer's work.

use lauter_core::calibration::{Parameters, Rule, Subject};
use lauter_core::reading::Instrument;

use super::Actor;
use crate::access::Role;
use crate::clock;
use crate::runtime::request::{NewCorrection, Request};
use crate::store::{MadeCorrection, NewCheck};
use crate::web::problem::Problem;
use crate::web::wire::Fault;
use crate::web::wire::calibration::{
    CorrectionBody, CorrectionRecord, LoopCheckBody, LoopCheckRecord, WhoQuery, due,
};

impl Actor<'_> {
    /// The configured instrument of this name.
    pub fn instrument(&self, id: &str) -> Result<&Instrument, Problem> {
        configured(self.tun, id)
    }

    /// Keeps a loop check under a number of its own.
    pub async fn enter_check(&self, body: LoopCheckBody) -> Result<LoopCheckRecord, Problem> {
        self.caller.may(Role::Engineer)?;
        let instrument = self.instrument(&body.instrument)?;
        let factor = self.tun.configuration.watch.wort_factor;
        let check = body
            .check(instrument, factor)
            .map_err(|faults| Problem::unprocessable("loop check", faults))?;
        let new = Box::new(NewCheck {
            due: due(clock::wall_now(), body.due_days, check.measures),
            who: self.caller.who_or_somebody(body.who.as_deref()),
            note: body.note,
            check,
        });
        let stored = self.ask(|reply| Request::EnterCheck { new, reply }).await?;
        Ok(stored.into())
    }

    /// Corrects an instrument's readings from now on by what some points tell.
    pub async fn correct(
        &self,
        instrument: &str,
        body: CorrectionBody,
    ) -> Result<CorrectionRecord, Problem> {
        self.caller.may(Role::Engineer)?;
        let instrument = self.instrument(instrument)?;
        body.check()
            .map_err(|faults| Problem::unprocessable("correction", faults))?;
        let found = subject(instrument, self.tun.configuration.watch.wort_factor)
            .map_err(|message| vec![Fault::new("instrument", message)])
            .and_then(|subject| {
                Rule::of_points(&subject, &body.points, &Parameters::default())
                    .map_err(|fault| vec![Fault::new("points", fault.to_string())])
            });
        let rule = found.map_err(|faults| Problem::unprocessable("correction", faults))?;
        let new = NewCorrection {
            instrument: instrument.id.clone(),
            due: due(clock::wall_now(), body.due_days, instrument.measures),
            who: self.caller.who_or_somebody(body.who.as_deref()),
            correction: Some(MadeCorrection {
                measures: instrument.measures,
                unit: instrument.reads_in(),
                rule,
                points: body.points,
            }),
        };
        let stored = self.ask(|reply| Request::Correct { new, reply }).await?;
        Ok(stored.into())
    }

    /// From now on readings pass as they come; the versions before stay in the record.
    pub async fn take_correction_back(
        &self,
        instrument: &str,
        by: &WhoQuery,
    ) -> Result<CorrectionRecord, Problem> {
        self.caller.may(Role::Engineer)?;
        by.check()
            .map_err(|faults| Problem::unprocessable("correction", faults))?;
        let new = NewCorrection {
            instrument: self.instrument(instrument)?.id.clone(),
            correction: None,
            due: None,
            who: self.caller.who_or_somebody(by.who.as_deref()),
        };
        let stored = self.ask(|reply| Request::Correct { new, reply }).await?;
        Ok(stored.into())
    }
}

/// The instrument of this name, or which there are.
pub fn configured<'a>(
    tun: &'a crate::runtime::request::TunHandle,
    id: &str,
) -> Result<&'a Instrument, Problem> {
    let instruments = || {
        tun.configuration
            .instruments
            .iter()
            .map(|it| &it.instrument)
    };
    instruments().find(|it| it.id == id).ok_or_else(|| {
        let ids: Vec<&str> = instruments().map(|it| it.id.as_str()).collect();
        Problem::not_found(format!(
            "there is no instrument {id}; the instruments are {}",
            ids.join(", ")
        ))
    })
}

fn subject(instrument: &Instrument, wort_factor: f64) -> Result<Subject, String> {
    let Some((low, high)) = instrument.limits() else {
        return Err("is a switch".to_owned());
    };
    Ok(Subject {
        measures: instrument.measures,
        unit: instrument.reads_in(),
        low,
        high,
        wort_factor,
    })
}
