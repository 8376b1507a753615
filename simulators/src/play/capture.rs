//! A capture of `lauterd record`: what was asked on each link, what came back byte for byte, and every message.
//!
//! Owns the reading of the file and which reply belongs to a request at a moment. Must not know servers.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;

use super::PlayError;

/// Bytes of a Modbus TCP header before the unit: transaction, protocol, length.
pub const TCP_HEAD: usize = 6;
/// Unit, function, address, quantity and checksum of a serial request to read.
pub const SERIAL_REQUEST: usize = 8;
const CHECKSUM: usize = 2;

/// How frames stand on a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Framing {
    Tcp,
    Serial,
}

impl Framing {
    /// Unit, function and what is asked for, without what differs from frame to frame.
    pub fn body(self, frame: &[u8]) -> &[u8] {
        match self {
            Self::Tcp => frame.get(TCP_HEAD..).unwrap_or_default(),
            Self::Serial => frame
                .get(..frame.len().saturating_sub(CHECKSUM))
                .unwrap_or_default(),
        }
    }

    /// The recorded bytes as an answer to this request: byte for byte, but for the transaction's number where the site's
    /// device had given back the right one.
    pub fn answer(self, exchange: &Exchange, request: &[u8]) -> Vec<u8> {
        let mut reply = exchange.reply.clone();
        let was_right = self == Self::Tcp
            && reply.len() >= 2
            && exchange.request.get(..2) == reply.get(..2)
            && request.len() >= 2;
        if was_right {
            reply[..2].copy_from_slice(&request[..2]);
        }
        reply
    }
}

/// One request and what came back until the next; nothing where nobody answered.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Exchange {
    /// Microseconds since the capture began.
    pub at_us: i64,
    pub request: Vec<u8>,
    pub reply: Vec<u8>,
}

/// A message as it was heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    pub at_us: i64,
    pub topic: String,
    pub payload: Vec<u8>,
    pub retained: bool,
}

/// A whole capture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Capture {
    /// The configuration it was made with.
    pub configuration: String,
    pub links: BTreeMap<String, Vec<Exchange>>,
    pub messages: Vec<Message>,
    pub ends_s: f64,
}

#[derive(Deserialize)]
struct Head {
    capture: u32,
    configuration: String,
}

#[derive(Deserialize)]
struct Entry {
    at_s: f64,
    link: String,
    what: String,
    topic: Option<String>,
    bytes: Option<String>,
    #[serde(default)]
    retained: bool,
}

impl Capture {
    /// None: the file is no capture.
    pub fn load(path: &Path) -> Result<Option<Self>, PlayError> {
        let text = std::fs::read_to_string(path).map_err(|source| PlayError::NoInput {
            path: path.to_owned(),
            source,
        })?;
        if !text.starts_with('{') {
            return Ok(None);
        }
        let capture = Self::parse(&text).map_err(|fault| PlayError::Data {
            path: path.to_owned(),
            fault,
        });
        capture.map(Some)
    }

    pub fn parse(text: &str) -> Result<Self, String> {
        let mut lines = (1..).zip(text.lines());
        let head = lines.next().map(|(_, line)| line).unwrap_or_default();
        let head: Head = serde_json::from_str(head).map_err(|error| format!("line 1: {error}"))?;
        if head.capture != 1 {
            return Err(format!(
                "line 1: it is of form {}; this program reads form 1",
                head.capture
            ));
        }
        let mut capture = Self {
            configuration: head.configuration,
            ..Self::default()
        };
        let count = text.lines().count();
        for (number, line) in lines {
            match serde_json::from_str::<Entry>(line) {
                Ok(entry) => capture
                    .take(entry)
                    .map_err(|fault| format!("line {number}: {fault}"))?,
                // A recording that was cut off ends in the middle of a line.
                Err(_) if number == count => {}
                Err(error) => return Err(format!("line {number}: {error}")),
            }
        }
        Ok(capture)
    }

    fn take(&mut self, entry: Entry) -> Result<(), String> {
        let bytes = decoded(entry.bytes.as_deref().unwrap_or_default())
            .ok_or("bytes are not hexadecimal")?;
        self.ends_s = self.ends_s.max(entry.at_s);
        let at_us = (entry.at_s * 1e6).round() as i64;
        if entry.what == "message" {
            self.messages.push(Message {
                at_us,
                topic: entry.topic.unwrap_or_default(),
                payload: bytes,
                retained: entry.retained,
            });
            return Ok(());
        }
        let exchanges = self.links.entry(entry.link).or_default();
        match entry.what.as_str() {
            "sent" => match exchanges.last_mut() {
                // A request that went out in pieces.
                Some(open) if open.reply.is_empty() && open.at_us == at_us => {
                    open.request.extend(bytes);
                }
                _ => exchanges.push(Exchange {
                    at_us,
                    request: bytes,
                    reply: Vec::new(),
                }),
            },
            "received" => {
                // What came before anything was asked belongs to no request.
                if let Some(open) = exchanges.last_mut() {
                    open.reply.extend(bytes);
                }
            }
            _ => {}
        }
        Ok(())
    }

