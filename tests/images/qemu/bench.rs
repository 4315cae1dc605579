//! A fitted part in a folder, and the image powered up on it.

use std::fs;
use std::path::PathBuf;

use shaftbook_core::settings::Settings;
use shaftbook_world::fitting::fit;
use shaftbook_world::fitting::plain_fitting;
use shaftbook_world::scenario::Scenario;
use system_tests::images::part::ID;
use system_tests::images::qemu::{Board, QEMU, REMEDY};
use system_tests::images::tools::{image, need, repository};

/// The image under test.
pub const IMAGE: &str = "shaftbook-mps2";
const SCENARIO: &str = "host-sim/scenarios/ten-minute-head.toml";

/// A folder that is gone when the test is over.
pub struct Folder(pub PathBuf);

impl Folder {
    /// Short, for sockets in it: their paths are limited to some 100 bytes.
    pub fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("shaftbook-{}-{name}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    /// The part's file.
    pub fn part(&self) -> PathBuf {
        self.0.join("part.bin")
    }

    /// Writes a newly fitted part.
    pub fn fit(&self, settings: Settings) {
        fs::write(self.part(), fit(ID, &plain_fitting(settings), None).unwrap()).unwrap();
    }

    /// Powers the image up on the part.
    pub fn power_up(&self, extra: &[String]) -> Board {
        need(QEMU, REMEDY);
        Board::power_up(&image(IMAGE), &self.part(), &self.0, extra)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// The scenario of these tests.
pub fn scenario() -> Scenario {
    Scenario::load(&repository(SCENARIO)).unwrap()
}
