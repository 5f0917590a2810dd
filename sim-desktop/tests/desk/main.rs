//! The desk driven from outside: through the accessibility tree and the keys, and looked at as pictures.
//!
//! The views here are made by hand, to put every state on a screen at once; the tests in `work.rs` drive the real thing.
#![cfg(feature = "desk")]

#[cfg(unix)]
mod adapter;
mod beside;
mod drawing;
mod drive;
mod editor;
mod evening;
mod far;
mod guide;
mod keys;
#[cfg(unix)]
mod killed;
#[cfg(unix)]
mod live;
mod marks;
mod monkey;
mod one_key;
mod others;
mod paper;
mod pictures;
mod plan_keys;
mod plans;
mod raster;
mod rebuilt;
mod recent;
mod revised;
mod scenes;
mod shelf;
mod typing;
mod work;
