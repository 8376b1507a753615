#![no_main]
//! See src/targets.rs.

libfuzzer_sys::fuzz_target!(|data: &[u8]| lauterd_fuzz::targets::blocks(data));
