//! The page as one HTML text that loads nothing.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::json;
use sha2::{Digest as _, Sha256};

use super::Behind;
use landfall_plan::plan::cautions::CAUTIONS;

const STYLE: [&str; 2] = [landfall_plan::report::STYLE, include_str!("page.css")];
const SCRIPT: [&str; 7] = [
    include_str!("engine.js"),
    include_str!("state.js"),
    include_str!("controls.js"),
    include_str!("view.js"),
    include_str!("play.js"),
    include_str!("box.js"),
    include_str!("main.js"),
];
const BODY: &str = include_str!("page.html");

/// The page's script, in a scope of its own.
fn script() -> String {
    format!("(() => {{\n\"use strict\";\n{}}})();\n", SCRIPT.concat())
}

/// What the page may load and run: its own script, by its hash, and nothing from anywhere else.
///
/// The server gives this as a header too.
#[must_use]
pub fn policy(behind: &Behind<'_>) -> String {
    let script = format!("'sha256-{}'", STANDARD.encode(Sha256::digest(script())));
    let (run, reach) = match behind {
        Behind::Server { .. } => (script, "connect-src 'self'"),
        // The worker's script is made from the page's own.
        Behind::Inside { .. } => (format!("{script} 'wasm-unsafe-eval' blob:"), "worker-src blob:"),
    };
    format!(
        "default-src 'none'; script-src {run}; style-src 'unsafe-inline'; img-src data:; {reach}; base-uri 'none'; form-action 'none'"
    )
}

/// Neither a tag nor a reference begins inside.
fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// The whole page: one HTML text that loads nothing else.
#[must_use]
pub fn html(behind: &Behind<'_>) -> String {
    let (begin, token, module, words) = match behind {
        Behind::Server { token, site, file, has_box } => (
            json!({"behind": "server", "site": site, "file": file, "has_box": has_box}),
            format!("<meta name=\"landfall-token\" content=\"{}\">\n", escape(token)),
            String::new(),
            ", by the program that serves this page",
        ),
        Behind::Inside { module, site, file } => (
            json!({"behind": "inside", "site": site, "file": file}),
            String::new(),
            format!("<script type=\"text/plain\" id=\"module\">{}</script>\n", STANDARD.encode(module)),
            ", inside this file, without a network",
        ),
    };
    let cautions: String = CAUTIONS.iter().map(|text| format!("<li>{}</li>", escape(text))).collect();
    let body = BODY
        .replace("{cautions}", &cautions)
        .replace("{version}", env!("CARGO_PKG_VERSION"))
        .replace("{behind}", words);
    // No end tag can begin inside what the browser takes as data.
    let begin = begin.to_string().replace('<', "\\u003c");
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n{token}<link rel=\"icon\" href=\"data:,\">\n\
         <title>Landfall: try values</title>\n<style>\n{}</style>\n</head>\n<body>\n{body}\
         <script type=\"application/json\" id=\"begin\">{begin}</script>\n{module}<script>{}</script>\n</body>\n</html>\n",
        policy(behind),
        STYLE.concat(),
        script(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_loaded_and_a_site_cannot_break_out() {
        let site = "[site]\nname = \"</script><script>alert(1)</script>\"\n";
        for behind in [
            Behind::Server { token: "a\"b", site, file: "<x>.toml", has_box: true },
            Behind::Inside { module: b"\0asm", site, file: "<x>.toml" },
        ] {
            let page = html(&behind);
            assert!(!page.contains("alert(1)</script>") && !page.contains("content=\"a\"b\""));
            // The name of the drawing language is no address that anything is loaded from.
            let page_without = page.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
            assert!(!page_without.contains("src=\"") && !page_without.contains("://"), "{behind:?}");
            assert!(!page.contains("@import"), "{behind:?}");
            assert_eq!(page.matches("</script>").count(), if matches!(behind, Behind::Server { .. }) { 2 } else { 3 });
            assert!(page.contains(CAUTIONS[1].split(':').next().unwrap_or_default()));
        }
        assert!(html(&Behind::Inside { module: b"\0asm", site, file: "x" }).contains("AGFzbQ=="));
    }
}
