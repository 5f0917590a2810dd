//! A cue for the ears: near the target, at it, too far, rejected; told apart by rhythm as well as by pitch.
//!
//! Nothing is linked for it: the bytes of a WAV file are made here and handed to a player of the system on its standard
//! input, where one is installed. Off by default. Knows nothing of screens.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};

use super::view::{Cue, DeskView};

/// What is heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tone {
    /// The target is near: two short ones, low.
    Near,
    /// Let go: one long one, high.
    There,
    /// Too far, or stop at once: four very short ones, high.
    Over,
    /// The attempt is rejected: one short, one long, falling.
    Rejected,
}

/// Samples a second.
const RATE: u32 = 22_050;

impl Tone {
    /// Sounds and silences in turn: hertz (0 is silence) and milliseconds.
    const fn beats(self) -> &'static [(u32, u32)] {
        match self {
            Self::Near => &[(660, 70), (0, 70), (660, 70)],
            Self::There => &[(990, 420)],
            Self::Over => &[
                (1320, 55),
                (0, 45),
                (1320, 55),
                (0, 45),
                (1320, 55),
                (0, 45),
                (1320, 55),
            ],
            Self::Rejected => &[(440, 120), (0, 60), (294, 480)],
        }
    }

    /// The bytes of a WAV file: one channel of 16 bits [RIFF WAVE, format tag 1].
    pub(super) fn wav(self) -> Vec<u8> {
        let mut samples: Vec<i16> = Vec::new();
        for &(hertz, millis) in self.beats() {
            let count = RATE * millis / 1000;
            for index in 0..count {
                let at = f64::from(index) / f64::from(RATE);
                // Four milliseconds in and out, so that nothing clicks.
                let edge = (f64::from(index.min(count - index)) / f64::from(RATE) / 0.004).min(1.0);
                let wave = (std::f64::consts::TAU * f64::from(hertz) * at).sin();
                #[expect(clippy::cast_possible_truncation, reason = "within ±20,000")]
                samples.push((wave * edge * 20_000.0) as i16);
            }
        }
        let data = u32::try_from(samples.len() * 2).unwrap_or(0);
        let mut bytes = Vec::with_capacity(samples.len() * 2 + 44);
        bytes.extend_from_slice(b"RIFF");
        bytes.extend_from_slice(&(36 + data).to_le_bytes());
        bytes.extend_from_slice(b"WAVEfmt ");
        bytes.extend_from_slice(&16u32.to_le_bytes());
        for short in [1u16, 1] {
            bytes.extend_from_slice(&short.to_le_bytes());
        }
        bytes.extend_from_slice(&RATE.to_le_bytes());
        bytes.extend_from_slice(&(RATE * 2).to_le_bytes());
        for short in [2u16, 16] {
            bytes.extend_from_slice(&short.to_le_bytes());
        }
        bytes.extend_from_slice(b"data");
        bytes.extend_from_slice(&data.to_le_bytes());
        for sample in samples {
            bytes.extend_from_slice(&sample.to_le_bytes());
        }
        bytes
    }
}

/// Programs that play a WAV file from their standard input, with what they must be told.
const PLAYERS: [(&str, &[&str]); 3] = [
    ("paplay", &[]),
    ("pw-play", &["-"]),
    ("aplay", &["-q", "-"]),
];

/// Hears what a view says that is new, and plays it.
#[derive(Debug, Default)]
pub(super) struct Ears {
    player: Option<(PathBuf, &'static [&'static str])>,
    trouble: Arc<Mutex<Option<String>>>,
    cue: Option<Cue>,
    alerted: bool,
}

impl Ears {
    /// Looks for a player in these folders, as `PATH` lists them.
    pub(super) fn new(path: &std::ffi::OsStr) -> Self {
        let found = PLAYERS.iter().find_map(|&(name, arguments)| {
            let mut places = std::env::split_paths(path).map(|folder| folder.join(name));
            places
                .find(|place| place.is_file())
                .map(|place| (place, arguments))
        });
        Self {
            player: found,
            ..Self::default()
        }
    }

