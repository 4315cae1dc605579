//! All runs of a campaign as one Parquet file for queries, one row for each run. Columns and
//! worked queries: `docs/QUERIES.md`.
//!
//! Invariants: the stream decides every byte (the writer's name is fixed, and no time is
//! written). Memory is bounded, however many runs there are: at most [`GROUP_ROWS`] rows are
//! held, some 150 bytes each beside the words of a failure, and the encoded pages of one row
//! group. What grows is a footer, by a few kilobytes for each row group.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use ::parquet::basic::Compression;
use ::parquet::data_type::{BoolType, ByteArray, ByteArrayType, Int32Type, Int64Type};
use ::parquet::errors::{ParquetError, Result as Written};
use ::parquet::file::metadata::KeyValue;
use ::parquet::file::properties::WriterProperties;
use ::parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use ::parquet::schema::parser::parse_message_type;

use super::json::named;
use crate::campaign::plan::CampaignPlan;
use crate::campaign::row::RunRow;
use crate::campaign::stream::{Reader, StreamHeader};
use shaftbook_world::input_error::InputError;

/// Most rows of a row group.
pub const GROUP_ROWS: usize = 65_536;

/// How a column is got from a row.
#[derive(Clone, Copy)]
enum Cells {
    /// Whole numbers, 64 bits.
    U64(fn(&RunRow) -> u64),
    /// Whole numbers, 32 bits.
    U32(fn(&RunRow) -> u32),
    /// Yes or no.
    Flag(fn(&RunRow) -> bool),
    /// Words.
    Text(fn(&CampaignPlan, &RunRow) -> String),
    /// Words, or null.
    Maybe(fn(&RunRow) -> Option<&str>),
    /// A list of words.
    List(fn(&RunRow) -> Vec<String>),
}

/// The columns, in order.
const COLUMNS: &[(&str, Cells)] = &[
    ("run", Cells::U64(|row| row.run)),
    ("seed", Cells::U64(|row| row.seed)),
    ("scenario", Cells::Text(scenario)),
    ("kinds", Cells::List(|row| row.kinds.iter().map(|kind| kind.name().into()).collect())),
    ("states", Cells::List(|row| row.states.iter().map(|state| state.name().into()).collect())),
    ("faults_named", Cells::List(|row| named(row.named))),
    ("steps", Cells::U32(|row| row.steps)),
    ("faults", Cells::U32(|row| row.faults)),
    ("cuts", Cells::U32(|row| row.cuts)),
    ("lost_running_ms", Cells::U32(|row| row.lost_running_ms)),
    ("lost_trims", Cells::U32(|row| row.lost_trims)),
    ("lost_powered_ms", Cells::U32(|row| row.lost_powered_ms)),
    ("warned_lost_stitches", Cells::U32(|row| row.warned_lost_stitches)),
    ("boot_us", Cells::U32(|row| row.boot_us)),
    ("boot_bytes", Cells::U32(|row| row.boot_bytes)),
    ("programs", Cells::U32(|row| row.programs)),
    ("hottest_page_programs", Cells::U32(|row| row.hottest_page)),
    ("held", Cells::Flag(|row| row.seen.is_none())),
    ("seen", Cells::Maybe(|row| row.seen.as_deref())),
];

fn scenario(plan: &CampaignPlan, row: &RunRow) -> String {
    plan.shops.get(row.shop as usize).map_or_else(String::new, |shop| shop.name.clone())
}

/// The columns' types, in the words of the format.
fn message() -> String {
    let column = |(name, cells): &(&str, Cells)| match cells {
        Cells::U64(_) => format!("REQUIRED INT64 {name} (INTEGER(64,false));"),
        Cells::U32(_) => format!("REQUIRED INT32 {name} (INTEGER(32,false));"),
        Cells::Flag(_) => format!("REQUIRED BOOLEAN {name};"),
        Cells::Text(_) => format!("REQUIRED BYTE_ARRAY {name} (STRING);"),
        Cells::Maybe(_) => format!("OPTIONAL BYTE_ARRAY {name} (STRING);"),
        Cells::List(_) => format!(
            "REQUIRED GROUP {name} (LIST) {{ REPEATED GROUP list {{ \
             REQUIRED BYTE_ARRAY element (STRING); }} }}"
        ),
    };
    format!("message run {{ {} }}", COLUMNS.iter().map(column).collect::<String>())
}

/// Writes all runs of the stream `stream` to `out`; how many there are. Runs of a chunk
/// that is not complete are left out, as in every report.
///
/// # Errors
/// The stream cannot be read or is none, or `out` cannot be written.
pub fn write(stream: &Path, out: impl Write + Send) -> Result<u64, InputError> {
    write_in_groups(stream, out, GROUP_ROWS)
}

