//! What a replay takes in memory: one brew, and a folder of many.
//!
//! A run-off of 90 min with nine instruments, from CSV to results, by the program itself; the most that was resident at
//! any time, with the program's own file. A folder holds one brew a thread, so it must not grow with its brews.

mod outside;
mod paired;
mod simulated;

use std::fs;
use std::path::Path;

use outside::{command, peak_mib};
use paired::{Limit, figure, figure_beside, median, ratio, rounds, sized};
use simulated::Brew;

/// Brews of the folder.
const BREWS: usize = 50;

fn text(path: &Path) -> &str {
    path.to_str().expect("a path in Unicode")
}

fn main() {
    let brew = Brew::recorded();
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a directory");
    let brews = sized(BREWS, 3);
    for number in 0..brews {
        let directory = folder.path().join(format!("brew-{number}"));
        fs::create_dir(&directory).expect("a directory");
        for file in ["RUN.csv", "plan.toml", "config.toml"] {
            fs::copy(brew.path(file), directory.join(file)).expect("copied");
        }
    }
    let [config, plan, data] = ["config.toml", "plan.toml", "RUN.csv"].map(|file| brew.path(file));
    let (mut one, mut many) = (Vec::new(), Vec::new());
    for _ in 0..rounds() {
        one.push(peak_mib(&mut command(&[
            "replay",
            "--config",
            text(&config),
            "--plan",
            text(&plan),
            "--data",
            text(&data),
        ])));
        many.push(peak_mib(&mut command(&["replay", text(folder.path())])));
    }
    println!("\nMemory of a replay, the most that was resident");
    let (alone, of_one) = ("replay of one brew", ratio(&many, &one));
    figure(alone, median(one), 1, "MiB", Limit::Counted("counted"));
    let name = format!("replay of a folder of {brews}, a thread for each processor");
    figure_beside(&name, median(many), 1, "MiB", (of_one, alone));
}