    /// What is said when sound is switched on: through which player, or that there is none.
    pub(super) fn switched_on(&self) -> Result<String, String> {
        match &self.player {
            Some((path, _)) => Ok(format!(
                "sound on, through {} (F9 turns it off)",
                name(path)
            )),
            None if cfg!(windows) => Err(
                "sound is played by paplay, pw-play or aplay, which Windows does not have: sound stays off"
                    .to_owned(),
            ),
            None => Err(
                "no player of sound is installed (paplay, pw-play or aplay): sound stays off"
                    .to_owned(),
            ),
        }
    }

    /// What is new in this view to be heard.
    pub(super) fn hear(&mut self, view: &DeskView) -> Option<Tone> {
        let joint = view.joint.as_ref();
        let cue = joint.map(|joint| joint.live.cue);
        let alerted = joint.is_some_and(super::view::JointView::is_alerted);
        let (was, was_alerted) = (self.cue, self.alerted);
        (self.cue, self.alerted) = (cue, alerted);
        // Entering a joint, or finding an alert there, is no news.
        was?;
        match cue {
            _ if alerted && !was_alerted => Some(Tone::Rejected),
            _ if cue == was => None,
            Some(Cue::Slow) => Some(Tone::Near),
            Some(Cue::Stop) => Some(Tone::There),
            Some(Cue::Halt) => Some(Tone::Over),
            _ => None,
        }
    }

    /// Plays it, beside everything else; what goes wrong is told by [`Ears::trouble`] later.
    pub(super) fn play(&self, tone: Tone) {
        let Some((path, arguments)) = self.player.clone() else {
            return;
        };
        let trouble = Arc::clone(&self.trouble);
        std::thread::spawn(move || {
            let played = run(&path, arguments, &tone.wav());
            if let (Err(words), Ok(mut trouble)) = (played, trouble.lock()) {
                *trouble = Some(format!(
                    "{} could not play: {words}; sound is off",
                    name(&path)
                ));
            }
        });
    }

    /// What went wrong since it was asked last.
    pub(super) fn trouble(&self) -> Option<String> {
        self.trouble.lock().ok()?.take()
    }
}

fn name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

fn run(path: &Path, arguments: &[&str], bytes: &[u8]) -> Result<(), String> {
    let mut child = Command::new(path)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|error| error.to_string())?;
    // A player that ends early says why at its end; that it reads no more is not the news.
    let _ = child.stdin.take().map(|mut pipe| pipe.write_all(bytes));
    let ended = child
        .wait_with_output()
        .map_err(|error| error.to_string())?;
    if ended.status.success() {
        return Ok(());
    }
    let said = String::from_utf8_lossy(&ended.stderr);
    Err(said
        .lines()
        .next()
        .unwrap_or("it gave no reason")
        .to_owned())
}

#[cfg(test)]
mod tests {
    use super::{Cue, DeskView, Ears, Tone};
    use crate::desk::view::{JointView, Prompt};

    const TONES: [Tone; 4] = [Tone::Near, Tone::There, Tone::Over, Tone::Rejected];

    #[test]
    fn every_tone_is_a_wav_file_as_long_as_it_says() {
        // [RIFF WAVE: sizes at bytes 4 and 40, little end first, count what follows them]
        for tone in TONES {
            let bytes = tone.wav();
            let size = |at: usize| {
                let field: [u8; 4] = bytes[at..at + 4].try_into().unwrap();
                usize::try_from(u32::from_le_bytes(field)).unwrap()
            };
            assert_eq!(
                (&bytes[..4], &bytes[8..16]),
                (&b"RIFF"[..], &b"WAVEfmt "[..])
            );
            assert_eq!((size(4), size(40)), (bytes.len() - 8, bytes.len() - 44));
            assert!(bytes.len() > 44 + 4000, "{tone:?} is hardly heard");
        }
    }

