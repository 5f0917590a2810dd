//! The emulated boards: find the emulator, build the firmware, start it, talk to it, cut its power.
//!
//! Knows nothing of what the firmware does.

use std::ffi::OsString;
use std::io;
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

/// The emulator's program.
pub const PROGRAM: &str = "qemu-system-arm";
/// The Debian package that brings it.
pub const PACKAGE: &str = "qemu-system-arm";
/// What most boards' chips understand.
pub const TARGET: &str = "thumbv7em-none-eabihf";
/// What the smallest core understands.
pub const SMALLEST_TARGET: &str = "thumbv6m-none-eabi";

/// Where the emulator is, if it is installed.
#[must_use]
pub fn find() -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path)
        .map(|folder| folder.join(PROGRAM))
        .find(|program| program.is_file())
}

/// What to say when it is not.
#[must_use]
pub fn missing() -> String {
    format!("`{PROGRAM}` is not installed; on Debian and Ubuntu: sudo apt-get install {PACKAGE}")
}

/// The folder of the workspace.
///
/// # Panics
///
/// If the tests package has no parent folder.
#[must_use]
pub fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the tests package has a parent folder")
        .to_path_buf()
}

/// Where cargo puts what it builds.
#[must_use]
pub fn target_folder(root: &Path) -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR")
        .map_or_else(|| root.join("target"), |folder| root.join(folder))
}

/// Where cargo puts the firmware for a target.
#[must_use]
pub fn firmware_folder(root: &Path, target: &str) -> PathBuf {
    target_folder(root).join(target).join("firmware")
}

/// The firmware that runs on an emulated board: the target, the boards' features, the binaries.
pub const FIRMWARE: [(&str, &str, &[&str]); 2] = [
    (
        TARGET,
        "ast1030,stm32f405",
        &["adapter_ast1030", "adapter_stm32f405", "load", "sessions"],
    ),
    (
        SMALLEST_TARGET,
        "microbit",
        &["adapter_microbit", "sessions"],
    ),
];

/// Builds the firmware of every board, one command for each target.
#[must_use]
pub fn build_commands(root: &Path) -> Vec<Command> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let build = |(target, features, names): &(&str, &str, &[&str])| {
        let mut command = Command::new(&cargo);
        command
            .current_dir(root)
            .args(["build", "--package", "evendraw-firmware"])
            .args(["--profile", "firmware", "--target", target])
            .args(["--features", features]);
        for name in *names {
            command.args(["--bin", name]);
        }
        command
    };
    FIRMWARE.iter().map(build).collect()
}

/// The firmware of one board for the usual target, built now if it is not built yet.
///
/// # Panics
///
/// If it cannot be built: a test that needs it cannot go on.
#[must_use]
pub fn firmware(name: &str) -> PathBuf {
    firmware_for(TARGET, name)
}

/// The firmware of one board for a target, built now if it is not built yet.
///
/// # Panics
///
/// As [`firmware`].
#[must_use]
pub fn firmware_for(target: &str, name: &str) -> PathBuf {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    let root = BUILT.get_or_init(|| {
        let root = workspace();
        for mut command in build_commands(&root) {
            let built = command.output().expect("cargo starts");
            assert!(
                built.status.success(),
                "the firmware does not build:\n{}",
                String::from_utf8_lossy(&built.stderr)
            );
        }
        root
    });
    let path = firmware_folder(root, target).join(name);
    assert!(
        path.is_file(),
        "no firmware is called {name}: {}",
        path.display()
    );
    path
}

/// Largest flash image: what the emulated chip holds.
pub const FLASH: usize = 4 * 1024 * 1024;

/// The adapter's board with this flash image, its link and its feed connected.
#[must_use]
pub fn adapter(flash: &Path) -> Board {
    Board::start(&Setup {
        machine: "ast1030-evb,spi-model=w25q32",
        firmware: firmware("adapter_ast1030"),
        flash: Some(flash.to_path_buf()),
        ports: 2,
        more: ["-semihosting-config", "enable=on,target=native"]
            .map(OsString::from)
            .to_vec(),
    })
}

/// Keeps what a firmware's stack came to where it ran, beside the firmware, for the report of sizes.
///
/// # Panics
///
/// If it cannot be written.
pub fn keep_stack(target: &str, name: &str, bytes: u32) {
    let path = firmware_folder(&workspace(), target).join(format!("{name}.stack"));
    std::fs::write(path, bytes.to_string()).expect("the measured stack is written");
}

