//! What an adapter and a desktop must agree on to the byte: what to tighten next, how the pull went, what to remember.
//!
//! Knows nothing of clocks, storage, screens or boards: time and readings come in as values, records go out as values.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod advice;
pub mod audit;
pub mod check_sum;

pub mod journal;
pub mod ledger;
pub mod limits;
pub mod link;
pub mod pattern;
pub mod peers;
mod plain;
pub mod procedure;
pub mod record;
pub mod sample;
pub mod session;
pub mod text;
pub mod trace;
pub mod tracker;
pub mod unit;
pub mod verdict;
pub mod watch;
