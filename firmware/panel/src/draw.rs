//! From a view to pixels, in steps.
//!
//! Invariant: a step draws one line, one bar chart or a band of a QR code, so that a
//! board can look after its inputs and its store between two steps. All steps of a view
//! together draw every pixel anew.
//!
//! Fonts: the monospaced ones of `embedded-graphics`, ISO/IEC 8859-1.

// Coordinates of a screen of 128 by 64 pixels: no cast of one wraps or loses a sign.
#![allow(clippy::cast_possible_wrap, clippy::cast_sign_loss)]

use core::fmt::Write;

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{Point, Size};
use embedded_graphics::mono_font::ascii::{FONT_9X18_BOLD, FONT_10X20};
use embedded_graphics::mono_font::iso_8859_1::{FONT_4X6, FONT_6X10};
use embedded_graphics::mono_font::{MonoFont, MonoTextStyleBuilder};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::{PrimitiveStyle, Rectangle};
use embedded_graphics::text::{Baseline, Text};
use qrcodegen_no_heap::{Mask, QrCode, QrCodeEcc, Version};
use shaftbook_readout::code::SYMBOLS;

use crate::frame::{HEIGHT, WIDTH};
use crate::number::Line;
use crate::view::{Body, Foot, NeedleBar, ROWS_MAX, Row, Scroll, View};

/// Steps that draw a whole view.
pub const STEPS: u8 = 8;

const ROW_TOP: i32 = 11;
const ROW_HEIGHT: i32 = 10;
const FOOT_TOP: i32 = 53;
const RIGHT: i32 = WIDTH as i32;
/// Columns that a scroll bar takes.
const SCROLL_WIDTH: i32 = 2;

/// Modules along a side of the QR code: version 2 of ISO/IEC 18004 holds 38 letters and
/// digits at error correction level M.
const QR_MODULES: usize = 25;
const QR_VERSION: u8 = 2;
/// Pixels of a module.
const QR_SCALE: usize = 2;
/// Light pixels round the code. The standard asks for 4 modules; 64 pixels have room
/// for 3.5 above and below.
const QR_QUIET: usize = 7;
/// Rows of modules drawn in one step.
const QR_BAND: usize = 5;

/// A QR code, one word a row, bit n the module in column n; dark is 1.
type Modules = [u32; QR_MODULES];

/// A view that is being drawn.
#[derive(Clone, Debug)]
pub struct Drawing {
    view: View,
    modules: Modules,
    step: u8,
}

impl Drawing {
    /// Nothing drawn yet.
    #[must_use]
    pub fn new(view: View) -> Self {
        Self { view, modules: [0; QR_MODULES], step: 0 }
    }

    /// The view.
    #[must_use]
    pub fn view(&self) -> &View {
        &self.view
    }

    /// Draws the next piece; `true` when it was the last one.
    ///
    /// # Errors
    /// Those of the target.
    pub fn step<D>(&mut self, target: &mut D) -> Result<bool, D::Error>
    where
        D: DrawTarget<Color = BinaryColor>,
    {
        match self.step {
            0 => {
                target.clear(BinaryColor::Off)?;
                if !matches!(self.view.body, Body::Qr(_)) {
                    title(&self.view, target)?;
                }
            }
            1..=6 => self.body(usize::from(self.step - 1), target)?,
            _ => {
                if let Some(foot) = self.view.foot {
                    draw_foot(foot, target)?;
                }
                if let Some(bar) = self.view.scroll {
                    scroll(bar, self.view.foot.is_some(), target)?;
                }
            }
        }
        self.step = (self.step + 1).min(STEPS);
        Ok(self.step == STEPS)
    }