/// How to start a board.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    /// The emulator's name of the machine.
    pub machine: &'static str,
    /// The firmware's file.
    pub firmware: PathBuf,
    /// The host file behind the flash chip, on boards that have one.
    pub flash: Option<PathBuf>,
    /// How many serial ports to connect.
    pub ports: usize,
    /// More words for the emulator.
    pub more: Vec<OsString>,
}

/// A running board. Dropping it cuts its power.
#[derive(Debug)]
pub struct Board {
    child: Child,
    /// Its serial ports, in the order of the machine.
    pub ports: Vec<UnixStream>,
    folder: PathBuf,
}

impl Board {
    /// Starts the emulator and waits until its serial ports are connected.
    ///
    /// # Panics
    ///
    /// If the emulator is missing or does not start.
    #[must_use]
    pub fn start(setup: &Setup) -> Self {
        let Some(program) = find() else {
            panic!("{}", missing())
        };
        let folder = scratch();
        let mut command = Command::new(program);
        command.args([
            "-nodefaults",
            "-display",
            "none",
            "-monitor",
            "none",
            "-machine",
            setup.machine,
        ]);
        command.arg("-kernel").arg(&setup.firmware);
        if let Some(flash) = &setup.flash {
            command
                .arg("-drive")
                .arg(format!("if=mtd,unit=2,format=raw,file={}", flash.display()));
        }
        let mut listeners = Vec::new();
        for port in 0..setup.ports {
            let path = folder.join(format!("port{port}"));
            let listener = UnixListener::bind(&path).expect("a socket in the scratch folder");
            listener
                .set_nonblocking(true)
                .expect("a socket that does not block");
            listeners.push(listener);
            command
                .arg("-chardev")
                .arg(format!("socket,id=port{port},path={}", path.display()));
            command.arg("-serial").arg(format!("chardev:port{port}"));
        }
        command
            .args(&setup.more)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn().expect("the emulator starts");
        let began = Instant::now();
        let ports = listeners
            .iter()
            .map(|listener| {
                loop {
                    match listener.accept() {
                        Ok((stream, _)) => {
                            stream.set_nonblocking(false).expect("a stream that blocks");
                            break stream;
                        }
                        Err(problem) if problem.kind() == io::ErrorKind::WouldBlock => {
                            if child.try_wait().expect("the emulator's state").is_some()
                                || began.elapsed() > Duration::from_secs(20)
                            {
                                let _ = child.kill();
                                let mut said = String::new();
                                if let Some(mut stream) = child.stderr.take() {
                                    let _ = io::Read::read_to_string(&mut stream, &mut said);
                                }
                                panic!("the emulator did not connect its ports: {said}");
                            }
                            std::thread::sleep(Duration::from_millis(1));
                        }
                        Err(problem) => panic!("the emulator's port: {problem}"),
                    }
                }
            })
            .collect();
        Self {
            child,
            ports,
            folder,
        }
    }

    /// Cuts the power: nothing the firmware had not yet written reaches the flash file.
    pub fn cut(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Cuts the power and returns what the firmware wrote through the debugger's channel.
    #[must_use]
    pub fn cut_and_read(&mut self) -> Vec<u8> {
        self.cut();
        let mut bytes = Vec::new();
        if let Some(mut stream) = self.child.stdout.take() {
            let _ = io::Read::read_to_end(&mut stream, &mut bytes);
        }
        bytes
    }

    /// Waits for the firmware to end by itself, and returns what it wrote through the debugger's channel.
    ///
    /// # Panics
    ///
    /// If it has not ended within `limit`.
    #[must_use]
    pub fn finish(&mut self, limit: Duration) -> Vec<u8> {
        let mut stream = self.child.stdout.take().expect("the output is taken once");
        let reader = std::thread::spawn(move || {
            let mut bytes = Vec::new();
            let _ = io::Read::read_to_end(&mut stream, &mut bytes);
            bytes
        });
        let began = Instant::now();
        while self
            .child
            .try_wait()
            .expect("the emulator's state")
            .is_none()
        {
            if began.elapsed() > limit {
                self.cut();
                let said = reader.join().unwrap_or_default();
                panic!(
                    "the firmware ran for more than {limit:?}; it wrote {}",
                    String::from_utf8_lossy(&said)
                );
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        reader.join().unwrap_or_default()
    }
}

impl Drop for Board {
    fn drop(&mut self) {
        self.cut();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

/// A folder of its own for a board's sockets; short, because a socket's path may have only 108 bytes.
fn scratch() -> PathBuf {
    static COUNT: std::sync::atomic::AtomicU32 = std::sync::atomic::AtomicU32::new(0);
    let count = COUNT.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    let folder =
        std::env::temp_dir().join(format!("evendraw-board-{}-{count}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}
