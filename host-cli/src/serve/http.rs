//! One HTTP/1.1 request in, one response out, within bounds of size and time.

use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Bounds of what is read.
#[derive(Clone, Copy, Debug)]
pub struct Bounds {
    /// Bytes of the request line and headers.
    pub head_bytes: usize,
    /// Bytes of the body.
    pub body_bytes: usize,
    /// Time for the head to arrive.
    pub head_patience: Duration,
    /// Time for the body to arrive after it.
    pub patience: Duration,
}

impl Default for Bounds {
    /// 16 KiB of head within 1 s, 1 MiB of body within 5 s.
    fn default() -> Self {
        Self {
            head_bytes: 16 << 10,
            body_bytes: 1 << 20,
            head_patience: Duration::from_secs(1),
            patience: Duration::from_secs(5),
        }
    }
}

/// Headers that a request may have.
const HEADERS: usize = 64;
/// How long what is left of a refused request is read on, so that its sender sees the answer.
const LINGER: Duration = Duration::from_millis(500);
/// Of which no more than this is read.
const LINGER_BYTES: usize = 4 << 20;

/// One request.
#[derive(Clone, Debug, Default)]
pub struct Request {
    /// Method as it was sent.
    pub method: String,
    /// Path and query as they were sent; nothing is decoded.
    pub target: String,
    /// Names in lower case, values.
    pub headers: Vec<(String, String)>,
    /// What follows the headers.
    pub body: Vec<u8>,
}

impl Request {
    /// The value of a header that comes once; `Err` where it comes more than once.
    ///
    /// # Errors
    /// [`Refusal`] of status 400.
    pub fn once(&self, name: &str) -> Result<Option<&str>, Refusal> {
        let mut values = self.headers.iter().filter(|(other, _)| other == name).map(|(_, value)| value.as_str());
        let first = values.next();
        if values.next().is_some() {
            return Err(Refusal::new(400, format!("the header {name} comes twice")));
        }
        Ok(first)
    }

    /// Path without the query.
    #[must_use]
    pub fn path(&self) -> &str {
        self.target.split_once('?').map_or(self.target.as_str(), |(path, _)| path)
    }

    /// Query, empty where there is none.
    #[must_use]
    pub fn query(&self) -> &str {
        self.target.split_once('?').map_or("", |(_, query)| query)
    }
}

/// Why a request is not answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Status.
    pub status: u16,
    /// In words.
    pub why: String,
}

impl Refusal {
    /// A refusal.
    #[must_use]
    pub fn new(status: u16, why: impl Into<String>) -> Self {
        Self { status, why: why.into() }
    }
}

/// What ends reading.
#[derive(Debug)]
pub enum Ended {
    /// Nobody is there any more, or nothing was sent: there is no one to answer.
    Gone,
    /// Answer this.
    Refused(Refusal),
}

impl From<Refusal> for Ended {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

/// Reads some bytes, no later than `until`.
fn more(stream: &mut TcpStream, into: &mut Vec<u8>, until: Instant) -> Result<(), Ended> {
    let late = || Ended::Refused(Refusal::new(408, "the request took too long to arrive"));
    let mut bytes = [0; 8192];
    loop {
        let left = until.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return Err(if into.is_empty() { Ended::Gone } else { late() });
        }
        if stream.set_read_timeout(Some(left.max(Duration::from_millis(1)))).is_err() {
            return Err(Ended::Gone);
        }
        match stream.read(&mut bytes) {
            Ok(0) => return Err(Ended::Gone),
            Ok(n) => {
                into.extend_from_slice(bytes.get(..n).unwrap_or(&[]));
                return Ok(());
            }
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut | io::ErrorKind::Interrupted
                ) => {}
            Err(_) => return Err(Ended::Gone),
        }
    }
}

/// A head that was read, and what has come of the body.
#[derive(Debug)]
pub struct Head {
    /// The request without its body.
    pub request: Request,
    begun: Vec<u8>,
}

