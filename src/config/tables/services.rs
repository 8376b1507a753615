//! What the service talks to: the broker and the time-series database.

use schemars::JsonSchema;
use serde::Deserialize;

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MqttTable {
    /// Host name or address of the broker.
    #[schemars(required, extend("format" = "text"))]
    pub host: Option<String>,
    /// Its port; without this key 1883, or 8883 with `tls`.
    #[schemars(range(min = 1, max = 65_535))]
    pub port: Option<u16>,
    /// MQTT client identifier; without this key `lauterd-<site>-<tun>`.
    #[schemars(extend("format" = "text"))]
    pub client_id: Option<String>,
    /// User name at the broker.
    #[schemars(extend("format" = "text"))]
    pub username: Option<String>,
    /// File that holds the password and nothing else.
    #[schemars(extend("format" = "path"))]
    pub password_file: Option<String>,
    /// systemd credential that holds the password (`LoadCredential=`).
    #[schemars(extend("format" = "credential"))]
    pub password_credential: Option<String>,
    /// Whether the connection is encrypted.
    #[schemars(extend("default" = false))]
    pub tls: Option<bool>,
    /// PEM file of the authority that signed the broker's certificate, with `tls` only; without this key the
    /// system's authorities.
    #[schemars(extend("format" = "path"))]
    pub ca_file: Option<String>,
    /// Keep-alive interval of the connection, s.
    #[schemars(range(min = 5, max = 3600), extend("default" = 30))]
    pub keep_alive_s: Option<u16>,
    /// Whether anything is published; false only reads instruments.
    #[schemars(extend("default" = true))]
    pub publish: Option<bool>,
    /// Least time between two `reading` messages of one instrument, s.
    #[schemars(range(min = 0.0, max = 3600.0), extend("default" = 5.0))]
    pub reading_every_s: Option<f64>,
    /// Whether a short, retained state of the tun is published for the page of all tuns.
    #[schemars(extend("default" = false))]
    pub overview: Option<bool>,
    /// Whether commands are taken from the broker; they need a token of `web.users_file`.
    #[schemars(extend("default" = false))]
    pub commands: Option<bool>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SparkplugTable {
    /// Sparkplug group of the edge node.
    #[schemars(extend("format" = "name", "default" = "lauterd"))]
    pub group: Option<String>,
    /// Sparkplug edge node; without this key the site's name. Tuns of one service that have the same group and edge node
    /// are devices of one node; two services need different ones.
    #[schemars(extend("format" = "name"))]
    pub edge_node: Option<String>,
    /// Sparkplug host that births wait for; without this key they wait for none.
    #[schemars(extend("format" = "name"))]
    pub primary_host: Option<String>,
    /// Least time between two values of one instrument, s.
    #[schemars(range(min = 0.0, max = 3600.0), extend("default" = 5.0))]
    pub reading_every_s: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InfluxTable {
    /// Address of the database.
    #[schemars(required, extend("format" = "http-url"))]
    pub url: Option<String>,
    /// Organisation to write to.
    #[schemars(required, extend("format" = "text"))]
    pub organisation: Option<String>,
    /// Bucket to write to.
    #[schemars(required, extend("format" = "text"))]
    pub bucket: Option<String>,
    /// File that holds the token and nothing else.
    #[schemars(extend("format" = "path"))]
    pub token_file: Option<String>,
    /// systemd credential that holds the token (`LoadCredential=`).
    #[schemars(extend("format" = "credential"))]
    pub token_credential: Option<String>,
    /// How long one request may take, s.
    #[schemars(range(min = 0.5, max = 300.0), extend("default" = 10.0))]
    pub timeout_s: Option<f64>,
    /// Points are sent at least this often, s.
    #[schemars(range(min = 0.2, max = 3600.0), extend("default" = 5.0))]
    pub every_s: Option<f64>,
    /// Largest number of points in one request.
    #[schemars(range(min = 1, max = 5000), extend("default" = 500))]
    pub batch: Option<u32>,
}
