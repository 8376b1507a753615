//! `[web]` as it stands in a file.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WebTable {
    /// Whether the page is served.
    #[schemars(extend("default" = true))]
    pub enabled: Option<bool>,
    /// Address and port it is served on.
    #[schemars(extend("format" = "socket-address", "default" = "127.0.0.1:8780"))]
    pub listen: Option<String>,
    /// The name people reach it by, beside its addresses: that of the certificate.
    #[schemars(extend("format" = "host-name"))]
    pub host_name: Option<String>,
    /// File of the users and tokens (`lauterd user add`). Without it nobody signs in: only this machine may act,
    /// others may watch.
    #[schemars(extend("format" = "path"))]
    pub users_file: Option<String>,
    /// PEM file of the certificate and those between it and its authority; with it the connection is encrypted.
    #[schemars(extend("format" = "path"))]
    pub certificate_file: Option<String>,
    /// PEM file of the certificate's private key, in PKCS #8 form.
    #[schemars(extend("format" = "path"))]
    pub key_file: Option<String>,
    /// systemd credential that holds the private key (`LoadCredential=`).
    #[schemars(extend("format" = "credential"))]
    pub key_credential: Option<String>,
    /// How long a person stays signed in, h.
    #[schemars(range(min = 0.25, max = 168.0), extend("default" = 12.0))]
    pub session_h: Option<f64>,
    /// The same for a person or a wall screen with the role `watch`, which can change nothing, h.
    #[schemars(range(min = 0.25, max = 8760.0), extend("default" = 720.0))]
    pub watch_session_h: Option<f64>,
    /// Language of the page and the report.
    #[schemars(extend("default" = "en"))]
    pub language: Option<Language>,
    /// How the page and the report show gravity: °P, or apparent specific gravity 20/20.
    #[schemars(extend("default" = "degP"))]
    pub gravity: Option<GravityUnit>,
    /// How they show volume; flow follows it (L/min or hL/h).
    #[schemars(extend("default" = "L"))]
    pub volume: Option<VolumeUnit>,
    /// How they write the decimal mark; without this key as the language does.
    pub decimal: Option<DecimalMark>,
}

/// A language of the page.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Language {
    #[default]
    #[serde(rename = "en")]
    English,
    #[serde(rename = "de")]
    German,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum GravityUnit {
    #[default]
    #[serde(rename = "degP")]
    Plato,
    #[serde(rename = "sg")]
    SpecificGravity,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum VolumeUnit {
    #[default]
    L,
    #[serde(rename = "hL")]
    Hl,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum DecimalMark {
    #[default]
    Point,
    Comma,
}
