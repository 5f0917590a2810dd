//! An instrument that prints its samples on a pseudo terminal: a virtual fastener and hand behind it, in real time.
//!
//! The hand hears what whoever reads the lines tells it, and nothing else. Knows nothing of sessions.

use std::io::Write as _;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant as Clock};

use evendraw::rehearsal::station::Station;
use evendraw_core::tracker::Cue;
use evendraw_core::verdict::Aim;
use serialport::{SerialPort as _, TTYPort};

/// How it prints.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Print {
    /// A trace file's rows.
    Trace,
    /// Torque alone, in lbf·ft, a decimal comma.
    PoundFeet,
}

/// What is to be pulled.
#[derive(Clone, Debug)]
pub(crate) struct Pull {
    pub(crate) fastener: u8,
    pub(crate) aim: Aim,
    /// It is spun in by hand first.
    pub(crate) spins: bool,
}

#[derive(Debug)]
enum Do {
    Pull(Pull),
    /// Backed off until free.
    Loosen(u8),
    /// A new one in its place.
    Replace(u8),
    Stall(Duration),
    Unplug,
    Plug,
}

/// What the hand is told, and whether it is at work.
#[derive(Clone, Debug, Default)]
pub(crate) struct Told {
    pub(crate) cue: Cue,
    pub(crate) halt: bool,
    pub(crate) is_busy: bool,
    /// What stands on the tool, N·m.
    pub(crate) torque: f64,
}

/// An instrument at work until it is dropped.
pub(crate) struct Instrument {
    path: PathBuf,
    orders: Option<Sender<Do>>,
    told: Arc<Mutex<Told>>,
    thread: Option<JoinHandle<()>>,
}

impl Instrument {
    /// Its port is a link in a folder, as a plug keeps its name.
    pub(crate) fn start(folder: &Path, station: Station, rate: u32, print: Print) -> Self {
        let path = folder.join("port");
        let told = Arc::new(Mutex::new(Told::default()));
        let (orders, ordered) = mpsc::channel();
        let own = Printing {
            path: path.clone(),
            station,
            rate,
            print,
            told: Arc::clone(&told),
            port: None,
            began: Clock::now(),
            lines: 0,
            noise: 0x2545_f491,
            angle: 0.0,
            ahead: 0.0,
        };
        let thread = std::thread::spawn(move || own.run(&ordered));
        while !path.exists() {
            std::thread::sleep(Duration::from_millis(1));
        }
        Self {
            path,
            orders: Some(orders),
            told,
            thread: Some(thread),
        }
    }

    pub(crate) fn port(&self) -> &str {
        self.path.to_str().expect("a plain path")
    }

    fn order(&self, order: Do) {
        self.orders
            .as_ref()
            .expect("it runs")
            .send(order)
            .expect("it runs");
    }

    /// The hand goes to a fastener.
    pub(crate) fn pull(&self, pull: &Pull) {
        let mut told = self.told.lock().expect("no panic there");
        *told = Told {
            is_busy: true,
            ..Told::default()
        };
        drop(told);
        self.order(Do::Pull(pull.clone()));
    }

    /// A fastener is backed off until free, at no tool.
    pub(crate) fn loosen(&self, fastener: u8) {
        self.order(Do::Loosen(fastener));
    }

    /// A fastener is taken out and a new one put in.
    pub(crate) fn replace(&self, fastener: u8) {
        self.order(Do::Replace(fastener));
    }

    /// What whoever reads says to the hand.
    pub(crate) fn hear(&self, cue: Cue, halt: bool) {
        let mut told = self.told.lock().expect("no panic there");
        (told.cue, told.halt) = (cue, halt);
    }

    pub(crate) fn is_busy(&self) -> bool {
        self.told.lock().expect("no panic there").is_busy
    }

    /// Whether the hand has this much on the tool, N·m.
    pub(crate) fn is_loaded(&self, torque: f64) -> bool {
        let told = self.told.lock().expect("no panic there");
        told.is_busy && told.torque > torque
    }

    /// Says nothing for so long, its port open.
    pub(crate) fn stall(&self, time: Duration) {
        self.order(Do::Stall(time));
    }

