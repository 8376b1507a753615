//! What is fuzzed: every decoder of what comes from outside. Each takes any bytes, must not panic, and holds to what it
//! promises about its answer.
//!
//! The same functions replay the seed corpus in the ordinary tests (`tests/corpus.rs`).

use std::cell::OnceCell;
use std::fs;
use std::path::Path;
use std::time::Duration;

use lauter_core::projection::Plan;
use lauter_core::reading::{Instrument, Moment, Status};
use lauter_core::supervisor::Event;
use lauterd::config::model::{ByteOrder, ModbusPoint, MqttPoint, StatusRegister, Table, ValueType};
use lauterd::config::{self, Surroundings};
use lauterd::ingest::modbus::trial;
use lauterd::ingest::mqtt::payload;
use lauterd::replay::{Recording, Row, read_samples};
use lauterd::store::{BrewHeader, BrewId, Database, FILE_NAME, TunId};
use lauterd::web::wire::{AlarmOperation, SampleBody};
use rusqlite::Connection;

type Target = fn(&[u8]);

/// All targets with their names, which are those of their folders in `corpus`.
pub const TARGETS: [(&str, Target); 8] = [
    ("modbus", modbus),
    ("mqtt", mqtt),
    ("pointer", pointer),
    ("toml", toml),
    ("csv", csv),
    ("http", http),
    ("rows", rows),
    ("blocks", blocks),
];

