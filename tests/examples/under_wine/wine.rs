//! The program for Windows, run by Wine in a folder as people there name them; and what it says.
//!
//! Knows nothing of what is asked of it.

use std::ffi::OsStr;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use evendraw_tests::binary;
use evendraw_tests::emulator::workspace;

const TARGET: &str = "x86_64-pc-windows-gnu";
/// Spaces, umlauts, brackets: as people name folders.
const FOLDER: &str = "Prüfstand 7 (öffentlich)";

/// Wine with a drive of its own, and the program.
pub(crate) struct Wine {
    program: PathBuf,
    evendraw: PathBuf,
    /// The program of this system.
    here: PathBuf,
    prefix: PathBuf,
    /// Where everything happens.
    pub(crate) folder: PathBuf,
}

/// What a run said.
pub(crate) struct Said {
    pub(crate) status: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Wine {
    /// Builds the program without its window, and makes a drive for it.
    ///
    /// # Errors
    /// What is missing.
    pub(crate) fn start() -> Result<Self, String> {
        let program = ["/usr/lib/wine/wine64", "/usr/bin/wine64", "/usr/bin/wine"]
            .map(PathBuf::from)
            .into_iter()
            .find(|path| path.is_file())
            .ok_or("no Wine is installed (Debian: wine64)")?;
        let given = |name| std::env::var_os(name).map(PathBuf::from);
        let evendraw = given("EVENDRAW_EXE").map_or_else(built, Ok)?;
        let here = given("EVENDRAW_HERE").unwrap_or_else(|| binary::evendraw().to_owned());
        let own = std::env::temp_dir().join(format!("evendraw-wine-{}", std::process::id()));
        let folder = own.join(FOLDER);
        std::fs::create_dir_all(&folder).map_err(|error| error.to_string())?;
        let wine = Self {
            program,
            evendraw,
            here,
            prefix: own.join("drive"),
            folder,
        };
        wine.keep_serving();
        // The first start makes the drive, which takes a while.
        let _ = wine.run(["--version"]);
        wine.bring_chance()?;
        let said = wine.run(["--version"]);
        if said.status != Some(0) {
            return Err(format!("it does not start: {}{}", said.out, said.err));
        }
        println!("{} under {}", said.out.trim(), wine.program.display());
        Ok(wine)
    }

    /// What Wine shares between programs is started beforehand, and stays: started by a program it would hold that one's pipes open.
    fn keep_serving(&self) {
        let _ = Command::new("/usr/lib/wine/wineserver")
            .arg("-p")
            .env("WINEPREFIX", &self.prefix)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
    }

    /// Every Windows since 7 has this library, and Wine before 8.14 has not: its one function, of another library's.
    fn bring_chance(&self) -> Result<(), String> {
        const SOURCE: &str = "#include <windows.h>\n\
            BOOLEAN NTAPI SystemFunction036(PVOID, ULONG);\n\
            __declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE to, SIZE_T many)\n\
            { return SystemFunction036(to, many); }\n";
        let library = self
            .prefix
            .join("drive_c/windows/system32/bcryptprimitives.dll");
        if library.exists() {
            return Ok(());
        }
        let mut compile = Command::new("x86_64-w64-mingw32-gcc");
        compile.args(["-shared", "-x", "c", "-", "-ladvapi32", "-o"]);
        compile.arg(&library);
        let made = said(compile, SOURCE)?;
        match made.status {
            Some(0) => Ok(()),
            _ => Err(made.err),
        }
    }

    /// A command that runs it there. The process is the program's own: to kill it is to kill the program.
    pub(crate) fn command(&self, line: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Command {
        let mut command = Command::new(&self.program);
        command
            .arg(&self.evendraw)
            .args(line)
            .current_dir(&self.folder)
            .env("WINEPREFIX", &self.prefix)
            .env("WINEDEBUG", "-all")
            .env("WINEDLLOVERRIDES", "mscoree,mshtml=")
            .env("NO_COLOR", "1");
        command
    }

    /// Runs it and waits.
    pub(crate) fn run(&self, line: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Said {
        self.run_typed(line, "")
    }

    /// Runs it with this typed, and waits.
    pub(crate) fn run_typed(
        &self,
        line: impl IntoIterator<Item = impl AsRef<OsStr>>,
        typed: &str,
    ) -> Said {
        said(self.command(line), typed).expect("Wine starts")
    }

    /// The same with the program of this system.
    pub(crate) fn run_here(&self, line: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Said {
        let mut command = Command::new(&self.here);
        command
            .current_dir(&self.folder)
            .args(line)
            .env("NO_COLOR", "1");
        said(command, "").expect("evendraw starts")
    }

    /// The text of a file there.
    pub(crate) fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.folder.join(name)).unwrap_or_default()
    }

    /// Writes a file there.
    pub(crate) fn put(&self, name: &str, text: &str) {
        std::fs::write(self.folder.join(name), text).expect("it is written");
    }

    /// Gives a port of this system a name that Windows has for one.
    pub(crate) fn name_port(&self, name: &str, port: &str) {
        let devices = self.prefix.join("dosdevices");
        let _ = std::fs::remove_file(devices.join(name));
        std::os::unix::fs::symlink(port, devices.join(name)).expect("a name for the port");
    }

    /// Ends what Wine keeps running, and takes the drive away.
    pub(crate) fn end(self) {
        let _ = Command::new("/usr/lib/wine/wineserver")
            .arg("-k")
            .env("WINEPREFIX", &self.prefix)
            .status();
        if let Some(own) = self.folder.parent() {
            let _ = std::fs::remove_dir_all(own);
        }
    }
}

fn said(mut command: Command, typed: &str) -> Result<Said, String> {
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|error| format!("{}: {error}", command.get_program().display()))?;
    if let Some(mut input) = child.stdin.take() {
        // It may end before it has read all.
        let _ = input.write_all(typed.as_bytes());
    }
    let output = child
        .wait_with_output()
        .map_err(|error| error.to_string())?;
    Ok(Said {
        status: output.status.code(),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    })
}

fn built() -> Result<PathBuf, String> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let mut build = Command::new(cargo);
    build.current_dir(workspace()).args([
        "build",
        "--quiet",
        "--package",
        "evendraw",
        "--bin",
        "evendraw",
        "--no-default-features",
        "--features",
        "parquet",
        "--target",
        TARGET,
    ]);
    let status = build.status().map_err(|error| error.to_string())?;
    if !status.success() {
        return Err(format!(
            "it does not build for {TARGET}; it needs that target and a linker (Debian: gcc-mingw-w64-x86-64)"
        ));
    }
    let folder = std::env::var_os("CARGO_TARGET_DIR")
        .map_or_else(|| workspace().join("target"), PathBuf::from);
    Ok(Path::new(&folder)
        .join(TARGET)
        .join("debug")
        .join("evendraw.exe"))
}
