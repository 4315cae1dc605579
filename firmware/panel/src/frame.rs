//! A picture of 128 by 64 pixels of one bit, as the display keeps it.
//!
//! ```text
//! byte  page × 128 + column: 8 pixels of one column, bit 0 the uppermost
//! tile  32 such bytes side by side in one page: 4 tiles a page, 32 in all
//! ```
//!
//! The layout is that of the SSD1306's display RAM (datasheet rev 1.1 §8.7, from
//! memory). A tile is what is sent in one bus transaction.

use core::convert::Infallible;

use embedded_graphics::Pixel;
use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Size};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::Dimensions;
use embedded_graphics::primitives::Rectangle;

/// Width, pixels.
pub const WIDTH: usize = 128;
/// Height, pixels.
pub const HEIGHT: usize = 64;
/// Bytes in a picture.
pub const FRAME_BYTES: usize = WIDTH * HEIGHT / 8;
/// Bytes in a tile.
pub const TILE_BYTES: usize = 32;
/// Tiles in a picture.
pub const TILES: usize = FRAME_BYTES / TILE_BYTES;

/// A picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame([u8; FRAME_BYTES]);

/// A piece of a picture, as it is sent to the display.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tile {
    /// Leftmost column, 0 to 96.
    pub column: u8,
    /// Page, 0 to 7.
    pub page: u8,
    /// Its bytes.
    pub bytes: [u8; TILE_BYTES],
}

impl Frame {
    /// All pixels dark.
    #[must_use]
    pub const fn new() -> Self {
        Self([0; FRAME_BYTES])
    }

    /// The picture of these bytes, in the display's order.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; FRAME_BYTES]) -> Self {
        Self(bytes)
    }

    /// Whether the pixel is lit; `false` outside the picture.
    #[must_use]
    pub fn is_lit(&self, x: usize, y: usize) -> bool {
        if x >= WIDTH || y >= HEIGHT {
            return false;
        }
        let byte = self.0.get(y / 8 * WIDTH + x).copied().unwrap_or(0);
        byte >> (y % 8) & 1 == 1
    }

    /// The bytes, in the display's order.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; FRAME_BYTES] {
        &self.0
    }

    /// Tile `number`, 0 to [`TILES`] − 1; `None` beyond.
    #[must_use]
    pub fn tile(&self, number: usize) -> Option<Tile> {
        let bytes = self.0.chunks_exact(TILE_BYTES).nth(number)?;
        let column = (number * TILE_BYTES % WIDTH) as u8;
        let page = (number * TILE_BYTES / WIDTH) as u8;
        Some(Tile { column, page, bytes: bytes.first_chunk().copied()? })
    }

    /// The first tile at or after `from` that differs from `other`'s, and its number.
    #[must_use]
    pub fn next_difference(&self, other: &Self, from: usize) -> Option<(usize, Tile)> {
        (from..TILES)
            .filter_map(|number| self.tile(number).map(|tile| (number, tile)))
            .find(|(number, tile)| other.tile(*number) != Some(*tile))
    }

    /// Takes tile `number` over from `other`.
    pub fn take_tile(&mut self, other: &Self, number: usize) {
        let tiles = self.0.chunks_exact_mut(TILE_BYTES).zip(other.0.chunks_exact(TILE_BYTES));
        if let Some((to, from)) = tiles.into_iter().nth(number) {
            to.copy_from_slice(from);
        }
    }
}

impl Default for Frame {
    fn default() -> Self {
        Self::new()
    }
}

impl OriginDimensions for Frame {
    fn size(&self) -> Size {
        Size::new(WIDTH as u32, HEIGHT as u32)
    }
}

impl DrawTarget for Frame {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I>(&mut self, pixels: I) -> Result<(), Infallible>
    where
        I: IntoIterator<Item = Pixel<BinaryColor>>,
    {
        for Pixel(point, color) in pixels {
            let (Ok(x), Ok(y)) = (usize::try_from(point.x), usize::try_from(point.y)) else {
                continue;
            };
            if x >= WIDTH || y >= HEIGHT {
                continue;
            }
            if let Some(byte) = self.0.get_mut(y / 8 * WIDTH + x) {
                let bit = 1 << (y % 8);
                *byte = if color.is_on() { *byte | bit } else { *byte & !bit };
            }
        }
        Ok(())
    }

    /// Row by row, without a point for every pixel: letters come this way.
    fn fill_contiguous<I>(&mut self, area: &Rectangle, colors: I) -> Result<(), Infallible>
    where
        I: IntoIterator<Item = BinaryColor>,
    {
        let mut colors = colors.into_iter();
        let left = area.top_left.x;
        for y in area.rows() {
            let row = usize::try_from(y).ok().filter(|y| *y < HEIGHT);
            let bytes = row.and_then(|y| self.0.chunks_exact_mut(WIDTH).nth(y / 8));
            let bit = 1 << row.map_or(0, |y| y % 8);
            let Some(bytes) = bytes else {
                // Above or below the picture: its pixels are left away.
                colors.by_ref().take(area.size.width as usize).for_each(|_| {});
                continue;
            };
            for n in 0..area.size.width {
                let Some(color) = colors.next() else { return Ok(()) };
                let x = usize::try_from(i64::from(left) + i64::from(n)).ok();
                if let Some(byte) = x.and_then(|x| bytes.get_mut(x)) {
                    *byte = if color.is_on() { *byte | bit } else { *byte & !bit };
                }
            }
        }
        Ok(())
    }

