//! A memory part as it is wired to the bus: its kind, its bus address and its shape.

use shaftbook_core::medium::Geometry;

/// Kinds of memory part that there is a driver for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum PartKind {
    /// 24-series EEPROM: pages, and a program time after each write.
    #[default]
    Eeprom,
    /// FRAM with an EEPROM's commands: no pages, no program time.
    Fram,
}

/// Kind, bus address and shape of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WiredPart {
    kind: PartKind,
    device_address: u8,
    geometry: Geometry,
}

impl WiredPart {
    /// The reference part, all address pins low: an EEPROM of 32 KiB, 64-byte pages, at
    /// 0x50.
    pub const REFERENCE: Self =
        Self { kind: PartKind::Eeprom, device_address: 0x50, geometry: Geometry::REFERENCE };

    /// A part at 7-bit bus address `device_address`, 0x50 to 0x57 (the three address
    /// pins), with two address bytes.
    ///
    /// `None` when the bus address is another, or the store cannot work with the shape
    /// ([`Geometry::is_supported`]).
    #[must_use]
    pub const fn new(kind: PartKind, device_address: u8, geometry: Geometry) -> Option<Self> {
        if geometry.is_supported() && device_address >= 0x50 && device_address <= 0x57 {
            Some(Self { kind, device_address, geometry })
        } else {
            None
        }
    }

    /// Which driver it needs.
    #[must_use]
    #[inline]
    pub const fn kind(self) -> PartKind {
        self.kind
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
        let geometry = Geometry { size_bytes, page_bytes };
        WiredPart::new(PartKind::Eeprom, device_address, geometry).is_some()
    }

    #[test]
    fn only_parts_with_two_address_bytes_at_their_addresses_are_accepted() {
        assert!(is_accepted(0x50, 8_192, 16));
        assert!(is_accepted(0x57, 65_536, 128));
        assert!(!is_accepted(0x4F, 32_768, 64));
        assert!(!is_accepted(0x58, 32_768, 64));
        assert!(!is_accepted(0x50, 4_096, 16));
        assert!(!is_accepted(0x50, 131_072, 128));
        assert!(!is_accepted(0x50, 32_768, 0));
        assert!(!is_accepted(0x50, 32_768, 8));
        assert!(!is_accepted(0x50, 32_768, 48));
        assert!(is_accepted(0x50, 65_536, 256) && is_accepted(0x50, 16_384, 256));
        assert!(!is_accepted(0x50, 16_384 - 256, 256), "fewer than 64 slots");
        assert!(!is_accepted(0x50, 32_768 + 128, 256), "half a page");
        assert!(!is_accepted(0x50, 65_536, 512));
        assert!(!is_accepted(0x50, 32_768 + 32, 64));
    }
}
