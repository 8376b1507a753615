//! `lauterd probe`: looks at a Modbus device whose registers are not known, and writes the instrument's table.

use std::fmt::Write as _;
use std::time::Duration;

use clap::{Args, Subcommand, ValueEnum};

use super::sample::finite;
use super::text::print;
use crate::commission::candidates::{Candidate, Way, candidates};
use crate::config;
use crate::config::model::{ModbusLink, Parity, Table, Transport};
use crate::exit::{Failure, Kind};
use crate::ingest::modbus::probe::{Probe, Seen};

/// Looks at a Modbus device: which units answer, and what its registers may stand for
///
/// It only reads, one request at a time with pauses, over one connection. On a serial line nobody else may be master
/// meanwhile: stop the service, or whatever else reads there.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd probe units --tcp 192.0.2.10:502
  lauterd probe registers --tcp 192.0.2.10:502 --unit 3 --table input --from 90 --count 40
  lauterd probe registers --tcp 192.0.2.10:502 --unit 3 --low 1030 --high 1060 --watch 10 \\
      --id runnings_density --measures runnings-gravity --unit-of-value kg/m3
  lauterd probe units --rtu /dev/ttyUSB0 --baud 9600")]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    line: Line,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Asks every unit for one register and lists those that answer
    Units {
        /// First unit
        #[arg(long, value_name = "N", default_value_t = 1)]
        first: u8,
        /// Last unit
        #[arg(long, value_name = "N", default_value_t = 247)]
        last: u8,
    },
    /// Reads registers and shows every plausible reading of them
    Registers(Registers),
}

#[derive(Debug, Args)]
struct Registers {
    /// Unit of the device
    #[arg(long, value_name = "N", default_value_t = 1)]
    unit: u8,
    /// Modbus table
    #[arg(long, default_value = "input")]
    table: RegisterTable,
    /// First address, counted from 0. Manuals often count from 1: look one before and one after, too
    #[arg(long, value_name = "ADDRESS", default_value_t = 0)]
    from: u16,
    /// How many registers
    #[arg(long, value_name = "N", default_value_t = 32, value_parser = clap::value_parser!(u16).range(1..=2000))]
    count: u16,
    /// Least value the instrument shows now
    #[arg(long, value_name = "X", value_parser = finite, allow_negative_numbers = true, requires = "high")]
    low: Option<f64>,
    /// Greatest value the instrument shows now
    #[arg(long, value_name = "X", value_parser = finite, allow_negative_numbers = true, requires = "low")]
    high: Option<f64>,
    /// Reads again for so many seconds: what leaves the range is dropped, and what moves is shown
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(1..=3600))]
    watch: Option<u32>,
    /// Name of the instrument in the table to paste
    #[arg(long, value_name = "ID", default_value = "new_instrument")]
    id: String,
    /// What it measures, for the table to paste
    #[arg(long, value_name = "QUANTITY", default_value = "runnings-gravity")]
    measures: String,
    /// Unit of its readings, for the table to paste
    #[arg(long, value_name = "UNIT", default_value = "kg/m3")]
    unit_of_value: String,
    /// Which of the listed readings the table to paste is for
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pick: usize,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum RegisterTable {
    Input,
    Holding,
}

impl RegisterTable {
    fn table(self) -> Table {
        match self {
            Self::Input => Table::Input,
            Self::Holding => Table::Holding,
        }
    }
}

