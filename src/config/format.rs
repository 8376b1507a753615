//! The kinds of text a key may hold, each with the words that describe it and the check behind them.

use std::net::SocketAddr;

use url::Url;

/// A kind of text, named by the schema's keyword `format`.
#[derive(Debug)]
pub struct Format {
    pub name: &'static str,
    /// What is allowed.
    pub phrase: &'static str,
    pub holds: fn(&str) -> bool,
}

const FORMATS: [Format; 11] = [
    Format {
        name: "name",
        phrase: "a name of 1 to 64 characters without '/', '\\', '+', '#' and control characters, not beginning \
                 with '.' and without a space at either end",
        holds: is_name,
    },
    Format {
        name: "identifier",
        phrase: "1 to 64 of the characters A-Z, a-z, 0-9, '_' and '-'",
        holds: is_identifier,
    },
    Format {
        name: "text",
        phrase: "text, not empty and without control characters",
        holds: is_text,
    },
    Format {
        name: "path",
        phrase: "a path",
        holds: is_text,
    },
    Format {
        name: "credential",
        phrase: "the name of a systemd credential, without '/'",
        holds: |text| is_text(text) && !text.contains('/') && !text.starts_with('.'),
    },
    Format {
        name: "mqtt-topic",
        phrase: "an MQTT topic, not empty and without the wildcards '+' and '#'",
        holds: |text| is_text(text) && text.len() <= 65_535 && !text.contains(['+', '#']),
    },
    Format {
        name: "json-pointer",
        phrase: "a JSON Pointer: \"\" or /member/member, with ~0 for '~' and ~1 for '/' in a member's name",
        holds: is_json_pointer,
    },
    Format {
        name: "socket-address",
        phrase: "an IP address and port, such as 127.0.0.1:8780",
        holds: |text| text.parse::<SocketAddr>().is_ok(),
    },
    Format {
        name: "host-and-port",
        phrase: "a host and port, such as 192.0.2.10:502",
        holds: is_host_and_port,
    },
    Format {
        name: "host-name",
        phrase: "a host name, such as brewhouse.example",
        holds: is_host_name,
    },
    Format {
        name: "http-url",
        phrase: "http://host:port or https://host:port, without user, path or query",
        holds: is_http_url,
    },
];

/// The format of that name.
pub fn named(name: &str) -> Option<&'static Format> {
    FORMATS.iter().find(|format| format.name == name)
}

fn is_name(text: &str) -> bool {
    is_text(text)
        && text.chars().count() <= 64
        && text.trim() == text
        && !text.starts_with('.')
        && !text.contains(['/', '\\', '+', '#'])
}

pub fn is_identifier(text: &str) -> bool {
    let allowed = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    (1..=64).contains(&text.len()) && text.chars().all(allowed)
}

fn is_text(text: &str) -> bool {
    !text.is_empty() && !text.chars().any(char::is_control)
}

/// RFC 6901, section 3.
fn is_json_pointer(text: &str) -> bool {
    let escapes_are_right = text
        .split('~')
        .skip(1)
        .all(|rest| rest.starts_with(['0', '1']));
    (text.is_empty() || text.starts_with('/')) && escapes_are_right
}

pub fn is_host_and_port(text: &str) -> bool {
    let Some((host, port)) = text.rsplit_once(':') else {
        return false;
    };
    let bracketed = host.starts_with('[') && host.ends_with(']');
    let plain = |c: char| !c.is_whitespace() && !c.is_control() && c != '/';
    !host.is_empty()
        && host.chars().all(plain)
        && (bracketed || !host.contains(':'))
        && port.parse::<u16>().is_ok_and(|port| port > 0)
}

/// Letters, digits and hyphens between dots (RFC 1123, section 2.1), and not an address.
fn is_host_name(text: &str) -> bool {
    let label = |label: &str| {
        (1..=63).contains(&label.len())
            && !label.starts_with('-')
            && !label.ends_with('-')
            && label.chars().all(|c| c.is_ascii_alphanumeric() || c == '-')
    };
    let last = text.rsplit('.').next().unwrap_or_default();
    let is_address = last.chars().all(|c| c.is_ascii_digit());
    text.len() <= 253 && text.split('.').all(label) && !is_address
}

/// The client drops a path and panics on what is no address, so neither gets that far.
fn is_http_url(text: &str) -> bool {
    Url::parse(text).is_ok_and(|url| {
        matches!(url.scheme(), "http" | "https")
            && url.has_host()
            && url.path() == "/"
            && url.username().is_empty()
            && url.password().is_none()
            && url.query().is_none()
            && url.fragment().is_none()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_format_tells_right_from_wrong() {
        let cases: [(&str, &[&str], &[&str]); 11] = [
            (
                "name",
                &["north-yard", "Süd 1"],
                &["", "a/b", "+", "#", ".x", " a", "a\n", "b\\"],
            ),
            (
                "identifier",
                &["runnings_ph", "A-1"],
                &["", "a b", "ä", "a/b", "a.b"],
            ),
            ("text", &["a b"], &["", "a\tb"]),
            ("path", &["/etc/x", "x"], &["", "\0"]),
            ("credential", &["mqtt"], &["", "../mqtt", "a/b"]),
            ("mqtt-topic", &["a/b", "a//b"], &["", "a/+", "a/#", "a\0"]),
            (
                "json-pointer",
                &["", "/a/0", "/a~0b~1"],
                &["a", "/a~", "/a~2"],
            ),
            (
                "socket-address",
                &["127.0.0.1:8780", "[::1]:80"],
                &["8780", "localhost:80", ""],
            ),
            (
                "host-and-port",
                &["plc:502", "[::1]:502"],
                &["plc", "plc:", ":502", "plc:0", "a b:1", "::1:502"],
            ),
            (
                "host-name",
                &["brewhouse.example", "tun-1"],
                &["", "192.0.2.1", "a..b", "-a", "a_b", "a.b:80", "ä"],
            ),
            (
                "http-url",
                &["http://db:8086", "https://db.example/"],
                &[
                    "db:8086",
                    "http://db/v1",
                    "ftp://db",
                    "http://u:p@db",
                    "http://db?x=1",
                    "",
                ],
            ),
        ];
        for (name, right, wrong) in cases {
            let format = named(name).expect(name);
            for text in right {
                assert!((format.holds)(text), "{name} must allow {text:?}");
            }
            for text in wrong {
                assert!(!(format.holds)(text), "{name} must refuse {text:?}");
            }
        }
        let longest = "x".repeat(64);
        assert!(is_name(&longest) && is_identifier(&longest));
        let longer = "x".repeat(65);
        assert!(!is_name(&longer) && !is_identifier(&longer));
    }
}
