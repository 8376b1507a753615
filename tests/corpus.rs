//! The seed corpus of the fuzz targets, replayed: what once was found stays mended, and every target still runs.

use std::fs;
use std::path::Path;

#[path = "../fuzz/src/targets.rs"]
mod targets;

#[test]
fn every_decoder_takes_its_whole_seed_corpus() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus");
    for (name, target) in targets::TARGETS {
        let entries = fs::read_dir(corpus.join(name)).expect("the corpus is there");
        let mut count = 0;
        for entry in entries {
            let path = entry.expect("an entry").path();
            println!("{}", path.display());
            target(&fs::read(&path).expect("a file"));
            count += 1;
        }
        assert!(count >= 3, "{name} has {count} seeds");
        // The shortest inputs there are.
        for bytes in [&b""[..], b"\0", b"\xff\xfe", b"{}"] {
            target(bytes);
        }
    }
}
