//! Looking at a device whose registers are not known yet: any unit, table and range, one request at a time.
//!
//! Owns one connection that is opened anew after a fault, and a pause between requests. Like everything here it only
//! reads. Must not know what a value may mean.

use std::time::Duration;

use tokio::time::sleep;
use tokio_modbus::ExceptionCode;

use super::decode::Payload;
use super::exchange::{Answer, Connection};
use super::fault::refusal;
use super::parameters::Parameters;
use super::plan::{Range, Read};
use super::transport;
use crate::config::model::{ModbusLink, Table};

/// Between two requests: a device in service has its own master to answer. Own choice.
const PAUSE: Duration = Duration::from_millis(50);

/// Most registers asked for at once; a device that refuses a range is asked for single ones.
pub const REGISTERS_AT_ONCE: u16 = 64;

/// What a unit said about a range.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Seen {
    Registers(Vec<u16>),
    Bits(Vec<bool>),
    /// The unit is there and refuses: why, in its own words.
    Refused(String),
    /// A gateway says that the unit behind it is not there.
    Absent(String),
    /// Nothing that could be believed: why.
    Silent(String),
}

/// Exceptions 0A and 0B are a gateway's own, by the Modbus Application Protocol V1.1b3, section 7: the unit itself said
/// nothing.
fn exceptional(exception: ExceptionCode) -> Seen {
    match exception {
        ExceptionCode::GatewayPathUnavailable | ExceptionCode::GatewayTargetDevice => {
            Seen::Absent(refusal(exception))
        }
        other => Seen::Refused(refusal(other)),
    }
}

/// One connection to look through.
#[derive(Debug)]
pub struct Probe {
    link: ModbusLink,
    connection: Option<Connection>,
}

impl Probe {
    pub fn new(link: ModbusLink) -> Self {
        Self {
            link,
            connection: None,
        }
    }

    /// Err when the link cannot be opened at all.
    pub async fn read(
        &mut self,
        unit_id: u8,
        table: Table,
        address: u16,
        quantity: u16,
    ) -> Result<Seen, String> {
        let mut connection = match self.connection.take() {
            Some(connection) => connection,
            None => transport::open(&self.link, &Parameters::default(), None)
                .await
                .map_err(|fault| fault.to_string())?,
        };
        sleep(PAUSE).await;
        let read = Read {
            unit_id,
            table,
            range: Range { address, quantity },
            every: Duration::ZERO,
            items: Vec::new(),
        };
        match connection.read(&read).await {
            Ok(answer) => {
                self.connection = Some(connection);
                Ok(match answer {
                    Answer::Payload(Payload::Registers(registers)) => {
                        Seen::Registers(registers.into_owned())
                    }
                    Answer::Payload(Payload::Bits(bits)) => Seen::Bits(bits.into_owned()),
                    Answer::Exception(exception) => exceptional(exception),
                })
            }
            // Its connection must not be used again: a late answer would pass for the next one's.
            Err(fault) => Ok(Seen::Silent(fault.to_string())),
        }
    }

    /// Every register of a range that the unit gives, by address: a range that is refused is asked for one by one.
    pub async fn registers(
        &mut self,
        unit_id: u8,
        table: Table,
        from: u16,
        count: u16,
    ) -> Result<Vec<(u16, u16)>, String> {
        let mut found = Vec::new();
        self.each(unit_id, table, (from, count), &mut |address, seen| {
            if let Seen::Registers(registers) = seen {
                found.extend((address..=u16::MAX).zip(registers));
            }
        })
        .await?;
        Ok(found)
    }

    /// The same for coils or discrete inputs.
    pub async fn bits(
        &mut self,
        unit_id: u8,
        table: Table,
        from: u16,
        count: u16,
    ) -> Result<Vec<(u16, bool)>, String> {
        let mut found = Vec::new();
        self.each(unit_id, table, (from, count), &mut |address, seen| {
            if let Seen::Bits(bits) = seen {
                found.extend((address..=u16::MAX).zip(bits));
            }
        })
        .await?;
        Ok(found)
    }

    async fn each(
        &mut self,
        unit_id: u8,
        table: Table,
        (from, count): (u16, u16),
        take: &mut (dyn FnMut(u16, Seen) + Send),
    ) -> Result<(), String> {
        // The addresses end at 65535, whatever was asked for.
        let last = from.saturating_add(count.saturating_sub(1));
        let firsts = (from..=last).step_by(usize::from(REGISTERS_AT_ONCE));
        for first in firsts {
            let quantity = (last - first + 1).min(REGISTERS_AT_ONCE);
            let seen = self.read(unit_id, table, first, quantity).await?;
            if matches!(seen, Seen::Registers(_) | Seen::Bits(_)) {
                take(first, seen);
            } else if matches!(seen, Seen::Absent(_)) {
                return Ok(());
            } else if quantity > 1 {
                for single in first..=first + (quantity - 1) {
                    let seen = self.read(unit_id, table, single, 1).await?;
                    take(single, seen);
                }
            }
        }
        Ok(())
    }
}
