//! Connections in, answers out.

use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener, TcpStream, UdpSocket};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread;
use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest as _, Sha256};

use super::doors::{Doors, Place, Shares};
use super::guard::{Guard, Route};
use super::http::{self, Bounds, Ended, Refusal, Request, Response};
use super::live::Live;
use super::turns::Turns;
use crate::page::{Behind, html};
use landfall_plan::page::answer_until;
use landfall_sampling::Stop;

/// Evaluations at a time: each computes on every core, so that the second is there for what is short.
const AT_ONCE: usize = 2;
/// Evaluations that may wait.
const MAY_WAIT: usize = 16;
/// How often it is looked whether somebody still waits for an evaluation.
const LOOK: Duration = Duration::from_millis(20);
/// How often it is looked whether the server is to end.
const STOP_LOOK: Duration = Duration::from_millis(100);
/// How long a reader may take for an answer.
const WRITING: Duration = Duration::from_secs(20);

/// What is served, and where.
#[derive(Clone, Debug)]
pub struct Options {
    /// Address to listen at.
    pub address: IpAddr,
    /// Port; 0 takes a free one.
    pub port: u16,
    /// The site file's text.
    pub site: String,
    /// Its name.
    pub file: String,
    /// The box.
    pub live: Option<Arc<Live>>,
    /// Bounds of a request.
    pub bounds: Bounds,
}

/// A server that listens.
#[derive(Debug)]
pub struct Server {
    listener: TcpListener,
    shared: Arc<Shared>,
}

#[derive(Debug)]
struct Shared {
    guard: Guard,
    page: String,
    policy: String,
    live: Option<Arc<Live>>,
    bounds: Bounds,
    turns: Turns,
    doors: Doors,
}

/// 256 random bits from the system, in hexadecimal digits.
fn random_token() -> io::Result<String> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|error| io::Error::other(format!("no random numbers: {error}")))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// What a page may load: nothing but its own inline styles and scripts, named by their hashes, and answers from here.
/// Style attributes of single elements cannot be named by a hash, so they stay allowed.
fn policy(page: &str) -> String {
    let hashes = |name: &str| -> String {
        let (open, close) = (format!("<{name}"), format!("</{name}>"));
        let mut all = Vec::new();
        let mut rest = page;
        while let Some(at) = rest.find(&open) {
            let from = rest.get(at + open.len()..).unwrap_or("");
            let (attributes, body) = from.split_once('>').unwrap_or((from, ""));
            let end = body.find(&close).unwrap_or(body.len());
            let text = body.get(..end).unwrap_or("");
            // What is only data is not run, and needs no leave.
            if !["application/json", "text/plain"].iter().any(|data| attributes.contains(data)) {
                all.push(format!("'sha256-{}'", STANDARD.encode(Sha256::digest(text.as_bytes()))));
            }
            rest = body.get(end..).unwrap_or("");
        }
        if all.is_empty() { "'none'".to_owned() } else { all.join(" ") }
    };
    format!(
        "default-src 'none'; script-src {}; style-src {}; style-src-attr 'unsafe-inline'; img-src data:; connect-src 'self'; base-uri 'none'; \
         form-action 'none'; frame-ancestors 'none'",
        hashes("script"),
        hashes("style"),
    )
}

