//! A screen as a picture: PNG for documents, text for tests.

use std::io::Write;

use shaftbook_panel::frame::{Frame, HEIGHT, WIDTH};
pub use shaftbook_world::bench::firmware::frame_of;

/// Pixels of a picture for one of the panel.
pub const SCALE: usize = 4;

/// Writes `frame` as a PNG of one bit a pixel, [`SCALE`] times as large.
///
/// # Errors
/// Those of `writer`.
pub fn write_png(frame: &Frame, writer: impl Write) -> Result<(), png::EncodingError> {
    let (width, height) = (WIDTH * SCALE, HEIGHT * SCALE);
    let mut encoder = png::Encoder::new(writer, width as u32, height as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    let mut bytes = Vec::with_capacity(width * height / 8);
    for y in 0..height {
        for x in (0..width).step_by(8) {
            let bit = |n| u8::from(frame.is_lit((x + n) / SCALE, y / SCALE)) << (7 - n);
            bytes.push((0..8).map(bit).sum());
        }
    }
    encoder.write_header()?.write_image_data(&bytes)
}

/// The picture in text: a character is two pixels, one above the other. Lines end
/// with their last lit pixel.
#[must_use]
pub fn text_of(frame: &Frame) -> String {
    let mut text = String::new();
    for y in (0..HEIGHT).step_by(2) {
        let row: String = (0..WIDTH)
            .map(|x| match (frame.is_lit(x, y), frame.is_lit(x, y + 1)) {
                (true, true) => '█',
                (true, false) => '▀',
                (false, true) => '▄',
                (false, false) => ' ',
            })
            .collect();
        text.push_str(row.trim_end());
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_graphics::Pixel;
    use embedded_graphics::draw_target::DrawTarget;
    use embedded_graphics::geometry::Point;
    use embedded_graphics::pixelcolor::BinaryColor;

    fn corners() -> Frame {
        let mut frame = Frame::new();
        let points = [(0, 0), (1, 1), (127, 63)].map(|(x, y)| Point::new(x, y));
        let drawn = frame.draw_iter(points.map(|point| Pixel(point, BinaryColor::On)));
        assert!(drawn.is_ok());
        frame
    }

    #[test]
    fn text_has_two_pixels_a_character() {
        let text = text_of(&corners());
        let lines: Vec<_> = text.lines().collect();
        assert_eq!((lines.len(), lines[0]), (32, "▀▄"));
        assert_eq!(lines[31].chars().count(), 128);
        assert!(lines[31].ends_with('▄'));
    }

    #[test]
    fn a_png_has_the_pixels_scaled() {
        let mut bytes = Vec::new();
        write_png(&corners(), &mut bytes).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().unwrap();
        let mut image = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut image).unwrap();
        assert_eq!((info.width, info.height), (512, 256));
        // 64 bytes a row of one bit a pixel.
        assert_eq!(image[0], 0b1111_0000);
        assert_eq!(image[64 * 4], 0b0000_1111, "pixel (1, 1)");
        assert_eq!(image[64 * 256 - 1], 0b0000_1111);
    }
}
