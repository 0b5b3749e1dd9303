//! What is let through: requests to this server's own address, caused by its own page, with its token.
//!
//! A page of another site that is open in the same browser can send requests to a local address, and with a name that
//! it lets point here (rebinding) even read the answers. So the Host must be the server's address as a number (or
//! `localhost`), Origin and Sec-Fetch-Site must not tell of another site, a body must be of a media type that no form
//! can send, and the header with the token is one that a browser asks leave for across sites, which is never given.

use std::net::IpAddr;

use subtle::ConstantTimeEq as _;

use super::http::{Refusal, Request};

/// The header that carries the token.
pub const TOKEN: &str = "x-landfall-token";
/// The header that names a lane; see [`super::turns`].
pub const LANE: &str = "x-landfall-lane";
/// Longest name of a lane.
const LANE_LENGTH: usize = 40;

/// What there is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Route {
    /// The page.
    Page,
    /// An evaluation.
    Answer,
    /// What the box says.
    Box,
}

/// Who may ask.
#[derive(Clone, Debug)]
pub struct Guard {
    /// The address that is listened at.
    pub address: IpAddr,
    /// Its port.
    pub port: u16,
    /// The token.
    pub token: String,
    /// The page itself needs the token in its address.
    pub page_needs_token: bool,
}

impl Guard {
    /// What a request is for, where it is let through.
    ///
    /// # Errors
    /// [`Refusal`].
    pub fn route(&self, request: &Request) -> Result<Route, Refusal> {
        let host = request.once("host")?.ok_or_else(|| Refusal::new(400, "the request names no host"))?;
        if !self.is_ours(host) {
            return Err(Refusal::new(421, "this server does not answer for that host"));
        }
        let route = match request.path() {
            "/" => Route::Page,
            "/answer" => Route::Answer,
            "/box" => Route::Box,
            _ => return Err(Refusal::new(404, "there is nothing of that name")),
        };
        if request.method != route.method() {
            return Err(Refusal::new(405, format!("only {} is answered here", route.method())));
        }
        if route == Route::Page {
            self.page(request)?
        } else {
            self.inner(request, host)?
        }
        if route == Route::Answer {
            let media = request.once("content-type")?.unwrap_or_default();
            let (kind, rest) = media.split_once(';').unwrap_or((media, ""));
            let charset = rest.trim().to_ascii_lowercase();
            if !kind.trim().eq_ignore_ascii_case("application/json") || !matches!(&*charset, "" | "charset=utf-8") {
                return Err(Refusal::new(415, "the body must be application/json in UTF-8"));
            }
        }
        Ok(route)
    }

    /// Whether a request shows the token, in its header or in the page's address.
    #[must_use]
    pub fn bears_token(&self, request: &Request) -> bool {
        let in_header = matches!(request.once(TOKEN), Ok(Some(token)) if self.is_token(token));
        in_header || token_in(request).is_some_and(|token| self.is_token(token))
    }

    /// The lane that a request names.
    ///
    /// # Errors
    /// [`Refusal`] of status 400 for one that is no short word.
    pub fn lane(request: &Request) -> Result<Option<&str>, Refusal> {
        let lane = request.once(LANE)?;
        let good = |lane: &str| {
            (1..=LANE_LENGTH).contains(&lane.len()) && lane.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-')
        };
        match lane {
            Some(lane) if !good(lane) => Err(Refusal::new(400, "a lane is a word of letters, digits and hyphens")),
            lane => Ok(lane),
        }
    }

    /// Whether a Host header names this server: by its number, which no foreign name can stand for.
    fn is_ours(&self, host: &str) -> bool {
        let (name, port) = match host.rsplit_once(':') {
            Some((name, port)) if !port.ends_with(']') => (name, port.parse().ok()),
            _ => (host, Some(80)),
        };
        if port != Some(self.port) {
            return false;
        }
        if name.eq_ignore_ascii_case("localhost") {
            return self.address.is_loopback();
        }
        let bare = name.strip_prefix('[').and_then(|name| name.strip_suffix(']'));
        let number: Option<IpAddr> = match bare {
            Some(bare) => bare.parse().ok().filter(IpAddr::is_ipv6),
            None => name.parse().ok().filter(IpAddr::is_ipv4),
        };
        // One that listens everywhere answers for every number that leads here.
        number.is_some_and(|number| self.address.is_unspecified() || number == self.address)
    }

    fn is_token(&self, given: &str) -> bool {
        given.as_bytes().ct_eq(self.token.as_bytes()).into()
    }

    /// The page may be opened by hand or by a link, but not be built into another site's page.
    fn page(&self, request: &Request) -> Result<(), Refusal> {
        let site = request.once("sec-fetch-site")?.unwrap_or("none");
        let mode = request.once("sec-fetch-mode")?.unwrap_or("navigate");
        let dest = request.once("sec-fetch-dest")?.unwrap_or("document");
        if !matches!(site, "none" | "same-origin") && (mode != "navigate" || dest != "document") {
            return Err(Refusal::new(403, "the page is not for other sites to use"));
        }
        if self.page_needs_token && !token_in(request).is_some_and(|token| self.is_token(token)) {
            return Err(Refusal::new(403, "open the whole address that landfall serve has printed, with its token"));
        }
        Ok(())
    }

    /// What only the page itself asks for.
    fn inner(&self, request: &Request, host: &str) -> Result<(), Refusal> {
        let foreign = || Refusal::new(403, "the request comes from another site");
        if request.once("origin")?.is_some_and(|origin| origin.strip_prefix("http://") != Some(host)) {
            return Err(foreign());
        }
        if request.once("sec-fetch-site")?.is_some_and(|site| site != "same-origin") {
            return Err(foreign());
        }
        let token = request.once(TOKEN)?;
        if !token.is_some_and(|token| self.is_token(token)) {
            return Err(Refusal::new(403, "the token is missing or wrong; load the page anew"));
        }
        Ok(())
    }
}

