//! The local server over real sockets: what it answers, and everything that it refuses.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{Shutdown, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use landfall::serve::http::Bounds;
use landfall::serve::live::Live;
use landfall::serve::{Options, Server};
use landfall_box::sources::{Place, Source};
use landfall_plan::plan::compute;
use landfall_plan::site::{Gauge, demo, demo_text};
use landfall_sampling::Stop;
use serde_json::{Value, json};

/// A server in this process, ended when it is dropped.
struct Running {
    host: String,
    token: String,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Running {
    fn start(live: bool) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let live = live.then(|| Live::start(vec![simulated()], Gauge::InH2O, &stop));
        let server = Server::bind(Options {
            address: "127.0.0.1".parse().unwrap(),
            port: 0,
            site: demo_text().to_owned(),
            file: "demo.toml".to_owned(),
            live,
            bounds: Bounds {
                patience: Duration::from_millis(700),
                head_patience: Duration::from_millis(700),
                ..Bounds::default()
            },
        })
        .unwrap();
        let host = server.url().trim_start_matches("http://").trim_end_matches('/').to_owned();
        let token = server.token().to_owned();
        let asked = Arc::clone(&stop);
        let thread = std::thread::spawn(move || server.run(&asked));
        Self { host, token, stop, thread: Some(thread) }
    }

    fn connect(&self) -> TcpStream {
        TcpStream::connect(&self.host).unwrap()
    }

    /// Sends bytes as they are; status, head, body.
    fn raw(&self, bytes: &[u8]) -> (u16, String, String) {
        let mut stream = self.connect();
        // One that refuses early may close while the rest is still being sent.
        let _ = stream.write_all(bytes);
        received(stream)
    }

    /// A request with its headers; `Host` and the token are those of the server unless they are among the headers.
    fn ask(&self, line: &str, headers: &[(&str, &str)], body: &str) -> (u16, String, String) {
        self.raw(self.text(line, headers, body).as_bytes())
    }

    fn text(&self, line: &str, headers: &[(&str, &str)], body: &str) -> String {
        let mut text = format!("{line} HTTP/1.1\r\n");
        let usual = [("Host", self.host.as_str()), ("X-Landfall-Token", self.token.as_str())];
        let length = body.len().to_string();
        let posts = [("Content-Type", "application/json"), ("Content-Length", length.as_str())];
        let usual = usual.iter().chain(posts.iter().filter(|_| line.starts_with("POST")));
        for (name, value) in
            usual.filter(|(name, _)| !headers.iter().any(|(other, _)| other.eq_ignore_ascii_case(name)))
        {
            text.push_str(&format!("{name}: {value}\r\n"));
        }
        for (name, value) in headers.iter().filter(|(_, value)| *value != "(none)") {
            text.push_str(&format!("{name}: {value}\r\n"));
        }
        text + "\r\n" + body
    }

    fn answer(&self, request: &Value) -> Value {
        let (status, _, body) = self.ask("POST /answer", &[], &request.to_string());
        assert_eq!(status, 200, "{body}");
        serde_json::from_str(&body).unwrap()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        self.thread.take().unwrap().join().unwrap();
    }
}

fn received(mut stream: TcpStream) -> (u16, String, String) {
    stream.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
    let mut bytes = Vec::new();
    let mut part = [0; 65536];
    // A reset after the answer is an end too.
    while let Ok(n @ 1..) = stream.read(&mut part) {
        bytes.extend_from_slice(&part[..n]);
    }
    let text = String::from_utf8(bytes).unwrap();
    let Some((head, body)) = text.split_once("\r\n\r\n") else { return (0, text, String::new()) };
    (head.split(' ').nth(1).unwrap().parse().unwrap(), head.to_owned(), body.to_owned())
}

