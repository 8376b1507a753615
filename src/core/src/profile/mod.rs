//! x
mod lesson;
pub use lesson::{BedLesson, BrewLesson, PhLesson, Quality, RakeLesson, StopLesson, WashoutLesson};
pub(crate) use lesson::rounded;
