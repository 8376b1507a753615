//! Every kind of fault in a configuration: the key it is reported at, the line, and the words. Beside it, what
//! keeps the examples and the reference from falling behind the program.

mod documents;
mod instruments;
mod modbus;
mod plan;
mod properties;
#[expect(
    clippy::float_cmp,
    reason = "the numbers are read from text, not computed"
)]
mod reading;
mod services;
mod shape;
mod support;
#[expect(
    clippy::float_cmp,
    reason = "the numbers are read from text, not computed"
)]
mod surroundings;
mod uses;