    /// What a link said to this request at a moment: the latest exchange of it, or else the first that is to come.
    pub fn exchange(
        &self,
        link: &str,
        framing: Framing,
        request: &[u8],
        at_us: i64,
    ) -> Option<&Exchange> {
        let exchanges = self.links.get(link)?;
        let wanted = framing.body(request);
        let of_it = || {
            exchanges
                .iter()
                .filter(|e| framing.body(&e.request) == wanted)
        };
        let latest = of_it().take_while(|e| e.at_us <= at_us).last();
        latest.or_else(|| of_it().next())
    }
}

fn decoded(text: &str) -> Option<Vec<u8>> {
    if !text.len().is_multiple_of(2) || !text.is_ascii() {
        return None;
    }
    (0..text.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&text[at..at + 2], 16).ok())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Unit 1 is asked for two input registers at 0: silence, registers, an exception.
    const TEXT: &str = r#"{"capture":1,"time":"2026-04-12T08:00:00Z","configuration":"[site]"}
{"at_s":0.0,"link":"skid","what":"opened"}
{"at_s":0.1,"link":"skid","what":"sent","bytes":"000100000006010400000002"}
{"at_s":0.9,"link":"skid","what":"closed"}
{"at_s":1.1,"link":"skid","what":"sent","bytes":"000200000006010400000002"}
{"at_s":1.2,"link":"skid","what":"received","bytes":"00020000000701040444"}
{"at_s":1.2,"link":"skid","what":"received","bytes":"831000"}
{"at_s":2.1,"link":"skid","what":"sent","bytes":"000300000006010400000002"}
{"at_s":2.2,"link":"skid","what":"received","bytes":"000300000003018404"}
{"at_s":2.3,"link":"mqtt","what":"message","topic":"a/b","bytes":"312e35","retained":true}
{"at_s":2.4,"link":"sk"#;

    #[test]
    fn each_moment_gives_the_bytes_of_its_time_with_the_present_transaction() {
        let capture = Capture::parse(TEXT).unwrap();
        let request = decoded("beef00000006010400000002").unwrap();
        let said = |at_us| {
            let exchange = capture
                .exchange("skid", Framing::Tcp, &request, at_us)
                .unwrap();
            Framing::Tcp.answer(exchange, &request)
        };
        assert_eq!(said(500_000), Vec::<u8>::new());
        assert_eq!(
            said(1_500_000),
            decoded("beef0000000701040444831000").unwrap()
        );
        assert_eq!(said(9_000_000), decoded("beef00000003018404").unwrap());
        let other = decoded("beef00000006020400000002").unwrap();
        assert_eq!(capture.exchange("skid", Framing::Tcp, &other, 0), None);
        assert_eq!(capture.messages[0].payload, b"1.5");
        assert!(capture.messages[0].retained);
    }

    #[test]
    fn a_reply_to_another_request_stays_one() {
        let exchange = Exchange {
            at_us: 0,
            request: vec![0, 7, 0, 0, 0, 6, 1, 4, 0, 0, 0, 1],
            reply: vec![0, 6, 0, 0, 0, 5, 1, 4, 2, 0, 9],
        };
        let request = [0, 9, 0, 0, 0, 6, 1, 4, 0, 0, 0, 1];
        assert_eq!(Framing::Tcp.answer(&exchange, &request), exchange.reply);
    }

    #[test]
    fn serial_frames_are_told_apart_without_their_checksum() {
        let body = Framing::Serial
            .body(&[1, 4, 0, 0, 0, 2, 0x71, 0xCB])
            .to_vec();
        assert_eq!(body, [1, 4, 0, 0, 0, 2]);
    }

    #[test]
    fn a_broken_line_in_the_middle_is_named() {
        let text = TEXT.replacen("\"at_s\":1.1", "\"at\":1.1", 1);
        let fault = Capture::parse(&text).unwrap_err();
        assert!(fault.starts_with("line 5"), "{fault}");
    }
}
