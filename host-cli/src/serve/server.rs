//! Connections in, answers out.

use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread;
use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest as _, Sha256};

use super::guard::{Guard, Route};
use super::http::{self, Bounds, Ended, Refusal, Request, Response};
use super::live::Live;
use super::turns::Turns;
use crate::page::{Behind, answer_until, html};
use crate::sampling::Stop;

/// Connections at a time; more are closed at once.
const CONNECTIONS: usize = 64;
/// Evaluations at a time: each computes on every core, so that the second is there for what is short.
const AT_ONCE: usize = 2;
/// Evaluations that may wait.
const MAY_WAIT: usize = 16;
/// How often it is looked whether somebody still waits for an evaluation.
const LOOK: Duration = Duration::from_millis(20);
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
    open: AtomicUsize,
}

/// 256 random bits from the system, in hexadecimal digits.
fn random_token() -> io::Result<String> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|error| io::Error::other(format!("no random numbers: {error}")))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// What a page may load: nothing but its own inline styles and scripts, named by their hashes, and answers from here.
/// Style attributes of single elements cannot be named by a hash and are let be.
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
        let listener = TcpListener::bind((options.address, options.port))?;
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
            open: AtomicUsize::new(0),
        };
        Ok(Self { listener, shared: Arc::new(shared) })
    }

    /// Where the page is.
    #[must_use]
    pub fn url(&self) -> String {
        let guard = &self.shared.guard;
        format!("http://{}/", SocketAddr::new(guard.address, guard.port))
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

    /// Ends [`Server::run`] when it is called after `stop` was set: something must come in to be noticed.
    pub fn wake(&self) -> impl Fn() + Send + 'static {
        let guard = &self.shared.guard;
        let address = match guard.address {
            IpAddr::V4(address) if address.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
            IpAddr::V6(address) if address.is_unspecified() => IpAddr::V6(std::net::Ipv6Addr::LOCALHOST),
            other => other,
        };
        let address = SocketAddr::new(address, guard.port);
        // That it came in is all that matters.
        move || drop(TcpStream::connect_timeout(&address, Duration::from_secs(1)))
    }

    /// Answers until `stop` is set and something comes in.
    pub fn run(&self, stop: &AtomicBool) {
        for stream in self.listener.incoming() {
            if stop.load(Ordering::SeqCst) {
                return;
            }
            match stream {
                Ok(stream) => {
                    let shared = Arc::clone(&self.shared);
                    if shared.open.fetch_add(1, Ordering::SeqCst) >= CONNECTIONS {
                        shared.open.fetch_sub(1, Ordering::SeqCst);
                        continue;
                    }
                    let serve = move || {
                        let _open = Open(&shared.open);
                        shared.connection(stream);
                    };
                    if thread::Builder::new().spawn(serve).is_err() {
                        // The closure is dropped without being run.
                        self.shared.open.fetch_sub(1, Ordering::SeqCst);
                    }
                }
                // No more files, say: it passes.
                Err(_) => thread::sleep(Duration::from_millis(50)),
            }
        }
    }
}

/// One connection less when it is dropped.
struct Open<'a>(&'a AtomicUsize);

impl Drop for Open<'_> {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::SeqCst);
    }
}

impl Shared {
    fn connection(&self, mut stream: TcpStream) {
        let response = match http::read(&mut stream, &self.bounds) {
            Ok(request) => self.respond(&request, &stream),
            Err(Ended::Refused(refusal)) => Some(refused(&refusal)),
            Err(Ended::Gone) => None,
        };
        if let Some(response) = response {
            // A reader that has gone away is nobody's fault.
            let _ = http::write(&mut stream, &response, WRITING);
        }
    }

    fn respond(&self, request: &Request, stream: &TcpStream) -> Option<Response> {
        let routed = self.guard.route(request).and_then(|route| Ok((route, Guard::lane(request)?)));
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
