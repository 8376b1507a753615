//! The OpenAPI document of the interface, from the operations' own descriptions.
//!
//! Owns its form. The document stands in docs/openapi.json, where a test holds it against this; the service serves that
//! file. So neither the document nor what makes it lies in a service's memory.

use std::collections::BTreeMap;

use lauter_core::alarm::AlarmId;
use schemars::SchemaGenerator;
use schemars::generate::{Contract, SchemaSettings};
use serde_json::{Map, Value, json};

use super::catalogue::{Answered, Content, Described, JSON, Operation, given};
use super::charts::CHARTS;
use crate::web::identity::{CSRF, cookie_name};
use crate::web::wire::ErrorBody;

/// The document of these operations.
pub fn document(operations: Vec<Operation<Described>>) -> Value {
    let settings = SchemaSettings::draft2020_12().with(|settings| {
        settings.definitions_path = "/components/schemas".into();
        settings.meta_schema = None;
        settings.contract = Contract::Serialize;
    });
    let mut generator = settings.into_generator();
    let mut paths: BTreeMap<&'static str, Map<String, Value>> = BTreeMap::new();
    for operation in operations {
        let (path, method) = (operation.path, operation.method.to_owned());
        let described = described(operation, &mut generator);
        paths.entry(path).or_default().insert(method, described);
    }
    let refused = given::<ErrorBody>(&mut generator);
    let schemas = generator.take_definitions(true);
    json!({
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
        "paths": paths,
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
    })
}

fn described(operation: Operation<Described>, generator: &mut SchemaGenerator) -> Value {
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
    let status = operation.answer.status;
    let answer = answered(&operation.answer, generator);
    described.insert(
        "responses".into(),
        json!({
            status: answer,
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

fn answered(told: &Answered<Described>, generator: &mut SchemaGenerator) -> Value {
    let mut answer = json!({ "description": told.description });
    match told.content {
        Some(Content::Json(schema)) => {
            let schema = schema(generator);
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
    answer
}

const DESCRIPTION: &str = "\
Numbers are in the units at the end of their names; times are RFC 3339. Where nobody signs in ([web] users_file is not \
set), this machine may do everything and others may watch; the header `X-Lauterd-Who` (percent-encoded) then names who \
acts, where a body has no `who`. Every refusal is an object with `error` in plain words and, \
where a body's values are wrong, every fault. It advises; people and interlocks act.";

/// JSON among other forms is any JSON; everything else is text.
fn text_of(kind: &str) -> Value {
    if kind == JSON {
        json!({})
    } else {
        json!({ "type": "string" })
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
                "number" => "Number of the hand sample",
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
