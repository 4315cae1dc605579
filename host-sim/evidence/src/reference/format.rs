//! What the bytes of a part say (`docs/FORMAT.md`), for a part on which nothing is damaged: what
//! is missing or doubtful there is an error, not a case of its own.

use super::book::{Book, Line, Measure, Part};
use super::machine::{Counts, NEEDLES};

/// Bytes of a record.
const RECORD: usize = 64;
/// Laps, after which their number begins again.
const LAPS: u64 = 1 << 21;
/// Slots in which a copy of an entry is looked for.
const REACH: usize = 7;
/// Slots in which a snapshot is.
const SPAN: usize = 72;
/// Bytes of a stream that its binding is over.
const BOUND: usize = 220;
/// Longest chain of entries.
const CHAIN: usize = 40;

/// What a part says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// The lifetime counters.
    pub counts: Counts,
    /// All that a person changes.
    pub book: Book,
    /// Bytes 184 to 284 of the snapshot: settings, what was carried in, the key.
    pub chosen: [u8; 101],
}

/// Bits `from` and `width` on of a record, which is one little-endian number.
fn field(record: &[u8], from: usize, width: usize) -> u64 {
    (0..width).fold(0, |value, n| {
        let bit = from + n;
        value | u64::from(record[bit / 8] >> (bit % 8) & 1) << n
    })
}

/// A number of `width` bytes.
fn number(bytes: &[u8], at: usize, width: usize) -> u64 {
    bytes[at..at + width].iter().rev().fold(0, |value, byte| value << 8 | u64::from(*byte))
}

/// CRC-32C: reflected, start and final XOR all ones.
struct Crc([u32; 256]);

impl Crc {
    fn new() -> Self {
        Self(std::array::from_fn(|byte| {
            (0..8).fold(
                byte as u32,
                |crc, _| {
                    if crc & 1 == 1 { crc >> 1 ^ 0x82F6_3B78 } else { crc >> 1 }
                },
            )
        }))
    }

    fn of(&self, bytes: impl Iterator<Item = u8>) -> u32 {
        !bytes.fold(!0, |crc, byte| crc >> 8 ^ self.0[(crc as u8 ^ byte) as usize])
    }
}

/// A place: a slot in a lap.
type Place = (u64, usize);

struct Reader<'a> {
    image: &'a [u8],
    slot_bytes: usize,
    /// Kind and lap of the record in each slot, if one counts there.
    headers: Vec<Option<(u64, u64)>>,
    newest: Place,
}

/// Reads the part of the board with the identity `board`.
///
/// # Errors
/// What is not as the document has it, in a sentence.
pub fn read(image: &[u8], slot_bytes: usize, board: u64) -> Result<Told, String> {
    let crc = Crc::new();
    let headers: Vec<Option<(u64, u64)>> = image
        .chunks(slot_bytes)
        .enumerate()
        .map(|(slot, bytes)| {
            let kind = field(bytes, 0, 3);
            let slot = (slot as u16).to_le_bytes();
            let covered = board.to_le_bytes().into_iter().chain(slot);
            let fits = (1..=3).contains(&kind)
                && u64::from(crc.of(covered.chain(bytes[..60].iter().copied())))
                    == number(bytes, 60, 4);
            fits.then(|| (kind, field(bytes, 3, 21)))
        })
        .collect();
    let is_after = |a: Place, b: Place| {
        if a.0 == b.0 { a.1 > b.1 } else { ((a.0 + LAPS - b.0) % LAPS) < LAPS / 2 }
    };
    let places = headers.iter().enumerate().filter_map(|(slot, it)| Some(((*it)?.1, slot)));
    let newest = places.reduce(|a, b| if is_after(b, a) { b } else { a }).ok_or("no record")?;
    Reader { image, slot_bytes, headers, newest }.told(board)
}

