//! What a package brings beside the binary: manual pages, completions and units, as the program is now.
//!
//! `UPDATE_DOCUMENTS=1 cargo test --test packaging` writes pages and completions anew.

#[cfg(feature = "demo")]
use std::collections::BTreeMap;
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

#[cfg(feature = "demo")]
use clap::CommandFactory as _;
#[cfg(feature = "demo")]
use clap_complete::Shell;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Pages of a command and all below it, by file name.
#[cfg(feature = "demo")]
fn manual(command: &clap::Command, name: &str, pages: &mut BTreeMap<String, Vec<u8>>) {
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone())
        .title(name)
        .render(&mut page)
        .unwrap();
    pages.insert(format!("{name}.1"), page);
    for below in command
        .get_subcommands()
        .filter(|below| !below.is_hide_set())
    {
        if below.get_name() != "help" {
            manual(below, &format!("{name}-{}", below.get_name()), pages);
        }
    }
}

/// What the packages bring to be called, and its command line.
#[cfg(feature = "demo")]
fn programs() -> [(&'static str, clap::Command); 2] {
    [
        ("lauterd", lauterd::cli::Arguments::command()),
        ("simulators", simulators::cli::command()),
    ]
}

#[cfg(feature = "demo")]
fn completions() -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    for (name, mut command) in programs() {
        for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
            let file = match shell {
                Shell::Zsh => format!("_{name}"),
                other => format!("{name}.{other}"),
            };
            let mut out = Vec::new();
            clap_complete::generate(shell, &mut command, name, &mut out);
            files.insert(file, out);
        }
    }
    files
}

/// The files of a folder of the manual are those that are expected, to the byte.
#[cfg(feature = "demo")]
fn assert_generated(folder: &str, expected: &BTreeMap<String, Vec<u8>>) {
    let folder = root().join(folder);
    if std::env::var_os("UPDATE_DOCUMENTS").is_some() {
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        for (name, contents) in expected {
            fs::write(folder.join(name), contents).unwrap();
        }
    }
    let there: BTreeMap<String, Vec<u8>> = fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            (name, fs::read(path).unwrap())
        })
        .collect();
    let names = |files: &BTreeMap<String, Vec<u8>>| files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&there), names(expected));
    for (name, contents) in expected {
        assert!(
            there[name] == *contents,
            "{name} is out of date; run UPDATE_DOCUMENTS=1 cargo test --test packaging"
        );
    }
}

#[test]
#[cfg(feature = "demo")]
fn every_command_has_its_manual_page() {
    let mut pages = BTreeMap::new();
    for (name, mut command) in programs() {
        command.build();
        manual(&command, name, &mut pages);
    }
    assert!(pages.len() > 30, "only {}", pages.len());
    assert_generated("docs/man", &pages);
}

#[test]
#[cfg(feature = "demo")]
fn the_completions_are_those_of_the_command_line() {
    assert_generated("docs/completions", &completions());
}

fn unit(name: &str) -> String {
    fs::read_to_string(root().join("systemd").join(name)).unwrap()
}

/// Settings of a unit, without remarks.
fn settings(text: &str) -> Vec<&str> {
    text.lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .collect()
}

#[test]
fn the_instances_unit_is_the_services_but_for_what_names_the_instance() {
    let (one, each) = (unit("lauterd.service"), unit("lauterd@.service"));
    let (one, each) = (settings(&one), settings(&each));
    assert_eq!(one.len(), each.len());
    for (one, each) in one.iter().zip(&each) {
        assert!(one == each || each.contains("%i"), "{one} / {each}");
    }
    assert_eq!(each.iter().filter(|line| line.contains("%i")).count(), 5);
}

/// `[package.metadata.deb]` of a manifest.
fn debian(manifest: &str) -> toml::Table {
    let manifest = fs::read_to_string(root().join(manifest)).unwrap();
    let manifest: toml::Table = manifest.parse().unwrap();
    let metadata = manifest["package"]["metadata"]["deb"].as_table();
    metadata.unwrap().clone()
}

