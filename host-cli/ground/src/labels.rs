//! Labels that keep off each other: each is put as near to its place as there is room, those with the least choice below
//! the picture.

/// Height of a label's letters.
pub const SIZE: f64 = 12.0;
/// Width of a letter, on the wide side for a sans-serif face at this size (*assumed*).
const LETTER: f64 = 7.0;
/// Height of a label's box.
const HIGH: f64 = 16.0;
/// Blank between two boxes.
const APART: f64 = 2.0;

/// Left, upper, right and lower edge.
pub type Frame = (f64, f64, f64, f64);

/// A label in its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// What it says.
    pub text: String,
    /// What it takes up.
    pub frame: Frame,
    /// A line from what it belongs to, where it could not stand beside it.
    pub lead: Option<((f64, f64), (f64, f64))>,
}

/// Labels that want a place.
pub(crate) struct Labels {
    size: (f64, f64),
    wanted: Vec<((f64, f64), String, bool)>,
    fixed: Vec<Placed>,
    blocked: Vec<Frame>,
}

/// Whether two frames lie over each other.
#[must_use]
pub fn overlap(a: Frame, b: Frame) -> bool {
    a.0 < b.2 && b.0 < a.2 && a.1 < b.3 && b.1 < a.3
}

/// How wide a text is taken to be.
#[must_use]
pub fn width(text: &str) -> f64 {
    text.chars().count() as f64 * LETTER
}

impl Labels {
    pub fn new(size: (f64, f64)) -> Self {
        Self { size, wanted: Vec::new(), fixed: Vec::new(), blocked: Vec::new() }
    }

    /// A mark that no label may lie over.
    pub fn block(&mut self, frame: Frame) {
        self.blocked.push(frame);
    }

    /// A text near a place; `under` where it had better stand below it.
    pub fn want(&mut self, at: (f64, f64), text: String, under: bool) {
        self.wanted.push((at, text, under));
    }

    /// A text whose lower left corner is given.
    pub fn fixed(&mut self, (left, bottom): (f64, f64), text: String) {
        let frame = (left, bottom - HIGH, left + width(&text), bottom);
        self.fixed.push(Placed { text, frame, lead: None });
    }

    /// All of them in their places, and the height that the sheet then has.
    pub fn place(self) -> (Vec<Placed>, f64) {
        let (w, mut h) = self.size;
        let mut placed = self.fixed;
        let mut below: Vec<((f64, f64), String)> = Vec::new();
        for (at, text, under) in self.wanted {
            let wide = width(&text);
            let free = |frame: &Frame| {
                let grown = (frame.0 - APART, frame.1 - APART, frame.2 + APART, frame.3 + APART);
                frame.0 >= 2.0
                    && frame.1 >= 2.0
                    && frame.2 <= w - 2.0
                    && frame.3 <= h - 2.0
                    && placed.iter().all(|other| !overlap(other.frame, grown))
                    && self.blocked.iter().all(|mark| !overlap(*mark, *frame))
            };
            match spots(at, wide, under).find(|(frame, _)| free(frame)) {
                Some((frame, far)) => {
                    let lead = (far > 14.0).then(|| (at, nearest_on(frame, at)));
                    placed.push(Placed { text, frame, lead });
                }
                None => below.push((at, text)),
            }
        }
        let mut left = 6.0;
        let mut top = h;
        for (at, text) in below {
            let wide = width(&text).min(w - 12.0);
            if left + wide > w - 6.0 {
                left = 6.0;
                top += HIGH + APART;
            }
            let frame = (left, top, left + wide, top + HIGH);
            placed.push(Placed { text, frame, lead: Some((at, nearest_on(frame, at))) });
            left += wide + 4.0 * APART;
            h = top + HIGH + 2.0;
        }
        (placed, h)
    }
}

/// Places to try, the nearest first: above, below, right, left and the corners between, farther and farther off; those
/// above last where it had better stand below.
fn spots(at: (f64, f64), wide: f64, under: bool) -> impl Iterator<Item = (Frame, f64)> {
    (0..22).flat_map(move |ring| {
        let off = 6.0 + f64::from(ring) * 9.0;
        let corner = |left: f64, top: f64| ((left, top, left + wide, top + HIGH), off);
        let (x, y) = at;
        let (over, below) = (corner(x - wide / 2.0, y - off - HIGH), corner(x - wide / 2.0, y + off));
        let (first, second) = if under { (below, corner(x, y + off)) } else { (over, below) };
        [
            first,
            second,
            corner(x + off, y - HIGH / 2.0),
            corner(x - off - wide, y - HIGH / 2.0),
            corner(x + off * 0.7, y - off * 0.7 - HIGH),
            corner(x - off * 0.7 - wide, y - off * 0.7 - HIGH),
            corner(x + off * 0.7, y + off * 0.7),
            corner(x - off * 0.7 - wide, y + off * 0.7),
        ]
    })
}

fn nearest_on(frame: Frame, at: (f64, f64)) -> (f64, f64) {
    (at.0.clamp(frame.0, frame.2), at.1.clamp(frame.1, frame.3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forty_labels_at_one_place_lie_beside_each_other() {
        let mut labels = Labels::new((400.0, 200.0));
        for i in 0..40 {
            labels.want((200.0, 100.0), format!("label {i}"), i % 3 == 0);
        }
        let (placed, height) = labels.place();
        assert_eq!(placed.len(), 40);
        for (i, a) in placed.iter().enumerate() {
            assert!(a.frame.0 >= 0.0 && a.frame.2 <= 400.0 && a.frame.1 >= 0.0 && a.frame.3 <= height, "{a:?}");
            assert!(placed.iter().skip(i + 1).all(|b| !overlap(a.frame, b.frame)), "{a:?}");
        }
        // What lies far off is led to.
        assert!(placed[0].lead.is_none() && placed[39].lead.is_some());
    }
}
