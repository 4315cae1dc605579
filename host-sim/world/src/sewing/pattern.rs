//! Where the sewing stands in the designs: which run comes next.
//!
//! A colour block is divided into as many runs as it has trims; stitches and jumps are spread
//! over them as evenly as whole numbers allow. A run that was broken off, by a thread break or
//! because the power went, is taken up where it stopped.

use crate::scenario::{Block, Design};

/// What is left of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Left {
    /// Needle index, 0 is needle 1.
    pub needle_index: u8,
    /// Jumps still to make, before the stitches.
    pub jumps: u32,
    /// Stitches still to sew.
    pub stitches: u32,
}

/// What came to an end with a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PatternEnd {
    /// Only the run: the same colour block goes on.
    Run,
    /// The colour block.
    Block,
    /// The piece: the frame is changed.
    Piece,
}

/// A place in the designs, which repeat for ever.
#[derive(Clone, Debug)]
pub struct Pattern {
    designs: Vec<Design>,
    design: usize,
    piece: u32,
    block: usize,
    run: u32,
    left: Left,
}

impl Pattern {
    /// The beginning of the first design; `designs` is checked: none is empty.
    #[must_use]
    pub fn new(designs: Vec<Design>) -> Self {
        let first = designs[0].blocks[0];
        Self { designs, design: 0, piece: 0, block: 0, run: 0, left: run_of(&first, 0) }
    }

    /// What is left of the run that is being sewn.
    #[must_use]
    pub const fn left(&self) -> Left {
        self.left
    }

    /// Takes `jumps` and `stitches` off the run that is being sewn.
    pub fn done(&mut self, jumps: u32, stitches: u32) {
        self.left.jumps = self.left.jumps.saturating_sub(jumps);
        self.left.stitches = self.left.stitches.saturating_sub(stitches);
    }

    /// Goes on to the next run and says what ended.
    pub fn next_run(&mut self) -> PatternEnd {
        let ended = self.advance();
        let block = self.designs[self.design].blocks[self.block];
        self.left = run_of(&block, self.run);
        ended
    }

    fn advance(&mut self) -> PatternEnd {
        let design = &self.designs[self.design];
        self.run += 1;
        if self.run < design.blocks[self.block].trims {
            return PatternEnd::Run;
        }
        self.run = 0;
        self.block += 1;
        if self.block < design.blocks.len() {
            return PatternEnd::Block;
        }
        self.block = 0;
        self.piece += 1;
        if self.piece == design.pieces {
            self.piece = 0;
            self.design = (self.design + 1) % self.designs.len();
        }
        PatternEnd::Piece
    }
}

fn run_of(block: &Block, run: u32) -> Left {
    let share = |total: u32| {
        let upto = |r: u32| (u64::from(total) * u64::from(r) / u64::from(block.trims)) as u32;
        upto(run + 1) - upto(run)
    };
    Left {
        needle_index: block.needle - 1,
        jumps: share(block.jumps),
        stitches: share(block.stitches),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn designs() -> Vec<Design> {
        let block = |needle, stitches, jumps, trims| Block { needle, stitches, jumps, trims };
        vec![
            Design {
                name: "a".into(),
                pieces: 2,
                blocks: vec![block(1, 101, 7, 3), block(4, 10, 0, 1)],
            },
            Design { name: "b".into(), pieces: 1, blocks: vec![block(2, 5, 2, 5)] },
        ]
    }

    #[test]
    fn the_runs_of_a_block_add_up_to_it() {
        let mut pattern = Pattern::new(designs());
        let (mut stitches, mut jumps, mut trims) = (0, 0, 0);
        for _ in 0..13 {
            stitches += pattern.left().stitches;
            jumps += pattern.left().jumps;
            trims += 1;
            pattern.next_run();
        }
        // Two pieces of the first design, one of the second.
        assert_eq!((stitches, jumps, trims), (2 * 111 + 5, 2 * 7 + 2, 2 * 4 + 5));
        assert_eq!(pattern.left(), Left { needle_index: 0, jumps: 2, stitches: 33 }, "again");
    }

    #[test]
    fn the_ends_come_in_order() {
        let mut pattern = Pattern::new(designs());
        let ends: Vec<PatternEnd> = (0..5).map(|_| pattern.next_run()).collect();
        assert_eq!(
            ends,
            [
                PatternEnd::Run,
                PatternEnd::Run,
                PatternEnd::Block,
                PatternEnd::Piece,
                PatternEnd::Run
            ]
        );
    }

    #[test]
    fn a_broken_off_run_is_taken_up_where_it_stopped() {
        let mut pattern = Pattern::new(designs());
        pattern.done(2, 20);
        assert_eq!(pattern.left(), Left { needle_index: 0, jumps: 0, stitches: 13 });
    }
}
