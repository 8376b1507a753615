//! The report as data: the brewer's table as CSV, everything as JSON.

use lauter_core::supervisor::Place;
use serde_json::{Value, json};

use crate::brew_record::BrewRecord;
use crate::display::NONE;

/// The table with the hand samples as rows of their own, in time order. Numbers have a point, whatever the page
/// shows: it is for programs.
pub fn csv(record: &BrewRecord) -> Result<String, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "elapsed_s",
        "source",
        "runnings_gravity_p",
        "runnings_ph",
        "kettle_volume_l",
        "kettle_gravity_p",
        "flow_l_min",
        "pressure_drop_kpa",
    ])?;
    let text = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let mut rows: Vec<(f64, [String; 8])> = Vec::new();
    for line in &record.table {
        rows.push((
            line.elapsed_s,
            [
                line.elapsed_s.to_string(),
                "table".to_owned(),
                text(line.runnings_gravity_p),
                text(line.runnings_ph),
                line.kettle_volume_l.to_string(),
                text(line.kettle_gravity_p),
                text(line.flow_l_min),
                text(line.pressure_drop_kpa),
            ],
        ));
    }
    for (at_s, sample) in &record.samples {
        let of = |place: Place, value: Option<f64>| text(value.filter(|_| sample.place == place));
        rows.push((
            *at_s,
            [
                at_s.to_string(),
                "hand-sample".to_owned(),
                of(Place::Runnings, sample.gravity_p),
                of(Place::Runnings, sample.ph),
                of(Place::Kettle, sample.volume_l),
                of(Place::Kettle, sample.gravity_p),
                String::new(),
                String::new(),
            ],
        ));
    }
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (_, row) in rows {
        writer.write_record(row)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(csv::IntoInnerError::into_error)?;
    Ok(String::from_utf8(bytes).unwrap_or_else(|_| NONE.to_owned()))
}

/// Plan, lines, samples and what happened.
pub fn json(record: &BrewRecord) -> Value {
    let header = &record.brew.header;
    let finished = record.brew.finished.as_ref();
    let samples = record.samples.iter().map(|(elapsed_s, sample)| {
        json!({
            "elapsed_s": elapsed_s,
            "place": sample.place,
            "gravity_p": sample.gravity_p,
            "ph": sample.ph,
            "volume_l": sample.volume_l,
        })
    });
    json!({
        "brew": header.plan.brew,
        "plan": header.plan,
        "started": header.started,
        "ended": finished.map(|finished| finished.ended),
        "summary": finished.and_then(|finished| finished.summary.as_ref()),
        "table": record.table,
        "samples": samples.collect::<Vec<_>>(),
        "alarms": record.alarms,
        "occurrences": record.occurrences,
        "projections": record.projections,
        "runoff": record.runoff,
        "instruments": header.instruments,
    })
}