impl Server {
    /// Listens.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn bind(options: Options) -> io::Result<Self> {
        one_machine(options.address)?;
        let listener = TcpListener::bind((options.address, options.port))?;
        listener.set_nonblocking(true)?;
        let token = random_token()?;
        let page = html(&Behind::Server {
            token: &token,
            site: &options.site,
            file: &options.file,
            has_box: options.live.is_some(),
        });
        let guard = Guard {
            address: options.address,
            port: listener.local_addr()?.port(),
            token,
            page_needs_token: !options.address.is_loopback(),
        };
        let shared = Shared {
            policy: policy(&page),
            page,
            guard,
            live: options.live,
            bounds: options.bounds,
            turns: Turns::new(AT_ONCE, MAY_WAIT),
            doors: Doors::new(Shares::default()),
        };
        Ok(Self { listener, shared: Arc::new(shared) })
    }

    /// Where the page is: for one that listens at every address of this machine, the one that other devices reach it at.
    #[must_use]
    pub fn url(&self) -> String {
        let guard = &self.shared.guard;
        let address = if guard.address.is_unspecified() {
            self.outward().unwrap_or_else(|| loopback(guard.address))
        } else {
            guard.address
        };
        format!("http://{}/", SocketAddr::new(address, guard.port))
    }

    /// The address at which other devices reach this machine, where it is in a network; none for one that listens at a
    /// single address.
    #[must_use]
    pub fn outward(&self) -> Option<IpAddr> {
        match self.shared.guard.address {
            IpAddr::V4(address) if address.is_unspecified() => outward_v4(),
            IpAddr::V6(address) if address.is_unspecified() => outward_v4().or_else(outward_v6),
            _ => None,
        }
    }

    /// Whether it listens at every address of this machine.
    #[must_use]
    pub fn is_everywhere(&self) -> bool {
        self.shared.guard.address.is_unspecified()
    }

    /// Where the page is, with the token that it needs beyond this machine; none on this machine.
    #[must_use]
    pub fn url_with_token(&self) -> Option<String> {
        let guard = &self.shared.guard;
        guard.page_needs_token.then(|| format!("{}?token={}", self.url(), guard.token))
    }

    /// The token.
    #[must_use]
    pub fn token(&self) -> &str {
        &self.shared.guard.token
    }

    /// Answers until `stop` is set.
    pub fn run(&self, stop: &AtomicBool) {
        while !stop.load(Ordering::SeqCst) {
            match self.next() {
                Ok(None) => {}
                Ok(Some((stream, address))) => {
                    let shared = Arc::clone(&self.shared);
                    let serve = move || {
                        if let Ok(place) = shared.doors.enter(&stream, address) {
                            shared.connection(stream, &place);
                        }
                    };
                    if thread::Builder::new().spawn(serve).is_err() {
                        self.shared.doors.make_room();
                    }
                }
                // No more files, say: it passes, sooner with one less inside.
                Err(_) => {
                    self.shared.doors.make_room();
                    thread::sleep(Duration::from_millis(20));
                }
            }
        }
    }

    /// The next connection; none where none has come for a moment.
    fn next(&self) -> io::Result<Option<(TcpStream, IpAddr)>> {
        self.wait()?;
        match self.listener.accept() {
            Ok((stream, address)) => {
                stream.set_nonblocking(false)?;
                Ok(Some((stream, address.ip())))
            }
            // It went away before it was taken.
            Err(error) if matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted) => Ok(None),
            Err(error) => Err(error),
        }
    }

    #[cfg(unix)]
    fn wait(&self) -> io::Result<()> {
        use rustix::event::{PollFd, PollFlags, Timespec, poll};
        let look = Timespec { tv_sec: 0, tv_nsec: STOP_LOOK.subsec_nanos().into() };
        match poll(&mut [PollFd::new(&self.listener, PollFlags::IN)], Some(&look)) {
            Ok(_) | Err(rustix::io::Errno::INTR) => Ok(()),
            Err(error) => Err(error.into()),
        }
    }

    #[cfg(not(unix))]
    fn wait(&self) -> io::Result<()> {
        thread::sleep(STOP_LOOK / 10);
        Ok(())
    }
}

/// The address that this machine would send from; asked without sending anything (the goal is of a network that is
/// kept for documentation, RFC 5737 and RFC 3849).
fn outward_v4() -> Option<IpAddr> {
    sent_from((Ipv4Addr::UNSPECIFIED, 0).into(), (Ipv4Addr::new(192, 0, 2, 1), 9).into())
}

fn outward_v6() -> Option<IpAddr> {
    let goal = Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 0, 0, 0, 1);
    sent_from((Ipv6Addr::UNSPECIFIED, 0).into(), (goal, 9).into())
}

fn sent_from(any: SocketAddr, goal: SocketAddr) -> Option<IpAddr> {
    let socket = UdpSocket::bind(any).ok()?;
    socket.connect(goal).ok()?;
    let address = socket.local_addr().ok()?.ip();
    (!address.is_unspecified() && !address.is_loopback()).then_some(address)
}

const fn loopback(of: IpAddr) -> IpAddr {
    match of {
        IpAddr::V4(_) => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(_) => IpAddr::V6(Ipv6Addr::LOCALHOST),
    }
}

/// Refuses an address at which a page cannot be opened: one that stands for many machines.
fn one_machine(address: IpAddr) -> io::Result<()> {
    let many = match address {
        IpAddr::V4(address) => address.is_broadcast() || address.is_multicast(),
        IpAddr::V6(address) => address.is_multicast(),
    };
    if many {
        let why = "it stands for many machines at once, and no page can be opened there";
        return Err(io::Error::new(io::ErrorKind::InvalidInput, why));
    }
    Ok(())
}

impl Shared {
    fn connection(&self, mut stream: TcpStream, place: &Place<'_>) {
        let response = match self.read(&mut stream, place) {
            Ok((request, route)) => self.respond(&request, route, &stream),
            Err(Ended::Refused(refusal)) => Some(refused(&refusal)),
            Err(Ended::Gone) => None,
        };
        if let Some(response) = response {
            // A reader that has gone away is nobody's fault.
            let _ = http::write(&mut stream, &response, WRITING);
        }
    }