/// As [`write()`], in row groups of at most `group_rows` rows, 1 to [`GROUP_ROWS`].
///
/// # Errors
/// As [`write()`].
pub fn write_in_groups(
    stream: &Path,
    out: impl Write + Send,
    group_rows: usize,
) -> Result<u64, InputError> {
    let group_rows = group_rows.clamp(1, GROUP_ROWS);
    let error = |e: ParquetError| InputError::new("Parquet file", text(&e));
    let mut reader = Reader::open(stream)?;
    let header = reader.header.clone();
    let schema = Arc::new(parse_message_type(&message()).map_err(error)?);
    let mut file =
        SerializedFileWriter::new(out, schema, Arc::new(properties(&header))).map_err(error)?;
    let mut waiting = Vec::new();
    let mut count = 0;
    loop {
        let complete = waiting.len();
        let chunk = reader.next_chunk(|row| waiting.push(row))?;
        if chunk.is_none() {
            waiting.truncate(complete);
        }
        let full = waiting.len() / group_rows * group_rows;
        let ready = if chunk.is_none() { waiting.len() } else { full };
        for rows in waiting[..ready].chunks(group_rows) {
            group(&mut file, &header.plan, rows).map_err(error)?;
            count += rows.len() as u64;
        }
        waiting.drain(..ready);
        if chunk.is_none() {
            break;
        }
    }
    file.close().map_err(error)?;
    Ok(count)
}

fn text(error: &dyn Display) -> String {
    error.to_string()
}

fn properties(header: &StreamHeader) -> WriterProperties {
    let value = |key: &str, value: String| KeyValue::new(key.to_owned(), value);
    let about = vec![
        value("campaign", header.plan.name.clone()),
        value("subject", header.subject.clone()),
        value("version", header.version.clone()),
        value("seed", header.plan.seed.to_string()),
        value("part", header.shard.to_string()),
    ];
    WriterProperties::builder()
        .set_created_by(format!("shaftbook version {}", header.version))
        .set_compression(Compression::SNAPPY)
        .set_key_value_metadata(Some(about))
        .build()
}

fn group<W: Write + Send>(
    file: &mut SerializedFileWriter<W>,
    plan: &CampaignPlan,
    rows: &[RunRow],
) -> Written<()> {
    let mut group = file.next_row_group()?;
    for (_, cells) in COLUMNS {
        let column = group.next_column()?;
        let missing = || ParquetError::General("a column is missing".into());
        let mut column = column.ok_or_else(missing)?;
        write_column(&mut column, *cells, plan, rows)?;
        column.close()?;
    }
    group.close()?;
    Ok(())
}

/// The bits of unsigned numbers in the format's signed types; the column's type says
/// that they are unsigned.
fn write_column(
    column: &mut SerializedColumnWriter<'_>,
    cells: Cells,
    plan: &CampaignPlan,
    rows: &[RunRow],
) -> Written<()> {
    match cells {
        Cells::U64(get) => {
            let values: Vec<_> = rows.iter().map(|row| get(row).cast_signed()).collect();
            column.typed::<Int64Type>().write_batch(&values, None, None)?;
        }
        Cells::U32(get) => {
            let values: Vec<_> = rows.iter().map(|row| get(row).cast_signed()).collect();
            column.typed::<Int32Type>().write_batch(&values, None, None)?;
        }
        Cells::Flag(get) => {
            let values: Vec<_> = rows.iter().map(get).collect();
            column.typed::<BoolType>().write_batch(&values, None, None)?;
        }
        Cells::Text(get) => {
            let mut words = Words::default();
            let values: Vec<_> = rows.iter().map(|row| words.of(&get(plan, row))).collect();
            column.typed::<ByteArrayType>().write_batch(&values, None, None)?;
        }
        Cells::Maybe(get) => {
            let defined: Vec<_> = rows.iter().map(|row| i16::from(get(row).is_some())).collect();
            let values: Vec<_> = rows.iter().filter_map(get).map(ByteArray::from).collect();
            column.typed::<ByteArrayType>().write_batch(&values, Some(&defined), None)?;
        }
        Cells::List(get) => {
            let mut words = Words::default();
            let (mut values, mut defined, mut repeated) = (Vec::new(), Vec::new(), Vec::new());
            for row in rows {
                let list = get(row);
                defined.extend(vec![1; list.len()]);
                repeated.extend((0..list.len()).map(|place| i16::from(place > 0)));
                values.extend(list.iter().map(|word| words.of(word)));
                if list.is_empty() {
                    defined.push(0);
                    repeated.push(0);
                }
            }
            let column = column.typed::<ByteArrayType>();
            column.write_batch(&values, Some(&defined), Some(&repeated))?;
        }
    }
    Ok(())
}

/// Each word once: its bytes are shared by all cells that hold it.
#[derive(Default)]
struct Words(BTreeMap<String, ByteArray>);

impl Words {
    fn of(&mut self, word: &str) -> ByteArray {
        if let Some(bytes) = self.0.get(word) {
            return bytes.clone();
        }
        let bytes = ByteArray::from(word);
        self.0.insert(word.to_owned(), bytes.clone());
        bytes
    }
}
