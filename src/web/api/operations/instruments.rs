//! The operations about single instruments: loop checks and corrections.

use crate::access::Role;
use crate::runtime::request::Calibrated;
use crate::web::api::catalogue::{Catalogue, Detail, delete, get, post};
use crate::web::api::{calibration, report};
use crate::web::wire::calibration::{
    CorrectionBody, CorrectionRecord, InstrumentState, LoopCheckBody, LoopCheckRecord, WhoQuery,
};

pub fn all<D: Detail>(catalogue: Catalogue<D>) -> Catalogue<D> {
    let checked = catalogue
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/calibration",
                "calibration",
                "Corrections in force, and which instruments are due",
            )
            .answers::<Vec<Calibrated>>(),
            calibration::states,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/instruments/{instrument}",
                "instrument",
                "An instrument as it stands now: limits, reading, correction",
            )
            .answers::<InstrumentState>(),
            calibration::instrument,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/loop-checks",
                "loop_checks",
                "The loop checks of the record with what they amount to, oldest first",
            )
            .query::<calibration::ChecksQuery>()
            .answers::<Vec<LoopCheckRecord>>(),
            calibration::checks,
        )
        .with(
            post(
                "/api/v1/tuns/{site}/{tun}/loop-checks",
                "enter_loop_check",
                "Keeps a loop check and gives it its number",
            )
            .needs(Role::Engineer)
            .takes::<LoopCheckBody>()
            .answers::<LoopCheckRecord>()
            .status("201", "Entered"),
            calibration::enter_check,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/loop-checks/{check}",
                "loop_check",
                "One loop check",
            )
            .answers::<LoopCheckRecord>(),
            calibration::check,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/loop-checks/{check}/certificate",
                "certificate",
                "The certificate of a loop check",
            )
            .query::<report::ReportQuery>()
            .answers_text(&report::MEDIA_TYPES),
            calibration::certificate,
        );
    of_corrections(checked)
}

fn of_corrections<D: Detail>(catalogue: Catalogue<D>) -> Catalogue<D> {
    catalogue
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/instruments/{instrument}/corrections",
                "corrections",
                "Every version of an instrument's correction, oldest first",
            )
            .answers::<Vec<CorrectionRecord>>(),
            calibration::corrections,
        )
        .with(
            post(
                "/api/v1/tuns/{site}/{tun}/instruments/{instrument}/correction",
                "correct",
                "Corrects an instrument's readings from now on by what applied values tell",
            )
            .needs(Role::Engineer)
            .takes::<CorrectionBody>()
            .answers::<CorrectionRecord>()
            .status("201", "In force"),
            calibration::correct,
        )
        .with(
            delete(
                "/api/v1/tuns/{site}/{tun}/instruments/{instrument}/correction",
                "take_correction_back",
                "Lets an instrument's readings pass as they come",
            )
            .needs(Role::Engineer)
            .query::<WhoQuery>()
            .answers::<CorrectionRecord>(),
            calibration::take_correction_back,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/instruments/{instrument}/drift",
                "drift",
                "How far an instrument's errors have moved from check to check, as SVG",
            )
            .answers_text(&["image/svg+xml"]),
            calibration::drift,
        )
}