/// The demo's bag at pressure with a box on it.
fn simulated() -> Source {
    use landfall_box::arm::{NEEDED, look};
    use landfall_box::sim::{Plan, Riders};
    let site = demo().with_value("spread.samples", "5000").unwrap();
    let results = compute(&site, NEEDED, &Stop::default()).unwrap();
    let settings = look(&site, &results, None, 1).unwrap().settings;
    let range_pa = settings.sensor_high_pa;
    let riders = Riders::of(&site, &results);
    let plan = Plan { settings: Some(settings), range_pa, riders, script: vec![], seed: 1, full: true };
    Source { name: "simulated box".to_owned(), place: Place::Simulated(Box::new((site, plan))) }
}

#[test]
fn everything_that_is_not_the_pages_own_is_refused_and_the_page_goes_on() {
    let server = Running::start(false);
    let small = r#"{"samples": 1000, "want": ["results"]}"#;
    let post = |headers: &[(&str, &str)]| server.ask("POST /answer", headers, small).0;
    // As the page asks.
    assert_eq!(post(&[]), 200);
    let origin = format!("http://{}", server.host);
    assert_eq!(post(&[("Origin", &origin), ("Sec-Fetch-Site", "same-origin")]), 200);

    // Malformed.
    assert_eq!(server.raw(b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n").0, 400);
    assert_eq!(server.raw(b"GET /\r\n\r\n").0, 400);
    assert_eq!(server.raw(b"\r\n\r\n\r\n\xff\xff\xff").0, 400);
    assert_eq!(post(&[("Content-Length", "-5")]), 400);
    assert_eq!(server.ask("POST /answer", &[("Content-Length", "2"), ("Content-Length", "2")], "{}").0, 400);
    assert_eq!(post(&[("Content-Length", "(none)"), ("Transfer-Encoding", "chunked")]), 411);
    assert_eq!(post(&[("Content-Length", "(none)")]), 411);
    let mut binary = server.text("POST /answer", &[("Content-Length", "4")], "").into_bytes();
    binary.extend_from_slice(b"\xff\xfe\x00\x01");
    assert_eq!(server.raw(&binary).0, 400);
    for nonsense in ["", "{", "[]", "{\"sites\": 1}", "nul"] {
        let (status, _, body) = server.ask("POST /answer", &[], nonsense);
        assert!(status == 200 && body.contains("\"error\":\"the request cannot be read"), "{status} {body}");
    }

    // Huge: announced, sent, in the head, in the number of headers.
    assert_eq!(post(&[("Content-Length", "1048577")]), 413);
    assert_eq!(post(&[("Content-Length", "99999999999999999999999999")]), 413);
    assert_eq!(server.ask("POST /answer", &[], &"x".repeat(3 << 20)).0, 413);
    assert_eq!(server.ask("GET /", &[("X-Long", &"x".repeat(40_000))], "").0, 431);
    assert_eq!(server.raw(&vec![b'G'; 3 << 20]).0, 431);
    let many: Vec<(&str, &str)> = vec![("X-One", "1"); 200];
    assert_eq!(server.ask("GET /", &many, "").0, 431);

    // From another site, or to another name.
    assert_eq!(post(&[("Origin", "http://elsewhere.example")]), 403);
    assert_eq!(post(&[("Origin", "null")]), 403);
    assert_eq!(post(&[("Sec-Fetch-Site", "cross-site")]), 403);
    assert_eq!(post(&[("Sec-Fetch-Site", "same-site")]), 403);
    assert_eq!(server.ask("GET /box", &[("Sec-Fetch-Site", "cross-site")], "").0, 403);
    let dragged = [("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Mode", "no-cors"), ("Sec-Fetch-Dest", "script")];
    assert_eq!(server.ask("GET /", &dragged, "").0, 403);
    assert_eq!(post(&[("Host", "elsewhere.example")]), 421);
    let port = server.host.rsplit_once(':').unwrap().1;
    assert_eq!(post(&[("Host", &format!("rebound.example:{port}"))]), 421);
    assert_eq!(post(&[("Host", "127.0.0.1:1")]), 421);
    assert_eq!(post(&[("Host", "(none)")]), 400);
    assert_eq!(server.ask("GET /", &[("Host", "elsewhere.example")], "").0, 421);

    // Without the token, or with another.
    for line in ["POST /answer", "GET /box"] {
        for token in ["(none)", "", "x", &server.token[1..], &format!("{}0", server.token)] {
            assert_eq!(server.ask(line, &[("X-Landfall-Token", token)], small).0, 403, "{line} {token}");
        }
    }

    // Another method, another place, another kind of body.
    for line in ["GET /answer", "PUT /answer", "OPTIONS /answer", "DELETE /", "HEAD /", "POST /box", "BREW /"] {
        let (status, head, _) = server.ask(line, &[], "");
        let allow = if line.ends_with("/answer") { "Allow: POST" } else { "Allow: GET" };
        assert!(status == 405 && head.contains(allow), "{line}: {head}");
    }
    for path in ["/../../etc/passwd", "/..%2f..%2fetc%2fpasswd", "/etc/passwd", "//", "/answer/", "/favicon.ico", "*"] {
        assert_eq!(server.ask(&format!("GET {path}"), &[], "").0, 404, "{path}");
    }
    assert_eq!(post(&[("Content-Type", "text/plain")]), 415);
    assert_eq!(post(&[("Content-Type", "application/x-www-form-urlencoded")]), 415);
    assert_eq!(post(&[("Content-Type", "(none)")]), 415);
    assert_eq!(post(&[("X-Landfall-Lane", "a b")]), 400);
    // No box is followed.
    assert_eq!(server.ask("GET /box", &[], "").0, 404);

    // And still it answers.
    assert_eq!(post(&[]), 200);
}

#[test]
fn slow_ones_are_sent_away_and_hold_up_nobody() {
    let server = Running::start(false);
    let whole = server.text("POST /answer", &[], "{\"want\": [\"controls\"]}");
    let mut slow = Vec::new();
    for part in [0, 1, 20, whole.len() - 3] {
        for _ in 0..5 {
            let mut stream = server.connect();
            stream.write_all(&whole.as_bytes()[..part]).unwrap();
            slow.push((part, stream));
        }
    }
    let begun = Instant::now();
    assert_eq!(server.ask("GET /", &[], "").0, 200);
    // Nobody waits for the patience of the slow ones.
    assert!(begun.elapsed() < Duration::from_millis(600), "{:?}", begun.elapsed());
    for (part, stream) in slow {
        let (status, ..) = received(stream);
        // One that has sent nothing gets nothing.
        assert_eq!(status, if part == 0 { 0 } else { 408 }, "{part}");
    }
    // A drop at a time does not stretch the patience.
    let mut stream = server.connect();
    let begun = Instant::now();
    for byte in whole.as_bytes() {
        if stream.write_all(&[*byte]).is_err() || begun.elapsed() > Duration::from_secs(3) {
            break;
        }
        std::thread::sleep(Duration::from_millis(20));
        stream.set_nonblocking(true).unwrap();
        let heard = stream.peek(&mut [0]).is_ok();
        stream.set_nonblocking(false).unwrap();
        if heard {
            break;
        }
    }
    assert!(begun.elapsed() < Duration::from_millis(1500), "{:?}", begun.elapsed());
    assert_eq!(received(stream).0, 408);
}

/// However many connections come without the token, idle or a drop at a time, the page that shows the box gets its
/// answers. One that has connected and not yet asked, since this machine was busy, may have to go like any other that
/// has shown nothing; the page's next ask is answered, so that it is never without an answer twice running.
#[test]
fn connections_without_the_token_do_not_blind_the_page() {
    let server = Running::start(true);
    let stop = AtomicBool::new(false);
    let (mut answered, mut asked, mut slowest) = (0, 0, Duration::ZERO);
    let (mut running, mut longest) = (0, 0);
    std::thread::scope(|scope| {
        // Two hundred that are idle, opened again as they are closed.
        scope.spawn(|| {
            let mut idle: Vec<TcpStream> = Vec::new();
            while !stop.load(Ordering::SeqCst) {
                idle.extend((0..200).filter_map(|_| TcpStream::connect(&server.host).ok()));
                std::thread::sleep(Duration::from_millis(100));
                idle.drain(..idle.len().saturating_sub(200));
            }
        });
        // Eighty that send a drop at a time: of a head, and of a body behind a head that shows no token.
        scope.spawn(|| {
            let head = server.text("POST /answer", &[("X-Landfall-Token", "(none)"), ("Content-Length", "9999")], "");
            let mut slow: Vec<(TcpStream, usize)> = Vec::new();
            while !stop.load(Ordering::SeqCst) {
                while slow.len() < 80 {
                    let Ok(stream) = TcpStream::connect(&server.host) else { break };
                    let begins = if slow.len().is_multiple_of(2) { 0 } else { head.len() };
                    let whole = (&stream).write_all(&head.as_bytes()[..begins]).is_ok();
                    slow.push((stream, if whole { begins } else { usize::MAX }));
                }
                slow.retain_mut(|(stream, at)| {
                    let drop = head.as_bytes().get(*at).copied().unwrap_or(b'x');
                    *at = at.saturating_add(1);
                    stream.write_all(&[drop]).is_ok()
                });
                std::thread::sleep(Duration::from_millis(20));
            }
        });
        // Strangers that ask for the page and never read it.
        scope.spawn(|| {
            let mut deaf: Vec<TcpStream> = Vec::new();
            while !stop.load(Ordering::SeqCst) {
                if let Ok(mut stream) = TcpStream::connect(&server.host) {
                    let ask = server.text("GET /", &[("X-Landfall-Token", "(none)")], "");
                    if stream.write_all(ask.as_bytes()).is_ok() {
                        deaf.push(stream);
                    }
                }
                deaf.drain(..deaf.len().saturating_sub(100));
                std::thread::sleep(Duration::from_millis(5));
            }
        });
        std::thread::sleep(Duration::from_millis(500));
        let begun = Instant::now();
        while begun.elapsed() < Duration::from_secs(4) {
            let one = Instant::now();
            asked += 1;
            let mut stream = server.connect();
            let sent = stream.write_all(server.text("GET /box", &[], "").as_bytes()).is_ok();
            let is_answered = sent && received(stream).0 == 200;
            answered += u32::from(is_answered);
            running = if is_answered { 0 } else { running + 1 };
            longest = longest.max(running);
            slowest = slowest.max(one.elapsed());
            std::thread::sleep(Duration::from_millis(20));
        }
        stop.store(true, Ordering::SeqCst);
    });
    println!("{answered} of {asked} answered, the slowest after {slowest:?}");
    assert!(
        asked > 20 && longest <= 1 && answered * 20 >= asked * 19,
        "{answered} of {asked}, {longest} without an answer in a row, the slowest after {slowest:?}"
    );
}

#[test]
fn the_page_is_told_to_load_nothing() {
    let server = Running::start(false);
    let (status, head, page) = server.ask("GET /", &[("X-Landfall-Token", "(none)")], "");
    assert_eq!(status, 200);
    assert!(page.starts_with("<!DOCTYPE html>"), "{page}");
    for wanted in [
        "Content-Security-Policy: default-src 'none'; script-src ",
        "X-Content-Type-Options: nosniff",
        "Referrer-Policy: no-referrer",
        "X-Frame-Options: DENY",
        "Cross-Origin-Resource-Policy: same-origin",
        "Cache-Control: no-store",
        "Content-Type: text/html; charset=utf-8",
    ] {
        assert!(head.contains(wanted), "{wanted}: {head}");
    }
    for (line, body) in [("GET /", ""), ("POST /answer", "{\"want\": []}"), ("GET /nothing", "")] {
        let head = server.ask(line, &[("Origin", &format!("http://{}", server.host))], body).1;
        assert!(!head.to_lowercase().contains("access-control"), "{head}");
    }
}

#[test]
fn answers_are_the_plans_bit_for_bit() {
    let server = Running::start(false);
    for (samples, seed) in [(2000, 1), (20_480, 7)] {
        let line =
            ["plan", "--demo", "--format", "json", "--samples", &samples.to_string(), "--seed", &seed.to_string()];
        let plan = Command::new(env!("CARGO_BIN_EXE_landfall")).args(line).output().unwrap();
        let answer = server.answer(&json!({
            "set": {"spread.seed": seed, "spread.samples": samples}, "want": ["results"],
        }));
        assert_eq!(answer["faults"], json!([]));
        let text = serde_json::to_string_pretty(&answer["results"]).unwrap();
        assert_eq!(text + "\n", String::from_utf8(plan.stdout).unwrap());
    }
}

#[test]
fn a_newer_request_takes_the_place_of_older_ones() {
    let server = Running::start(false);
    let long = json!({"samples": 5_000_000, "want": ["results"]}).to_string();
    let short = json!({"samples": 1000, "want": ["results"]}).to_string();
    let sent = |headers: &[(&str, &str)]| {
        let mut stream = server.connect();
        stream.write_all(server.text("POST /answer", headers, &long).as_bytes()).unwrap();
        stream
    };
    // How long a short one takes with nobody else there.
    let begun = Instant::now();
    assert_eq!(server.ask("POST /answer", &[], &short).0, 200);
    let alone = begun.elapsed();
    let soon = 10 * alone + Duration::from_secs(2);

    // Of one lane: the older ones are told so at once.
    let lane = [("X-Landfall-Lane", "tab-1")];
    let older: Vec<TcpStream> = (0..6).map(|_| sent(&lane)).collect();
    std::thread::sleep(Duration::from_millis(100));
    let begun = Instant::now();
    assert_eq!(server.ask("POST /answer", &lane, &short).0, 200);
    for stream in older {
        assert_eq!(received(stream).0, 409);
    }
    assert!(begun.elapsed() < soon, "{:?}, alone {alone:?}", begun.elapsed());

    // Of no lane: those that nobody waits for any more are ended.
    let gone: Vec<TcpStream> = (0..6).map(|_| sent(&[])).collect();
    std::thread::sleep(Duration::from_millis(100));
    gone.iter().for_each(|stream| stream.shutdown(Shutdown::Both).unwrap());
    let begun = Instant::now();
    assert_eq!(server.ask("POST /answer", &[], &short).0, 200);
    assert!(begun.elapsed() < soon, "{:?}, alone {alone:?}", begun.elapsed());
}

#[test]
fn the_box_is_followed() {
    let server = Running::start(true);
    let begun = Instant::now();
    loop {
        let (status, _, body) = server.ask("GET /box", &[], "");
        assert_eq!(status, 200);
        let told: Value = serde_json::from_str(&body).unwrap();
        assert_eq!((told["simulated"].as_bool(), told["source"].as_str()), (Some(true), Some("simulated box")));
        if told["word"] == "ride" {
            let (pressure, limits) = (told["pressure_pa"].as_f64().unwrap(), told["limits"].as_array().unwrap());
            let pa = |i: usize| limits[i]["pa"].as_f64().unwrap();
            assert!(pa(0) <= pa(1) && pa(1) < pressure && pressure < pa(3), "{told}");
            assert_eq!((told["permit"].as_bool(), told["level"].as_str()), (Some(true), Some("note")));
            let trace = told["trace"].as_array().unwrap();
            assert!(trace.len() > 5 && trace.iter().all(|point| point[0].as_f64().unwrap() <= 0.0), "{told}");
            break;
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "{told}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// The program, ended when it is dropped.
struct Program(Child);

impl Drop for Program {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Program {
    fn start(args: &[&str]) -> (Self, String) {
        let mut child = Command::new(env!("CARGO_BIN_EXE_landfall"))
            .arg("serve")
            .args(args)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        (Self(child), line.trim_end().to_owned())
    }
}

fn get(host: &str, path: &str) -> u16 {
    let mut stream = TcpStream::connect(host).unwrap();
    write!(stream, "GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n").unwrap();
    received(stream).0
}

#[cfg(unix)]
#[test]
fn the_command_prints_its_address_and_ends_with_ctrl_c() {
    let (mut program, url) = Program::start(&["--demo"]);
    let host = url.strip_prefix("http://").unwrap().strip_suffix('/').unwrap();
    assert!(host.starts_with("127.0.0.1:"), "{url}");
    assert_eq!(get(host, "/"), 200);
    // With more connections than it takes in, and somebody's evaluation under way.
    let _idle: Vec<TcpStream> = (0..120).map(|_| TcpStream::connect(host).unwrap()).collect();
    let pid = program.0.id().to_string();
    assert!(Command::new("kill").args(["-INT", &pid]).status().unwrap().success());
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = program.0.try_wait().unwrap() {
            break status;
        }
        assert!(begun.elapsed() < Duration::from_secs(10), "it goes on");
        std::thread::sleep(Duration::from_millis(10));
    };
    assert_eq!(status.code(), Some(0));
    let mut said = String::new();
    program.0.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    assert_eq!(said, "");
}

#[test]
fn beyond_this_machine_the_page_opens_with_its_token_only() {
    let (mut program, url) = Program::start(&["--demo", "--listen", "0.0.0.0"]);
    // The address printed is one of this machine's, not the one that stands for all of them.
    let (address, port) = url.strip_prefix("http://").unwrap().strip_suffix('/').unwrap().rsplit_once(':').unwrap();
    let address: std::net::Ipv4Addr = address.parse().unwrap();
    assert!(!address.is_unspecified() && std::net::TcpListener::bind((address, 0)).is_ok(), "{url}");
    let mut said = String::new();
    BufReader::new(program.0.stderr.take().unwrap()).read_line(&mut said).unwrap();
    let query = said.trim_end().split_once("/?").unwrap().1.to_owned();
    let host = format!("127.0.0.1:{port}");
    assert!(query.starts_with("token=") && query.len() == 70, "{said}");
    assert_eq!(get(&host, &format!("/?{query}")), 200);
    assert_eq!((get(&host, "/"), get(&host, &format!("/?{}", &query[..69]))), (403, 403));
}

#[test]
fn what_cannot_be_served_is_said() {
    let run = |args: &[&str]| {
        let done = Command::new(env!("CARGO_BIN_EXE_landfall")).arg("serve").args(args).output().unwrap();
        (done.status.code(), String::from_utf8(done.stderr).unwrap())
    };
    let (code, said) = run(&["/nowhere/hill.toml"]);
    assert!(code == Some(2) && said.contains("/nowhere/hill.toml could not be read"), "{said}");
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let (code, said) = run(&["--demo", "--http-port", &taken.local_addr().unwrap().port().to_string()]);
    assert!(code == Some(2) && said.contains("could not be listened at"), "{said}");
    // An address of a documentation network is no machine's own.
    let (code, said) = run(&["--demo", "--listen", "203.0.113.7"]);
    assert!(code == Some(2) && said.contains("203.0.113.7 could not be listened at"), "{said}");
    for many in ["255.255.255.255", "224.0.0.1", "ff02::1"] {
        let (code, said) = run(&["--demo", "--listen", many]);
        assert!(code == Some(2) && said.contains("many machines"), "{many}: {said}");
    }
    let (code, said) = run(&["--demo", "--simulated-box", "--do", "soon: rain"]);
    assert!(code == Some(2) && said.contains("--do"), "{said}");
    let (code, said) = run(&["--demo", "--port", "/dev/x", "--simulated-box"]);
    assert!(code == Some(2) && said.contains("cannot be used with"), "{said}");
}

/// Not a limit, a measure: `cargo test -p landfall --release -- --ignored --nocapture serve::latency`.
#[test]
#[ignore = "a measurement, printed"]
fn latency() {
    let server = Running::start(false);
    let drag = json!({"samples": 2000, "coarse": true, "pictures": ["side"], "want": ["results", "pictures"]});
    let full = json!({"samples": 100_000, "want": ["results", "pictures"]});
    for (what, request) in [("a step of a drag", drag), ("all of it", full)] {
        let mut times: Vec<Duration> = (0..15)
            .map(|_| {
                let begun = Instant::now();
                let _ = server.answer(&request);
                begun.elapsed()
            })
            .collect();
        times.sort_unstable();
        println!("{what}: median {:?}, slowest {:?}", times[7], times[14]);
    }
}