    /// Piece `n`, 0 to 5, of the body.
    fn body<D>(&mut self, n: usize, target: &mut D) -> Result<(), D::Error>
    where
        D: DrawTarget<Color = BinaryColor>,
    {
        let right = if self.view.scroll.is_some() { RIGHT - SCROLL_WIDTH } else { RIGHT };
        match &self.view.body {
            Body::Rows(rows) => match rows.get(n) {
                Some(line) if n < ROWS_MAX => {
                    row(line, ROW_TOP + ROW_HEIGHT * n as i32, right, target)
                }
                _ => Ok(()),
            },
            Body::Home { figure, beside, permille, below } => match n {
                0 => home_figure(figure, beside, target),
                1 => bar(Point::new(0, 33), *permille, target),
                2 => row(&below[0], 43, RIGHT, target),
                3 => row(&below[1], 53, RIGHT, target),
                _ => Ok(()),
            },
            Body::Needles { bars, chosen, below } => match n {
                0 => needles(bars, 0..bars.len() / 2, *chosen, target),
                1 => needles(bars, bars.len() / 2..bars.len(), *chosen, target),
                2 => text(below, Point::new(0, 54), &FONT_6X10, BinaryColor::On, target),
                _ => Ok(()),
            },
            Body::Code(lines) => match lines.get(n) {
                Some(line) => {
                    let y = 10 + 18 * n as i32;
                    text(line, Point::new(14, y), &FONT_9X18_BOLD, BinaryColor::On, target)
                }
                None => Ok(()),
            },
            Body::Qr(symbols) => match n.checked_sub(1) {
                None => {
                    self.modules = modules(symbols);
                    qr_ground(target)
                }
                Some(band) => qr_band(&self.modules, band, target),
            },
            Body::Digits { digits, at, above } => match n {
                0 => row(above, ROW_TOP, RIGHT, target),
                1 => typed(*digits, *at, 0..4, target),
                2 => typed(*digits, *at, 4..8, target),
                _ => Ok(()),
            },
        }
    }
}

/// Draws a whole view at once, where nothing waits for it.
///
/// # Errors
/// Those of the target.
pub fn draw<D>(view: &View, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    let mut drawing = Drawing::new(view.clone());
    while !drawing.step(target)? {}
    Ok(())
}

fn text<D>(
    text: &str,
    at: Point,
    font: &MonoFont<'_>,
    color: BinaryColor,
    target: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    // With a ground of its own a letter is drawn row by row, not pixel by pixel.
    let style = MonoTextStyleBuilder::new()
        .font(font)
        .text_color(color)
        .background_color(color.invert())
        .build();
    Text::with_baseline(text, at, style, Baseline::Top).draw(target).map(|_| ())
}

fn fill<D>(at: Point, size: Size, color: BinaryColor, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    target.fill_solid(&Rectangle::new(at, size), color)
}

/// Width of `text` in the font of rows, pixels.
fn width(text: &str) -> i32 {
    6 * text.chars().count() as i32
}

/// The strip above: title, mark of what is due, mark of a fault.
fn title<D>(view: &View, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    fill(Point::zero(), Size::new(WIDTH as u32, 10), BinaryColor::On, target)?;
    text(&view.title, Point::new(1, 0), &FONT_6X10, BinaryColor::Off, target)?;
    let mut right = RIGHT - 1;
    if view.faulty {
        // A triangle with its point up, as on warning signs (ISO 7010 W001 has the
        // shape; the drawing is ours).
        let left = right - 9;
        for row in 0..8_i32 {
            let (from, wide) = (4 - row / 2 - row % 2, (row / 2 + row % 2) * 2 + 1);
            let at = Point::new(left + from, 1 + row);
            fill(at, Size::new(wide as u32, 1), BinaryColor::Off, target)?;
        }
        fill(Point::new(left + 4, 4), Size::new(1, 2), BinaryColor::On, target)?;
        fill(Point::new(left + 4, 7), Size::new(1, 1), BinaryColor::On, target)?;
        right = left - 2;
    }
    if view.due > 0 {
        let mut count = Line::new();
        // Cannot fail: the line has room for it.
        let _ = write!(count, "{}", view.due.min(99));
        let left = right - width(&count) - 9;
        // A drop: care is due.
        for (row, (from, wide)) in
            [(3, 1), (3, 1), (2, 3), (1, 5), (0, 7), (0, 7), (1, 5)].into_iter().enumerate()
        {
            let at = Point::new(left + from, 1 + row as i32);
            fill(at, Size::new(wide, 1), BinaryColor::Off, target)?;
        }
        text(&count, Point::new(left + 9, 0), &FONT_6X10, BinaryColor::Off, target)?;
    }
    Ok(())
}

