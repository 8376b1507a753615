//! `lauterd probe registers`: every plausible reading of a device's registers, and the table of the right one.

use std::fmt::Write as _;
use std::time::Duration;

use clap::{Args, ValueEnum};

use super::into::{Unfinished, first_link, link_table};
use super::line::Line;
use super::live::Live;
use super::wanted::Wanted;
use super::watched::{Watched, equals, moving, row};
use super::{print, unreachable};
use crate::commission::candidates::{Way, candidates};
use crate::config;
use crate::config::model::Table;
use crate::exit::Failure;
use crate::ingest::modbus::probe::Probe;

/// Reads registers and shows every plausible reading of them: types, byte orders, scales
///
/// The register before the range and the one behind it are read as well: manuals often count from 1.
#[derive(Debug, Args)]
pub struct Registers {
    /// Unit of the device
    #[arg(long, value_name = "N", default_value_t = 1)]
    unit: u8,
    /// Modbus table
    #[arg(long, default_value = "input")]
    table: RegisterTable,
    /// First address, counted from 0
    #[arg(long, value_name = "ADDRESS", default_value_t = 0)]
    from: u16,
    /// How many registers
    #[arg(long, value_name = "N", default_value_t = 32, value_parser = clap::value_parser!(u16).range(1..=2000))]
    count: u16,
    /// Reads again for so many seconds and shows what moves; what leaves the expected range loses its mark
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(1..=3600))]
    watch: Option<u32>,
    #[command(flatten)]
    wanted: Wanted,
    #[command(flatten)]
    line: Line,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum RegisterTable {
    Input,
    Holding,
    Discrete,
    Coil,
}

impl RegisterTable {
    fn table(self) -> Table {
        match self {
            Self::Input => Table::Input,
            Self::Holding => Table::Holding,
            Self::Discrete => Table::Discrete,
            Self::Coil => Table::Coil,
        }
    }

    fn holds_bits(self) -> bool {
        matches!(self, Self::Discrete | Self::Coil)
    }
}

pub async fn show(asked: &Registers) -> Result<(), Failure> {
    let into = asked.wanted.file()?;
    let mut probe = Probe::new(asked.line.link()?);
    if asked.table.holds_bits() {
        return show_bits(&mut probe, asked, into.as_ref()).await;
    }
    let expected = asked.wanted.expected();
    let registers = read(&mut probe, asked).await?;
    if registers.is_empty() {
        return Err(nothing(asked));
    }
    let described = described(asked, into.as_ref())?;
    let mut found: Vec<Watched> = candidates(&registers, expected, asked.wanted.must_reach())
        .into_iter()
        .map(|candidate| Watched::new(candidate, &described))
        .collect();
    if expected.is_some() && !asked.wanted.all {
        found.retain(|watched| watched.candidate.is_expected);
    }
    let mut live = Live::new();
    for second in 1..=asked.watch.unwrap_or(0) {
        tokio::time::sleep(Duration::from_secs(1)).await;
        let registers = read(&mut probe, asked).await?;
        for watched in &mut found {
            watched.again(&registers, expected);
        }
        live.show(second, &moving(&found))?;
    }
    // What has moved is what is looked for, so long as it stays within the range.
    found.sort_by(|one, other| {
        let distance = |watched: &Watched| watched.distance(&asked.wanted);
        let by_merit = one.merit().cmp(&other.merit());
        by_merit.then(distance(one).total_cmp(&distance(other)))
    });
    let mut text = listed(&registers, &found, asked);
    if let Some(picked) = found.get(asked.wanted.number() - 1)
        && expected.is_some()
    {
        if let Err(failure) = asked.wanted.settled(equals(&found, &asked.wanted)) {
            print(&text)?;
            return Err(failure);
        }
        let tables = tables(&modbus(&picked.candidate.way, asked), asked, into.as_ref())?;
        text.push_str(&asked.wanted.hand_over(&tables, into.as_ref())?);
        return print(&text);
    }
    print(&text)?;
    asked.wanted.left_as_it_was()
}

async fn read(probe: &mut Probe, asked: &Registers) -> Result<Vec<(u16, u16)>, Failure> {
    let (unit, table) = (asked.unit, asked.table.table());
    let mut registers = Vec::new();
    // By themselves: a device that has none there refuses the whole range.
    if let Some(before) = asked.from.checked_sub(1) {
        registers.extend(
            probe
                .registers(unit, table, before, 1)
                .await
                .map_err(unreachable)?,
        );
    }
    let range = probe.registers(unit, table, asked.from, asked.count);
    registers.extend(range.await.map_err(unreachable)?);
    if let Some(behind) = asked.from.checked_add(asked.count) {
        registers.extend(
            probe
                .registers(unit, table, behind, 1)
                .await
                .map_err(unreachable)?,
        );
    }
    Ok(registers)
}

