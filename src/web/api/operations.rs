//! Which operations the interface has.
//!
//! Owns the list: path, name, what each takes and answers, and the role it needs. Must not know how any is carried out.

mod instruments;

use lauter_core::projection::Plan;
use lauter_core::supervisor::{AlarmLine, FanPoint, Line, Occurrence, ProjectionLine, TableLine};

use super::catalogue::{Catalogue, Detail, delete, get, post};
use super::{alarms, charts, crush, export, health, operate, profile, record, report, tuns};
use crate::access::Role;
use crate::runtime::request::TunStatus;
use crate::store::Crush;
use crate::web::wire::{
    ActionEntry, AlarmOperation, AlarmReport, BrewName, ExportFiles, Health, KnownProfile,
    NoteBody, Noted, ProfileVersion, RakingBody, RakingNoted, RecordedBrew, RecordedBrews,
    SampleBody, SampleTaken, ServedTuns, SignInBody, SignedIn, TrailEntry,
};
use crate::web::{events, metrics, sign_in};

pub fn all<D: Detail>() -> Catalogue<D> {
    let now = instruments::all(of_page(of_tun(of_service(Catalogue::new()))));
    of_charts(of_record(now))
}

fn of_service<D: Detail>(catalogue: Catalogue<D>) -> Catalogue<D> {
    catalogue
        .with(
            get("/healthz", "alive", "Whether the service answers at all")
                .public()
                .answers_text(&["text/plain"]),
            health::alive,
        )
        .with(
            get(
                "/readyz",
                "ready",
                "Whether every tun is watched and the record is written",
            )
            .public()
            .answers_text(&["text/plain"]),
            health::ready,
        )
        .with(
            get("/metrics", "metrics", "Figures in OpenMetrics text")
                .answers_text(&[metrics::MEDIA_TYPE]),
            health::metrics,
        )
        .with(
            get(
                "/api/v1/health",
                "health",
                "Version, tuns and how the record fares",
            )
            .answers::<Health>(),
            tuns::health,
        )
        .with(
            get(sign_in::SESSION, "whoami", "Who the caller is taken for")
                .public()
                .answers::<SignedIn>(),
            sign_in::who,
        )
        .with(
            post(
                sign_in::SESSION,
                "sign_in",
                "Signs a person in; the answer sets the session's cookie",
            )
            .public()
            .takes::<SignInBody>()
            .answers::<SignedIn>(),
            sign_in::open,
        )
        .with(
            delete(sign_in::SESSION, "sign_out", "Ends the session")
                .public()
                .status("204", "Signed out"),
            sign_in::close,
        )
        .with(
            get("/api/v1/tuns", "tuns", "The tuns that are served").answers::<ServedTuns>(),
            tuns::list,
        )
}

fn of_tun<D: Detail>(catalogue: Catalogue<D>) -> Catalogue<D> {
    catalogue
        .with(
            get("/api/v1/tuns/{site}/{tun}", "status", "The tun as it stands now").answers::<TunStatus>(),
            tuns::status,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/brew", "start_brew", "Starts a brew with its plan")
                .query::<operate::StartQuery>()
                .takes_toml::<Plan>()
                .answers::<BrewName>()
                .status("201", "Started"),
            operate::start_brew,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/brew/end", "end_brew", "Ends the brew under way")
                .takes::<Nothing>()
                .answers::<BrewName>(),
            operate::end_brew,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/samples", "sample", "Takes a hand sample")
                .query::<operate::SampleQuery>()
                .takes::<SampleBody>()
                .answers::<SampleTaken>(),
            operate::sample,
        )
        .with(
            post(
                "/api/v1/tuns/{site}/{tun}/samples/{number}/withdraw",
                "withdraw_sample",
                "Takes a hand sample back that was a slip: it counts no more",
            )
            .answers::<SampleTaken>(),
            operate::withdraw_sample,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/notes", "note", "Puts words into the record")
                .takes::<NoteBody>()
                .answers::<Noted>(),
            operate::note,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/raking", "raking", "Takes the word that the rakes run for some minutes")
                .takes::<RakingBody>()
                .answers::<RakingNoted>(),
            operate::raking,
        )
        .with(
            post(
                "/api/v1/tuns/{site}/{tun}/alarms/{alarm}",
                "operate_alarm",
                "Acknowledges, shelves or unshelves an alarm; as engineer also takes it out of service and returns it",
            )
            .query::<operate::AlarmQuery>()
            .takes::<AlarmOperation>()
            .answers::<AlarmOperation>(),
            operate::alarm,
        )
        .with(
            get("/api/v1/tuns/{site}/{tun}/alarms/report", "alarm_report", "How the alarms behaved, beside benchmarks")
                .query::<alarms::AskedQuery>()
                .answers::<AlarmReport>(),
            alarms::report,
        )
        .with(
            get("/api/v1/tuns/{site}/{tun}/alarms/trail", "alarm_trail", "Every change of an alarm: when, by whom, why")
                .query::<alarms::AskedQuery>()
                .answers::<Vec<TrailEntry>>(),
            alarms::trail,
        )
        .with(
            get("/api/v1/tuns/{site}/{tun}/actions", "actions", "Everything that people and programs did")
                .query::<alarms::AskedQuery>()
                .answers::<Vec<ActionEntry>>(),
            alarms::actions,
        )
        .with(
            get("/api/v1/tuns/{site}/{tun}/profile", "profile", "What earlier brews taught").answers::<KnownProfile>(),
            profile::show,
        )
        .with(
            delete("/api/v1/tuns/{site}/{tun}/profile", "reset_profile", "Begins a new profile that knows nothing")
                .needs(Role::Engineer)
                .answers::<ProfileVersion>(),
            operate::reset_profile,
        )
}

