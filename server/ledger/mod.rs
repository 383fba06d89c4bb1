//! Canonical bytes, hashes and proofs: what makes an altered ledger show.
//!
//! Everything here is pure. An entry's canonical text gives a leaf, the leaves stand in a Merkle tree in the
//! shape of RFC 6962, and the tree's frontier is all that has to be kept to append to it.

pub mod canonical;
mod canonical_writer;
pub mod leaf;
pub mod frontier;
pub mod proof;
