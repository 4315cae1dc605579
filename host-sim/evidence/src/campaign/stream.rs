//! The results of a campaign on disk, as they come: a text file of JSON values, one on each
//! line, in the order of runs.
//!
//! ```text
//! {"header": ...}            once: the plan, the subject, which part of how many
//! {"run": ...}               one for each run of a chunk
//! {"chunk": ...}             what these runs add up to; the chunk is complete
//! ...
//! ```
//!
//! Invariants: a chunk is a fixed range of runs, whoever runs it; what comes after the last
//! complete chunk is left over from an interruption and is cut off before going on; the
//! parts of a split campaign, put together in the order of chunks, are the bytes of the
//! unsplit one.

use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, BufWriter, Seek, SeekFrom, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};

pub use super::plan::CHUNK_RUNS;
use super::plan::CampaignPlan;
use super::row::RunRow;
use super::tally::Tally;
use shaftbook_world::input_error::InputError;

/// Version of the stream's form.
pub const FORMAT: u32 = 2;

/// Which part of how many: chunk `n` belongs to part `n % of + 1`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shard {
    /// Part, 1 to `of`.
    pub index: u64,
    /// Parts, 1 to 10,000.
    pub of: u64,
}

impl Shard {
    /// All of it.
    pub const WHOLE: Self = Self { index: 1, of: 1 };

    /// Whether `chunk` is of this part.
    #[must_use]
    pub const fn has(self, chunk: u64) -> bool {
        chunk % self.of + 1 == self.index
    }
}

impl std::str::FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let form = || format!("`{text}` is not a part: give I/N with 1 ≤ I ≤ N ≤ 10000, as in 2/8");
        let (index, of) = text.split_once('/').ok_or_else(form)?;
        let (index, of) = (index.parse().map_err(|_| form())?, of.parse().map_err(|_| form())?);
        if (1..=10_000).contains(&of) && (1..=of).contains(&index) {
            Ok(Self { index, of })
        } else {
            Err(form())
        }
    }
}

impl std::fmt::Display for Shard {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.index, self.of)
    }
}

/// First line of a stream.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StreamHeader {
    /// [`FORMAT`].
    pub format: u32,
    /// Version of the simulator: another one may draw other cases.
    pub version: String,
    /// Checksum of the sources that it was built from: another build may behave otherwise.
    pub sources: String,
    /// What was worked on.
    pub subject: String,
    /// Which part.
    pub shard: Shard,
    /// The plan.
    pub plan: CampaignPlan,
}

impl StreamHeader {
    /// The header of `plan` on `subject`.
    #[must_use]
    pub fn new(plan: &CampaignPlan, subject: &str, shard: Shard) -> Self {
        Self {
            format: FORMAT,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            sources: env!("SHAFTBOOK_SOURCES").to_owned(),
            subject: subject.to_owned(),
            shard,
            plan: plan.clone(),
        }
    }

    /// Chunks of the whole campaign.
    #[must_use]
    pub fn chunks(&self) -> u64 {
        self.plan.runs.div_ceil(self.plan.chunk_runs())
    }

    /// Runs of chunk `number`.
    #[must_use]
    pub fn runs(&self, number: u64) -> std::ops::Range<u64> {
        let from = number * self.plan.chunk_runs();
        from..(from + self.plan.chunk_runs()).min(self.plan.runs)
    }
}

/// What a chunk's runs add up to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Chunk {
    /// Its number, from 0.
    pub number: u64,
    /// Its runs' figures.
    pub tally: Tally,
}

/// One line.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Line {
    Header(Box<StreamHeader>),
    Run(Box<RunRow>),
    Chunk(Box<Chunk>),
}

/// Writes a stream.
#[derive(Debug)]
pub struct Writer {
    file: BufWriter<File>,
    name: String,
}

impl Writer {
    fn error(&self, error: &impl std::fmt::Display) -> InputError {
        InputError::new(&self.name, error.to_string())
    }

