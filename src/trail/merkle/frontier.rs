//! The right edge of a growing tree: enough to append and to know the root.

use super::{
    Hash, MerkleError, NodeAddress, NodeSource, addresses_for_root, empty_root, node_hash,
};

/// A frontier can be resumed up to this size (2^63 - 1, what a database's
/// `bigint` holds), so that it always has room to grow.
pub const LARGEST_FRONTIER: u64 = (1 << 63) - 1;

/// The perfect subtrees along the right edge of a tree, largest first: one for
/// each bit of its size. Appending costs one hash on average and memory grows
/// with the logarithm of the size.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frontier {
    size: u64,
    edge: Vec<Hash>,
}

impl Frontier {
    /// The frontier of the tree without leaves.
    pub fn new() -> Frontier {
        Frontier::default()
    }

    /// Resumes a tree of this size from its stored nodes.
    ///
    /// # Errors
    /// The size is above [`LARGEST_FRONTIER`], or the source lacks a node of
    /// [`Frontier::addresses`].
    pub fn from_nodes(size: u64, source: &impl NodeSource) -> Result<Frontier, MerkleError> {
        if size > LARGEST_FRONTIER {
            return Err(MerkleError::TooLarge(size));
        }
        let edge = Frontier::addresses(size)
            .into_iter()
            .map(|address| {
                source
                    .node(address)
                    .ok_or(MerkleError::MissingNode(address))
            })
            .collect::<Result<_, _>>()?;
        Ok(Frontier { size, edge })
    }

    /// The nodes that [`Frontier::from_nodes`] asks for at this size.
    pub fn addresses(size: u64) -> Vec<NodeAddress> {
        addresses_for_root(size)
    }

    /// Appends a leaf hash. Returns every perfect subtree that it completes,
    /// the leaf itself first.
    pub fn push(&mut self, leaf: Hash) -> Vec<(NodeAddress, Hash)> {
        let mut address = NodeAddress {
            level: 0,
            index: self.size,
        };
        let mut hash = leaf;
        let mut completed = vec![(address, hash)];
        while address.index & 1 == 1 {
            let Some(left) = self.edge.pop() else { break };
            hash = node_hash(&left, &hash);
            address = NodeAddress {
                level: address.level + 1,
                index: address.index >> 1,
            };
            completed.push((address, hash));
        }
        self.edge.push(hash);
        self.size += 1;
        completed
    }

    /// How many leaves the tree has.
    pub fn size(&self) -> u64 {
        self.size
    }

    /// The root of the tree.
    pub fn root(&self) -> Hash {
        let mut nodes = self.edge.iter().rev();
        let Some(mut root) = nodes.next().copied() else {
            return empty_root();
        };
        for left in nodes {
            root = node_hash(left, &root);
        }
        root
    }
}
