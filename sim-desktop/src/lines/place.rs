//! Where lines come from: a serial port, a host and port over TCP, or standard input.
//!
//! Knows nothing of what a line says.

use std::fmt;
use std::io::{self, Read as _};
use std::net::{TcpStream, ToSocketAddrs as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::link::{Port, arrived};

/// How long one look for bytes takes at most.
const LOOK: Duration = Duration::from_millis(50);
/// How long a host is waited for.
const CONNECT: Duration = Duration::from_secs(3);

/// Where lines come from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// A serial port, a pseudo terminal, or (on Unix) a socket in the file system.
    Port(PathBuf),
    /// `HOST:PORT` over TCP.
    Host(String),
    /// Standard input.
    Input,
}

impl Place {
    /// The place of a text: `-` is standard input, `HOST:PORT` a host where no such file exists, anything else a port.
    ///
    /// # Examples
    /// ```
    /// use evendraw::lines::Place;
    /// assert_eq!(Place::named("localhost:7000"), Place::Host("localhost:7000".to_owned()));
    /// assert!(matches!(Place::named("/dev/ttyUSB0"), Place::Port(_)));
    /// ```
    #[must_use]
    pub fn named(text: &str) -> Self {
        if text == "-" {
            return Self::Input;
        }
        let is_host = text.rsplit_once(':').is_some_and(|(host, port)| {
            !host.is_empty() && !host.contains(['/', '\\']) && port.parse::<u16>().is_ok()
        });
        if is_host && !Path::new(text).exists() {
            Self::Host(text.to_owned())
        } else {
            Self::Port(PathBuf::from(text))
        }
    }

    /// Whether reading may begin in the middle of a line.
    pub(super) const fn begins_anywhere(&self) -> bool {
        !matches!(self, Self::Input)
    }

    /// Whether whoever sends can be made to wait; a serial line cannot.
    pub(super) const fn can_wait(&self) -> bool {
        !matches!(self, Self::Port(_))
    }

    /// Whether it can be opened again after it ended.
    pub(super) const fn can_come_back(&self) -> bool {
        !matches!(self, Self::Input)
    }

    pub(super) fn open(&self, baud: u32) -> io::Result<Source> {
        match self {
            Self::Port(path) => Port::open_at(path, baud).map(Source::Port),
            Self::Host(name) => {
                let mut last = io::Error::from(io::ErrorKind::NotFound);
                for address in name.to_socket_addrs()? {
                    match TcpStream::connect_timeout(&address, CONNECT) {
                        Ok(stream) => {
                            stream.set_read_timeout(Some(LOOK))?;
                            stream.set_nodelay(true)?;
                            return Ok(Source::Host(stream));
                        }
                        Err(error) => last = error,
                    }
                }
                Err(last)
            }
            Self::Input => Ok(Source::Input),
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Port(path) => path.display().fmt(f),
            Self::Host(name) => f.write_str(name),
            Self::Input => f.write_str("standard input"),
        }
    }
}

/// An open place.
#[derive(Debug)]
pub(super) enum Source {
    Port(Port),
    Host(TcpStream),
    Input,
}

impl Source {
    /// Takes what has arrived; nothing after a short while without any. Standard input is waited for.
    pub(super) fn receive(&mut self, into: &mut [u8]) -> io::Result<usize> {
        arrived(match self {
            Self::Port(port) => return port.receive(into),
            Self::Host(stream) => stream.read(into),
            Self::Input => io::stdin().lock().read(into),
        })
    }
}

/// Why a place gives nothing, in plain words.
pub(super) fn trouble(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "nothing is plugged in there".to_owned(),
        io::ErrorKind::UnexpectedEof => "the other end hung up".to_owned(),
        io::ErrorKind::ConnectionRefused => "nobody listens there".to_owned(),
        _ => error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::Place;

    #[test]
    fn a_place_is_told_by_its_text() {
        for (text, host) in [
            ("bench-3:4001", true),
            ("192.0.2.7:80", true),
            ("[::1]:7000", true),
            ("/dev/ttyUSB0", false),
            ("COM3", false),
            ("C:\\x", false),
            ("/dev/serial/by-path/a:1", false),
            ("host:99999", false),
            (":7000", false),
        ] {
            assert_eq!(matches!(Place::named(text), Place::Host(_)), host, "{text}");
        }
        assert_eq!(Place::named("-"), Place::Input);
    }
}
