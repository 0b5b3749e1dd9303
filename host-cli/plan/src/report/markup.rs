//! A small tree of elements that is written out as markup that both HTML and XML parsers read.

use std::fmt::{Display, Write as _};

/// Elements without content, closed at once; all others get an end tag, as HTML wants it.
const EMPTY: [&str; 12] =
    ["br", "circle", "ellipse", "hr", "line", "link", "meta", "path", "polygon", "polyline", "rect", "use"];

/// One element.
#[derive(Clone, Debug)]
pub struct Element {
    name: &'static str,
    attributes: Vec<(&'static str, String)>,
    children: Vec<Node>,
}

#[derive(Clone, Debug)]
enum Node {
    Element(Element),
    Text(String),
    /// Markup that this module wrote before.
    Ready(String),
}

/// An element without attributes or content.
#[must_use]
pub fn el(name: &'static str) -> Element {
    Element { name, attributes: Vec::new(), children: Vec::new() }
}

impl Element {
    /// With an attribute.
    #[must_use]
    pub fn with(mut self, key: &'static str, value: impl Display) -> Self {
        self.attributes.push((key, value.to_string()));
        self
    }

    /// With a class.
    #[must_use]
    pub fn class(self, class: impl Display) -> Self {
        self.with("class", class)
    }

    /// With a text after what is inside already.
    #[must_use]
    pub fn text(mut self, text: impl Into<String>) -> Self {
        self.children.push(Node::Text(text.into()));
        self
    }

    /// With markup from [`Element::render`] after what is inside already.
    #[must_use]
    pub fn ready(mut self, markup: String) -> Self {
        self.children.push(Node::Ready(markup));
        self
    }

    /// With an element after what is inside already.
    #[must_use]
    pub fn add(mut self, child: Self) -> Self {
        self.push(child);
        self
    }

    /// With elements after what is inside already.
    #[must_use]
    pub fn all(mut self, children: impl IntoIterator<Item = Self>) -> Self {
        self.children.extend(children.into_iter().map(Node::Element));
        self
    }

    /// Puts an element after what is inside already.
    pub fn push(&mut self, child: Self) {
        self.children.push(Node::Element(child));
    }

    /// The markup.
    #[must_use]
    pub fn render(&self) -> String {
        let mut out = String::new();
        self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) {
        let _ = write!(out, "<{}", self.name);
        for (key, value) in &self.attributes {
            let _ = write!(out, " {key}=\"{}\"", escape(value).replace('"', "&quot;"));
        }
        if self.children.is_empty() && EMPTY.contains(&self.name) {
            out.push_str("/>");
            return;
        }
        out.push('>');
        for child in &self.children {
            match child {
                Node::Element(element) => element.write(out),
                Node::Ready(markup) => out.push_str(markup),
                // What is in `style` is taken as it stands by HTML; it comes from this program only.
                Node::Text(text) if self.name == "style" => out.push_str(text),
                Node::Text(text) => out.push_str(&escape(text)),
            }
        }
        let _ = write!(out, "</{}>", self.name);
        if matches!(self.name, "p" | "tr" | "section" | "figure" | "svg" | "li" | "style" | "head" | "g") {
            out.push('\n');
        }
    }
}

/// Neither a tag nor a reference begins inside; what XML has no characters for is left out.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '\u{fffe}' | '\u{ffff}' => {}
            c if c.is_control() && !matches!(c, '\n' | '\t') => {}
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_site_is_called_stays_a_text() {
        let name = "<script>alert('x')</script> & \"Söhne\" \u{1b}[2J";
        let markup = el("p").with("title", name).text(name).render();
        let read = roxmltree::Document::parse(&markup).unwrap();
        let element = read.root_element();
        assert_eq!(element.children().filter(roxmltree::Node::is_element).count(), 0);
        assert_eq!(element.text(), Some("<script>alert('x')</script> & \"Söhne\" [2J"));
        assert_eq!(element.attribute("title"), element.text());
    }

    #[test]
    fn only_elements_that_html_knows_as_empty_close_themselves() {
        assert_eq!(el("td").render(), "<td></td>");
        assert_eq!(el("br").render(), "<br/>");
    }
}