/// What a package brings: the file here, and where it goes.
fn assets(manifest: &str) -> Vec<(String, String)> {
    let metadata = debian(manifest);
    let rows = metadata["assets"].as_array().unwrap();
    rows.iter()
        .map(|row| (row[0].as_str().unwrap(), row[1].as_str().unwrap()))
        .map(|(here, there)| (here.to_owned(), there.to_owned()))
        .collect()
}

/// What is brought stands beside the manifest, but for what is built.
fn assert_assets_are_there(manifest: &str) {
    let beside = root().join(manifest);
    let beside = beside.parent().unwrap();
    for (here, _) in assets(manifest)
        .iter()
        .filter(|(here, _)| !here.starts_with("target/"))
    {
        let folder = Path::new(here).parent().unwrap();
        let there = if here.contains('*') {
            folder
        } else {
            Path::new(here)
        };
        assert!(beside.join(there).exists(), "{manifest}: {here}");
    }
}

#[test]
fn the_package_brings_every_file_that_a_site_needs() {
    let assets = assets("Cargo.toml");
    let brought = |file: &str| assets.iter().any(|(here, _)| here == file);
    let units = fs::read_dir(root().join("systemd")).unwrap();
    let units = units
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.path().is_file());
    for unit in units {
        let file = format!("systemd/{}", unit.file_name().to_string_lossy());
        assert!(brought(&file), "{file}");
    }
    for file in [
        "target/release/lauterd",
        "config/minimal.toml",
        "docs/man/lauterd*.1",
        "docs/completions/lauterd.bash",
        "docs/completions/_lauterd",
        "docs/completions/lauterd.fish",
        "docs/configuration.schema.json",
    ] {
        assert!(brought(file), "{file}");
    }
    assert_assets_are_there("Cargo.toml");
}

/// Both may stand on one machine: no file goes to the same place.
#[test]
fn the_simulators_are_a_package_of_their_own_with_their_pages_and_completions() {
    let manifest = "simulators/Cargo.toml";
    assert_assets_are_there(manifest);
    let assets = assets(manifest);
    for file in [
        "target/release/simulators",
        "../docs/man/simulators*.1",
        "../docs/completions/simulators.bash",
    ] {
        assert!(assets.iter().any(|(here, _)| here == file), "{file}");
    }
    let of_service = self::assets("Cargo.toml");
    let file = |(here, there): &(String, String)| {
        let name = here.rsplit('/').next().unwrap_or_default();
        if there.ends_with('/') {
            format!("{there}{name}")
        } else {
            there.clone()
        }
    };
    for asset in &assets {
        let clash = of_service.iter().find(|other| file(other) == file(asset));
        assert_eq!(clash, None);
    }
}

/// What a person changes is not what a package brings: an upgrade asks nobody and overwrites nothing.
#[test]
fn the_package_brings_no_configuration_of_a_site() {
    let at_etc: Vec<String> = assets("Cargo.toml")
        .into_iter()
        .map(|(_, there)| there)
        .filter(|there| there.starts_with("etc/"))
        .collect();
    assert_eq!(at_etc, ["etc/lauterd/example.toml"]);
    let kept = debian("Cargo.toml")["conf-files"].clone();
    assert_eq!(kept, toml::Value::from(vec!["/etc/lauterd/example.toml"]));
    for name in ["lauterd.service", "lauterd@.service"] {
        assert!(
            unit(name).contains("\nConditionPathExists=/etc/lauterd/"),
            "{name}"
        );
    }
}

#[test]
fn the_sockets_address_is_that_of_the_page_without_any_setting() {
    let listens = format!("\nListenStream={}\n", "127.0.0.1:8780");
    assert!(unit("lauterd.socket").contains(&listens));
    let example = fs::read_to_string(root().join("config/lauterd.toml")).unwrap();
    assert!(
        example.contains("127.0.0.1:8780"),
        "the example's [web] listen"
    );
}

/// None, after a notice, where there is no systemd.
fn systemd_analyze() -> Option<PathBuf> {
    let found = ["/usr/bin/systemd-analyze", "/bin/systemd-analyze"]
        .map(PathBuf::from)
        .into_iter()
        .find(|path| path.is_file());
    if found.is_none() {
        eprintln!("skipped: systemd-analyze is not installed");
    }
    found
}

