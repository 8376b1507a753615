//! Every operation of the interface: its route, what it needs, and its place in the OpenAPI document.
//!
//! Owns that the three cannot drift apart: a route is made from its description and in no other way. Must not know
//! what an operation does.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Extension, Request, State};
use axum::handler::Handler;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodFilter, on};
use lauter_core::alarm::AlarmId;
use schemars::generate::{Contract, SchemaSettings};
use schemars::{JsonSchema, SchemaGenerator};
use serde_json::{Map, Value, json};

use super::Service;
use super::charts::CHARTS;
use crate::access::{Caller, Role};
use crate::web::guard::not_a_form;
use crate::web::identity::{CSRF, cookie_name};
use crate::web::problem::Problem;
use crate::web::wire::ErrorBody;

const JSON: &str = "application/json";

/// What is said about one operation.
#[derive(Debug)]
pub struct Operation {
    method: &'static str,
    path: &'static str,
    name: &'static str,
    summary: &'static str,
    needs: Option<Role>,
    query: Option<fn() -> Value>,
    body: Option<Body>,
    answer: Answered,
}

#[derive(Debug)]
struct Body {
    schema: fn() -> Value,
    media_types: &'static [&'static str],
}

#[derive(Debug)]
struct Answered {
    status: &'static str,
    description: &'static str,
    /// None for an answer without a body.
    content: Option<Content>,
}

#[derive(Debug)]
enum Content {
    Json(fn(&mut SchemaGenerator) -> Value),
    Text(&'static [&'static str]),
}

/// An operation that only looks: `watch` may ask for it.
pub fn get(path: &'static str, name: &'static str, summary: &'static str) -> Operation {
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
pub fn post(path: &'static str, name: &'static str, summary: &'static str) -> Operation {
    Operation {
        method: "post",
        needs: Some(Role::Operate),
        ..get(path, name, summary)
    }
}

pub fn delete(path: &'static str, name: &'static str, summary: &'static str) -> Operation {
    Operation {
        method: "delete",
        ..post(path, name, summary)
    }
}

impl Operation {
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
            query: Some(taken::<T>),
            ..self
        }
    }

    pub fn takes<T: JsonSchema>(self) -> Self {
        let body = Body {
            schema: taken::<T>,
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
            schema: taken::<T>,
            media_types: &[JSON, "application/toml"],
        };
        Self {
            body: Some(body),
            ..self
        }
    }

    pub fn answers<T: JsonSchema>(mut self) -> Self {
        self.answer.content = Some(Content::Json(given::<T>));
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

fn given<T: JsonSchema>(generator: &mut SchemaGenerator) -> Value {
    generator.subschema_for::<T>().to_value()
}

/// The operations so far.
#[derive(Debug)]
pub struct Catalogue {
    router: Router<Arc<Service>>,
    paths: BTreeMap<&'static str, Map<String, Value>>,
    generator: SchemaGenerator,
}

impl Catalogue {
    pub fn new() -> Self {
        let settings = SchemaSettings::draft2020_12().with(|settings| {
            settings.definitions_path = "/components/schemas".into();
            settings.meta_schema = None;
            settings.contract = Contract::Serialize;
        });
        Self {
            router: Router::new(),
            paths: BTreeMap::new(),
            generator: settings.into_generator(),
        }
    }

    #[must_use]
    pub fn with<H, T>(mut self, operation: Operation, handler: H) -> Self
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
        let (path, method) = (operation.path, operation.method.to_owned());
        let described = self.described(operation);
        self.paths
            .entry(path)
            .or_default()
            .insert(method, described);
        self
    }

    fn described(&mut self, operation: Operation) -> Value {
        let mut described = Map::new();
        let needs = match operation.needs {
            Some(role) => format!("Needs the role `{}`.", role.name()),
            None => "Needs no role.".to_owned(),
        };
        described.insert("operationId".into(), json!(operation.name));
        described.insert("summary".into(), json!(operation.summary));
        described.insert("description".into(), json!(needs));
        let mut parameters = path_parameters(operation.path);
        parameters.extend(
            operation
                .query
                .map(|schema| query_parameters(&schema()))
                .into_iter()
                .flatten(),
        );
        if !parameters.is_empty() {
            described.insert("parameters".into(), json!(parameters));
        }
        if let Some(body) = operation.body {
            let content: Map<String, Value> = body
                .media_types
                .iter()
                .map(|kind| ((*kind).to_owned(), json!({ "schema": (body.schema)() })))
                .collect();
            described.insert(
                "requestBody".into(),
                json!({ "required": true, "content": content }),
            );
        }
        let mut answer = json!({ "description": operation.answer.description });
        match operation.answer.content {
            Some(Content::Json(schema)) => {
                let schema = schema(&mut self.generator);
                answer["content"] = json!({ JSON: { "schema": schema } });
            }
            Some(Content::Text(kinds)) => {
                let content: Map<String, Value> = kinds
                    .iter()
                    .map(|kind| ((*kind).to_owned(), json!({ "schema": text_of(kind) })))
                    .collect();
                answer["content"] = json!(content);
            }
            None => {}
        }
        described.insert(
            "responses".into(),
            json!({
                operation.answer.status: answer,
                "4XX": { "$ref": "#/components/responses/Refused" },
                "5XX": { "$ref": "#/components/responses/Refused" },
            }),
        );
        match operation.needs {
            Some(role) => described.insert("x-needs".into(), json!(role)),
            None => described.insert("security".into(), json!([])),
        };
        Value::Object(described)
    }

    /// The routes, and the document that describes them.
    pub fn finish(mut self) -> (Router<Arc<Service>>, Value) {
        let refused = given::<ErrorBody>(&mut self.generator);
        let schemas = self.generator.take_definitions(true);
        let document = json!({
            "openapi": "3.1.0",
            "info": {
                "title": "lauterd",
                "version": env!("CARGO_PKG_VERSION"),
                "summary": "The watch over lauter run-offs",
                "description": DESCRIPTION,
                "license": { "name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0" },
            },
            "servers": [{ "url": "/" }],
            "security": [{ "token": [] }, { "session": [], "csrf": [] }],
            "paths": self.paths,
            "components": {
                "schemas": schemas,
                "responses": {
                    "Refused": {
                        "description": "Not done, and why",
                        "content": { JSON: { "schema": refused } },
                    },
                },
                "securitySchemes": {
                    "token": { "type": "http", "scheme": "bearer", "description": "A program's token (lauterd token add)" },
                    "session": {
                        "type": "apiKey", "in": "cookie", "name": cookie_name(true),
                        "description": "A person's session; without TLS the cookie is called lauterd",
                    },
                    "csrf": {
                        "type": "apiKey", "in": "header", "name": CSRF,
                        "description": "With a session, what changes something must bear its own value: csrf of GET /api/v1/session",
                    },
                },
            },
        });
        (self.router, document)
    }
}

