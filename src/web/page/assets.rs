//! The files the page is made of. They are in the program; nothing is fetched from elsewhere.

use axum::extract::Path;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

use crate::charts;
use crate::web::problem::Problem;

pub async fn asset(Path(name): Path<String>) -> Result<Response, Problem> {
    let (kind, contents) = match name.as_str() {
        "page.css" => (CSS, include_str!("assets/page.css")),
        "charts.css" => (CSS, charts::STYLE),
        "page.js" => (SCRIPT, include_str!("assets/page.js")),
        "loop_check.js" => (SCRIPT, include_str!("assets/loop_check.js")),
        "theme.js" => (SCRIPT, include_str!("assets/theme.js")),
        "icon.svg" => ("image/svg+xml", include_str!("assets/icon.svg")),
        _ => return Err(Problem::not_found(format!("the page has no file {name}"))),
    };
    Ok(([(CONTENT_TYPE, kind)], contents).into_response())
}

const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
