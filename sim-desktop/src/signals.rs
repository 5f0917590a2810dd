//! What the system tells a program: to end, now. It ends between two writes, never in the middle of one.
//!
//! Ctrl-C, a closed terminal, a shutdown: the program finishes the file it is writing, or takes it away, and ends as it was told
//! to, so that a shell sees why. A pipe whose reader left is no signal here but an error of writing, told as status 141. Knows
//! nothing of what is written.

use std::cell::Cell;
use std::collections::BTreeSet;
use std::marker::PhantomData;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Files under way, over all threads.
static UNDER_WAY: AtomicUsize = AtomicUsize::new(0);
/// The program was told to end: nothing more is begun.
static ENDS: AtomicBool = AtomicBool::new(false);
/// How long a write is waited for. A disk that takes longer than this is not waited for: whatever reads the file tells what was
/// torn.
const PATIENCE: Duration = Duration::from_secs(5);

thread_local! {
    static DEPTH: Cell<usize> = const { Cell::new(0) };
}

/// As long as this lives, the program does not end: what is under way is finished or taken away first.
#[derive(Debug)]
pub(crate) struct Whole {
    /// It counts for its own thread.
    _here: PhantomData<*const ()>,
}

impl Whole {
    /// Something begins that must be whole.
    pub(crate) fn begin() -> Self {
        let depth = DEPTH.get();
        UNDER_WAY.fetch_add(1, Ordering::SeqCst);
        if depth == 0 && ENDS.load(Ordering::SeqCst) {
            UNDER_WAY.fetch_sub(1, Ordering::SeqCst);
            // The program is ending: this thread gets no further.
            loop {
                std::thread::park();
            }
        }
        DEPTH.set(depth.saturating_add(1));
        Self { _here: PhantomData }
    }
}

impl Drop for Whole {
    fn drop(&mut self) {
        DEPTH.set(DEPTH.get().saturating_sub(1));
        UNDER_WAY.fetch_sub(1, Ordering::SeqCst);
    }
}

/// Files that mean nothing before they are finished, and take too long to be waited for.
static PASSING: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// As long as this lives, its file is taken away when the program is told to end. Begun, and let go of, while a [`Whole`] lives.
#[derive(Debug)]
pub(crate) struct Passing(PathBuf);

impl Passing {
    /// A file that is about to be made.
    pub(crate) fn begin(path: &Path) -> Self {
        if let Ok(mut passing) = PASSING.lock() {
            passing.insert(path.to_owned());
        }
        Self(path.to_owned())
    }
}

impl Drop for Passing {
    fn drop(&mut self) {
        if let Ok(mut passing) = PASSING.lock() {
            passing.remove(&self.0);
        }
    }
}

/// Waits until nothing is under way, lets nothing begin, and takes away what would mean nothing.
fn settle() {
    ENDS.store(true, Ordering::SeqCst);
    let began = Instant::now();
    while UNDER_WAY.load(Ordering::SeqCst) > 0 && began.elapsed() < PATIENCE {
        std::thread::sleep(Duration::from_millis(1));
    }
    if let Ok(passing) = PASSING.lock() {
        for path in &*passing {
            // Where it cannot be, the next run takes it away.
            let _ = std::fs::remove_file(path);
        }
    }
}

/// What is said when the program is told to end; empty for nothing.
static LAST_WORDS: Mutex<String> = Mutex::new(String::new());

/// From here on this is said when the program is told to end.
pub(crate) fn last_words(words: &str) {
    if let Ok(mut last) = LAST_WORDS.lock() {
        words.clone_into(&mut last);
    }
}

/// Says them past whoever holds the output: that thread gets no further.
fn say_last_words() {
    use std::io::Write as _;
    let words = LAST_WORDS
        .lock()
        .map_or_else(|_| String::new(), |words| words.clone());
    if words.is_empty() {
        return;
    }
    if let Ok(mut own) = own_stderr() {
        let _ = writeln!(own, "{words}");
    }
}

/// The error output, held by nobody.
#[cfg(unix)]
fn own_stderr() -> std::io::Result<std::fs::File> {
    use std::os::fd::AsFd as _;
    let own = std::io::stderr().as_fd().try_clone_to_owned()?;
    Ok(own.into())
}

#[cfg(windows)]
fn own_stderr() -> std::io::Result<std::fs::File> {
    use std::os::windows::io::AsHandle as _;
    let own = std::io::stderr().as_handle().try_clone_to_owned()?;
    Ok(own.into())
}

#[cfg(not(any(unix, windows)))]
fn own_stderr() -> std::io::Result<std::fs::File> {
    Err(std::io::ErrorKind::Unsupported.into())
}

/// Listens from here on, in a thread of its own. Where it cannot, the program ends as the system has it.
#[cfg(unix)]
pub(crate) fn listen() {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let wanted: Vec<i32> = [SIGINT, SIGTERM, SIGHUP]
        .into_iter()
        .filter(|signal| !is_ignored(*signal))
        .collect();
    let Ok(mut signals) = signal_hook::iterator::Signals::new(wanted) else {
        return;
    };
    std::thread::spawn(move || {
        for signal in signals.forever() {
            settle();
            say_last_words();
            // Ends the program by this very signal, as if nobody had listened.
            let _ = signal_hook::low_level::emulate_default_handler(signal);
        }
    });
}

/// Whether whoever started this program had it ignore a signal, as `nohup` does: then that stays so.
#[cfg(unix)]
fn is_ignored(signal: i32) -> bool {
    let Ok(status) = std::fs::read_to_string("/proc/self/status") else {
        // Other systems do not tell. A closed terminal is the one signal that a program is made to ignore.
        return signal == signal_hook::consts::SIGHUP;
    };
    let mask = status
        .lines()
        .find_map(|line| line.strip_prefix("SigIgn:"))
        .and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok());
    mask.is_some_and(|mask| (mask >> signal.saturating_sub(1)) & 1 == 1)
}

/// Listens from here on; the system calls this in a thread of its own. There, a console that is closed leaves no time: the program is
/// killed, and the next one finds what a killed one leaves.
#[cfg(not(unix))]
pub(crate) fn listen() {
    /// What a shell shows for a program ended by Ctrl-C.
    const INTERRUPTED: i32 = 130;
    let _ = ctrlc::set_handler(|| {
        settle();
        say_last_words();
        std::process::exit(INTERRUPTED);
    });
}
