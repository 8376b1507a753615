//! Why there is no answer that could be believed, and what a device's refusal means, in the words of the person who has
//! to mend it.
//!
//! Owns the translation of the library's errors: their texts speak of frames and headers, ours name the unit, the
//! registers and what to look at. Silence, garbage and another's answer are told apart, since they are mended at
//! different places. Knows nothing of connections or of time.

use std::io;

use tokio_modbus::{Error, ExceptionCode, ProtocolError};

use super::guard::{Coming, GuardFault};
use super::plan::Read;

/// Why there is no answer that could be believed.
#[derive(Debug, thiserror::Error)]
pub(super) enum Fault {
    #[error(
        "unit {unit_id} did not answer a read of {read} within {limit_ms} ms; check its power, its cable and its unit \
         number"
    )]
    NoAnswer {
        unit_id: u8,
        read: String,
        limit_ms: u128,
    },
    #[error("unit {unit_id} sent garbage for {read}: {what}; check {check}")]
    Garbage {
        unit_id: u8,
        read: String,
        what: String,
        check: &'static str,
    },
    #[error(
        "unit {unit_id} answered a read of {read} with {got} registers or bits for {wanted}; compare address and type \
         with the device's manual"
    )]
    WrongCount {
        unit_id: u8,
        read: String,
        got: usize,
        wanted: usize,
    },
    #[error(
        "the answer to a read of {read} from unit {unit_id} belongs to another request: {detail}; look for a second \
         master, a second device with this unit number, or a device slower than timeout_ms"
    )]
    WrongAnswer {
        unit_id: u8,
        read: String,
        detail: String,
    },
    #[error("the other end had closed the connection")]
    ClosedWhileIdle,
    #[error(
        "the connection broke on a read of {read} from unit {unit_id}: {why}; look for a device that restarts, that \
         allows fewer connections, or a bad cable"
    )]
    Broken {
        unit_id: u8,
        read: String,
        why: String,
    },
}

/// How frames travel, which decides what garbage may come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Framing {
    Tcp,
    Rtu,
}

impl Framing {
    fn check(self) -> &'static str {
        match self {
            Self::Tcp => {
                "that a Modbus TCP device listens at this address and port, and whether it wants rtu_over_tcp"
            }
            Self::Rtu => {
                "baud rate, parity and stop bits, the line's ends and shield, and that no other device has this unit \
                 number"
            }
        }
    }
}

impl Fault {
    /// Nothing came in time, or only what is no answer: `heard` is what came.
    pub fn out_of_time(read: &Read, framing: Framing, limit_ms: u128, heard: Coming) -> Self {
        let (unit_id, text) = (read.unit_id, read.to_string());
        if heard.bytes == 0 {
            return Self::NoAnswer {
                unit_id,
                read: text,
                limit_ms,
            };
        }
        Self::Garbage {
            unit_id,
            read: text,
            what: format!(
                "{} bytes within {limit_ms} ms that are no whole answer ({})",
                heard.bytes,
                shown(heard)
            ),
            check: framing.check(),
        }
    }

    /// What the library found wrong.
    pub fn of(read: &Read, framing: Framing, error: Error, heard: Coming) -> Self {
        let (unit_id, text) = (read.unit_id, read.to_string());
        match error {
            Error::Protocol(ProtocolError::HeaderMismatch { .. }) => Self::WrongAnswer {
                unit_id,
                read: text,
                detail: "it bears another unit or transaction number".to_owned(),
            },
            Error::Protocol(ProtocolError::FunctionCodeMismatch { request, result }) => {
                let answered = match &result {
                    Ok(response) => response.function_code(),
                    Err(exception) => exception.function,
                };
                Self::WrongAnswer {
                    unit_id,
                    read: text,
                    detail: format!(
                        "function {:02X} for {:02X}",
                        answered.value(),
                        request.value()
                    ),
                }
            }
            Error::Transport(source) => match (guard_fault(&source), source.kind()) {
                (Some(GuardFault::ClosedWhileIdle), _) => Self::ClosedWhileIdle,
                (Some(GuardFault::UnaskedBytes), _) => Self::Garbage {
                    unit_id,
                    read: text,
                    what: "bytes came before anything was asked".to_owned(),
                    check: framing.check(),
                },
                (None, io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput) => Self::Garbage {
                    unit_id,
                    read: text,
                    what: format!("what came is no Modbus frame ({})", shown(heard)),
                    check: framing.check(),
                },
                (None, _) => Self::Broken {
                    unit_id,
                    read: text,
                    why: why(&source),
                },
            },
        }
    }
}

fn guard_fault(error: &io::Error) -> Option<GuardFault> {
    error.get_ref()?.downcast_ref().copied()
}

fn why(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::UnexpectedEof => "the other end closed it".to_owned(),
        io::ErrorKind::ConnectionReset
        | io::ErrorKind::ConnectionAborted
        | io::ErrorKind::BrokenPipe => "the other end broke it off".to_owned(),
        io::ErrorKind::TimedOut
        | io::ErrorKind::HostUnreachable
        | io::ErrorKind::NetworkUnreachable => {
            "the network does not reach the other end any more".to_owned()
        }
        _ => error.to_string(),
    }
}

/// The first bytes as they came.
fn shown(heard: Coming) -> String {
    let first = heard.first();
    let mut words: Vec<String> = first.iter().map(|byte| format!("{byte:02X}")).collect();
    if heard.bytes > first.len() {
        words.push("…".to_owned());
    }
    words.join(" ")
}

/// What a device means by an exception (Modbus Application Protocol V1.1b3, section 7).
pub(super) fn refusal(exception: ExceptionCode) -> String {
    let code = u8::from(exception);
    let meaning = match exception {
        ExceptionCode::IllegalFunction => {
            "illegal function: it does not know this table; compare `table` with its manual"
        }
        ExceptionCode::IllegalDataAddress => {
            "illegal data address: it has no such register; compare address and type with its manual (addresses here \
             count from zero)"
        }
        ExceptionCode::IllegalDataValue => {
            "illegal data value: it does not give so many registers; compare address and type with its manual"
        }
        ExceptionCode::ServerDeviceFailure => {
            "device failure: it reports a fault of its own; look at the device"
        }
        ExceptionCode::Acknowledge | ExceptionCode::ServerDeviceBusy => {
            "busy: it has no time to answer; ask it less often (every_ms)"
        }
        ExceptionCode::MemoryParityError => {
            "memory parity error: its memory is faulty; look at the device"
        }
        ExceptionCode::GatewayPathUnavailable => {
            "gateway path unavailable: the gateway knows no way to the unit; look at the gateway's settings"
        }
        ExceptionCode::GatewayTargetDevice => {
            "gateway target silent: the unit does not answer the gateway; check its power, its cable and its unit number"
        }
        ExceptionCode::Custom(_) => {
            "a refusal that the standard does not name; look into the device's manual"
        }
    };
    format!("exception {code:02X}, {meaning}")
}