#[test]
fn systemd_finds_no_fault_in_the_units_and_little_exposure() {
    let Some(analyze) = systemd_analyze() else {
        return;
    };
    let directory = tempfile::tempdir().unwrap();
    for name in ["lauterd.service", "lauterd@.service", "lauterd.socket"] {
        // The binary of this build stands for the installed one.
        let text = unit(name).replace("/usr/bin/lauterd", env!("CARGO_BIN_EXE_lauterd"));
        let file = directory.path().join(name);
        fs::write(&file, text).unwrap();
        let instance = directory.path().join(name.replace("@.", "@tun-1."));
        let verified = Command::new(&analyze)
            .args(["verify", "--man=no"])
            .arg(&instance)
            .output()
            .unwrap();
        let words = String::from_utf8_lossy(&verified.stderr);
        let ours: Vec<&str> = words
            .lines()
            .filter(|line| line.contains("lauterd"))
            .collect();
        assert_eq!(ours, Vec::<&str>::new());
        if name.ends_with(".socket") {
            continue;
        }
        let exposure = Command::new(&analyze)
            .args(["security", "--offline=yes", "--threshold=15"])
            .arg(&file)
            .output()
            .unwrap();
        let words = String::from_utf8_lossy(&exposure.stdout);
        assert!(exposure.status.success(), "{name}: {words}");
        assert!(words.contains("Overall exposure level"), "{words}");
    }
}

/// Starts the program with a socket as systemd would: as descriptor 3, named by LISTEN_PID and LISTEN_FDS.
fn run_with_socket(socket: &TcpListener, configuration: &Path) -> Child {
    let script =
        "exec 3<&0 0</dev/null; export LISTEN_PID=$$ LISTEN_FDS=1; exec \"$0\" run --config \"$1\"";
    let inherited: OwnedFd = socket.try_clone().unwrap().into();
    Command::new("bash")
        .args(["-c", script, env!("CARGO_BIN_EXE_lauterd")])
        .arg(configuration)
        .env_remove("JOURNAL_STREAM")
        .env_remove("NOTIFY_SOCKET")
        .stdin(inherited)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// A configuration that keeps its record in `directory` and listens at `listen`.
fn configuration(directory: &Path, listen: SocketAddr) -> PathBuf {
    let file = directory.join("tun.toml");
    let minimal = fs::read_to_string(root().join("config/minimal.toml")).unwrap();
    let store = directory.join("store");
    let store = store.display();
    fs::write(
        &file,
        format!("{minimal}\n[store]\ndirectory = \"{store}\"\n[web]\nlisten = \"{listen}\"\n"),
    )
    .unwrap();
    file
}

#[test]
fn a_socket_that_was_handed_over_is_served_and_no_other_is_opened() {
    let directory = tempfile::tempdir().unwrap();
    let socket = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = socket.local_addr().unwrap();
    // The caller waits in the socket's queue until there is a service.
    let mut caller = TcpStream::connect(address).unwrap();
    caller
        .write_all(
            format!("GET /healthz HTTP/1.1\r\nhost: {address}\r\nconnection: close\r\n\r\n")
                .as_bytes(),
        )
        .unwrap();
    let mut service = run_with_socket(&socket, &configuration(directory.path(), address));
    let mut answer = String::new();
    caller.read_to_string(&mut answer).unwrap();
    service.kill().unwrap();
    service.wait().unwrap();
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
}

#[test]
fn a_socket_at_another_address_than_the_pages_is_a_fault_of_configuration() {
    let directory = tempfile::tempdir().unwrap();
    let socket = TcpListener::bind("127.0.0.1:0").unwrap();
    let given = socket.local_addr().unwrap();
    let other = "127.0.0.1:9".parse().unwrap();
    let service = run_with_socket(&socket, &configuration(directory.path(), other));
    let ended = service.wait_with_output().unwrap();
    let words = String::from_utf8_lossy(&ended.stderr);
    assert_eq!(ended.status.code(), Some(78), "{words}");
    assert!(words.contains(&given.to_string()), "{words}");
}
