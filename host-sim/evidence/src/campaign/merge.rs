//! Puts the parts of a split campaign together. The result is the bytes that the unsplit
//! campaign writes.

use std::path::{Path, PathBuf};

use super::stream::{Reader, Shard, StreamHeader, Writer};
use shaftbook_world::input_error::InputError;

/// Writes the stream `into` from the parts `from`, in any order.
///
/// # Errors
/// A part is missing, not complete, doubled, or of another campaign.
pub fn merge(from: &[PathBuf], into: &Path) -> Result<StreamHeader, InputError> {
    let mut parts = Vec::new();
    for path in from {
        parts.push((path.display().to_string(), Reader::open(path)?));
    }
    let Some((first_name, first)) = parts.first() else {
        return Err(InputError::new("merge", "there are no parts"));
    };
    let (of, whole) = (first.header.shard.of, whole(&first.header));
    for (name, part) in &parts {
        if self::whole(&part.header) != whole || part.header.shard.of != of {
            let what = format!("this is not a part of the same campaign as {first_name}");
            return Err(InputError::new(name, what));
        }
    }
    parts.sort_by_key(|(_, part)| part.header.shard.index);
    for (place, index) in (1..=of).enumerate() {
        match parts.get(place) {
            Some((_, part)) if part.header.shard.index == index => {}
            Some((name, part)) if part.header.shard.index < index => {
                let what = format!("part {} is given twice", part.header.shard);
                return Err(InputError::new(name, what));
            }
            _ => return Err(InputError::new("merge", format!("part {index}/{of} is missing"))),
        }
    }
    if let Some((name, _)) = parts.get(of as usize) {
        return Err(InputError::new(name, "a part is given twice"));
    }
    let mut writer = Writer::begin(into, &whole)?;
    for number in 0..whole.chunks() {
        let (name, part) = &mut parts[(number % of) as usize];
        let mut rows = Vec::new();
        match part.next_chunk(|row| rows.push(row))? {
            Some(chunk) if chunk.number == number => writer.chunk(rows, chunk)?,
            _ => {
                let what = "this part is not complete: run it again, it goes on where it stopped";
                return Err(InputError::new(&*name, what));
            }
        }
    }
    Ok(whole)
}

fn whole(header: &StreamHeader) -> StreamHeader {
    StreamHeader { shard: Shard::WHOLE, ..header.clone() }
}