/// A reply on a link. The first byte says which kind of value is read, and over which framing.
pub fn modbus(data: &[u8]) {
    let Some((&shape, reply)) = data.split_first() else {
        return;
    };
    let types = [
        ValueType::U16,
        ValueType::I32,
        ValueType::F32,
        ValueType::F64,
        ValueType::I64,
        ValueType::Bit,
    ];
    let orders = [
        ByteOrder::Abcd,
        ByteOrder::Cdab,
        ByteOrder::Badc,
        ByteOrder::Dcba,
    ];
    let value_type = types[usize::from(shape & 7) % types.len()];
    let point = ModbusPoint {
        link: 0,
        unit_id: 1,
        table: match (value_type, shape & 0x40) {
            (ValueType::Bit, _) => Table::Coil,
            (_, 0) => Table::Holding,
            _ => Table::Input,
        },
        address: 0,
        value_type,
        byte_order: orders[usize::from(shape >> 3) % orders.len()],
        scale: 1.0,
        offset: 0.0,
        every: Duration::from_secs(1),
        status: (shape & 0x20 != 0 && value_type != ValueType::Bit).then(|| StatusRegister {
            address: 4,
            bits: vec![(0, Status::Failure), (15, Status::FunctionCheck)],
        }),
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .expect("a runtime");
    let answer = runtime.block_on(trial::answer(&point, reply, shape & 0x80 != 0, true));
    if let Some(Ok(value)) = answer {
        assert!(value.is_finite());
    }
}

fn told_as_number(pointer: Option<&str>, time_pointer: Option<&str>, bytes: &[u8]) {
    let point = MqttPoint {
        topic: "skid".to_owned(),
        pointer: pointer.map(str::to_owned),
        time_pointer: time_pointer.map(str::to_owned),
    };
    if let Ok(decoded) = payload::decode(bytes, &point) {
        for is_switch in [false, true] {
            if let Ok(value) = decoded.value(is_switch) {
                assert!(value.is_finite());
            }
        }
    }
    let _ = payload::excerpt(bytes);
}

/// A message of an instrument: a plain number, and JSON with a time of its own.
pub fn mqtt(data: &[u8]) {
    told_as_number(None, None, data);
    told_as_number(Some("/flow"), Some("/time"), data);
    told_as_number(Some("/a/0/b"), None, data);
}

/// A JSON pointer and a document, parted by the first line's end.
pub fn pointer(data: &[u8]) {
    let Some(end) = data.iter().position(|byte| *byte == b'\n') else {
        return;
    };
    let Ok(pointer) = std::str::from_utf8(&data[..end]) else {
        return;
    };
    told_as_number(Some(pointer), Some(pointer), &data[end + 1..]);
}

/// A configuration and a plan.
pub fn toml(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else {
        return;
    };
    let name = Path::new("fuzz.toml");
    if let Ok(configuration) = config::parse(name, text.to_owned(), &Surroundings::none()) {
        // What was accepted can be watched with.
        let _ = lauterd::engine::supervisor(&configuration);
        let _ = configuration.check_live();
    }
    if let Ok(plan) = config::parse_plan(name, text.to_owned()) {
        assert!(plan.check().is_empty(), "what was accepted is in range");
    }
}

/// A recording and hand samples.
pub fn csv(data: &[u8]) {
    thread_local! {
        static FILE: OnceCell<tempfile::NamedTempFile> = const { OnceCell::new() };
    }
    FILE.with(|file| {
        let file = file.get_or_init(|| {
            let memory = Path::new("/dev/shm");
            let made = tempfile::NamedTempFile::new_in(memory);
            made.or_else(|_| tempfile::NamedTempFile::new())
                .expect("a file")
        });
        fs::write(file.path(), data).expect("written");
        if let Ok(mut recording) = Recording::open(file.path(), &["flow", "density"]) {
            let mut last = Moment(i64::MIN);
            let mut row = Row::default();
            while let Ok(true) = recording.next_row(&mut row) {
                assert!(row.at >= last, "time falls");
                last = row.at;
                assert!(row.values.iter().all(|(_, value)| value.is_finite()));
            }
        }
        if let Ok(samples) = read_samples(file.path()) {
            assert!(samples.is_sorted_by_key(|(at, _)| *at));
        }
    });
}

/// Bodies of requests.
pub fn http(data: &[u8]) {
    if let Ok(body) = serde_json::from_slice::<SampleBody>(data)
        && let Ok(sample) = body.sample()
    {
        let values = [sample.gravity_p, sample.ph, sample.volume_l];
        assert!(values.into_iter().flatten().all(f64::is_finite));
    }
    if let Ok(body) = serde_json::from_slice::<AlarmOperation>(data) {
        let _ = body.action();
    }
    if let Ok(tree) = serde_json::from_slice(data)
        && let Ok(plan) = config::plan_of_tree(Path::new("the body"), tree)
    {
        assert!(plan.check().is_empty(), "what was accepted is in range");
    }
}

struct Stored {
    _directory: tempfile::TempDir,
    writer: Connection,
    database: Database,
    tun: TunId,
    brew: BrewId,
}

impl Stored {
    fn new() -> Self {
        let memory = tempfile::tempdir_in("/dev/shm");
        let directory = memory
            .or_else(|_| tempfile::tempdir())
            .expect("a directory");
        let mut database = Database::open(directory.path()).expect("a store");
        let tun = database.tun("fuzz", "tun-1").expect("a tun");
        let plan = Plan {
            brew: "fuzz".to_owned(),
            recipe: String::new(),
            grist_kg: 980.0,
            target_gravity_p: 12.4,
            planned_volume_l: 5200.0,
            runoff_minutes: 90.0,
            first_wort_gravity_p: None,
            gravity_floor_p: 3.0,
            ph_ceiling: 6.0,
            ph_basis: lauter_core::projection::PhBasis::Room,
        };
        let instruments: Vec<Instrument> = Vec::new();
        let brew = database
            .begin_brew(&BrewHeader {
                tun,
                plan,
                instruments,
                config_digest: String::new(),
                started: jiff::Timestamp::UNIX_EPOCH,
                started_at: Moment::ZERO,
                origin: Moment::ZERO,
            })
            .expect("a brew");
        let writer = Connection::open(directory.path().join(FILE_NAME)).expect("the store");
        writer
            .pragma_update(None, "synchronous", "OFF")
            .expect("no need to wait");
        Self {
            _directory: directory,
            writer,
            database,
            tun,
            brew,
        }
    }
}

thread_local! {
    static STORED: OnceCell<Stored> = const { OnceCell::new() };
}

/// A block of packed readings, without its checksum, which would keep chance from the rest.
pub fn blocks(data: &[u8]) {
    let checksum = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(data);
    let body = [data, &checksum.to_le_bytes()].concat();
    STORED.with(|stored| {
        let stored = stored.get_or_init(Stored::new);
        let write = |query: &str, keys: &[&dyn rusqlite::ToSql]| {
            stored.writer.execute(query, keys).expect("written");
        };
        write("DELETE FROM event", &[]);
        write("DELETE FROM packed", &[]);
        for kind in [0, 1] {
            // As the seeds have it: a block that is not what its row says is refused, but only after it has been read.
            write(
                "INSERT INTO packed (brew_id, kind, first_seq, last_seq, last_at_us, rows, body) \
                 VALUES (?1, ?2, 0, 5, 0, 5, ?3)",
                &[&stored.brew.number(), &kind, &body],
            );
        }
        if let Ok(events) = stored.database.events(stored.brew) {
            assert_eq!(events.len(), 5);
        }
        stored
            .database
            .raw_readings(stored.brew)
            .expect("what can be read");
        stored
            .database
            .readings(stored.brew)
            .expect("what can be read");
        write("DELETE FROM packed", &[]);
    });
}

/// A row of the record: kind, instrument, value and the text of every column that holds one.
pub fn rows(data: &[u8]) {
    let Some((head, text)) = data.split_at_checked(17) else {
        return;
    };
    let number = |from: usize| {
        let bytes: [u8; 8] = head[from..from + 8].try_into().expect("eight bytes");
        bytes
    };
    let text = String::from_utf8_lossy(text).into_owned();
    STORED.with(|stored| {
        let stored = stored.get_or_init(Stored::new);
        let number_of_brew = stored.brew.number();
        let write = |query: &str, keys: &[&dyn rusqlite::ToSql]| {
            stored.writer.execute(query, keys).expect("written");
        };
        write("DELETE FROM event", &[]);
        write("DELETE FROM output", &[]);
        write("DELETE FROM checkpoint", &[]);
        let value = f64::from_le_bytes(number(1));
        let status = (head[0] & 8 != 0).then(|| text.clone());
        let cause = (head[0] & 16 != 0).then(|| text.clone());
        write(
            "INSERT INTO event (brew_id, seq, at_us, kind, instrument, value, status, cause, age_us, body) \
             VALUES (?1, 0, ?2, ?3, ?4, ?5, ?6, ?7, ?2, ?8)",
            &[
                &number_of_brew,
                &i64::from_le_bytes(number(9)),
                &i64::from(head[0] & 3),
                &i64::from_le_bytes(number(9)),
                &(head[0] & 4 != 0).then_some(value),
                &status,
                &cause,
                &text,
            ],
        );
        write(
            "INSERT INTO output (tun_id, brew_id, at_us, kind, body) VALUES (1, ?1, 0, 'alarm', ?2)",
            &[&number_of_brew, &text],
        );
        write(
            "INSERT INTO checkpoint (brew_id, next_event, engine, state) VALUES (?1, 0, '', ?2)",
            &[&number_of_brew, &text],
        );
        if let Ok(events) = stored.database.events(stored.brew) {
            for dated in events {
                if let Event::Reading { reading, .. } = dated.event
                    && let Ok(value) = reading.value
                {
                    // NaN is NULL in SQLite: such a row has no value.
                    assert!(!value.is_nan());
                }
            }
        }
        let _ = stored.database.alarms(stored.brew);
        let _ = stored.database.latest_alarms(stored.tun, None);
        let _ = stored.database.beginning(stored.brew, "");
        let _: Result<lauter_core::supervisor::Supervisor, _> = serde_json::from_str(&text);
    });
}