impl Reader<'_> {
    fn record(&self, slot: usize) -> &[u8] {
        &self.image[slot * self.slot_bytes..][..RECORD]
    }

    fn slots(&self) -> usize {
        self.headers.len()
    }

    /// The kind of the record at a place, if it is of that place's lap.
    fn kind(&self, place: Place) -> Option<u64> {
        self.headers[place.1].filter(|header| header.1 == place.0).map(|header| header.0)
    }

    fn before(&self, (lap, slot): Place) -> Place {
        if slot > 0 { (lap, slot - 1) } else { ((lap + LAPS - 1) % LAPS, self.slots() - 1) }
    }

    fn after(&self, (lap, slot): Place) -> Place {
        if slot + 1 < self.slots() { (lap, slot + 1) } else { ((lap + 1) % LAPS, 0) }
    }

    /// Section 8.2, with the snapshot of 8.3 and the chain of 8.4.
    fn told(&self, board: u64) -> Result<Told, String> {
        let mut tip = None;
        let mut place = self.newest;
        let mut looked = 0;
        while self.kind(place) != Some(1) {
            if self.kind(place) == Some(2) {
                let record = self.record(place.1);
                let number = field(record, 396, 20);
                if tip.is_none_or(|(_, tip): (Place, u64)| tip == number) {
                    tip = Some((place, number));
                }
            }
            looked += 1;
            if looked > self.slots() {
                return Err("there is no checkpoint".into());
            }
            place = self.before(place);
        }
        let checkpoint = self.record(place.1);
        let mut base = named(checkpoint);
        let mut entry = field(checkpoint, 44, 10) as usize;
        let mut delta = measures(checkpoint);
        delta.jumps = field(checkpoint, 396, 16);
        delta.glitches = field(checkpoint, 412, 16);
        delta.missed = field(checkpoint, 428, 8);
        (delta.breaks, delta.unattributed_breaks) = breaks(checkpoint)?;
        let mut holder = place;
        if let Some((tip_place, _)) = tip {
            let record = self.record(tip_place.1);
            let newer = measures(record);
            let tip_base = named(record);
            delta = if tip_base == base { most(&delta, &newer) } else { newer };
            (base, entry, holder) = (tip_base, tip_place.1, tip_place);
        }
        let (base, bound) = base;
        let (stream, count) = self.snapshot(last_written(base, holder), base)?;
        // Section 4.1.
        let binding = u64::from(Crc::new().of(stream[..BOUND].iter().copied())) % 1_024;
        if binding != bound {
            return Err(format!("a record of a snapshot bound by {bound}, not {binding}"));
        }
        let (at_snapshot, mut book, chosen, length) = parsed(&stream, board)?;
        if length.div_ceil(55) != count || stream[length..].iter().any(|byte| *byte != 0) {
            return Err(format!("a snapshot of {count} members has {length} bytes"));
        }
        let entries = self.chain((base, bound), entry)?;
        for record in entries.iter().rev() {
            apply(&mut book, record, &at_snapshot)?;
        }
        Ok(Told { counts: at_snapshot.plus(&delta), book, chosen })
    }

    /// The stream of the snapshot at `base`, and how many members it had.
    fn snapshot(&self, base: Place, slot: usize) -> Result<(Vec<u8>, usize), String> {
        let mut members: Vec<Option<&[u8]>> = Vec::new();
        let (mut first, mut place) = (None, base);
        for _ in 0..SPAN {
            let record = self.record(place.1);
            if self.kind(place) == Some(3) {
                let (index, count) = (field(record, 24, 5) as usize, field(record, 32, 5) as usize);
                let mark = field(record, 29, 3) | field(record, 37, 3) << 3;
                if !(6..=22).contains(&count) || index > count {
                    return Err(format!("member {index} of a snapshot of {count}"));
                }
                if first.get_or_insert((count, mark)) == &(count, mark) {
                    members.resize(count + 1, None);
                    members[index] = Some(&record[5..60]);
                    if index == count {
                        break;
                    }
                }
            } else if self.kind(place) == Some(1) && field(record, 24, 10) as usize == slot {
                break;
            }
            if place == self.newest {
                break;
            }
            place = self.after(place);
        }
        let (count, mark) = first.ok_or("no member of a snapshot")?;
        let members: Vec<&[u8]> = members.into_iter().flatten().collect();
        if members.len() != count + 1 {
            return Err(format!("{} members of a snapshot of {count}", members.len()));
        }
        let (parity, data) = members.split_last().ok_or("no members")?;
        if (0..55).any(|n| data.iter().fold(0, |sum, member| sum ^ member[n]) != parity[n]) {
            return Err("the parity member is not the XOR of the others".into());
        }
        let stream = data.concat();
        let power_ups = number(&stream, 168, 4);
        if mark != power_ups % 64 {
            return Err(format!("the mark {mark} after {power_ups} power-ups"));
        }
        Ok((stream, count))
    }

    /// The entries since the snapshot at `base`, newest first.
    fn chain(&self, base: (usize, u64), mut slot: usize) -> Result<Vec<&[u8]>, String> {
        let mut chain: Vec<&[u8]> = Vec::new();
        while slot != base.0 && slot < self.slots() && chain.len() < CHAIN {
            let wanted =
                chain.last().map(|newer| (field(newer, 396, 20) + (1 << 20) - 1) % (1 << 20));
            let copies: Vec<&[u8]> = (0..REACH)
                .map(|reach| (slot + reach) % self.slots())
                .filter(|at| self.kind(last_written(*at, self.newest)) == Some(2))
                .map(|at| self.record(at))
                .filter(|record| {
                    named(record) == base
                        && wanted.is_none_or(|wanted| field(record, 396, 20) == wanted)
                })
                .collect();
            let [first, second, ..] = copies[..] else {
                return Err(format!("{} copies of an entry at slot {slot}", copies.len()));
            };
            let same = field(first, 396, 20) == field(second, 396, 20);
            if same && (field(first, 478, 2), field(second, 478, 2)) != (0, 1) {
                return Err("the copies of an entry are not the first and the second".into());
            }
            chain.push(first);
            slot = field(first, 44, 10) as usize;
        }
        Ok(chain)
    }
}

