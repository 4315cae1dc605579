//! The bytes of a part, read from a file, and a part that gives them back.
//!
//! Invariants: an [`Image`] has a shape the store can use; nothing here writes to
//! the file.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use shaftbook_core::codec::frame::{RECORD_BYTES, Record};
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_core::store::ring::Ring;

use shaftbook_world::input_error::InputError;

/// Largest part there is, bytes.
pub const SIZE_MAX_BYTES: u64 = 65_536;

/// The bytes of a part and its shape.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    bytes: Vec<u8>,
    geometry: Geometry,
    ring: Ring,
}

impl Image {
    /// The image in the file `path`, of a part with pages of `page_bytes`.
    ///
    /// # Errors
    /// The file cannot be read, or no part has its size.
    pub fn load(path: &Path, page_bytes: u16) -> Result<Self, InputError> {
        let name = path.display().to_string();
        let failed = |error: std::io::Error| InputError::new(&name, error.to_string());
        let file = File::open(path).map_err(failed)?;
        if file.metadata().map_err(failed)?.is_dir() {
            return Err(InputError::new(&name, "is a directory, not the bytes of a part"));
        }
        let mut bytes = Vec::new();
        // One byte more than the largest part tells that it is too long.
        file.take(SIZE_MAX_BYTES + 1).read_to_end(&mut bytes).map_err(failed)?;
        Self::new(&name, bytes, page_bytes)
    }

    /// The image `bytes`; `name` is what errors call it.
    ///
    /// # Errors
    /// No part has this size or page length.
    pub fn new(name: &str, bytes: Vec<u8>, page_bytes: u16) -> Result<Self, InputError> {
        let size = if bytes.len() as u64 > SIZE_MAX_BYTES {
            String::from("more than 65,536 bytes")
        } else {
            format!("{} bytes", bytes.len())
        };
        let geometry = Geometry { size_bytes: bytes.len() as u32, page_bytes };
        let Some(ring) = Ring::new(geometry) else {
            let what = format!(
                "{size}, pages of {page_bytes}: a part has 8,192 to 65,536 bytes, a multiple of \
                 128, and pages of 16, 32, 64 or 128; or pages of 256 and at least 64 of them"
            );
            return Err(InputError::new(name, what));
        };
        Ok(Self { bytes, geometry, ring })
    }

    /// The part's shape.
    #[must_use]
    pub fn geometry(&self) -> Geometry {
        self.geometry
    }

    /// The part as a ring of slots.
    #[must_use]
    pub fn ring(&self) -> Ring {
        self.ring
    }

    /// The record in `slot`: the first 64 bytes of it; zeros outside the part.
    #[must_use]
    pub fn record(&self, slot: u16) -> Record {
        let at = self.ring.address(slot) as usize;
        let bytes = self.bytes.get(at..at + RECORD_BYTES);
        bytes.and_then(<[u8]>::first_chunk).copied().unwrap_or([0; RECORD_BYTES])
    }

    /// The same bytes, seen with pages of another length.
    #[must_use]
    pub fn with_pages(&self, page_bytes: u16) -> Option<Self> {
        Self::new("", self.bytes.clone(), page_bytes).ok()
    }

    /// The bytes.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }
}

/// A part that holds an image, programs at once and never fails. What is programmed
/// is not written back to any file.
#[derive(Clone, Debug)]
pub struct ImagePart {
    bytes: Vec<u8>,
    geometry: Geometry,
    programs: u64,
}

impl ImagePart {
    /// A part with these bytes.
    #[must_use]
    pub fn new(image: &Image) -> Self {
        Self { bytes: image.bytes.clone(), geometry: image.geometry, programs: 0 }
    }

    /// A blank part of this shape.
    #[must_use]
    pub fn blank(geometry: Geometry) -> Self {
        Self { bytes: vec![0xFF; geometry.size_bytes as usize], geometry, programs: 0 }
    }

    /// Its bytes now.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Program cycles so far.
    #[must_use]
    pub fn programs(&self) -> u64 {
        self.programs
    }
}

impl Medium for ImagePart {
    fn geometry(&self) -> Geometry {
        self.geometry
    }

    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        let at = address as usize;
        let from = self.bytes.get(at..at + bytes.len()).ok_or(MediumError::OutOfRange)?;
        bytes.copy_from_slice(from);
        Ok(())
    }

    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        let page_bytes = usize::from(self.geometry.page_bytes);
        let at = address as usize;
        let count = bytes.len().min(page_bytes - at % page_bytes);
        let to = self.bytes.get_mut(at..at + count).ok_or(MediumError::OutOfRange)?;
        to.copy_from_slice(&bytes[..count]);
        self.programs += 1;
        Ok(count)
    }

    fn is_ready(&mut self) -> Result<bool, MediumError> {
        Ok(true)
    }
}