fn row<D>(row: &Row, y: i32, right: i32, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    let (paper, ink) = if row.chosen {
        (BinaryColor::On, BinaryColor::Off)
    } else {
        (BinaryColor::Off, BinaryColor::On)
    };
    if row.chosen {
        fill(Point::new(0, y), Size::new(right as u32, ROW_HEIGHT as u32), paper, target)?;
    }
    text(&row.left, Point::new(0, y), &FONT_6X10, ink, target)?;
    let x = right - width(&row.right) - 1;
    if row.due && !row.right.is_empty() {
        let size = Size::new((width(&row.right) + 1) as u32, ROW_HEIGHT as u32 - 1);
        fill(Point::new(x - 1, y), size, ink, target)?;
        return text(&row.right, Point::new(x, y), &FONT_6X10, paper, target);
    }
    text(&row.right, Point::new(x, y), &FONT_6X10, ink, target)
}

/// The mark of the button Act, ringed when it is to be held, and what it does.
fn draw_foot<D>(foot: Foot, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    fill(Point::new(0, FOOT_TOP - 1), Size::new(WIDTH as u32, 1), BinaryColor::On, target)?;
    let (words, held) = match foot {
        Foot::Tap(words) => (words, false),
        Foot::Hold(words) => (words, true),
    };
    fill(Point::new(3, FOOT_TOP + 4), Size::new(4, 4), BinaryColor::On, target)?;
    if held {
        Rectangle::new(Point::new(1, FOOT_TOP + 2), Size::new(8, 8))
            .into_styled(PrimitiveStyle::with_stroke(BinaryColor::On, 1))
            .draw(target)?;
    }
    text(words, Point::new(12, FOOT_TOP + 1), &FONT_6X10, BinaryColor::On, target)
}

fn scroll<D>(scroll: Scroll, foot: bool, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    let height = if foot { 40 } else { 52 };
    let place = |lines: u8| u32::from(lines) * height / u32::from(scroll.total.max(1));
    let (top, size) = (place(scroll.first), place(scroll.shown).max(2));
    // A line of dots, solid where the list stands.
    for y in (0..height).filter(|y| y % 2 == 0 || (top..top + size).contains(y)) {
        let at = Point::new(RIGHT - 1, ROW_TOP + y as i32);
        fill(at, Size::new(1, 1), BinaryColor::On, target)?;
    }
    Ok(())
}

fn home_figure<D>(figure: &str, beside: &str, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    let font = if figure.chars().count() > 6 { &FONT_9X18_BOLD } else { &FONT_10X20 };
    text(figure, Point::new(2, 11), font, BinaryColor::On, target)?;
    let x = RIGHT - 1 - width(beside);
    text(beside, Point::new(x, 19), &FONT_6X10, BinaryColor::On, target)
}

/// A bar of the full width, seven pixels high.
fn bar<D>(at: Point, permille: u16, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    Rectangle::new(at, Size::new(WIDTH as u32, 7))
        .into_styled(PrimitiveStyle::with_stroke(BinaryColor::On, 1))
        .draw(target)?;
    let wide = u32::from(permille.min(1_000)) * (WIDTH as u32 - 4) / 1_000;
    fill(at + Point::new(2, 2), Size::new(wide, 3), BinaryColor::On, target)
}

