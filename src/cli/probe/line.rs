//! How a device is reached, as the command line says it.

use std::time::Duration;

use clap::{Args, ValueEnum};

use crate::config::model::{ModbusLink, Parity, Transport};
use crate::exit::{Failure, Kind};

/// How the device is reached
#[derive(Debug, Args)]
pub struct Line {
    /// Modbus TCP
    #[arg(long, value_name = "HOST:PORT", conflicts_with_all = ["rtu_over_tcp", "rtu"])]
    tcp: Option<String>,
    /// RTU frames through a TCP gateway
    #[arg(long, value_name = "HOST:PORT", conflicts_with = "rtu")]
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