/// What the file to add to has of these registers.
fn described(asked: &Registers, into: Option<&Unfinished>) -> Result<Vec<(String, Way)>, Failure> {
    let transport = asked.line.link()?.transport;
    let table = asked.table.table();
    Ok(into.map_or_else(Vec::new, |file| {
        file.described(&transport, asked.unit, table)
    }))
}

fn nothing(asked: &Registers) -> Failure {
    unreachable(format!(
        "unit {} gives none of these registers; look which units answer (lauterd probe units), try the other --table \
         and another --from",
        asked.unit
    ))
}

fn listed(registers: &[(u16, u16)], found: &[Watched], asked: &Registers) -> String {
    let mut text = format!(
        "{} registers read from unit {}\n",
        registers.len(),
        asked.unit
    );
    let expected = asked.wanted.expected();
    let marked = found.iter().filter(|watched| watched.candidate.is_expected);
    if let Some((low, high)) = expected {
        let _ = writeln!(
            text,
            "{} readings lie within {low} to {high} and bear a star",
            marked.count()
        );
    }
    if found.is_empty() {
        text.push_str(
            "None of their readings fits. Look at other addresses and the other table; check what the instrument shows \
             now; --all lists them all.\n",
        );
        return text;
    }
    text.push_str("   no     address  from 1  type  order  scale  reading\n");
    for (number, watched) in (1..).zip(found) {
        let _ = writeln!(text, "{number:>5}  {}", row(watched));
    }
    text
}

/// Where and how the picked registers are read, without the link.
fn modbus(way: &Way, asked: &Registers) -> String {
    format!(
        "unit_id = {}\ntable = \"{}\"\naddress = {}\ntype = \"{}\"\nbyte_order = \"{}\"\nscale = {:?}\n",
        asked.unit,
        config::spelt(asked.table.table()),
        way.address,
        config::spelt(way.value_type),
        config::spelt(way.byte_order),
        way.scale
    )
}

/// The instrument's tables, and that of its link where it is not there yet.
fn tables(modbus: &str, asked: &Registers, into: Option<&Unfinished>) -> Result<String, Failure> {
    let transport = asked.line.link()?.transport;
    let (link, is_new) = into.map_or_else(first_link, |file| file.link(&transport));
    let mut text = asked.wanted.table_head();
    let _ = write!(text, "\n[instrument.modbus]\nlink = {link:?}\n{modbus}");
    if is_new {
        let _ = write!(text, "\n{}", link_table(&link, &transport));
    }
    Ok(text)
}

async fn show_bits(
    probe: &mut Probe,
    asked: &Registers,
    into: Option<&Unfinished>,
) -> Result<(), Failure> {
    let (unit, table) = (asked.unit, asked.table.table());
    let mut seen: Vec<(u16, bool, bool)> = Vec::new();
    let mut live = Live::new();
    for second in 0..=asked.watch.unwrap_or(0) {
        if second > 0 {
            tokio::time::sleep(Duration::from_secs(1)).await;
        }
        let bits = probe.bits(unit, table, asked.from, asked.count);
        let bits = bits.await.map_err(unreachable)?;
        if bits.is_empty() {
            return Err(nothing(asked));
        }
        for (address, on) in bits {
            match seen.iter_mut().find(|(known, ..)| *known == address) {
                Some((_, last, changed)) => {
                    *changed |= *last != on;
                    *last = on;
                }
                None => seen.push((address, on, false)),
            }
        }
        if second > 0 {
            let rows: Vec<(String, String)> = seen
                .iter()
                .filter(|(.., changed)| *changed)
                .map(|(address, on, _)| (format!("{address:>5}"), u8::from(*on).to_string()))
                .collect();
            live.show(second, &rows)?;
        }
    }
    let changed = seen.iter().filter(|(.., changed)| *changed).count();
    if changed > 0 {
        // What changed while somebody switched it is what is looked for.
        seen.sort_by_key(|(.., changed)| !changed);
    }
    if let Err(failure) = asked
        .wanted
        .settled(if changed > 0 { changed } else { seen.len() })
    {
        print(&listed_bits(&seen))?;
        return Err(failure);
    }
    let mut text = listed_bits(&seen);
    if let Some((address, ..)) = seen.get(asked.wanted.number() - 1) {
        let modbus = format!(
            "unit_id = {}\ntable = \"{}\"\naddress = {address}\ntype = \"bit\"\n",
            asked.unit,
            config::spelt(asked.table.table())
        );
        let tables = tables(&modbus, asked, into)?;
        text.push_str(&asked.wanted.hand_over(&tables, into)?);
        return print(&text);
    }
    print(&text)?;
    asked.wanted.left_as_it_was()
}

fn listed_bits(seen: &[(u16, bool, bool)]) -> String {
    let mut text = "   no  address  from 1  state\n".to_owned();
    for (number, (address, on, changed)) in (1..).zip(seen) {
        let changed = if *changed { "  changed" } else { "" };
        let _ = writeln!(
            text,
            "{number:>5}  {address:>7}  {:>6}  {}{changed}",
            u32::from(*address) + 1,
            u8::from(*on)
        );
    }
    text
}
