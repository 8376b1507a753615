//! Alarms as they stand at a start, for a broker that may retain something else.
//!
//! Owns which alarms are told anew when the record is joined. The service before may have told changes that no record has (its
//! disk was read-only), and the broker may have lost what it retained. So every alarm that the record knows is told as it
//! stands now, normal ones as well; so is the one about the record itself, which by its nature may not be in it.

use lauter_core::alarm::{AlarmId, AlarmState, definition};
use lauter_core::reading::Moment;
use lauter_core::supervisor::{AlarmLine, RECORD};
use tokio::time::timeout;

use super::Tun;
use super::record::PATIENCE;
use crate::store::StoreError;

impl Tun {
    pub(super) async fn tell_standing(&mut self) {
        if !self.setting.publishers.retains_alarms() {
            return;
        }
        let tun = self.tun();
        let read = self
            .setting
            .store
            .read(move |database| database.latest_alarms(tun, None));
        let read = timeout(PATIENCE, read).await;
        let mut known = match read.unwrap_or(Err(StoreError::Stalled)) {
            Ok(known) => known,
            Err(error) => {
                tracing::warn!("alarms are not told anew to the broker: {error}");
                return;
            }
        };
        let now = self.setting.clock.now();
        if !known.iter().any(|(_, line)| is_about_record(line)) {
            known.push((now, record_is_not_delayed()));
        }
        for (at, line) in known {
            let (at, line) = self.as_it_stands(at, line, now);
            let time = self.setting.clock.wall(at);
            let row = self.setting.publishers.told_anew(line, time);
            self.stretch.batch.messages.extend(row);
        }
    }

    fn as_it_stands(&self, at: Moment, recorded: AlarmLine, now: Moment) -> (Moment, AlarmLine) {
        match self
            .latest
            .alarm(recorded.alarm, recorded.instrument.as_deref())
        {
            Some(line) if line.to == recorded.to => (at, line.clone()),
            Some(line) => (now, line.clone()),
            None if recorded.to == AlarmState::Normal => (at, recorded),
            None => {
                let to = AlarmState::Normal;
                (now, AlarmLine { to, ..recorded })
            }
        }
    }
}

fn is_about_record(line: &AlarmLine) -> bool {
    line.alarm == AlarmId::DeliveryDelayed && line.instrument.as_deref() == Some(RECORD)
}

fn record_is_not_delayed() -> AlarmLine {
    let definition = definition(AlarmId::DeliveryDelayed);
    AlarmLine {
        elapsed_s: 0.0,
        alarm: AlarmId::DeliveryDelayed,
        instrument: Some(RECORD.to_owned()),
        from: AlarmState::Normal,
        to: AlarmState::Normal,
        priority: definition.priority,
        message: "No delay of the record is known.".to_owned(),
        advice: definition.response.to_owned(),
        evidence: std::collections::BTreeMap::new(),
    }
}