/// The token in the page's address.
fn token_in(request: &Request) -> Option<&str> {
    request.query().split('&').find_map(|part| part.strip_prefix("token="))
}

impl Route {
    /// The one method that it has.
    #[must_use]
    pub const fn method(self) -> &'static str {
        match self {
            Self::Page | Self::Box => "GET",
            Self::Answer => "POST",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn guard(address: &str) -> Guard {
        Guard { address: address.parse().unwrap(), port: 8123, token: "secret".to_owned(), page_needs_token: false }
    }

    fn request(line: &str, headers: &[(&str, &str)]) -> Request {
        let (method, target) = line.split_once(' ').unwrap();
        let headers = headers.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        Request { method: method.to_owned(), target: target.to_owned(), headers, body: Vec::new() }
    }

    #[test]
    fn only_numbers_that_lead_here_are_ours() {
        let local = guard("127.0.0.1");
        for (host, ours) in [
            ("127.0.0.1:8123", true),
            ("localhost:8123", true),
            ("LOCALHOST:8123", true),
            ("127.0.0.1", false),
            ("127.0.0.1:8124", false),
            ("127.0.0.2:8123", false),
            ("2130706433:8123", false),
            ("evil.example:8123", false),
            ("127.0.0.1.evil.example:8123", false),
            ("127.0.0.1:8123@evil.example", false),
            ("[::1]:8123", false),
            ("", false),
            (":8123", false),
        ] {
            assert_eq!(local.is_ours(host), ours, "{host}");
        }
        assert!(guard("::1").is_ours("[::1]:8123") && !guard("::1").is_ours("::1:8123"));
        let everywhere = guard("0.0.0.0");
        assert!(everywhere.is_ours("192.168.7.2:8123") && !everywhere.is_ours("localhost:8123"));
        assert!(!everywhere.is_ours("hill.local:8123"));
        assert!(Guard { port: 80, ..guard("127.0.0.1") }.is_ours("127.0.0.1"));
    }

    #[test]
    fn the_page_asks_and_nobody_else() {
        let guard = guard("127.0.0.1");
        let host = ("host", "127.0.0.1:8123");
        let token = (TOKEN, "secret");
        let json = ("content-type", "application/json; charset=UTF-8");
        let status = |line: &str, headers: &[(&str, &str)]| {
            guard.route(&request(line, headers)).map_err(|refusal| refusal.status)
        };
        assert_eq!(status("POST /answer", &[host, token, json]), Ok(Route::Answer));
        let own = [("origin", "http://127.0.0.1:8123"), ("sec-fetch-site", "same-origin")];
        assert_eq!(status("POST /answer", &[host, token, json, own[0], own[1]]), Ok(Route::Answer));
        assert_eq!(status("GET /box", &[host, token, own[1]]), Ok(Route::Box));
        assert_eq!(status("GET /", &[host]), Ok(Route::Page));

        assert_eq!(status("GET /", &[]), Err(400));
        assert_eq!(status("GET /", &[host, host]), Err(400));
        assert_eq!(status("GET /", &[("host", "evil.example")]), Err(421));
        assert_eq!(status("GET /../etc/passwd", &[host]), Err(404));
        assert_eq!(status("GET http://127.0.0.1:8123/", &[host]), Err(404));
        assert_eq!(status("GET /%2e", &[host]), Err(404));
        for line in ["POST /", "HEAD /", "GET /answer", "OPTIONS /answer", "PUT /answer", "POST /box"] {
            assert_eq!(status(line, &[host, token, json]), Err(405), "{line}");
        }
        for origin in ["null", "https://127.0.0.1:8123", "http://evil.example", "http://127.0.0.1:8124", ""] {
            assert_eq!(status("POST /answer", &[host, token, json, ("origin", origin)]), Err(403), "{origin}");
        }
        for site in ["cross-site", "same-site", "none"] {
            assert_eq!(status("GET /box", &[host, token, ("sec-fetch-site", site)]), Err(403), "{site}");
        }
        for bad in ["", "secre", "secrett", "Secret"] {
            assert_eq!(status("GET /box", &[host, (TOKEN, bad)]), Err(403), "{bad}");
        }
        assert_eq!(status("GET /box?token=secret", &[host]), Err(403));
        for media in ["", "text/plain", "application/x-www-form-urlencoded", "application/json; charset=utf-7"] {
            assert_eq!(status("POST /answer", &[host, token, ("content-type", media)]), Err(415), "{media}");
        }
        let cross = ("sec-fetch-site", "cross-site");
        assert_eq!(status("GET /", &[host, cross, ("sec-fetch-mode", "no-cors")]), Err(403));
        assert_eq!(status("GET /", &[host, cross, ("sec-fetch-dest", "iframe")]), Err(403));
        assert_eq!(status("GET /", &[host, cross, ("sec-fetch-mode", "navigate")]), Ok(Route::Page));
    }

    #[test]
    fn beyond_this_machine_the_page_needs_the_token_too() {
        let guard = Guard { page_needs_token: true, ..guard("192.168.7.2") };
        let host = ("host", "192.168.7.2:8123");
        let page = |target: &str| guard.route(&request(target, &[host])).map_err(|refusal| refusal.status);
        assert_eq!(page("GET /?token=secret"), Ok(Route::Page));
        assert_eq!((page("GET /"), page("GET /?token=")), (Err(403), Err(403)));
        assert_eq!(page("GET /?token=wrong&token=secret"), Err(403));
    }
}