/// Where a slot was written last, as of a place.
fn last_written(slot: usize, at: Place) -> Place {
    (if slot <= at.1 { at.0 } else { (at.0 + LAPS - 1) % LAPS }, slot)
}

/// The snapshot that a record names: its base slot and its binding.
fn named(record: &[u8]) -> (usize, u64) {
    (field(record, 24, 10) as usize, field(record, 34, 10))
}

/// Section 3.
fn measures(record: &[u8]) -> Counts {
    Counts {
        powered_ms: field(record, 54, 25),
        running_ms: field(record, 79, 24),
        trims: field(record, 103, 12),
        power_ups: field(record, 115, 9),
        unattributed: field(record, 124, 16),
        needles: std::array::from_fn(|n| field(record, 140 + 16 * n, 16)),
        ..Counts::default()
    }
}

/// Thread breaks of a checkpoint, in unary: each needle's, then the unattributed ones.
fn breaks(record: &[u8]) -> Result<([u64; NEEDLES], u64), String> {
    let mut of = [0; NEEDLES + 1];
    let mut bits = (436..480).map(|bit| field(record, bit, 1));
    for breaks in &mut of {
        *breaks = bits.by_ref().take_while(|bit| *bit == 1).count() as u64;
    }
    if of.iter().sum::<u64>() > 27 || bits.any(|bit| bit == 1) {
        return Err(format!("thread breaks of a checkpoint: {of:?}"));
    }
    Ok((std::array::from_fn(|n| of[n]), of[NEEDLES]))
}

/// The larger of each figure.
fn most(a: &Counts, b: &Counts) -> Counts {
    Counts {
        powered_ms: a.powered_ms.max(b.powered_ms),
        running_ms: a.running_ms.max(b.running_ms),
        needles: std::array::from_fn(|n| a.needles[n].max(b.needles[n])),
        unattributed: a.unattributed.max(b.unattributed),
        trims: a.trims.max(b.trims),
        power_ups: a.power_ups.max(b.power_ups),
        ..*a
    }
}

/// What a stream holds, and its length.
type Parsed = (Counts, Book, [u8; 101], usize);

