//! The list of mistakes, each with its exit code and what its message must say.

/// One mistake: files are changed by replacing a text by another once, then the program is called in their
/// directory.
pub struct Mistake {
    pub what: &'static str,
    /// File, text in it, text instead.
    pub change: Option<(&'static str, &'static str, &'static str)>,
    /// Beside those of a right replay, or instead of them when they begin with a command.
    pub arguments: &'static [&'static str],
    pub code: i32,
    pub says: &'static [&'static str],
}

const fn mistake(
    what: &'static str,
    change: (&'static str, &'static str, &'static str),
    code: i32,
    says: &'static [&'static str],
) -> Mistake {
    Mistake {
        what,
        change: Some(change),
        arguments: &[],
        code,
        says,
    }
}

pub const fn call(
    what: &'static str,
    arguments: &'static [&'static str],
    code: i32,
    says: &'static [&'static str],
) -> Mistake {
    Mistake {
        what,
        change: None,
        arguments,
        code,
        says,
    }
}

pub const TUN: &str = "tun.toml";
pub const PLAN: &str = "plan.toml";
pub const RUN: &str = "RUN.csv";
pub const SAMPLES: &str = "samples.csv";
pub const ROW: &str = "ROW\n";

/// Each with what its message must name: the file, its line, the key or column, and what is allowed or to be done.
pub const MISTAKES: &[Mistake] = &[
    mistake(
        "configuration: unknown key",
        (TUN, "bed_area_m2", "bed_aera_m2"),
        78,
        &["tun.toml:", "tun.bed_aera_m2", "did you mean bed_area_m2?"],
    ),
    mistake(
        "configuration: value out of range",
        (TUN, "bed_area_m2 = 6.2", "bed_area_m2 = -6.2"),
        78,
        &["tun.toml:", "tun.bed_area_m2", "-6.2", "0.01 to 500"],
    ),
    mistake(
        "configuration: wrong unit",
        (TUN, "unit = \"kg/m3\"", "unit = \"L/min\""),
        78,
        &["tun.toml:", "runnings_density", "L/min", "kg/m3, degP"],
    ),
    mistake(
        "configuration: duplicate id",
        (TUN, "id = \"runoff_total\"", "id = \"runoff_flow\""),
        78,
        &["tun.toml:", "runoff_flow", "an id stands once"],
    ),
    mistake(
        "configuration: missing compensation",
        (TUN, "temperature = \"runnings_temperature\"\n", ""),
        78,
        &["tun.toml:", "runnings_density", "temperature: is missing"],
    ),
    mistake(
        "configuration: compensation by what is no instrument",
        (
            TUN,
            "temperature = \"runnings_temperature\"",
            "temperature = \"mash\"",
        ),
        78,
        &["tun.toml:", "mash", "runnings_temperature"],
    ),
    mistake(
        "configuration: not TOML",
        (TUN, "[tun]", "[tun"),
        78,
        &["tun.toml:", "not TOML"],
    ),
    mistake(
        "data: not a number",
        (RUN, ROW, "9,abc,74,5,1,1,1,5,1,0,0\n"),
        65,
        &["RUN.csv:6", "runnings_density", "abc", "must be a number"],
    ),
    mistake(
        "data: wrong cell count",
        (RUN, ROW, "9,1049\n"),
        65,
        &["RUN.csv:6", "2 cells", "11", "give every column a cell"],
    ),
    mistake(
        "data: time going back",
        (RUN, ROW, "1.5,1049,74,5,1,1,1,5,1,0,0\n"),
        65,
        &["RUN.csv:6", "back from 3 s to 1.5 s", "in time order"],
    ),
    mistake(
        "data: time is no number",
        (RUN, ROW, "soon,1049,74,5,1,1,1,5,1,0,0\n"),
        65,
        &["RUN.csv:6", "elapsed_s", "soon", "number of seconds"],
    ),
    mistake(
        "data: unknown column",
        (RUN, "runoff_flow", "wort_flow"),
        65,
        &["RUN.csv:1", "wort_flow", "there are runnings_density"],
    ),
    mistake(
        "data: column twice",
        (RUN, "runoff_total", "runoff_flow"),
        65,
        &["RUN.csv:1", "runoff_flow", "twice"],
    ),
    mistake(
        "data: no time column",
        (RUN, "elapsed_s", "seconds"),
        65,
        &["RUN.csv:1", "seconds", "elapsed_s or time"],
    ),
    mistake(
        "recording: a capture of raw bytes",
        (
            RUN,
            "elapsed_s,",
            "{\"capture\":1,\"time\":\"2026-04-12T08:30:00Z\",\"configuration\":\"\"}\n",
        ),
        65,
        &["RUN.csv:1", "lauterd record", "simulators play"],
    ),
    mistake(
        "data: wall-clock time that is none",
        (RUN, "elapsed_s", "time"),
        65,
        &["RUN.csv:2", "RFC 3339", "2026-04-12T08:30:00.250Z"],
    ),
    call(
        "data: empty file",
        &["replay", "--config", TUN, "--plan", PLAN, "--data", "empty"],
        65,
        &["empty: the file is empty", "elapsed_s or time"],
    ),
    call(
        "data: header alone",
        &[
            "replay",
            "--config",
            TUN,
            "--plan",
            PLAN,
            "--data",
            "header.csv",
        ],
        65,
        &["header.csv", "no rows"],
    ),
    call(
        "data: missing file",
        &[
            "replay", "--config", TUN, "--plan", PLAN, "--data", "gone.csv",
        ],
        66,
        &["gone.csv", "no such file", "check its name"],
    ),
    call(
        "data: a directory",
        &["replay", "--config", TUN, "--plan", PLAN, "--data", "."],
        74,
        &["it is a directory", "name a file"],
    ),
    call(
        "configuration: missing file",
        &[
            "replay",
            "--config",
            "gone.toml",
            "--plan",
            PLAN,
            "--data",
            RUN,
        ],
        66,
        &["gone.toml", "no such file"],
    ),
    call(
        "plan: missing file",
        &[
            "replay",
            "--config",
            TUN,
            "--plan",
            "gone.toml",
            "--data",
            RUN,
        ],
        66,
        &["gone.toml", "no such file"],
    ),
    call(
        "samples: missing file",
        &["--samples", "gone.csv"],
        66,
        &["gone.csv", "no such file"],
    ),
    mistake(
        "plan: unknown key",
        (PLAN, "recipe", "receipt"),
        65,
        &["plan.toml:", "receipt", "unknown key"],
    ),
    mistake(
        "plan: missing key",
        (PLAN, "grist_kg = 980.0\n", ""),
        65,
        &["plan.toml", "grist_kg", "is missing"],
    ),
    mistake(
        "plan: out of range",
        (PLAN, "target_gravity_p = 14.6", "target_gravity_p = 146.0"),
        65,
        &["plan.toml:", "target_gravity_p", "146", "1 to 35"],
    ),
    mistake(
        "plan: not a number",
        (PLAN, "grist_kg = 980.0", "grist_kg = \"980\""),
        65,
        &["plan.toml:", "grist_kg", "number"],
    ),
    mistake(
        "samples: place",
        (SAMPLES, ROW, "600,tank,12,,\n"),
        65,
        &["samples.csv:2", "tank", "runnings or kettle"],
    ),
    mistake(
        "samples: not a number",
        (SAMPLES, ROW, "600,kettle,heavy,,\n"),
        65,
        &["samples.csv:2", "gravity_p", "heavy", "-2 to 35"],
    ),
    mistake(
        "samples: nothing in it",
        (SAMPLES, ROW, "600,kettle,,,\n"),
        65,
        &["samples.csv:2", "give gravity_p, ph or volume_l"],
    ),
    mistake(
        "samples: no time",
        (SAMPLES, ROW, ",kettle,12,,\n"),
        65,
        &["samples.csv:2", "elapsed_s is empty", "give the seconds"],
    ),
    mistake(
        "samples: unknown column",
        (SAMPLES, "place", "where"),
        65,
        &["samples.csv:1", "where", "there are elapsed_s, place"],
    ),
    call(
        "store: a file",
        &["--store", "header.csv"],
        74,
        &["header.csv", "a file stands there", "name a directory"],
    ),
    call(
        "store: below a file",
        &["--store", "header.csv/store"],
        74,
        &["header.csv/store", "name a directory"],
    ),
    call(
        // Not even root can make a directory there.
        "store: directory that cannot be written",
        &["--store", "/sys/lauterd-store"],
        74,
        &["/sys/lauterd-store", "the right to write there"],
    ),
    call(
        "store: no database",
        &["--store", "foreign"],
        74,
        &["foreign/", "not a database", "lauterd backup --restore"],
    ),
    call(
        "results: into a missing directory",
        &["--results", "gone/lines.jsonl"],
        74,
        &["gone/lines.jsonl", "cannot be written", "name a file"],
    ),
    call(
        "results: a directory",
        &["--results", "."],
        74,
        &[".: cannot be written", "name a file"],
    ),
    call("no command", &[], 64, &["Usage", "replay"]),
    call("unknown command", &["watch"], 64, &["watch", "--help"]),
    call(
        "unknown flag",
        &["replay", "--cofnig", TUN],
        64,
        &["--cofnig", "--config"],
    ),
    call(
        "missing flags",
        &["replay", "--config", TUN],
        64,
        &["--plan", "--data"],
    ),
    call(
        "run: missing configuration",
        &["run", "--config", "gone.toml"],
        66,
        &["gone.toml", "no such file"],
    ),
    call(
        "run: instruments that are read from nowhere",
        &["run", "--config", TUN],
        78,
        &[TUN, "runnings_density", "add [instrument.modbus]"],
    ),
];