    pub(crate) fn unplug(&self) {
        self.order(Do::Unplug);
        while self.path.exists() {
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    pub(crate) fn plug(&self) {
        self.order(Do::Plug);
        while !self.path.exists() {
            std::thread::sleep(Duration::from_millis(1));
        }
    }
}

impl Drop for Instrument {
    fn drop(&mut self) {
        self.orders = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

struct Printing {
    path: PathBuf,
    station: Station,
    rate: u32,
    print: Print,
    told: Arc<Mutex<Told>>,
    port: Option<TTYPort>,
    began: Clock,
    lines: u64,
    noise: u32,
    angle: f64,
    /// What was done by hand took no time here.
    ahead: f64,
}

impl Printing {
    fn run(mut self, ordered: &Receiver<Do>) {
        self.plug();
        let mut stalled_until = Clock::now();
        let mut torque = 0.0;
        loop {
            match ordered.try_recv() {
                Ok(Do::Pull(pull)) => {
                    if pull.spins {
                        self.station.spin_in(pull.fastener, None);
                    }
                    self.station.begin(pull.fastener, &pull.aim);
                    self.ahead = self.station.elapsed_s() - self.time();
                }
                Ok(Do::Loosen(fastener)) => {
                    self.station.loosen(fastener);
                    self.ahead = self.station.elapsed_s() - self.time();
                }
                Ok(Do::Replace(fastener)) => {
                    self.station.replace(fastener);
                    self.ahead = self.station.elapsed_s() - self.time();
                }
                Ok(Do::Stall(time)) => stalled_until = Clock::now() + time,
                Ok(Do::Unplug) => {
                    self.port = None;
                    let _ = std::fs::remove_file(&self.path);
                }
                Ok(Do::Plug) => self.plug(),
                Err(mpsc::TryRecvError::Empty) => {}
                Err(mpsc::TryRecvError::Disconnected) => return,
            }
            // A line is due.
            self.lines += 1;
            let due =
                self.began + Duration::from_micros(self.lines * 1_000_000 / u64::from(self.rate));
            if let Some(left) = due.checked_duration_since(Clock::now()) {
                std::thread::sleep(left);
            }
            // Its own clock never waits for a slow machine.
            let time = self.time();
            while self.station.elapsed_s() - self.ahead < time {
                let (cue, halt) = {
                    let told = self.told.lock().expect("no panic there");
                    (told.cue, told.halt)
                };
                if self.station.is_busy() {
                    self.station.hear(cue, halt);
                    match self.station.sample() {
                        Some(sample) => {
                            torque = sample.torque_Nm;
                            self.angle = sample.angle_deg;
                        }
                        None => {
                            torque = 0.0;
                            self.told.lock().expect("no panic there").is_busy = false;
                        }
                    }
                } else {
                    self.station.idle(0.002);
                }
            }
            self.told.lock().expect("no panic there").torque = torque;
            if Clock::now() >= stalled_until {
                self.write(time, torque);
            }
        }
    }

    #[expect(clippy::cast_precision_loss, reason = "lines of a few minutes")]
    fn time(&self) -> f64 {
        self.lines as f64 / f64::from(self.rate)
    }

    fn plug(&mut self) {
        let (mut master, slave) = TTYPort::pair().expect("a pseudo terminal");
        let name = slave.name().expect("it has a path");
        master
            .set_timeout(Duration::from_millis(500))
            .expect("a time to wait");
        // Whoever reads opens it anew.
        drop(slave);
        let _ = std::fs::remove_file(&self.path);
        self.port = Some(master);
        symlink(name, &self.path).expect("a link");
        self.print_header();
    }

    fn print_header(&mut self) {
        if let (Print::Trace, Some(port)) = (self.print, &mut self.port) {
            let _ = port.write_all(b"time_s,torque_Nm,angle_deg\n");
        }
    }

    /// Uniform, ±1.
    fn noise(&mut self) -> f64 {
        // Marsaglia's xorshift, 32 bits [Marsaglia 2003].
        self.noise ^= self.noise << 13;
        self.noise ^= self.noise >> 17;
        self.noise ^= self.noise << 5;
        f64::from(self.noise) / f64::from(u32::MAX) * 2.0 - 1.0
    }

    fn write(&mut self, time: f64, torque: f64) {
        let torque = torque + 0.35 + 0.04 * self.noise();
        let angle = self.angle + 0.02 * self.noise();
        let line = match self.print {
            // Four times a second the header again: whoever opens the port late must hear it too.
            Print::Trace if self.lines.is_multiple_of(u64::from(self.rate / 4)) => {
                "time_s,torque_Nm,angle_deg\n".to_owned()
            }
            Print::Trace => format!("{time:.6},{torque:.3},{angle:.3}\n"),
            // 1 lbf·ft = 1.3558179483314004 N·m [NIST SP 811, appendix B.8]
            Print::PoundFeet => {
                format!("{:.3}\r\n", torque / 1.355_817_948_331_400_4).replace('.', ",")
            }
        };
        let bad: &[u8] = match self.lines % 97 {
            13 => b"0.1,OL,3\n",
            51 => b"\xff\xfe,,\n",
            77 => b"12.5 lbf ft, 3\n",
            _ => b"",
        };
        let Some(port) = &mut self.port else { return };
        // Nobody reads: what finds no room is gone, as on any serial line.
        let _ = port.write_all(bad);
        let _ = port.write_all(line.as_bytes());
    }
}