    /// Page by page, up to eight pixels at a time: pixel by pixel a whole screen takes a
    /// Cortex-M0+ some ms.
    fn fill_solid(&mut self, area: &Rectangle, color: BinaryColor) -> Result<(), Infallible> {
        let area = area.intersection(&self.bounding_box());
        let Some(last) = area.bottom_right() else { return Ok(()) };
        let inside = |n: i32| usize::try_from(n).unwrap_or(0);
        let (left, right) = (inside(area.top_left.x), inside(last.x));
        let (top, bottom) = (inside(area.top_left.y), inside(last.y));
        for (page, row) in self.0.chunks_exact_mut(WIDTH).enumerate() {
            let (first, end) = (top.max(page * 8), (bottom + 1).min(page * 8 + 8));
            if first >= end {
                continue;
            }
            let mask = (0xFF_u8 >> (8 - (end - first))) << (first - page * 8);
            for byte in row.iter_mut().take(right + 1).skip(left) {
                *byte = if color.is_on() { *byte | mask } else { *byte & !mask };
            }
        }
        Ok(())
    }

    fn clear(&mut self, color: BinaryColor) -> Result<(), Infallible> {
        self.0.fill(if color.is_on() { 0xFF } else { 0 });
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_graphics::geometry::Point;
    use embedded_graphics::primitives::PointsIter;
    use proptest::prelude::*;

    fn with(points: &[(i32, i32)]) -> Frame {
        let mut frame = Frame::new();
        let pixels = points.iter().map(|(x, y)| Pixel(Point::new(*x, *y), BinaryColor::On));
        frame.draw_iter(pixels).unwrap();
        frame
    }

    #[test]
    fn a_pixel_is_a_bit_of_its_page() {
        let frame = with(&[(0, 0), (127, 63), (5, 9)]);
        assert_eq!(frame.bytes()[0], 1);
        assert_eq!(frame.bytes()[FRAME_BYTES - 1], 0x80);
        assert_eq!(frame.bytes()[128 + 5], 2);
        assert!(frame.is_lit(5, 9) && !frame.is_lit(5, 10) && !frame.is_lit(128, 0));
        assert!(!frame.is_lit(usize::MAX, usize::MAX));
    }

    #[test]
    fn what_is_drawn_outside_is_left_away() {
        assert_eq!(with(&[(-1, 0), (128, 0), (0, 64), (0, -5)]), Frame::new());
    }

    proptest! {
        /// Filling by pages is filling by pixels.
        #[test]
        fn a_filled_area_is_its_pixels(
            x in -20..150_i32, y in -20..90_i32, wide in 0..170_u32, high in 0..100_u32,
            lit: bool, ground: bool,
        ) {
            let area = Rectangle::new(Point::new(x, y), Size::new(wide, high));
            let color = BinaryColor::from(lit);
            let (mut by_pages, mut by_pixels) = (Frame::new(), Frame::new());
            by_pages.clear(ground.into()).unwrap();
            by_pixels.clear(ground.into()).unwrap();
            by_pages.fill_solid(&area, color).unwrap();
            by_pixels.draw_iter(area.points().map(|point| Pixel(point, color))).unwrap();
            prop_assert_eq!(by_pages, by_pixels);
        }

        /// A picture drawn row by row is its pixels.
        #[test]
        fn contiguous_pixels_are_its_pixels(
            x in -20..140_i32, y in -20..80_i32, wide in 0..30_u32, high in 0..30_u32,
            colors in prop::collection::vec(any::<bool>(), 0..900),
        ) {
            let area = Rectangle::new(Point::new(x, y), Size::new(wide, high));
            let colors = || colors.iter().map(|lit| BinaryColor::from(*lit));
            let (mut by_rows, mut by_pixels) = (Frame::new(), Frame::new());
            by_rows.clear(BinaryColor::On).unwrap();
            by_pixels.clear(BinaryColor::On).unwrap();
            by_rows.fill_contiguous(&area, colors()).unwrap();
            let pixels = area.points().zip(colors()).map(|(point, color)| Pixel(point, color));
            by_pixels.draw_iter(pixels).unwrap();
            prop_assert_eq!(by_rows, by_pixels);
        }
    }

    #[test]
    fn only_tiles_that_differ_are_sent() {
        let (new, mut old) = (with(&[(40, 8), (127, 63)]), Frame::new());
        let (number, tile) = new.next_difference(&old, 0).unwrap();
        assert_eq!((number, tile.column, tile.page, tile.bytes[8]), (5, 32, 1, 1));
        old.take_tile(&new, number);
        assert_eq!(new.next_difference(&old, 0).unwrap().0, TILES - 1);
        assert_eq!(new.next_difference(&old, TILES), None);
        old.take_tile(&new, TILES - 1);
        assert_eq!(new, old);
    }
}