/// Reads a request's head.
///
/// # Errors
/// [`Ended`].
pub fn read_head(stream: &mut TcpStream, bounds: &Bounds) -> Result<Head, Ended> {
    let until = Instant::now() + bounds.head_patience;
    let mut bytes = Vec::new();
    loop {
        if let Some((request, end)) = parsed_head(&bytes)? {
            if end > bounds.head_bytes {
                return Err(too_much_head().into());
            }
            return Ok(Head { request, begun: bytes.split_off(end) });
        }
        if bytes.len() > bounds.head_bytes {
            return Err(too_much_head().into());
        }
        more(stream, &mut bytes, until)?;
    }
}

/// Reads the body behind a head.
///
/// # Errors
/// [`Ended`].
pub fn read_body(stream: &mut TcpStream, head: Head, bounds: &Bounds) -> Result<Request, Ended> {
    let until = Instant::now() + bounds.patience;
    let Head { mut request, begun: mut body } = head;
    let length = body_length(&request)?;
    if length > bounds.body_bytes {
        return Err(Refusal::new(413, format!("the body may have {} bytes at most", bounds.body_bytes)).into());
    }
    while body.len() < length {
        more(stream, &mut body, until)?;
    }
    body.truncate(length);
    request.body = body;
    Ok(request)
}

fn too_much_head() -> Refusal {
    Refusal::new(431, "the request's head is too long")
}

/// The request line and the headers, and where they end; none while they are not all there.
///
/// # Errors
/// [`Refusal`] of what is no head.
pub fn parsed_head(bytes: &[u8]) -> Result<Option<(Request, usize)>, Refusal> {
    let mut headers = [httparse::EMPTY_HEADER; HEADERS];
    let mut parsed = httparse::Request::new(&mut headers);
    let end = match parsed.parse(bytes) {
        Ok(httparse::Status::Complete(end)) => end,
        Ok(httparse::Status::Partial) => return Ok(None),
        Err(httparse::Error::TooManyHeaders) => return Err(Refusal::new(431, "the request has too many headers")),
        Err(error) => return Err(Refusal::new(400, format!("not a request: {error}"))),
    };
    let mut request = Request {
        method: parsed.method.unwrap_or_default().to_owned(),
        target: parsed.path.unwrap_or_default().to_owned(),
        ..Request::default()
    };
    for header in parsed.headers.iter() {
        let value = std::str::from_utf8(header.value)
            .map_err(|_| Refusal::new(400, format!("the header {} is not text", header.name)))?;
        request.headers.push((header.name.to_ascii_lowercase(), value.trim().to_owned()));
    }
    Ok(Some((request, end)))
}

/// How long the body is to be.
///
/// # Errors
/// [`Refusal`] where the head does not say so in one way.
pub fn body_length(request: &Request) -> Result<usize, Refusal> {
    if request.once("transfer-encoding")?.is_some() {
        return Err(Refusal::new(411, "a body needs its length; chunks are not read"));
    }
    match request.once("content-length")? {
        None if request.method == "POST" => Err(Refusal::new(411, "a body needs its length")),
        None => Ok(0),
        // More digits than any length that is taken are as good as too much.
        Some(text) if !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit()) => {
            Ok(text.parse().unwrap_or(usize::MAX))
        }
        Some(_) => Err(Refusal::new(400, "the length of the body is not a number")),
    }
}

/// One response.
#[derive(Clone, Debug)]
pub struct Response {
    /// Status.
    pub status: u16,
    /// Media type.
    pub media: &'static str,
    /// Further headers.
    pub headers: Vec<(&'static str, String)>,
    /// What follows them.
    pub body: Vec<u8>,
}

impl Response {
    /// A response with a body.
    #[must_use]
    pub fn new(status: u16, media: &'static str, body: impl Into<Vec<u8>>) -> Self {
        Self { status, media, headers: Vec::new(), body: body.into() }
    }
}

const fn phrase(status: u16) -> &'static str {
    match status {
        200 => "OK",
        400 => "Bad Request",
        403 => "Forbidden",
        404 => "Not Found",
        405 => "Method Not Allowed",
        408 => "Request Timeout",
        409 => "Conflict",
        411 => "Length Required",
        413 => "Content Too Large",
        415 => "Unsupported Media Type",
        421 => "Misdirected Request",
        431 => "Request Header Fields Too Large",
        500 => "Internal Server Error",
        503 => "Service Unavailable",
        _ => "Refused",
    }
}

