//! The live page's module: one request in, one answer out, both as bytes, so that nothing stands
//! between the page and the crates but memory.
//!
//! A request is JSON, and after a zero byte what bytes it may bring along. An answer is the length
//! of its JSON (four bytes, little-endian), the JSON, and bytes. The page writes the request where
//! [`motefield_input`] says, calls [`motefield_answer`] and reads the answer.

mod answer;
mod asked;
mod exports;
mod found;
mod measuring;
mod module;
mod pictures;
mod request;
mod rig;
mod study;

pub use answer::Answer;
pub use exports::{motefield_answer, motefield_input, motefield_output};
pub use module::Module;
