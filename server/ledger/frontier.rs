//! The frontier of a Merkle tree: the roots of its complete subtrees, which suffice to append and to know
//! the root. A tree of a million leaves needs at most twenty hashes.

use super::leaf::{Hash, empty_root, node};

/// The bytes in front of the peaks in the stored form: the size as a big-endian integer.
const SIZE_BYTES: usize = 8;

/// The right edge of a tree in the shape of RFC 6962 section 2.1.
///
/// There is one peak for each set bit of the size, the largest subtree first. The fields are closed
/// because the two must agree.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frontier {
    size: u64,
    peaks: Vec<Hash>,
}

/// Stored bytes that are not a frontier.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FrontierError {
    /// Fewer bytes than the size takes.
    #[error("found {found} bytes; a frontier needs at least {SIZE_BYTES}")]
    TooShort { found: usize },
    /// The number of hashes does not belong to the size.
    #[error("found {found} bytes for a tree of {size} leaves; {needed} are needed")]
    WrongLength { size: u64, found: usize, needed: usize },
}

impl Frontier {
    /// The frontier of the tree without leaves.
    pub fn new() -> Self {
        Self::default()
    }

    /// The number of leaves.
    pub fn size(&self) -> u64 {
        self.size
    }

    /// The roots of the complete subtrees, the largest first.
    pub fn peaks(&self) -> &[Hash] {
        &self.peaks
    }

    /// Appends a leaf, given by its hash. The cost is constant on average.
    pub fn push(&mut self, leaf: Hash) {
        let mut top = leaf;
        // Each low bit that is set is a complete subtree as tall as the one just built: the two become one.
        for _ in 0..self.size.trailing_ones() {
            if let Some(left) = self.peaks.pop() {
                top = node(&left, &top);
            }
        }
        self.peaks.push(top);
        self.size += 1;
    }

    /// The root over all leaves (RFC 6962 section 2.1); of no leaves, the hash of no bytes.
    pub fn root(&self) -> Hash {
        let mut peaks = self.peaks.iter().rev();
        match peaks.next() {
            None => empty_root(),
            Some(smallest) => peaks.fold(*smallest, |right, left| node(left, &right)),
        }
    }

    /// The stored form: the size as eight bytes, big-endian, then the peaks, the largest first.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = self.size.to_be_bytes().to_vec();
        bytes.extend(self.peaks.iter().flatten());
        bytes
    }

    /// Reads the stored form.
    ///
    /// # Errors
    /// Bytes whose length does not belong to the size they begin with.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, FrontierError> {
        let found = bytes.len();
        let (head, rest) =
            bytes.split_first_chunk::<SIZE_BYTES>().ok_or(FrontierError::TooShort { found })?;
        let size = u64::from_be_bytes(*head);
        let (peaks, left_over) = rest.as_chunks::<32>();
        let needed = size.count_ones() as usize;
        if peaks.len() != needed || !left_over.is_empty() {
            return Err(FrontierError::WrongLength { size, found, needed: SIZE_BYTES + 32 * needed });
        }
        Ok(Self { size, peaks: peaks.to_vec() })
    }
}

/// Builds the frontier over leaves given by their hashes, in order.
impl Extend<Hash> for Frontier {
    fn extend<I: IntoIterator<Item = Hash>>(&mut self, leaves: I) {
        for leaf in leaves {
            self.push(leaf);
        }
    }
}

/// The root over leaves given by their hashes, in order (RFC 6962 section 2.1).
pub fn root(leaves: &[Hash]) -> Hash {
    let mut frontier = Frontier::new();
    frontier.extend(leaves.iter().copied());
    frontier.root()
}
