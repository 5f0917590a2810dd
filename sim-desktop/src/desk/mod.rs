//! The desk: the window a mechanic works and rehearses at. One screen a file, drawn from plain view structs.
//!
//! `view` is what is drawn, `app` the frame round the screens, `model` fills the view from the job and carries out what
//! is asked, `window` opens it. Knows nothing of how a pull is judged or kept.
#![doc = include_str!("DESK.md")]

mod act;
mod actions;
mod adapter;
pub mod app;
mod ask;
mod asked;
mod beside;
mod build;
mod calculation;
mod calculator;
mod clamp;
mod compare;
mod curve;
pub mod edit_view;
mod far;
mod handover;
mod history;
mod icon;
mod ink;
mod joint;
mod keys;
mod map;
mod marks;
pub mod model;
mod overlay;
mod paper;
mod photo;
mod plan;
mod reading;
mod recent;
mod record;
pub mod settings;
mod shelf;
mod sound;
pub mod theme;
mod tonight;
mod typing;
pub mod view;
mod widgets;
mod window;

pub use curve::thin;
pub use handover::tag_text;
pub use icon::icon;
pub use window::{DeskError, run};