    /// The head first: nobody is listened to further who is not let through by it.
    fn read(&self, stream: &mut TcpStream, place: &Place<'_>) -> Result<(Request, Result<Route, Refusal>), Ended> {
        let head = http::read_head(stream, &self.bounds)?;
        if !place.read(self.guard.bears_token(&head.request)) {
            return Err(Refusal::new(503, "too many connections at once").into());
        }
        match self.guard.route(&head.request) {
            Ok(route) => Ok((http::read_body(stream, head, &self.bounds)?, Ok(route))),
            Err(refusal) => Ok((head.request, Err(refusal))),
        }
    }

    fn respond(&self, request: &Request, route: Result<Route, Refusal>, stream: &TcpStream) -> Option<Response> {
        let routed = route.and_then(|route| Ok((route, Guard::lane(request)?)));
        let (route, lane) = match routed {
            Ok(routed) => routed,
            Err(refusal) => {
                let mut response = refused(&refusal);
                if refusal.status == 405 {
                    let method = if request.path() == "/answer" { Route::Answer } else { Route::Page }.method();
                    response.headers.push(("Allow", method.to_owned()));
                }
                return Some(response);
            }
        };
        Some(match route {
            Route::Page => {
                let mut response = Response::new(200, "text/html; charset=utf-8", self.page.clone());
                response.headers.push(("Content-Security-Policy", self.policy.clone()));
                response
            }
            Route::Box => match &self.live {
                Some(live) => json(200, live.json().to_string()),
                None => refused(&Refusal::new(404, "no box: start with --port or --simulated-box")),
            },
            Route::Answer => return self.answer(request, lane, stream),
        })
    }

    /// Computes, for as long as somebody waits for it and no newer request of the lane has come; none where nobody does.
    fn answer(&self, request: &Request, lane: Option<&str>, stream: &TcpStream) -> Option<Response> {
        let Ok(text) = std::str::from_utf8(&request.body) else {
            return Some(refused(&Refusal::new(400, "the body is not UTF-8")));
        };
        let stop = Arc::<Stop>::default();
        let (to, from) = channel();
        let (answered, here) = thread::scope(|scope| {
            let computing = Arc::clone(&stop);
            scope.spawn(move || {
                let answer = self.turns.wait(lane, &computing).map(|_turn| answer_until(text, &computing));
                // The receiver waits for it.
                let _ = to.send(answer);
            });
            let mut here = true;
            loop {
                match from.recv_timeout(LOOK) {
                    Ok(answer) => return (answer, here),
                    // It panicked, and has said so.
                    Err(RecvTimeoutError::Disconnected) => return (Some(String::new()), here),
                    Err(RecvTimeoutError::Timeout) if here && gone(stream) => {
                        here = false;
                        stop.asked.store(true, Ordering::SeqCst);
                    }
                    Err(RecvTimeoutError::Timeout) => {}
                }
            }
        });
        if !here {
            return None;
        }
        Some(match answered {
            Some(answer) if answer.is_empty() => refused(&Refusal::new(500, "the computation failed")),
            Some(answer) if !stop.asked.load(Ordering::SeqCst) => json(200, answer),
            _ => refused(&Refusal::new(409, "a newer request took the place of this one")),
        })
    }
}

/// Whether the other side has closed; one that closes only its sending half counts as gone.
fn gone(stream: &TcpStream) -> bool {
    if stream.set_read_timeout(Some(Duration::from_millis(1))).is_err() {
        return true;
    }
    match stream.peek(&mut [0]) {
        Ok(read) => read == 0,
        Err(error) => {
            !matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut | io::ErrorKind::Interrupted)
        }
    }
}

fn json(status: u16, text: String) -> Response {
    Response::new(status, "application/json; charset=utf-8", text)
}

fn refused(refusal: &Refusal) -> Response {
    json(refusal.status, serde_json::json!({"error": refusal.why}).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_are_long_and_never_the_same() {
        let (one, two) = (random_token().unwrap(), random_token().unwrap());
        assert!(one.len() == 64 && one != two && one.bytes().all(|b| b.is_ascii_hexdigit()));
    }

    /// `alert('Hello, world.');` with its hash is an example of W3C's Content Security Policy Level 3.
    #[test]
    fn a_policy_names_the_hash_of_what_is_between_the_tags() {
        let policy = policy(
            "<style>a{}</style><script type=\"application/json\">{}</script><script>alert('Hello, world.');</script>",
        );
        assert!(policy.contains("script-src 'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"), "{policy}");
        assert_eq!(policy.matches("sha256-").count(), 2, "{policy}");
        assert!(policy.contains("default-src 'none'") && !policy.contains("script-src 'unsafe"), "{policy}");
    }
}
