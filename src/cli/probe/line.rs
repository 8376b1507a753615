//! How a device is reached, as the command line says it.

use std::time::Duration;

use clap::{Args, ValueEnum};

use crate::config;
use crate::config::model::{ModbusLink, Parity, Transport};
use crate::exit::{Failure, Kind};

/// How the device is reached
#[derive(Debug, Args)]
pub struct Line {
    /// Modbus TCP; without a port 502, that of the protocol
    #[arg(long, value_name = "HOST[:PORT]", value_parser = tcp, conflicts_with_all = ["rtu_over_tcp", "rtu"])]
    tcp: Option<String>,
    /// RTU frames through a TCP gateway
    #[arg(long, value_name = "HOST:PORT", value_parser = gateway, conflicts_with = "rtu")]
    rtu_over_tcp: Option<String>,
    /// Modbus RTU on a serial device
    #[arg(long, value_name = "DEVICE")]
    rtu: Option<String>,
    /// Bits a second, with --rtu
    #[arg(long, value_name = "BAUD", default_value_t = 19_200)]
    baud: u32,
    /// Parity, with --rtu
    #[arg(long, default_value = "even")]
    parity: LineParity,
    /// How long an answer may take, ms
    #[arg(long, value_name = "MS", default_value_t = 300, value_parser = clap::value_parser!(u64).range(20..=60_000))]
    timeout: u64,
}

/// Registered for Modbus TCP (IANA, service "mbap").
const MODBUS_PORT: u16 = 502;

/// The address as it is, or with the port of the protocol.
fn tcp(text: &str) -> Result<String, String> {
    let has_port = config::is_host_and_port(text);
    let address = if has_port {
        text.to_owned()
    } else {
        format!("{text}:{MODBUS_PORT}")
    };
    gateway(&address).map_err(|_| "give HOST or HOST:PORT, for example 192.0.2.10:502".to_owned())
}

fn gateway(text: &str) -> Result<String, String> {
    if config::is_host_and_port(text) {
        return Ok(text.to_owned());
    }
    Err("give HOST:PORT, for example 192.0.2.10:4001".to_owned())
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum LineParity {
    None,
    Even,
    Odd,
}

impl Line {
    pub fn link(&self) -> Result<ModbusLink, Failure> {
        let transport = match (&self.tcp, &self.rtu_over_tcp, &self.rtu) {
            (Some(address), ..) => Transport::Tcp(address.clone()),
            (_, Some(address), _) => Transport::RtuOverTcp(address.clone()),
            (.., Some(path)) => Transport::Rtu {
                path: path.clone(),
                baud: self.baud,
                parity: match self.parity {
                    LineParity::None => Parity::None,
                    LineParity::Even => Parity::Even,
                    LineParity::Odd => Parity::Odd,
                },
                stop_bits: if matches!(self.parity, LineParity::None) {
                    2
                } else {
                    1
                },
            },
            (None, None, None) => {
                let words = "say how the device is reached: --tcp, --rtu-over-tcp or --rtu";
                return Err(Failure::new(Kind::Usage, words));
            }
        };
        Ok(ModbusLink {
            name: "skid".to_owned(),
            transport,
            timeout: Duration::from_millis(self.timeout),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_without_a_port_is_that_of_the_protocol_and_a_gateway_must_name_its_own() {
        assert_eq!(tcp("192.0.2.10").as_deref(), Ok("192.0.2.10:502"));
        assert_eq!(tcp("skid.example:1502").as_deref(), Ok("skid.example:1502"));
        assert_eq!(tcp("[2001:db8::1]").as_deref(), Ok("[2001:db8::1]:502"));
        assert_eq!(gateway("192.0.2.10:4001").as_deref(), Ok("192.0.2.10:4001"));
        for wrong in ["", "192.0.2.10:", "192.0.2.10:70000", "2001:db8::1"] {
            assert!(tcp(wrong).is_err(), "{wrong}");
            assert!(gateway(wrong).is_err(), "{wrong}");
        }
        assert!(gateway("192.0.2.10").is_err());
    }
}
