//! Configuration: reading it, finding everything wrong with it at once, and what the rest of the shell sees.

pub mod model;
