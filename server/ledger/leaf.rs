//! The two hashes of the Merkle tree.
//!
//! A leaf and a node begin with different bytes, so that no node can be passed off as an entry
//! (RFC 6962 section 2.1, RFC 9162 section 2.1.1).

use sha2::{Digest, Sha256};

/// A SHA-256 hash.
pub type Hash = [u8; 32];

/// RFC 6962 section 2.1: the byte before the entry in the hash of a leaf.
const LEAF_PREFIX: [u8; 1] = [0x00];

/// RFC 6962 section 2.1: the byte before the two children in the hash of a node.
const NODE_PREFIX: [u8; 1] = [0x01];

/// The hash of an entry: SHA-256(0x00 ‖ bytes).
pub fn leaf(bytes: &[u8]) -> Hash {
    Sha256::new().chain_update(LEAF_PREFIX).chain_update(bytes).finalize().into()
}

/// The hash of a node above two others: SHA-256(0x01 ‖ left ‖ right).
pub fn node(left: &Hash, right: &Hash) -> Hash {
    Sha256::new().chain_update(NODE_PREFIX).chain_update(left).chain_update(right).finalize().into()
}

/// The root of a tree without leaves: the hash of no bytes at all.
pub fn empty_root() -> Hash {
    Sha256::new().finalize().into()
}