    #[test]
    fn tones_differ_in_rhythm_and_not_in_pitch_alone() {
        let rhythm = |tone: Tone| -> Vec<(bool, u32)> {
            tone.beats()
                .iter()
                .map(|(hertz, millis)| (*hertz > 0, *millis))
                .collect()
        };
        for (index, a) in TONES.iter().enumerate() {
            for b in &TONES[index + 1..] {
                assert_ne!(rhythm(*a), rhythm(*b), "{a:?} and {b:?}");
            }
        }
    }

    fn view(cue: Cue, alert: bool) -> DeskView {
        let mut joint = JointView::default();
        joint.live.cue = cue;
        joint.prompt = alert.then(|| Prompt {
            grave: true,
            ..Prompt::default()
        });
        DeskView {
            joint: Some(joint),
            ..DeskView::default()
        }
    }

    #[test]
    fn each_turn_of_a_pull_is_heard_once() {
        let mut ears = Ears::default();
        let heard: Vec<Option<Tone>> = [
            (Cue::Pull, false),
            (Cue::Slow, false),
            (Cue::Slow, false),
            (Cue::Stop, false),
            (Cue::Halt, false),
            (Cue::Storing, false),
            (Cue::Wait, true),
            (Cue::Wait, true),
            (Cue::Ready, false),
        ]
        .iter()
        .map(|(cue, alert)| ears.hear(&view(*cue, *alert)))
        .collect();
        assert_eq!(
            heard,
            [
                None,
                Some(Tone::Near),
                None,
                Some(Tone::There),
                Some(Tone::Over),
                None,
                Some(Tone::Rejected),
                None,
                None
            ]
        );
    }

    #[test]
    fn an_alert_found_on_entering_is_no_news() {
        assert_eq!(Ears::default().hear(&view(Cue::Wait, true)), None);
    }

    #[test]
    fn without_a_player_it_says_which_would_do() {
        let ears = Ears::new(std::ffi::OsStr::new("/nowhere"));
        let words = ears.switched_on().unwrap_err();
        assert!(
            words.contains("aplay") && words.contains("stays off"),
            "{words}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_player_gets_the_bytes_and_its_failure_is_told() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = std::env::temp_dir().join(format!("evendraw-ears-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).unwrap();
        let player = folder.join("aplay");
        let got = folder.join("got.wav");
        let install = |script: String| {
            std::fs::write(&player, script).unwrap();
            std::fs::set_permissions(&player, std::fs::Permissions::from_mode(0o755)).unwrap();
        };
        let wait = |done: &dyn Fn() -> bool| {
            for _ in 0..400 {
                if done() {
                    return true;
                }
                std::thread::sleep(std::time::Duration::from_millis(10));
            }
            false
        };
        install(format!(
            "#!/bin/sh\ncat > '{0}.part' && mv '{0}.part' '{0}'\n",
            got.display()
        ));
        let ears = Ears::new(folder.as_os_str());
        assert!(ears.switched_on().unwrap().contains("aplay"));
        ears.play(Tone::There);
        assert!(wait(&|| got.exists()), "the player was never run");
        assert_eq!(std::fs::read(&got).unwrap(), Tone::There.wav());
        assert_eq!(ears.trouble(), None);
        install("#!/bin/sh\necho no device >&2\nexit 1\n".to_owned());
        ears.play(Tone::Over);
        let told = std::cell::RefCell::new(None);
        assert!(wait(&|| {
            if let Some(words) = ears.trouble() {
                *told.borrow_mut() = Some(words);
            }
            told.borrow().is_some()
        }));
        assert!(
            told.borrow().as_ref().unwrap().contains("no device"),
            "{told:?}"
        );
        let _ = std::fs::remove_dir_all(&folder);
    }
}
