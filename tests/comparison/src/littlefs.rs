//! The mounted file system and the part that it borrows, in one value. It is for the host only,
//! because it needs a heap: a board has both in its main function.

use comparison_stores::littlefs::{Allocation, Blocks, Filesystem, mount, read, write};
use comparison_stores::{Failure, Value, ValueStore};
use self_cell::{MutBorrow, self_cell};

use crate::lent::Lent;

type Owner = MutBorrow<(Allocation<Blocks<Lent>>, Blocks<Lent>)>;
type Mounted<'a> = Filesystem<'a, Blocks<Lent>>;

self_cell! {
    struct Cell {
        owner: Owner,
        #[not_covariant]
        dependent: Mounted,
    }
}

/// The file system on a part.
pub struct LittleFs {
    /// Until it is mounted.
    part: Option<Lent>,
    mounted: Option<Cell>,
}

impl ValueStore<Lent> for LittleFs {
    const NAME: &'static str = "littlefs2 0.8.1, 512-byte blocks";

    fn new(part: Lent) -> Self {
        Self { part: Some(part), mounted: None }
    }

    fn open(&mut self) -> Result<Option<Value>, Failure> {
        let part = self.part.take().ok_or(Failure::Unusable("open already"))?;
        let owner = MutBorrow::new((Filesystem::allocate(), Blocks(part)));
        let cell = Cell::try_new(owner, |owner| {
            let (allocation, blocks) = owner.borrow_mut();
            mount(allocation, blocks)
        })?;
        let value = cell.with_dependent(|_, system| read(system))?;
        self.mounted = Some(cell);
        Ok(value)
    }

    fn store(&mut self, value: &Value) -> Result<(), Failure> {
        let cell = self.mounted.as_ref().ok_or(Failure::Unusable("not open"))?;
        cell.with_dependent(|_, system| write(system, value))
    }
}
