//! A calibration worked over a pseudo terminal against the emulated board's sensors, with an error put in: found, corrected within its
//! uncertainty, kept over a power cut, named in the journal.

mod adapter_rig;

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::{Arc, Mutex};

use adapter_rig::wire::Wire;
use adapter_rig::{Rig, blank_flash, circle, entries};
use evendraw::calibration::{GRAVITY, Hand, Means, Setup, Stopped, guided};
use evendraw::link::{Client, ClientError, Port};
use evendraw_core::link::Refused;
use evendraw_core::record::Record;

/// What the load cell tells of a torque, and the gyro of a rate: both are wrong by some per cent.
const CELL: f64 = 1.031;
const GYRO: f64 = 0.985;

/// Somebody at the bench, who makes a mistake now and then.
struct Bench {
    rig: Rc<RefCell<Rig>>,
    /// What hangs there, in N·m.
    load: Arc<Mutex<f64>>,
    told: Vec<String>,
    asked: usize,
    /// The step at which the wrong weight is hung first.
    mistake: usize,
    /// The torque that is there, for each that is said to be.
    truth: f64,
}

impl Hand for Bench {
    fn ready(&mut self, what: &str) -> std::io::Result<()> {
        self.asked += 1;
        let number = what
            .split("That is ")
            .nth(1)
            .and_then(|rest| rest.split(' ').next());
        let torque: f64 = number.map_or(0.0, |text| text.parse().expect("a torque"));
        let torque = torque * self.truth;
        let wrong = if self.asked == self.mistake { 1.4 } else { 1.0 };
        *self.load.lock().expect("no panic there") = torque * wrong;
        let rig = &mut *self.rig.borrow_mut();
        if what.starts_with("One full turn") {
            let way = if what.contains("tightens") { 1.0 } else { -1.0 };
            rig.load(0.0, way * 72.0 * GYRO, 5_000);
        }
        rig.load(torque * wrong * CELL, 0.0, 200);
        Ok(())
    }

    fn told(&mut self, what: &str) -> std::io::Result<()> {
        self.told.push(what.to_owned());
        Ok(())
    }
}

/// What hangs there is read for so many milliseconds before each question: the board's clock goes on with what it is asked, however busy
/// the host is.
const READ_A_QUESTION: usize = 20;

/// A board that reads whatever hangs there.
struct Going {
    rig: Rc<RefCell<Rig>>,
    load: Arc<Mutex<f64>>,
    wire: Wire,
}

impl Going {
    fn start(rig: Rig) -> Self {
        let load = Arc::new(Mutex::new(0.0));
        let (mut sensors, hung) = (rig.feeder(), Arc::clone(&load));
        let wire = Wire::with(&rig, move || {
            let torque = *hung.lock().expect("no panic there");
            sensors.load(torque * CELL, READ_A_QUESTION);
        });
        Self {
            rig: Rc::new(RefCell::new(rig)),
            load,
            wire,
        }
    }

    fn hang(&self, torque: f64) {
        *self.load.lock().expect("no panic there") = torque;
        self.rig.borrow_mut().load(torque * CELL, 0.0, 50);
    }

    fn bench(&self, mistake: usize) -> Bench {
        Bench {
            rig: Rc::clone(&self.rig),
            load: Arc::clone(&self.load),
            told: Vec::new(),
            asked: 0,
            mistake,
            truth: 1.0,
        }
    }

    /// What the adapter reads of this torque, by the scale that it goes by.
    fn shown(&self, client: &mut Client, torque: f64) -> f64 {
        let mut mean = |hung: f64| {
            self.hang(hung);
            let from = client.counts().expect("counts");
            loop {
                let to = client.counts().expect("counts");
                let readings = to.readings - from.readings;
                if readings >= 200 {
                    let sum = i32::try_from(to.bridge - from.bridge).expect("a short time");
                    return (f64::from(sum) / f64::from(readings), f64::from(to.scale));
                }
            }
        };
        let (unloaded, _) = mean(0.0);
        let (loaded, scale) = mean(torque);
        let (again, _) = mean(0.0);
        assert!((again - unloaded).abs() < 2.0, "{unloaded} {again}");
        (loaded - unloaded) * scale / 65_536.0 / 1_000.0
    }

    fn end(self) {
        drop(self.wire);
        self.rig.borrow_mut().cut();
    }
}

fn setup() -> Setup {
    Setup {
        lever_mm: 400.0,
        weights_kg: vec![2.0, 5.0, 10.0],
        gravity: GRAVITY,
        means: Means {
            weights: 0.001,
            lever: 0.002,
        },
        turns: true,
        anew: false,
        serial: Some("4411".to_owned()),
        day: "2026-05-28".to_owned(),
        unix_seconds: 1_780_000_000,
    }
}

fn client(port: &str) -> Client {
    Client::new(Port::open(port.as_ref()).expect("the port"))
}