/// Writes a response and ends the connection; what is still coming is read for a moment.
///
/// # Errors
/// What the operating system says.
pub fn write(stream: &mut TcpStream, response: &Response, patience: Duration) -> io::Result<()> {
    let mut head = format!(
        "HTTP/1.1 {} {}\r\nContent-Type: {}\r\nContent-Length: {}\r\nConnection: close\r\nCache-Control: no-store\r\n\
         X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nX-Frame-Options: DENY\r\n\
         Cross-Origin-Resource-Policy: same-origin\r\nCross-Origin-Opener-Policy: same-origin\r\n",
        response.status,
        phrase(response.status),
        response.media,
        response.body.len(),
    );
    for (name, value) in &response.headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    head.push_str("\r\n");
    let mut all = head.into_bytes();
    all.extend_from_slice(&response.body);
    // A reader that takes a drop at a time does not stretch the patience.
    let until = Instant::now() + patience;
    let mut rest = all.as_slice();
    while !rest.is_empty() {
        let left = until.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return Err(io::Error::from(io::ErrorKind::TimedOut));
        }
        stream.set_write_timeout(Some(left))?;
        match stream.write(rest) {
            Ok(0) => return Err(io::Error::from(io::ErrorKind::WriteZero)),
            Ok(n) => rest = rest.get(n..).unwrap_or(&[]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    stream.flush()?;
    stream.shutdown(std::net::Shutdown::Write)?;
    let until = Instant::now() + LINGER;
    let mut rest = Vec::new();
    let mut taken = 0;
    while taken < LINGER_BYTES && more(stream, &mut rest, until).is_ok() {
        taken += rest.len();
        rest.clear();
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn length(text: &str) -> Result<usize, u16> {
        let (request, _) = parsed_head(text.as_bytes()).map_err(|refusal| refusal.status)?.unwrap();
        body_length(&request).map_err(|refusal| refusal.status)
    }

    #[test]
    fn a_head_is_read_once_it_is_whole() {
        let text = "GET /a?b=c HTTP/1.1\r\nHost:  here \r\nX-One: two\r\n\r\nbody";
        for end in 0..text.len() - 4 {
            assert!(parsed_head(&text.as_bytes()[..end]).unwrap().is_none(), "{end}");
        }
        let (request, end) = parsed_head(text.as_bytes()).unwrap().unwrap();
        assert_eq!((request.path(), request.query(), end), ("/a", "b=c", text.len() - 4));
        assert_eq!((request.once("host").unwrap(), request.once("x-two").unwrap()), (Some("here"), None));
    }

    #[test]
    fn lengths_that_could_be_read_in_two_ways_are_refused() {
        assert_eq!(length("POST / HTTP/1.1\r\nContent-Length: 12\r\n\r\n"), Ok(12));
        assert_eq!(length("GET / HTTP/1.1\r\n\r\n"), Ok(0));
        assert_eq!(length("POST / HTTP/1.1\r\n\r\n"), Err(411));
        assert_eq!(length("POST / HTTP/1.1\r\nContent-Length: 99999999999999999999999\r\n\r\n"), Ok(usize::MAX));
        for bad in ["+12", "-1", "0x10", "1 2", "", "12, 12"] {
            assert_eq!(length(&format!("POST / HTTP/1.1\r\nContent-Length: {bad}\r\n\r\n")), Err(400), "{bad}");
        }
        let twice = "POST / HTTP/1.1\r\nContent-Length: 12\r\nContent-Length: 12\r\n\r\n";
        assert_eq!(length(twice), Err(400));
        let chunks = "POST / HTTP/1.1\r\nContent-Length: 12\r\nTransfer-Encoding: chunked\r\n\r\n";
        assert_eq!(length(chunks), Err(411));
    }

    #[test]
    fn what_is_no_request_is_refused() {
        for bad in ["\0\0\0", "GET\r\n\r\n", "GET / HTTP/9.9\r\n\r\n", "GET / HTTP/1.1\r\nA B: c\r\n\r\n"] {
            assert_eq!(parsed_head(bad.as_bytes()).unwrap_err().status, 400, "{bad:?}");
        }
        let many = format!("GET / HTTP/1.1\r\n{}\r\n", "A: b\r\n".repeat(HEADERS + 1));
        assert_eq!(parsed_head(many.as_bytes()).unwrap_err().status, 431);
    }
}
