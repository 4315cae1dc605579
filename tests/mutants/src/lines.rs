//! From line and column to byte.

/// Where the lines of a text begin.
pub struct Lines<'a> {
    text: &'a str,
    begins: Vec<usize>,
}

impl<'a> Lines<'a> {
    /// Of this text.
    pub fn new(text: &'a str) -> Self {
        let after = text.match_indices('\n').map(|(at, _)| at + 1);
        Self { text, begins: std::iter::once(0).chain(after).collect() }
    }

    /// The byte of a line and column (in characters), both from 1.
    pub fn byte(&self, (line, column): (usize, usize)) -> Option<usize> {
        let begin = *self.begins.get(line.checked_sub(1)?)?;
        let mut characters = self.text[begin..].char_indices();
        characters.nth(column.checked_sub(1)?).map(|(at, _)| begin + at)
    }
}

#[test]
fn columns_are_characters() {
    let lines = Lines::new("a\nµb\n");
    assert_eq!(lines.byte((1, 1)), Some(0));
    assert_eq!(lines.byte((2, 2)), Some(4));
    assert_eq!(lines.byte((9, 1)), None);
}
