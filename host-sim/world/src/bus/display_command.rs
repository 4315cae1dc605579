//! The SSD1306's byte stream: control bytes, commands and their arguments.
//!
//! Invariants: never panics, whatever the bytes; every command byte belongs to exactly
//! one [`Setting`].
//!
//! Source: SSD1306 datasheet rev. 1.1, tables 9-1 (commands, reset values) and section
//! 8.1.5.2 (control byte), from memory.

/// In which order data bytes fill the memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Addressing {
    Horizontal,
    Vertical,
    Page,
}

/// What a byte of the stream brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Setting {
    /// Nothing yet, or nothing that is modelled.
    None,
    /// A data byte.
    Data(u8),
    Addressing(Addressing),
    /// First and last column, horizontal and vertical addressing.
    Columns(usize, usize),
    /// First and last page, horizontal and vertical addressing.
    Pages(usize, usize),
    /// Page, page addressing.
    Page(usize),
    ColumnLow(usize),
    ColumnHigh(usize),
    StartLine(usize),
    Offset(usize),
    LastRow(usize),
    Remapped(bool),
    ScansBackwards(bool),
    AllOn(bool),
    Inverse(bool),
    Pump(bool),
    On(bool),
    Contrast(u8),
    /// A command that is not known, by its first byte.
    Unknown(u8),
}

/// What the commands set, but for where the next data byte goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Settings {
    pub(super) addressing: Addressing,
    pub(super) columns: (usize, usize),
    pub(super) pages: (usize, usize),
    pub(super) start_line: usize,
    pub(super) offset: usize,
    pub(super) last_row: usize,
    pub(super) is_remapped: bool,
    pub(super) scans_backwards: bool,
    pub(super) is_all_on: bool,
    pub(super) is_inverse: bool,
    pub(super) has_pump: bool,
    pub(super) is_on: bool,
    pub(super) contrast: u8,
}

impl Settings {
    /// As after reset.
    pub(super) const RESET: Self = Self {
        addressing: Addressing::Page,
        columns: (0, 127),
        pages: (0, 7),
        start_line: 0,
        offset: 0,
        last_row: 63,
        is_remapped: false,
        scans_backwards: false,
        is_all_on: false,
        is_inverse: false,
        has_pump: false,
        is_on: false,
        contrast: 0x7F,
    };

    pub(super) fn set(&mut self, setting: Setting) {
        match setting {
            Setting::Addressing(addressing) => self.addressing = addressing,
            Setting::StartLine(line) => self.start_line = line,
            Setting::Offset(rows) => self.offset = rows,
            Setting::LastRow(row) => self.last_row = row,
            Setting::Remapped(is_remapped) => self.is_remapped = is_remapped,
            Setting::ScansBackwards(backwards) => self.scans_backwards = backwards,
            Setting::AllOn(is_all_on) => self.is_all_on = is_all_on,
            Setting::Inverse(is_inverse) => self.is_inverse = is_inverse,
            Setting::Pump(has_pump) => self.has_pump = has_pump,
            Setting::On(is_on) => self.is_on = is_on,
            Setting::Contrast(contrast) => self.contrast = contrast,
            _ => {}
        }
    }
}

/// What the next byte of a write is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Expects {
    /// A control byte.
    #[default]
    Control,
    /// One byte, then a control byte (`Co` set).
    One { is_data: bool },
    /// Bytes of one kind to the end of the write (`Co` clear).
    Rest { is_data: bool },
}

/// Takes the stream apart.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Decoder {
    expects: Expects,
    /// A command under way: its first byte, and arguments so far.
    command: [u8; 7],
    /// Bytes of it that are there.
    count: usize,
}

impl Decoder {
    /// A write begins.
    pub(super) fn start(&mut self) {
        *self = Self::default();
    }

    /// A write ends; the command that it left unfinished, if any.
    pub(super) fn stop(&mut self) -> Option<u8> {
        let unfinished = (self.count > 0).then_some(self.command[0]);
        self.start();
        unfinished
    }

    /// The next byte of a write.
    pub(super) fn next(&mut self, byte: u8) -> Setting {
        let is_data = match self.expects {
            Expects::Control => {
                let is_data = byte & 0x40 != 0;
                self.expects = if byte & 0x80 == 0 {
                    Expects::Rest { is_data }
                } else {
                    Expects::One { is_data }
                };
                return Setting::None;
            }
            Expects::One { is_data } => {
                self.expects = Expects::Control;
                is_data
            }
            Expects::Rest { is_data } => is_data,
        };
        if is_data {
            return Setting::Data(byte);
        }
        self.command[self.count] = byte;
        self.count += 1;
        if self.count <= arguments(self.command[0]) {
            return Setting::None;
        }
        self.count = 0;
        meaning(self.command)
    }
}

/// Bytes that follow the first one of a command; 0 for an unknown one.
fn arguments(command: u8) -> usize {
    match command {
        0x20 | 0x81 | 0x8D | 0xA8 | 0xD3 | 0xD5 | 0xD9 | 0xDA | 0xDB => 1,
        0x21 | 0x22 | 0xA3 => 2,
        0x29 | 0x2A => 5,
        0x26 | 0x27 => 6,
        _ => 0,
    }
}

/// What a whole command sets.
fn meaning([command, first, second, ..]: [u8; 7]) -> Setting {
    let is_odd = command & 1 == 1;
    let low = |bits: u8| usize::from(bits);
    match command {
        0x00..=0x0F => Setting::ColumnLow(low(command & 0x0F)),
        0x10..=0x1F => Setting::ColumnHigh(low(command & 0x07)),
        0x20 => match first & 0b11 {
            0b00 => Setting::Addressing(Addressing::Horizontal),
            0b01 => Setting::Addressing(Addressing::Vertical),
            0b10 => Setting::Addressing(Addressing::Page),
            _ => Setting::Unknown(command),
        },
        0x21 => Setting::Columns(low(first & 0x7F), low(second & 0x7F)),
        0x22 => Setting::Pages(low(first & 0x07), low(second & 0x07)),
        0x40..=0x7F => Setting::StartLine(low(command & 0x3F)),
        0x81 => Setting::Contrast(first),
        0x8D => Setting::Pump(first & 0x04 != 0),
        0xA0 | 0xA1 => Setting::Remapped(is_odd),
        0xA4 | 0xA5 => Setting::AllOn(is_odd),
        0xA6 | 0xA7 => Setting::Inverse(is_odd),
        // Below 16 rows: invalid.
        0xA8 if first & 0x3F >= 15 => Setting::LastRow(low(first & 0x3F)),
        0xAE | 0xAF => Setting::On(is_odd),
        0xB0..=0xB7 => Setting::Page(low(command & 0x07)),
        0xC0..=0xCF => Setting::ScansBackwards(command & 0x08 != 0),
        0xD3 => Setting::Offset(low(first & 0x3F)),
        // Known, and not seen in a picture: scrolling off, clock, pre-charge, wiring of
        // the rows, deselect level, nothing.
        0x2E | 0xD5 | 0xD9 | 0xDA | 0xDB | 0xE3 => Setting::None,
        _ => Setting::Unknown(command),
    }
}
