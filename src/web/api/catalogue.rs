//! Every operation of the interface: its route, what it needs, and what is said of it.
//!
//! Owns that the three cannot drift apart: a route is made from its description and in no other way. Must not know
//! what an operation does.

use std::fmt;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Extension, Request, State};
use axum::handler::Handler;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodFilter, on};
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, SchemaGenerator};
use serde_json::Value;

use super::Service;
use crate::access::{Caller, Role};
use crate::web::guard::not_a_form;
use crate::web::problem::Problem;

pub const JSON: &str = "application/json";

/// Makes the shape of what may be sent.
pub type Taken = fn() -> Value;
/// Makes the shape of what is answered.
pub type Given = fn(&mut SchemaGenerator) -> Value;

/// How much is kept of an operation's description. The service needs no more than the routes: the shapes of all bodies
/// would be a tenth of its memory.
pub trait Detail {
    /// What makes a shape, where shapes are kept.
    type Shape<F: Copy + fmt::Debug>: Copy + fmt::Debug;

    fn keep<F: Copy + fmt::Debug>(shape: F) -> Self::Shape<F>;
}

/// Only what a route needs.
#[derive(Debug)]
pub struct Routed;

impl Detail for Routed {
    type Shape<F: Copy + fmt::Debug> = ();

    fn keep<F: Copy + fmt::Debug>(_: F) {}
}

/// With the shapes of all bodies, for the document.
#[derive(Debug)]
pub struct Described;

impl Detail for Described {
    type Shape<F: Copy + fmt::Debug> = F;

    fn keep<F: Copy + fmt::Debug>(shape: F) -> F {
        shape
    }
}

/// What is said about one operation.
#[derive(Debug)]
pub struct Operation<D: Detail> {
    pub method: &'static str,
    pub path: &'static str,
    pub name: &'static str,
    pub summary: &'static str,
    pub needs: Option<Role>,
    pub query: Option<D::Shape<Taken>>,
    pub body: Option<Body<D>>,
    pub answer: Answered<D>,
}

#[derive(Debug)]
pub struct Body<D: Detail> {
    pub schema: D::Shape<Taken>,
    pub media_types: &'static [&'static str],
}

#[derive(Debug)]
pub struct Answered<D: Detail> {
    pub status: &'static str,
    pub description: &'static str,
    /// None for an answer without a body.
    pub content: Option<Content<D>>,
}

#[derive(Debug)]
pub enum Content<D: Detail> {
    Json(D::Shape<Given>),
    Text(&'static [&'static str]),
}

/// An operation that only looks: `watch` may ask for it.
pub fn get<D: Detail>(
    path: &'static str,
    name: &'static str,
    summary: &'static str,
) -> Operation<D> {
    Operation {
        method: "get",
        path,
        name,
        summary,
        needs: Some(Role::Watch),
        query: None,
        body: None,
        answer: Answered {
            status: "200",
            description: "Done",
            content: None,
        },
    }
}

/// An operation that changes something: `operate` may ask for it, unless `needs` says otherwise.
pub fn post<D: Detail>(
    path: &'static str,
    name: &'static str,
    summary: &'static str,
) -> Operation<D> {
    Operation {
        method: "post",
        needs: Some(Role::Operate),
        ..get(path, name, summary)
    }
}

pub fn delete<D: Detail>(
    path: &'static str,
    name: &'static str,
    summary: &'static str,
) -> Operation<D> {
    Operation {
        method: "delete",
        ..post(path, name, summary)
    }
}

impl<D: Detail> Operation<D> {
    pub fn needs(self, role: Role) -> Self {
        Self {
            needs: Some(role),
            ..self
        }
    }

    /// Anybody may ask; the operation looks for itself.
    pub fn public(self) -> Self {
        Self {
            needs: None,
            ..self
        }
    }

    pub fn query<T: JsonSchema>(self) -> Self {
        Self {
            query: Some(D::keep(taken::<T> as Taken)),
            ..self
        }
    }

    pub fn takes<T: JsonSchema>(self) -> Self {
        let body = Body {
            schema: D::keep(taken::<T> as Taken),
            media_types: &[JSON],
        };
        Self {
            body: Some(body),
            ..self
        }
    }

    /// As [`Self::takes`], also written as TOML.
    pub fn takes_toml<T: JsonSchema>(self) -> Self {
        let body = Body {
            schema: D::keep(taken::<T> as Taken),
            media_types: &[JSON, "application/toml"],
        };
        Self {
            body: Some(body),
            ..self
        }
    }

    pub fn answers<T: JsonSchema>(mut self) -> Self {
        self.answer.content = Some(Content::Json(D::keep(given::<T> as Given)));
        self
    }

    pub fn answers_text(mut self, media_types: &'static [&'static str]) -> Self {
        self.answer.content = Some(Content::Text(media_types));
        self
    }

    pub fn status(mut self, status: &'static str, description: &'static str) -> Self {
        self.answer.status = status;
        self.answer.description = description;
        self
    }
}

/// What may be sent, in one piece: the same shape may be described otherwise where it is answered.
fn taken<T: JsonSchema>() -> Value {
    let settings = SchemaSettings::draft2020_12().with(|settings| {
        settings.inline_subschemas = true;
        settings.meta_schema = None;
    });
    settings
        .into_generator()
        .into_root_schema_for::<T>()
        .to_value()
}

pub fn given<T: JsonSchema>(generator: &mut SchemaGenerator) -> Value {
    generator.subschema_for::<T>().to_value()
}

/// The operations so far.
#[derive(Debug)]
pub struct Catalogue<D: Detail> {
    router: Router<Arc<Service>>,
    operations: Vec<Operation<D>>,
}

impl<D: Detail> Catalogue<D> {
    pub fn new() -> Self {
        Self {
            router: Router::new(),
            operations: Vec::new(),
        }
    }

    #[must_use]
    pub fn with<H, T>(mut self, operation: Operation<D>, handler: H) -> Self
    where
        H: Handler<T, Arc<Service>>,
        T: 'static,
    {
        let filter = match operation.method {
            "get" => MethodFilter::GET,
            "post" => MethodFilter::POST,
            _ => MethodFilter::DELETE,
        };
        let mut route = on(filter, handler);
        if operation.body.is_some() {
            route = route.route_layer(middleware::from_fn(not_a_form));
        }
        if let Some(role) = operation.needs {
            route = route.route_layer(middleware::from_fn_with_state(role, need));
        }
        self.router = self.router.route(operation.path, route);
        self.operations.push(operation);
        self
    }

    /// The routes, and what was said of them.
    pub fn finish(self) -> (Router<Arc<Service>>, Vec<Operation<D>>) {
        (self.router, self.operations)
    }
}

/// Lets a request through whose caller may do this.
async fn need(
    State(role): State<Role>,
    Extension(caller): Extension<Caller>,
    request: Request,
    next: Next,
) -> Response {
    match caller.may(role) {
        Ok(()) => next.run(request).await,
        Err(refused) => Problem::from(refused).into_response(),
    }
}