/// Section 6, the stream.
fn parsed(stream: &[u8], board: u64) -> Result<Parsed, String> {
    if stream[0] != 2 || number(stream, 1, 8) != board {
        return Err(format!("version {} of board {:X}", stream[0], number(stream, 1, 8)));
    }
    let counts = Counts {
        powered_ms: number(stream, 9, 6),
        running_ms: number(stream, 15, 6),
        unattributed: number(stream, 21, 5),
        needles: std::array::from_fn(|n| number(stream, 26 + 5 * n, 5)),
        jumps: number(stream, 106, 5),
        trims: number(stream, 111, 5),
        unattributed_breaks: number(stream, 116, 4),
        breaks: std::array::from_fn(|n| number(stream, 120 + 3 * n, 3)),
        power_ups: number(stream, 168, 4),
        glitches: number(stream, 172, 4),
        missed: number(stream, 176, 4),
    };
    let mut book = Book::fitted(Vec::new());
    book.served_powered_ms = number(stream, 285, 6);
    book.served_running_ms = number(stream, 291, 6);
    book.services = number(stream, 297, 2);
    book.tries = number(stream, 299, 1);
    book.lines = number(stream, 300, 3);
    let mut at = 303;
    let mut take = |width: usize| {
        at += width;
        number(stream, at - width, width)
    };
    for _ in 0..take(1) {
        let (kind, measure, flags) = (take(1) as u8, take(1), take(1));
        let (notice, due, baseline) = (take(4), take(4), take(6));
        book.parts.push(Part {
            kind,
            measure: measured_by(measure)?,
            engineers: flags & 1 == 1,
            with_service: flags & 2 == 2,
            notice,
            due,
            baseline,
        });
    }
    let retired = take(1);
    for _ in 0..retired {
        take(2);
    }
    let lines = take(1);
    for n in 0..lines {
        let of = take(3);
        if of != book.lines - lines + n {
            return Err(format!("line {n} of {lines} has the number {of} of {}", book.lines));
        }
        let (event, subject, powered_s) = (take(1), take(2), take(4));
        let day = Some(take(2) as u16).filter(|day| *day != 0);
        book.journal.push(Line { event, subject, powered_s, day });
    }
    if number(stream, 180, 4) != u64::from(Crc::new().of(stream[BOUND..at].iter().copied())) {
        return Err("the check over the rest of the stream".into());
    }
    let mut chosen = [0; 101];
    chosen.copy_from_slice(&stream[184..285]);
    Ok((counts, book, chosen, at))
}

/// Section 7, measures.
fn measured_by(code: u64) -> Result<Measure, String> {
    Ok(match code {
        0 => Measure::Powered,
        1 => Measure::Running,
        2 => Measure::Stitches,
        3 => Measure::Trims,
        4 => Measure::PowerUps,
        5 => Measure::Days,
        16..=31 => Measure::Needle(code as usize - 16),
        _ => return Err(format!("there is no measure {code}")),
    })
}

/// Sections 7 and 8.4: what an entry changes.
fn apply(book: &mut Book, record: &[u8], at_snapshot: &Counts) -> Result<(), String> {
    let of = field(record, 396, 20);
    if of != book.lines {
        return Err(format!("entry {of} comes after {} entries", book.lines));
    }
    let at = at_snapshot.plus(&measures(record));
    let day = Some(field(record, 462, 16) as u16).filter(|day| *day != 0);
    let (event, subject) = (field(record, 416, 4), field(record, 420, 10));
    let renewed = field(record, 430, 32) as u32;
    match event {
        1 => book.renew(renewed, subject == 1, &at, day),
        2 => {
            if renewed != book.places(|part| part.with_service) {
                return Err(format!("a service renews {renewed:X}"));
            }
            book.serve(&at, day);
        }
        4 => book.tried(&at, day),
        3 | 5 | 6 => book.note(event, subject, &at, day),
        _ => return Err(format!("there is no event {event}")),
    }
    Ok(())
}

/// Bytes 184 to 284 of a snapshot as they have to be.
#[derive(Clone, Debug, Default)]
pub struct Chosen(Vec<u8>);

impl Chosen {
    /// Adds a field of `width` bytes.
    #[must_use]
    pub fn with(mut self, value: u64, width: usize) -> Self {
        self.0.extend_from_slice(&value.to_le_bytes()[..width]);
        self
    }

    /// Whether these are the bytes; else the first that is not.
    ///
    /// # Errors
    /// The offset of the first byte that differs, in a sentence.
    pub fn is(&self, bytes: &[u8]) -> Result<(), String> {
        let differs = self.0.iter().zip(bytes).position(|(expected, is)| expected != is);
        match differs {
            None if self.0.len() == bytes.len() => Ok(()),
            None => Err(format!("{} bytes of settings", self.0.len())),
            Some(at) => Err(format!("byte {} of the snapshot is {}", at + 184, bytes[at])),
        }
    }
}
