//! A memory part as it is wired to the bus.

use shaftbook_core::medium::Geometry;

/// Bus address and shape of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WiredPart {
    device_address: u8,
    geometry: Geometry,
}

impl WiredPart {
    /// The reference part, all address pins low: 32 KiB, 64-byte pages, at 0x50.
    pub const REFERENCE: Self = Self { device_address: 0x50, geometry: Geometry::REFERENCE };

    /// A part at 7-bit bus address `device_address`, 0x50 to 0x57 (the three address
    /// pins), with two address bytes.
    ///
    /// `None` when the bus address is another, when the size is not 4,096 to 65,536
    /// bytes or not a multiple of the page, or when the page is not a power of two
    /// from 16 to 128.
    #[must_use]
    pub const fn new(device_address: u8, geometry: Geometry) -> Option<Self> {
        let page_bytes = geometry.page_bytes as u32;
        let fits = page_bytes >= 16
            && page_bytes <= 128
            && page_bytes.is_power_of_two()
            && geometry.size_bytes >= 4_096
            && geometry.size_bytes <= 65_536
            && geometry.size_bytes.is_multiple_of(page_bytes);
        if fits && device_address >= 0x50 && device_address <= 0x57 {
            Some(Self { device_address, geometry })
        } else {
            None
        }
    }

    /// The 7-bit bus address, 0x50 to 0x57.
    #[must_use]
    #[inline]
    pub const fn device_address(self) -> u8 {
        self.device_address
    }

    /// The part's shape.
    #[must_use]
    #[inline]
    pub const fn geometry(self) -> Geometry {
        self.geometry
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_accepted(device_address: u8, size_bytes: u32, page_bytes: u16) -> bool {
        WiredPart::new(device_address, Geometry { size_bytes, page_bytes }).is_some()
    }

    #[test]
    fn only_parts_with_two_address_bytes_at_their_addresses_are_accepted() {
        assert!(is_accepted(0x50, 4_096, 16));
        assert!(is_accepted(0x57, 65_536, 128));
        assert!(!is_accepted(0x4F, 32_768, 64));
        assert!(!is_accepted(0x58, 32_768, 64));
        assert!(!is_accepted(0x50, 2_048, 16));
        assert!(!is_accepted(0x50, 131_072, 128));
        assert!(!is_accepted(0x50, 32_768, 0));
        assert!(!is_accepted(0x50, 32_768, 8));
        assert!(!is_accepted(0x50, 32_768, 48));
        assert!(!is_accepted(0x50, 65_536, 256));
        assert!(!is_accepted(0x50, 32_768 + 32, 64));
    }
}