#[test]
fn an_error_that_was_put_in_is_found_corrected_kept_and_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let mut rig = Rig::start(&image);
    rig.still(1_000);
    let going = Going::start(rig);
    let mut adapter = client(&going.wire.port);

    let before = adapter.identify().expect("it answers");
    assert_eq!(before.serial, "emulated 1");
    assert_eq!(adapter.calibrations(before.places).expect("read"), []);
    let off = going.shown(&mut adapter, 30.0) / 30.0 - 1.0;
    assert!((off - (CELL - 1.0)).abs() < 0.001, "{off}");

    // The fourth step is done with the wrong weight first: it is told, and done again.
    let mut bench = going.bench(4);
    let found = guided(&mut adapter, &setup(), &mut bench).expect("a calibration");
    let again: Vec<&String> = bench
        .told
        .iter()
        .filter(|told| told.starts_with("Again"))
        .collect();
    assert!(
        matches!(again[..], [told] if told.contains("off the line")),
        "{again:?}"
    );
    println!(
        "put in {:+.2} % and {:+.2} %, found {:+.2} % and {:+.2} %, within {:.2} %",
        (CELL - 1.0) * 100.0,
        (GYRO - 1.0) * 100.0,
        found.was_off * 100.0,
        found.turn_was_off.expect("turned") * 100.0,
        found.fit.within * 100.0
    );
    assert!((found.was_off - (CELL - 1.0)).abs() <= found.fit.within);
    // The gyro's count is 0.07° a second.
    assert!((found.turn_was_off.expect("turned") - (GYRO - 1.0)).abs() < 0.002);
    assert_eq!((found.kept.number, found.kept.serial.as_str()), (1, "4411"));
    let off = going.shown(&mut adapter, 30.0) / 30.0 - 1.0;
    assert!(
        off.abs() <= found.fit.within,
        "{off} within {}",
        found.fit.within
    );

    // A step that is refused for good changes nothing; another calibration keeps the one before.
    let far = Setup {
        lever_mm: 700.0,
        ..setup()
    };
    let mut bench = going.bench(0);
    bench.truth = 400.0 / 700.0;
    let refused = guided(&mut adapter, &far, &mut bench);
    assert!(matches!(refused, Err(Stopped::FarOff(_))), "{refused:?}");
    let second = guided(&mut adapter, &setup(), &mut going.bench(0)).expect("a calibration");
    assert_eq!(second.kept.number, 2);
    assert!(second.was_off.abs() <= second.fit.within, "{second:?}");
    let kept = adapter.calibrations(before.places).expect("read");
    assert_eq!(kept, [second.kept.clone(), found.kept]);

    // What is no calibration is refused, and what is there stays.
    let nonsense = adapter.send(before.places, &[7; 104], |_, _| {});
    assert!(
        matches!(
            nonsense,
            Err(ClientError::Refused(
                Refused::Procedure | Refused::Incomplete,
                _
            ))
        ),
        "{nonsense:?}"
    );
    assert_eq!(adapter.calibrations(before.places).expect("read").len(), 2);

    // Kept over a power cut, and named in the journal of what is worked then.
    drop(adapter);
    going.end();
    let mut rig = Rig::start(&image);
    rig.still(1_000);
    let going = Going::start(rig);
    let mut adapter = client(&going.wire.port);
    assert_eq!(adapter.identify().expect("it answers").serial, "4411");
    let off = going.shown(&mut adapter, -20.0) / -20.0 - 1.0;
    assert!(off.abs() <= second.fit.within, "{off}");
    let mut room = [0; 2048];
    let blob = circle(3).encode(&mut room).expect("room").to_vec();
    adapter.send(0, &blob, |_, _| {}).expect("taken");
    adapter.work(0, 2).expect("worked");
    adapter.anchor(1_780_000_100).expect("safe");
    going.rig.borrow_mut().pull(10.1 * CELL, 30.0 * GYRO);
    adapter.anchor(1_780_000_200).expect("safe");
    drop(adapter);
    going.end();
    let peak = entries(&image)
        .into_iter()
        .find_map(|entry| match entry.record {
            Record::Attempt(attempt) => {
                Some(f64::from(attempt.peak.millinewton_meters()) / 1_000.0)
            }
            _ => None,
        });
    let off = peak.expect("a pull") / 10.1 - 1.0;
    println!(
        "a pull to 10.100 N·m is recorded as {:.3}",
        10.1 * (1.0 + off)
    );
    assert!(off.abs() <= second.fit.within, "{off}");
    let said = entries(&image)
        .into_iter()
        .find_map(|entry| match entry.record {
            Record::Noted(noted) if entry.joint == 2 => Some(noted.text.to_string()),
            _ => None,
        });
    assert_eq!(said, Some(second.kept.said));
}