/// How the device is reached
#[derive(Debug, Args)]
struct Line {
    /// Modbus TCP
    #[arg(long, global = true, value_name = "HOST:PORT", conflicts_with_all = ["rtu_over_tcp", "rtu"])]
    tcp: Option<String>,
    /// RTU frames through a TCP gateway
    #[arg(long, global = true, value_name = "HOST:PORT", conflicts_with = "rtu")]
    rtu_over_tcp: Option<String>,
    /// Modbus RTU on a serial device
    #[arg(long, global = true, value_name = "DEVICE")]
    rtu: Option<String>,
    /// Bits a second, with --rtu
    #[arg(long, global = true, value_name = "BAUD", default_value_t = 19_200)]
    baud: u32,
    /// Parity, with --rtu
    #[arg(long, global = true, default_value = "even")]
    parity: LineParity,
    /// How long an answer may take, ms
    #[arg(long, global = true, value_name = "MS", default_value_t = 300, value_parser = clap::value_parser!(u64).range(20..=60_000))]
    timeout: u64,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum LineParity {
    None,
    Even,
    Odd,
}

impl Line {
    fn link(&self) -> Result<ModbusLink, Failure> {
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

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let mut probe = Probe::new(arguments.line.link()?);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::new(Kind::Io, format!("cannot start: {error}")))?;
    runtime.block_on(async {
        match &arguments.command {
            Command::Units { first, last } => units(&mut probe, *first, *last).await,
            Command::Registers(registers) => show(&mut probe, registers).await,
        }
    })
}

fn unreachable(words: String) -> Failure {
    Failure::new(Kind::Unavailable, words)
}

async fn units(probe: &mut Probe, first: u8, last: u8) -> Result<(), Failure> {
    let mut text = String::new();
    for unit in first..=last {
        let seen = probe
            .read(unit, Table::Input, 0, 1)
            .await
            .map_err(unreachable)?;
        let says = match seen {
            Seen::Silent(_) => continue,
            Seen::Refused(why) => format!("answers, and refuses input register 0: {why}"),
            Seen::Registers(_) | Seen::Bits(_) => "answers".to_owned(),
        };
        let _ = writeln!(text, "unit {unit:>3}  {says}");
    }
    if text.is_empty() {
        return Err(unreachable(format!(
            "no unit from {first} to {last} answers; check cable, address, baud rate and parity, and try a longer \
             --timeout"
        )));
    }
    print(&text)
}

/// A candidate and how it has moved while it was watched.
struct Watched {
    candidate: Candidate,
    least: f64,
    greatest: f64,
}

async fn show(probe: &mut Probe, asked: &Registers) -> Result<(), Failure> {
    let expected = asked.low.zip(asked.high);
    let table = asked.table.table();
    let read = async |probe: &mut Probe| {
        let read = probe.registers(asked.unit, table, asked.from, asked.count);
        read.await.map_err(unreachable)
    };
    let registers = read(probe).await?;
    if registers.is_empty() {
        return Err(unreachable(format!(
            "unit {} gives none of these registers; look which units answer (lauterd probe units), try the other \
             --table and another --from",
            asked.unit
        )));
    }
    let mut found: Vec<Watched> = candidates(&registers, expected)
        .into_iter()
        .map(|candidate| Watched {
            candidate,
            least: candidate.value,
            greatest: candidate.value,
        })
        .collect();
    for _ in 0..asked.watch.unwrap_or(0) {
        tokio::time::sleep(Duration::from_secs(1)).await;
        let registers = read(probe).await?;
        found.retain_mut(|watched| watched.again(&registers, expected));
    }
    print(&listed(&registers, &found, asked))
}

impl Watched {
    /// False when it has left what was expected.
    fn again(&mut self, registers: &[(u16, u16)], expected: Option<(f64, f64)>) -> bool {
        let Some(value) = self.candidate.way.value(registers) else {
            return false;
        };
        self.candidate.value = value;
        self.least = self.least.min(value);
        self.greatest = self.greatest.max(value);
        expected.is_none_or(|(low, high)| (low..=high).contains(&value))
    }
}

fn listed(registers: &[(u16, u16)], found: &[Watched], asked: &Registers) -> String {
    let mut text = format!(
        "{} registers read from unit {}\n",
        registers.len(),
        asked.unit
    );
    if found.is_empty() {
        text.push_str(
            "None of their readings fits. Look at other addresses and the other table; check what the instrument shows \
             now.\n",
        );
        return text;
    }
    text.push_str("   no  address  type  order  scale  reading\n");
    for (number, watched) in (1..).zip(found) {
        let Way {
            address,
            value_type,
            byte_order,
            scale,
        } = watched.candidate.way;
        let moved = if watched.least < watched.greatest {
            format!("  moved from {} to {}", watched.least, watched.greatest)
        } else {
            String::new()
        };
        let _ = writeln!(
            text,
            "{number:>5}  {address:>7}  {:<4}  {:<5}  {scale:<5}  {}{moved}",
            config::spelt(value_type),
            config::spelt(byte_order),
            watched.candidate.value
        );
    }
    if let Some(picked) = found.get(asked.pick.saturating_sub(1))
        && asked.low.is_some()
    {
        let _ = write!(text, "\nIf number {} is right, paste:\n\n", asked.pick);
        text.push_str(&pasted(&picked.candidate.way, asked));
        text.push_str(
            "\nThen hold it against a known value: a buffer, a weighed solution, a stopped flow.\n",
        );
    }
    text
}

/// The instrument's table. Its limits are left for who knows the instrument.
fn pasted(way: &Way, asked: &Registers) -> String {
    format!(
        "[[instrument]]\nid = {:?}\nmeasures = {:?}\nunit = {:?}\nlow = {:?}     # physical limits: set them\nhigh = {:?}\n\n\
         [instrument.modbus]\nlink = \"skid\"\nunit_id = {}\ntable = \"{}\"\naddress = {}\ntype = \"{}\"\n\
         byte_order = \"{}\"\nscale = {:?}\n",
        asked.id,
        asked.measures,
        asked.unit_of_value,
        asked.low.unwrap_or(0.0),
        asked.high.unwrap_or(0.0),
        asked.unit,
        config::spelt(asked.table.table()),
        way.address,
        config::spelt(way.value_type),
        config::spelt(way.byte_order),
        way.scale
    )
}
