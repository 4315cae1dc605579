//! Keeps a display showing a view, one small step at a time.
//!
//! A main loop asks [`Painter::work`] for the next step whenever the board has nothing
//! to do: a step paints one piece into memory, or names one tile to be sent. Only tiles
//! that differ from what the display shows are sent.
//!
//! Invariants: a half-painted view is never sent; one step is at most one bus
//! transaction of [`crate::frame::TILE_BYTES`] bytes and its address; a new view begins
//! when the one before is complete.

use crate::draw::Drawing;
use crate::frame::{Frame, TILES, Tile};
use crate::view::View;

/// What a step was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Work {
    /// A piece was painted; nothing to send.
    Painted,
    /// This tile is to be sent; then call [`Painter::sent`] with its number.
    Send(usize, Tile),
    /// The display shows the view.
    Idle,
}

/// A display's pictures: the one shown, and the one that is painted.
#[derive(Clone, Debug)]
pub struct Painter {
    drawing: Option<Drawing>,
    /// The view that is painted or shown.
    view: Option<View>,
    next: Frame,
    shown: Frame,
    /// Tiles that the display is known to show, bit n tile n.
    known: u32,
    /// The painted picture is complete and differs from the one shown.
    to_send: bool,
}

impl Painter {
    /// Nothing is known of what the display shows.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            drawing: None,
            view: None,
            next: Frame::new(),
            shown: Frame::new(),
            known: 0,
            to_send: false,
        }
    }

    /// Takes `view` to show. Ignored while another is painted or sent: offer it again.
    pub fn offer(&mut self, view: View) {
        if self.is_busy() || self.view.as_ref() == Some(&view) {
            return;
        }
        self.drawing = Some(Drawing::new(view.clone()));
        self.view = Some(view);
    }

    /// Whether a view is painted or sent.
    #[must_use]
    pub const fn is_busy(&self) -> bool {
        self.drawing.is_some() || self.to_send
    }

    /// The display has lost its picture: all of it is to be sent again.
    pub const fn forget(&mut self) {
        self.known = 0;
        self.to_send = self.view.is_some();
    }

    /// Does the next step.
    pub fn work(&mut self) -> Work {
        if let Some(drawing) = &mut self.drawing {
            // Drawing into memory cannot fail.
            if drawing.step(&mut self.next).unwrap_or(true) {
                self.drawing = None;
                self.to_send = true;
            }
            return Work::Painted;
        }
        if self.to_send {
            let unknown = (0..TILES).find(|n| self.known >> n & 1 == 0);
            let next = match unknown {
                Some(number) => self.next.tile(number).map(|tile| (number, tile)),
                None => self.next.next_difference(&self.shown, 0),
            };
            if let Some((number, tile)) = next {
                return Work::Send(number, tile);
            }
            self.to_send = false;
        }
        Work::Idle
    }

    /// Tile `number` has arrived on the display.
    pub fn sent(&mut self, number: usize) {
        if number < TILES {
            self.shown.take_tile(&self.next, number);
            self.known |= 1 << number;
        }
    }

    /// The picture as it is painted.
    #[must_use]
    pub const fn picture(&self) -> &Frame {
        &self.next
    }
}

impl Default for Painter {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::{STEPS, draw};
    use crate::number::line;
    use crate::view::{Body, Row};

    fn view(text: &str) -> View {
        let rows = [Row::text(text)].into_iter().collect();
        View {
            title: line("Title"),
            faulty: false,
            due: 0,
            body: Body::Rows(rows),
            foot: None,
            scroll: None,
        }
    }

    /// Runs to rest; the tiles sent.
    fn run(painter: &mut Painter, display: &mut Frame) -> std::vec::Vec<usize> {
        let mut sent = std::vec::Vec::new();
        loop {
            match painter.work() {
                Work::Painted => {}
                Work::Send(number, tile) => {
                    assert_eq!(painter.picture().tile(number), Some(tile));
                    display.take_tile(painter.picture(), number);
                    painter.sent(number);
                    sent.push(number);
                }
                Work::Idle => return sent,
            }
        }
    }

    #[test]
    fn the_display_shows_the_view_and_then_only_what_changed() {
        let (mut painter, mut display) = (Painter::new(), Frame::new());
        painter.offer(view("first"));
        assert_eq!(run(&mut painter, &mut display).len(), TILES, "nothing is known at first");
        painter.offer(view("fjrst"));
        let sent = run(&mut painter, &mut display);
        assert!(!sent.is_empty() && sent.len() <= 2, "{sent:?}");
        let mut whole = Frame::new();
        draw(&view("fjrst"), &mut whole).unwrap();
        assert_eq!(display, whole);
        painter.offer(view("fjrst"));
        assert_eq!(painter.work(), Work::Idle);
        painter.forget();
        assert_eq!(run(&mut painter, &mut display).len(), TILES, "a new display");
    }

    #[test]
    fn a_half_painted_view_is_not_sent_and_a_new_one_waits() {
        let mut painter = Painter::new();
        painter.offer(view("first"));
        for _ in 0..STEPS {
            assert_eq!(painter.work(), Work::Painted);
        }
        painter.offer(view("second"));
        assert!(matches!(painter.work(), Work::Send(0, _)));
        let mut display = Frame::new();
        run(&mut painter, &mut display);
        let mut whole = Frame::new();
        draw(&view("first"), &mut whole).unwrap();
        assert_eq!(display, whole);
    }

    #[test]
    fn a_tile_that_did_not_arrive_is_offered_again() {
        let mut painter = Painter::new();
        painter.offer(view("first"));
        for _ in 0..STEPS {
            painter.work();
        }
        let first = painter.work();
        assert_eq!(painter.work(), first);
    }
}