fn of_record<D: Detail>(catalogue: Catalogue<D>) -> Catalogue<D> {
    catalogue
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews",
                "brews",
                "The newest brews of the record, newest first",
            )
            .query::<record::ListQuery>()
            .answers::<RecordedBrews>(),
            record::brews,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}",
                "brew",
                "One brew of the record",
            )
            .answers::<RecordedBrew>(),
            record::brew,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/table",
                "table",
                "The brewer's table",
            )
            .answers::<Vec<TableLine>>(),
            record::table,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/lines",
                "lines",
                "Projections, alarms, table and summary in the order they were put out",
            )
            .answers::<Vec<Line>>(),
            record::lines,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/alarms",
                "alarms",
                "Every change of an alarm's state",
            )
            .answers::<Vec<AlarmLine>>(),
            record::alarms,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/export",
                "export_files",
                "The files the brew can be had as",
            )
            .answers::<ExportFiles>(),
            export::files,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/export/{file}",
                "export_file",
                "One of those files",
            )
            .answers_text(&export::MEDIA_TYPES),
            export::file,
        )
}

fn of_page<D: Detail>(catalogue: Catalogue<D>) -> Catalogue<D> {
    catalogue
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/events",
                "events",
                "The state as server-sent events, each when it changes",
            )
            .answers_text(&["text/event-stream"]),
            events::states,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/forecast",
                "forecast",
                "The forecast along the way; empty without a brew",
            )
            .answers::<Vec<FanPoint>>(),
            charts::forecast,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/crush",
                "crush_log",
                "The crush log",
            )
            .answers::<Vec<crush::LoggedCrush>>(),
            crush::list,
        )
        .with(
            post(
                "/api/v1/tuns/{site}/{tun}/crush",
                "log_crush",
                "Adds to the crush log",
            )
            .takes::<Crush>()
            .answers::<crush::LoggedCrush>()
            .status("201", "Logged"),
            crush::enter,
        )
}

fn of_charts<D: Detail>(catalogue: Catalogue<D>) -> Catalogue<D> {
    catalogue
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/samples",
                "samples",
                "The hand samples with their times",
            )
            .answers::<Vec<report::TimedSample>>(),
            report::samples,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/projections",
                "projections",
                "How the stop-point was seen over the brew",
            )
            .answers::<Vec<ProjectionLine>>(),
            report::projections,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/occurrences",
                "occurrences",
                "What happened, in words",
            )
            .answers::<Vec<Occurrence>>(),
            report::occurrences,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/charts/{chart}",
                "chart",
                "A chart as SVG",
            )
            .query::<charts::ChartQuery>()
            .answers_text(&["image/svg+xml"]),
            charts::chart,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/report",
                "report",
                "The brew's report",
            )
            .query::<report::ReportQuery>()
            .answers_text(&report::MEDIA_TYPES),
            report::report,
        )
}

/// A body that says nothing; its content type shows that no form sent it.
#[derive(Debug, schemars::JsonSchema)]
#[allow(dead_code, reason = "only its shape is of use")]
struct Nothing {}
