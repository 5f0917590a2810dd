//! A line of bytes to an adapter: a serial port, or the socket of an emulated one.
//!
//! Knows nothing of what goes over it.

use std::io::{self, Read, Write};
use std::path::Path;
use std::time::Duration;

/// Bits a second of the link.
const RATE: u32 = 115_200;
/// How long one look for bytes takes at most.
const LOOK: Duration = Duration::from_millis(50);

trait Line: Read + Write + Send {}
impl<L: Read + Write + Send> Line for L {}

/// An open line.
pub struct Port(Box<dyn Line>);

impl std::fmt::Debug for Port {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Port")
    }
}

impl Port {
    /// Opens a serial port, a pseudo terminal, or (on Unix) a socket in the file system.
    ///
    /// # Errors
    /// What the system says.
    pub fn open(path: &Path) -> io::Result<Self> {
        Self::open_at(path, RATE)
    }

    /// As [`Port::open`], at so many bits a second where the line has a rate.
    ///
    /// # Errors
    /// What the system says.
    pub fn open_at(path: &Path, rate: u32) -> io::Result<Self> {
        #[cfg(unix)]
        {
            use std::os::unix::fs::FileTypeExt as _;
            if path
                .metadata()
                .is_ok_and(|found| found.file_type().is_socket())
            {
                let socket = std::os::unix::net::UnixStream::connect(path)?;
                socket.set_read_timeout(Some(LOOK))?;
                return Ok(Self(Box::new(socket)));
            }
        }
        let port = serialport::new(path.to_string_lossy(), rate)
            .timeout(LOOK)
            .open()
            .map_err(io::Error::from)?;
        Ok(Self(Box::new(port)))
    }

    /// A line that is open already. Its `read` waits a short while at most, and then says [`io::ErrorKind::TimedOut`].
    #[must_use]
    pub fn over(line: impl Read + Write + Send + 'static) -> Self {
        Self(Box::new(line))
    }

    pub(super) fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)?;
        self.0.flush()
    }

    /// Takes what has arrived; nothing after a short while without any.
    pub(crate) fn receive(&mut self, into: &mut [u8]) -> io::Result<usize> {
        arrived(self.0.read(into))
    }
}

/// What a read with a time limit brought: nothing where nothing came in time, the end of a line as an error.
pub(crate) fn arrived(read: io::Result<usize>) -> io::Result<usize> {
    match read {
        Ok(0) => Err(io::ErrorKind::UnexpectedEof.into()),
        Ok(count) => Ok(count),
        Err(error)
            if matches!(
                error.kind(),
                io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted
            ) =>
        {
            Ok(0)
        }
        Err(error) => Err(error),
    }
}

/// The serial ports of this machine, by the names that [`Port::open`] takes, in order.
#[must_use]
pub fn ports() -> Vec<String> {
    let mut names: Vec<String> = serialport::available_ports()
        .unwrap_or_default()
        .into_iter()
        .map(|port| port.port_name)
        .collect();
    names.sort();
    names
}
