//! What was tried, what found it, and whether it was named.

use std::fmt;

/// How the three ways of looking did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Count {
    pub tried: usize,
    /// Found by the audit of the live database.
    pub audit: usize,
    /// Named by it with table and row.
    pub named: usize,
    /// Such as a bag carries at all.
    pub carried: usize,
    /// Found by the export or by the check of the exported bag.
    pub verify: usize,
    /// Found by neither, as the list of what stands outside says.
    pub outside: usize,
}

impl Count {
    pub fn add(&mut self, other: Count) {
        self.tried += other.tried;
        self.audit += other.audit;
        self.named += other.named;
        self.carried += other.carried;
        self.verify += other.verify;
        self.outside += other.outside;
    }
}

impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} cells tried: {} found by audit ({} named with table and row), {} of {} by the exported bag, {} outside",
            self.tried, self.audit, self.named, self.verify, self.carried, self.outside
        )
    }
}
