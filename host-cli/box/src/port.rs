//! The serial line to a box, and a pseudo-terminal that stands for one.

use std::io::{self, Read, Write};
use std::time::{Duration, Instant};

use landfall_firmware::frame::{FrameError, Receiver, encode};
use landfall_firmware::link::{BAUD, FromBox, ToBox};

/// How long one read waits.
const READ_WAIT: Duration = Duration::from_millis(20);

/// How long a pseudo-terminal must be seen empty to count as read to its end.
#[cfg(unix)]
const EMPTY: Duration = Duration::from_millis(500);

/// Turns a line's bytes into messages.
#[derive(Debug, Default)]
pub struct Decoder {
    receiver: Receiver,
}

impl Decoder {
    /// The messages that these bytes complete.
    pub fn take(&mut self, bytes: &[u8]) -> Vec<Result<FromBox, FrameError>> {
        bytes.iter().filter_map(|byte| self.receiver.push(*byte)).collect()
    }
}

/// An open line to a box.
pub struct Port {
    name: String,
    port: Box<dyn serialport::SerialPort>,
    decoder: Decoder,
    waiting: std::collections::VecDeque<Result<FromBox, FrameError>>,
}

impl std::fmt::Debug for Port {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Port").field("name", &self.name).finish_non_exhaustive()
    }
}

impl Port {
    /// Opens a serial port (or a pseudo-terminal) at the box's speed.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn open(name: &str) -> io::Result<Self> {
        let port = serialport::new(name, BAUD).timeout(READ_WAIT).open()?;
        Ok(Self {
            name: name.to_owned(),
            port,
            decoder: Decoder::default(),
            waiting: std::collections::VecDeque::new(),
        })
    }

    /// The port's name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Sends a message. A zero goes first, so that what was on the line before does not spoil it.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn send(&mut self, message: &ToBox) -> io::Result<()> {
        let frame = encode(message).map_err(|error| io::Error::other(format!("{error:?}")))?;
        self.port.write_all(&[0])?;
        self.port.write_all(frame.bytes())?;
        self.port.flush()
    }

    /// The next message, or none if there was none for a moment.
    ///
    /// # Errors
    /// The line is gone.
    pub fn receive(&mut self) -> io::Result<Option<Result<FromBox, FrameError>>> {
        if let Some(message) = self.waiting.pop_front() {
            return Ok(Some(message));
        }
        let mut bytes = [0; 4096];
        match self.port.read(&mut bytes) {
            // A port that is ready and gives nothing is gone.
            Ok(0) => return Err(io::ErrorKind::UnexpectedEof.into()),
            Ok(n) => self.waiting.extend(self.decoder.take(bytes.get(..n).unwrap_or(&[]))),
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::TimedOut | io::ErrorKind::Interrupted | io::ErrorKind::WouldBlock
                ) => {}
            Err(error) => return Err(error),
        }
        Ok(self.waiting.pop_front())
    }

    /// The first good message that `wanted` takes, within `wait`.
    ///
    /// # Errors
    /// [`io::ErrorKind::TimedOut`], or the line is gone.
    pub fn wait_for<T>(&mut self, wait: Duration, mut wanted: impl FnMut(&FromBox) -> Option<T>) -> io::Result<T> {
        let until = Instant::now() + wait;
        while Instant::now() < until {
            if let Some(Ok(message)) = self.receive()?
                && let Some(found) = wanted(&message)
            {
                return Ok(found);
            }
        }
        Err(io::ErrorKind::TimedOut.into())
    }
}

/// A pseudo-terminal whose other end a program may open as if a box were there.
#[cfg(unix)]
#[derive(Debug)]
pub struct Terminal {
    ours: rustix::fd::OwnedFd,
    /// Kept open, so that readers may come and go.
    theirs: rustix::fd::OwnedFd,
    path: String,
}

#[cfg(unix)]
impl Terminal {
    /// A new one, raw.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn new() -> io::Result<Self> {
        use rustix::fs::{Mode, OFlags};
        use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
        use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
        let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        grantpt(&ours)?;
        unlockpt(&ours)?;
        let path = ptsname(&ours, Vec::new())?.into_string().map_err(io::Error::other)?;
        let theirs = rustix::fs::open(path.as_str(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty())?;
        let mut raw = tcgetattr(&theirs)?;
        raw.make_raw();
        tcsetattr(&theirs, OptionalActions::Now, &raw)?;
        rustix::io::ioctl_fionbio(&ours, true)?;
        Ok(Self { ours, theirs, path })
    }

    /// Where it can be opened.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// What came, if anything.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn read(&self) -> io::Result<Vec<u8>> {
        let mut bytes = [0; 512];
        match rustix::io::read(&self.ours, &mut bytes) {
            Ok(n) => Ok(bytes.get(..n).unwrap_or(&[]).to_vec()),
            Err(rustix::io::Errno::AGAIN | rustix::io::Errno::INTR | rustix::io::Errno::IO) => Ok(Vec::new()),
            Err(error) => Err(error.into()),
        }
    }

    /// Writes what fits and drops the rest, as a line with nobody at its end does.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn write_or_drop(&self, bytes: &[u8]) -> io::Result<()> {
        let mut rest = bytes;
        while !rest.is_empty() {
            match rustix::io::write(&self.ours, rest) {
                Ok(n) => rest = rest.get(n..).unwrap_or(&[]),
                Err(rustix::io::Errno::AGAIN | rustix::io::Errno::IO) => return Ok(()),
                Err(rustix::io::Errno::INTR) => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    /// Writes all of it, waiting for a reader; false once nothing has moved for `patience`.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn write_whole(&self, bytes: &[u8], patience: Duration) -> io::Result<bool> {
        let mut rest = bytes;
        let mut since = Instant::now();
        while !rest.is_empty() {
            match rustix::io::write(&self.ours, rest) {
                Ok(n) => {
                    rest = rest.get(n..).unwrap_or(&[]);
                    since = Instant::now();
                }
                Err(rustix::io::Errno::AGAIN | rustix::io::Errno::INTR) => {
                    if since.elapsed() > patience {
                        return Ok(false);
                    }
                    std::thread::sleep(Duration::from_micros(200));
                }
                Err(error) => return Err(error.into()),
            }
        }
        Ok(true)
    }

    /// Waits until the reader has taken everything; false once `patience` is over.
    ///
    /// What the system is still carrying to the other end cannot be seen, so nothing must be left there for a while.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn drain(&self, patience: Duration) -> io::Result<bool> {
        let until = Instant::now() + patience;
        let mut empty_since = Instant::now();
        while empty_since.elapsed() < EMPTY {
            if rustix::io::ioctl_fionread(&self.theirs)? > 0 {
                empty_since = Instant::now();
            }
            if Instant::now() > until {
                return Ok(false);
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        Ok(true)
    }
}
