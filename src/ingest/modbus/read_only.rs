//! The promise that nothing is ever written to an instrument, kept by searching the sources.

use std::path::{Path, PathBuf};

/// What would have to appear in a source file that can write to a device: the library's writing trait and
/// functions, its writing requests, and the request with a free choice of function.
const WRITES: [&str; 14] = [
    "Writer",
    "write_single_coil",
    "write_single_register",
    "write_multiple_coils",
    "write_multiple_registers",
    "masked_write_register",
    "read_write_multiple_registers",
    "WriteSingleCoil",
    "WriteSingleRegister",
    "WriteMultipleCoils",
    "WriteMultipleRegisters",
    "MaskWriteRegister",
    "Request::Custom",
    "tokio_modbus::prelude",
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .flat_map(|path| {
            if path.is_dir() {
                sources(&path)
            } else {
                vec![path]
            }
        })
        .filter(|path| path.extension().is_some_and(|extension| extension == "rs"))
        .collect()
}

#[test]
fn no_source_that_speaks_modbus_can_write_to_a_device() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut speakers = 0;
    for path in sources(&root) {
        if path.ends_with("ingest/modbus/read_only.rs") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        if !text.contains("tokio_modbus") {
            continue;
        }
        speakers += 1;
        for word in WRITES {
            assert!(!text.contains(word), "{} mentions {word}", path.display());
        }
    }
    assert!(
        speakers >= 2,
        "the search found only {speakers} files that speak Modbus"
    );
}