/// Two bars a needle: wear, wide; breaks, narrow. The dotted line is the limit.
fn needles<D>(
    bars: &[NeedleBar],
    which: core::ops::Range<usize>,
    chosen: Option<usize>,
    target: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    const FLOOR: i32 = 46;
    const HIGH: i32 = 32;
    let slot = (WIDTH / bars.len().max(1)).min(16) as i32;
    for (n, needle) in bars.iter().enumerate().skip(which.start).take(which.len()) {
        let x = slot * n as i32;
        let height = |permille: u16| i32::from(permille.min(1_000)) * HIGH / 1_000;
        let mut column = |left: i32, wide: i32, high: i32| {
            let at = Point::new(x + left, FLOOR - high);
            fill(at, Size::new(wide as u32, high as u32), BinaryColor::On, target)
        };
        column(0, slot / 2, height(needle.wear_permille))?;
        column(slot / 2 + 1, (slot / 4).max(1), height(needle.breaks_permille))?;
        for dot in (0..slot).step_by(3) {
            let at = Point::new(x + dot, FLOOR - HIGH - 1);
            fill(at, Size::new(1, 1), BinaryColor::On, target)?;
        }
        let mut number = Line::new();
        // Cannot fail: the line has room for it.
        let _ = write!(number, "{}", n + 1);
        let is_chosen = chosen == Some(n);
        let (paper, ink) = if is_chosen {
            (BinaryColor::On, BinaryColor::Off)
        } else {
            (BinaryColor::Off, BinaryColor::On)
        };
        let wide = slot.min(8 + i32::from(slot > 8));
        fill(Point::new(x, FLOOR + 1), Size::new(wide as u32, 7), paper, target)?;
        text(&number, Point::new(x, FLOOR + 2), &FONT_4X6, ink, target)?;
    }
    Ok(())
}

fn typed<D>(
    digits: [u8; 8],
    at: u8,
    which: core::ops::Range<usize>,
    target: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    for (n, digit) in digits.iter().enumerate().skip(which.start).take(which.len()) {
        let x = 6 + 14 * n as i32 + if n >= 4 { 6 } else { 0 };
        let shown = n <= usize::from(at);
        let mut figure = Line::new();
        // Cannot fail: the line has room for it.
        let _ = if shown { write!(figure, "{}", digit % 10) } else { write!(figure, "-") };
        let here = n == usize::from(at);
        if here {
            let size = Size::new(14, 22);
            fill(Point::new(x - 2, 25), size, BinaryColor::On, target)?;
        }
        let ink = if here { BinaryColor::Off } else { BinaryColor::On };
        text(&figure, Point::new(x, 26), &FONT_10X20, ink, target)?;
    }
    Ok(())
}

/// The modules of the code's QR code; all light if it could not be made (it can: the
/// version has room for 38 such symbols).
fn modules(symbols: &[u8; SYMBOLS]) -> Modules {
    let mut modules = [0; QR_MODULES];
    let version = Version::new(QR_VERSION);
    let (mut scratch, mut out) = ([0; 96], [0; 96]);
    let room = version.buffer_len();
    let (Some(scratch), Some(out), Ok(text)) =
        (scratch.get_mut(..room), out.get_mut(..room), core::str::from_utf8(symbols))
    else {
        return modules;
    };
    // A fixed mask: choosing the best one takes eight times as long, and any mask can
    // be read.
    let mask = Some(Mask::new(2));
    let level = QrCodeEcc::Medium;
    if let Ok(code) = QrCode::encode_text(text, scratch, out, level, version, version, mask, false)
    {
        for (y, row) in modules.iter_mut().enumerate() {
            for x in 0..QR_MODULES {
                *row |= u32::from(code.get_module(x as i32, y as i32)) << x;
            }
        }
    }
    modules
}

const QR_LEFT: usize = (WIDTH - QR_MODULES * QR_SCALE) / 2;

/// The light ground of a QR code: dark modules are dark pixels.
fn qr_ground<D>(target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    let side = QR_MODULES * QR_SCALE + 4 * 2 * QR_SCALE;
    let at = Point::new((QR_LEFT - 4 * QR_SCALE) as i32, 0);
    fill(at, Size::new(side as u32, HEIGHT as u32), BinaryColor::On, target)
}

fn qr_band<D>(modules: &Modules, band: usize, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    for (y, row) in modules.iter().enumerate().skip(band * QR_BAND).take(QR_BAND) {
        for x in (0..QR_MODULES).filter(|x| row >> x & 1 == 1) {
            let at = Point::new((QR_LEFT + x * QR_SCALE) as i32, (QR_QUIET + y * QR_SCALE) as i32);
            fill(at, Size::new_equal(QR_SCALE as u32), BinaryColor::Off, target)?;
        }
    }
    Ok(())
}