const DESCRIPTION: &str = "\
Numbers are in the units at the end of their names; times are RFC 3339. Where nobody signs in ([web] users_file is not \
set), this machine may do everything and others may watch. Every refusal is an object with `error` in plain words and, \
where a body's values are wrong, every fault. It advises; people and interlocks act.";

/// JSON among other forms is any JSON; everything else is text.
fn text_of(kind: &str) -> Value {
    if kind == JSON {
        json!({})
    } else {
        json!({ "type": "string" })
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

fn path_parameters(path: &str) -> Vec<Value> {
    path.split('/')
        .filter_map(|segment| segment.strip_prefix('{')?.strip_suffix('}'))
        .map(|name| {
            let meaning = match name {
                "site" => "Name of the site",
                "tun" => "Name of the tun",
                "brew" => "Id of the brew",
                "alarm" => "Identifier of the alarm",
                "chart" => "Name of the chart",
                "instrument" => "Id of the instrument",
                "check" => "Number of the loop check",
                _ => "Name of the file",
            };
            let schema = match name {
                "alarm" => json!({ "type": "string", "enum": AlarmId::ALL.map(AlarmId::name) }),
                "chart" => json!({ "type": "string", "enum": CHARTS }),
                _ => json!({ "type": "string", "minLength": 1 }),
            };
            json!({
                "name": name, "in": "path", "required": true, "description": meaning, "schema": schema,
            })
        })
        .collect()
}

/// One parameter for each member of a query's shape.
fn query_parameters(schema: &Value) -> Vec<Value> {
    let none = Map::new();
    let members = schema["properties"].as_object().unwrap_or(&none);
    members
        .iter()
        .map(|(name, member)| {
            let mut member = member.clone();
            let description = member.as_object_mut().and_then(|m| m.remove("description"));
            // A query has no null: what is left out is not there.
            if let Some(Value::Array(kinds)) = member.get_mut("type") {
                kinds.retain(|kind| kind != "null");
                if let [only] = kinds.as_slice() {
                    member["type"] = only.clone();
                }
            }
            json!({ "name": name, "in": "query", "description": description, "schema": member })
        })
        .collect()
}