    /// Begins the stream `path` anew.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn begin(path: &Path, header: &StreamHeader) -> Result<Self, InputError> {
        let name = path.display().to_string();
        let file = File::create(path).map_err(|e| InputError::new(&name, e.to_string()))?;
        let mut it = Self { file: BufWriter::new(file), name };
        it.line(&Line::Header(Box::new(header.clone())))?;
        it.flush()?;
        Ok(it)
    }

    /// Goes on with the stream `path` after its last complete chunk, if it is one of
    /// `header`; chunks that it has. Begins it if it does not exist.
    ///
    /// # Errors
    /// It cannot be read or written, or is of another campaign.
    pub fn resume(path: &Path, header: &StreamHeader) -> Result<(Self, u64), InputError> {
        if !path.exists() || has_no_line(path) {
            return Ok((Self::begin(path, header)?, 0));
        }
        let name = path.display().to_string();
        let error = |e: &dyn std::fmt::Display| InputError::new(&name, e.to_string());
        let mut reader = Reader::open(path)?;
        if reader.header != *header {
            let what = "these are the results of another campaign (other file, seed, runs, part, \
                        subject, or another build): give another --out, or --fresh to write over them";
            return Err(InputError::new(&name, what));
        }
        let mut chunks = 0;
        let mut end = reader.offset;
        while reader.next_chunk(|_| {})?.is_some() {
            chunks += 1;
            end = reader.offset;
        }
        let mut file = OpenOptions::new().write(true).open(path).map_err(|e| error(&e))?;
        file.set_len(end).map_err(|e| error(&e))?;
        file.seek(SeekFrom::End(0)).map_err(|e| error(&e))?;
        Ok((Self { file: BufWriter::new(file), name }, chunks))
    }

    /// Writes a complete chunk, so that it is there if the process ends now.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn chunk(&mut self, rows: Vec<RunRow>, chunk: Chunk) -> Result<(), InputError> {
        for row in rows {
            self.line(&Line::Run(Box::new(row)))?;
        }
        self.line(&Line::Chunk(Box::new(chunk)))?;
        self.flush()
    }

    fn line(&mut self, line: &Line) -> Result<(), InputError> {
        let written = serde_json::to_writer(&mut self.file, line);
        written.map_err(|e| self.error(&e))?;
        self.file.write_all(b"\n").map_err(|e| self.error(&e))
    }

    fn flush(&mut self) -> Result<(), InputError> {
        self.file.flush().map_err(|e| self.error(&e))
    }
}

/// Whether a process was ended before it had written the first line.
fn has_no_line(path: &Path) -> bool {
    let mut text = Vec::new();
    let file = File::open(path).map(BufReader::new);
    file.is_ok_and(|mut file| file.read_until(b'\n', &mut text).is_ok() && !text.ends_with(b"\n"))
}

/// Reads a stream, chunk by chunk.
#[derive(Debug)]
pub struct Reader {
    file: BufReader<File>,
    name: String,
    /// Bytes read so far.
    offset: u64,
    /// The first line.
    pub header: StreamHeader,
}

impl Reader {
    /// Opens the stream `path`.
    ///
    /// # Errors
    /// It cannot be read, or is no stream of this form.
    pub fn open(path: &Path) -> Result<Self, InputError> {
        let name = path.display().to_string();
        let file = File::open(path).map_err(|e| InputError::new(&name, e.to_string()))?;
        let mut file = BufReader::new(file);
        let mut text = String::new();
        let count = file.read_line(&mut text).map_err(|e| InputError::new(&name, e.to_string()))?;
        match serde_json::from_str(&text) {
            Ok(Line::Header(header)) if header.format == FORMAT => {
                Ok(Self { file, name, offset: count as u64, header: *header })
            }
            _ => Err(InputError::new(name, "these are no results of a campaign of this version")),
        }
    }

    /// The next complete chunk; each of its rows goes to `take` first, also those of a
    /// chunk that turns out not to be complete.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn next_chunk(
        &mut self,
        mut take: impl FnMut(RunRow),
    ) -> Result<Option<Chunk>, InputError> {
        let mut text = String::new();
        loop {
            text.clear();
            let read = self.file.read_line(&mut text);
            let count = read.map_err(|e| InputError::new(&self.name, e.to_string()))?;
            if !text.ends_with('\n') {
                return Ok(None);
            }
            self.offset += count as u64;
            match serde_json::from_str(&text) {
                Ok(Line::Run(row)) => take(*row),
                Ok(Line::Chunk(chunk)) => return Ok(Some(*chunk)),
                // What a process that was ended left half written has no end of line.
                Ok(Line::Header(_)) | Err(_) => {
                    let what = format!(
                        "damaged between bytes {} and {}: --fresh begins anew",
                        self.offset - count as u64,
                        self.offset
                    );
                    return Err(InputError::new(&self.name, what));
                }
            }
        }
    }
}
