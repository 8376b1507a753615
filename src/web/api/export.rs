//! A brew's record as files.
//!
//! Owns which files there are at the moment and their content types; their contents are the store's.

use std::io;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use lauter_core::supervisor::Line;

use super::Service;
use super::record::{BrewPath, of_brew};
use crate::store::{
    Brew, Database, StoreError, changes, export_files, gaps, write_changes, write_gaps,
    write_lines, write_run, write_samples, write_table,
};
use crate::web::problem::{Answer, Problem};
use crate::web::wire::ExportFiles;

/// Every file with its content type, in the order in which a person would want them.
const FILES: [(&str, &str); 8] = [
    (export_files::PLAN, "application/toml"),
    (export_files::RUN, CSV),
    (export_files::SAMPLES, CSV),
    (export_files::CORRECTIONS, JSON_LINES),
    (export_files::GAPS, CSV),
    (export_files::TABLE, CSV),
    (export_files::ALARMS, JSON_LINES),
    (export_files::LINES, JSON_LINES),
];

const CSV: &str = "text/csv; charset=utf-8";
/// No registered type; this one is in common use.
const JSON_LINES: &str = "application/jsonl; charset=utf-8";

/// All content types above.
pub const MEDIA_TYPES: [&str; 3] = ["application/toml", CSV, JSON_LINES];

/// What an address may name.
enum Found {
    Contents(Vec<u8>),
    /// The readings' time is over.
    Removed,
}

/// The files that can be had. The raw readings are not among them once their time is over.
pub async fn files(State(service): State<Arc<Service>>, path: BrewPath) -> Answer<ExportFiles> {
    let (readings_kept, missing) = of_brew(&service, path, |database, brew| {
        let missing = database.damaged_blocks(Some(brew.id))?;
        Ok((brew.readings_kept, missing))
    })
    .await?;
    let files = FILES
        .iter()
        .filter(|(name, _)| readings_kept || *name != export_files::RUN)
        .map(|(name, _)| (*name).to_owned());
    Ok(Json(ExportFiles {
        files: files.collect(),
        missing: missing.iter().map(ToString::to_string).collect(),
    }))
}

/// The contents of one file.
pub async fn file(
    State(service): State<Arc<Service>>,
    Path((site, tun, brew, name)): Path<(String, String, String, String)>,
) -> Result<Response, Problem> {
    let Some((file, content_type)) = FILES.into_iter().find(|(file, _)| *file == name) else {
        let names = FILES.map(|(name, _)| name).join(", ");
        return Err(Problem::not_found(format!(
            "a brew has no file {name}; the files are {names}"
        )));
    };
    let found = of_brew(
        &service,
        Path((site, tun, brew.clone())),
        move |database, brew| found(database, &brew, file),
    )
    .await?;
    match found {
        Found::Contents(contents) => {
            // The names are those above: nothing in them needs quoting.
            let disposition = format!("attachment; filename=\"{file}\"");
            let headers = [
                (CONTENT_TYPE, content_type.to_owned()),
                (CONTENT_DISPOSITION, disposition),
            ];
            Ok((headers, contents).into_response())
        }
        Found::Removed => Err(Problem::new(
            StatusCode::GONE,
            format!(
                "the readings of brew {brew} are past the time they are kept ([store] keep_readings_days); its \
                 table, lines, alarms, samples and plan are still here"
            ),
        )),
    }
}

fn found(database: &Database, brew: &Brew, file: &'static str) -> Result<Found, StoreError> {
    if file == export_files::RUN && !brew.readings_kept {
        return Ok(Found::Removed);
    }
    let mut contents = Vec::new();
    write(database, brew, file, &mut contents).map(|()| Found::Contents(contents))
}

fn write(
    database: &Database,
    brew: &Brew,
    file: &'static str,
    out: &mut Vec<u8>,
) -> Result<(), StoreError> {
    let header = &brew.header;
    let written = match file {
        export_files::PLAN => toml::to_string(&header.plan)
            .map(|plan| out.extend_from_slice(plan.as_bytes()))
            .map_err(io::Error::other),
        export_files::RUN => {
            let ids: Vec<&str> = header.instruments.iter().map(|i| i.id.as_str()).collect();
            write_run(out, header.origin, &ids, &database.recording(brew.id)?)
        }
        export_files::SAMPLES => {
            write_samples(out, header.origin, &database.recorded_samples(brew.id)?)
        }
        export_files::CORRECTIONS => {
            write_changes(out, &changes(header, &database.other_events(brew.id)?))
        }
        export_files::GAPS => {
            let gaps = gaps(&database.other_events(brew.id)?);
            write_gaps(out, header.origin, &gaps)
        }
        export_files::TABLE => write_table(out, &database.table(brew.id)?),
        export_files::ALARMS => {
            let alarms = database.alarms(brew.id)?.into_iter().map(Line::Alarm);
            write_lines(out, &alarms.collect::<Vec<_>>())
        }
        _ => {
            let lines = database.lines(brew.id)?.into_iter().map(|(_, line)| line);
            write_lines(out, &lines.collect::<Vec<_>>())
        }
    };
    written.map_err(|source| StoreError::Export {
        path: file.into(),
        source,
    })
}
