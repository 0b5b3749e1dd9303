//! The page to try things on, put together; what it shows is computed by [`landfall_plan::page::answer`].

mod html;

pub use html::{html, policy};

/// What is behind a page.
#[derive(Clone, Copy, Debug)]
pub enum Behind<'a> {
    /// A local server. The page sends requests to `/answer` and asks `/box` for live data; both with the token in the
    /// header `X-Landfall-Token`.
    Server {
        /// Token that the page sends back with each request.
        token: &'a str,
        /// The site file's text that the page begins with.
        site: &'a str,
        /// The file's name.
        file: &'a str,
        /// Whether a box is connected or simulated.
        has_box: bool,
    },
    /// A WebAssembly module inside the page itself.
    Inside {
        /// The module.
        module: &'a [u8],
        /// The site file's text that the page begins with.
        site: &'a str,
        /// The file's name.
        file: &'a str,
    },
}
