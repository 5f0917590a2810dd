//! A pseudo terminal between the board's link and whoever opens it.

use std::io::{Read as _, Write as _};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use serialport::{SerialPort as _, TTYPort};

use super::Rig;

/// A pseudo terminal with the board's link behind it, until this is dropped: then it is a cable pulled out.
pub(crate) struct Wire {
    pub(crate) port: String,
    over: Arc<AtomicBool>,
    relays: Vec<thread::JoinHandle<()>>,
}

impl Wire {
    pub(crate) fn between(rig: &Rig) -> Self {
        Self::with(rig, || {})
    }

    /// As [`Wire::between`]; `first` is done before anything is handed on to the board.
    pub(crate) fn with(rig: &Rig, mut first: impl FnMut() + Send + 'static) -> Self {
        let (mut outer, inner) = TTYPort::pair().expect("a pseudo terminal");
        let port = inner.name().expect("its name");
        outer
            .set_timeout(Duration::from_millis(20))
            .expect("a timeout");
        let (mut to_board, mut from_board) = rig.link();
        let mut back = outer.try_clone_native().expect("a second handle");
        let over = Arc::new(AtomicBool::new(false));
        let ended = Arc::clone(&over);
        let there = thread::spawn(move || {
            let mut bytes = [0; 512];
            while !ended.load(Ordering::Relaxed) {
                match outer.read(&mut bytes) {
                    Ok(count) => {
                        first();
                        drop(to_board.write_all(&bytes[..count]));
                    }
                    // Nobody has it open: then it says so at once.
                    Err(_) => thread::sleep(Duration::from_millis(5)),
                }
            }
        });
        let ended = Arc::clone(&over);
        let here = thread::spawn(move || {
            let mut bytes = [0; 512];
            while !ended.load(Ordering::Relaxed) {
                if let Ok(count @ 1..) = from_board.read(&mut bytes) {
                    let _ = back.write_all(&bytes[..count]);
                }
            }
        });
        Self {
            port,
            over,
            relays: vec![there, here],
        }
    }
}

impl Drop for Wire {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        for relay in self.relays.drain(..) {
            relay.join().expect("no panic there");
        }
    }
}
