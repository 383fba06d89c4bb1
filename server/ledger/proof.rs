//! Proofs over the Merkle tree: that an entry is in it, and that a later tree only appended to an earlier.
//!
//! Proofs are made and verified as RFC 9162 sections 2.1.3 and 2.1.4 describe; their bytes are the same as
//! under RFC 6962 sections 2.1.1 and 2.1.2.

use super::frontier::root;
use super::leaf::{Hash, node};

/// The proof that the leaf at `index`, counted from 0, is in the tree over `leaves`, nearest sibling first
/// (RFC 9162 section 2.1.3.1). None where there is no such leaf. The cost is linear in the leaves.
pub fn inclusion(leaves: &[Hash], index: u64) -> Option<Vec<Hash>> {
    let mut at = usize::try_from(index).ok().filter(|at| *at < leaves.len())?;
    let mut subtree = leaves;
    let mut proof = Vec::new();
    while subtree.len() > 1 {
        let (left, right) = halves(subtree)?;
        if at < left.len() {
            proof.push(root(right));
            subtree = left;
        } else {
            proof.push(root(left));
            at -= left.len();
            subtree = right;
        }
    }
    // The walk goes from the root down; a proof is read from the leaf up.
    proof.reverse();
    Some(proof)
}

/// The proof that the tree over the first `first` leaves is the beginning of the tree over all `leaves`
/// (RFC 9162 section 2.1.4.1). None where `first` is 0 or more than there are; empty where it is all of
/// them. The cost is linear in the leaves.
pub fn consistency(leaves: &[Hash], first: u64) -> Option<Vec<Hash>> {
    let mut size = usize::try_from(first).ok().filter(|size| (1..=leaves.len()).contains(size))?;
    let mut subtree = leaves;
    let mut proof = Vec::new();
    // The verifier holds the earlier root already, so it is left out where a subtree is that whole tree.
    let mut is_known = true;
    while size < subtree.len() {
        let (left, right) = halves(subtree)?;
        if size <= left.len() {
            proof.push(root(right));
            subtree = left;
        } else {
            proof.push(root(left));
            size -= left.len();
            subtree = right;
            is_known = false;
        }
    }
    if !is_known {
        proof.push(root(subtree));
    }
    proof.reverse();
    Some(proof)
}

/// Whether `proof` shows that `leaf` stands at `index`, counted from 0, in the tree of `size` leaves with
/// this root (RFC 9162 section 2.1.3.2).
#[must_use]
pub fn verify_inclusion(leaf: &Hash, index: u64, size: u64, proof: &[Hash], root: &Hash) -> bool {
    if index >= size {
        return false;
    }
    let mut path = Path { at: index, last: size - 1 };
    let mut hash = *leaf;
    for sibling in proof {
        if path.last == 0 {
            return false;
        }
        hash = if path.sibling_is_left() { node(sibling, &hash) } else { node(&hash, sibling) };
        path.rise();
    }
    path.last == 0 && hash == *root
}

/// Whether `proof` shows that the tree of `first` leaves with `first_root` is the beginning of the tree of
/// `second` leaves with `second_root` (RFC 9162 section 2.1.4.2).
///
/// Equal sizes need equal roots and no proof. A first tree without leaves is refused: every tree begins
/// with it, so there is nothing to prove, and the standard gives no proof for it.
#[must_use]
pub fn verify_consistency(
    first: u64,
    second: u64,
    proof: &[Hash],
    first_root: &Hash,
    second_root: &Hash,
) -> bool {
    if first == 0 || first > second {
        return false;
    }
    if first == second {
        return proof.is_empty() && first_root == second_root;
    }
    // A first tree of a power of two is one node of the second, and the verifier brings that node along.
    let (start, rest) = match proof.split_first() {
        None => return false,
        Some(_) if first.is_power_of_two() => (first_root, proof),
        Some(split) => split,
    };
    let mut path = Path { at: first - 1, last: second - 1 };
    path.shift(path.at.trailing_ones());
    let (mut first_hash, mut second_hash) = (*start, *start);
    for sibling in rest {
        if path.last == 0 {
            return false;
        }
        if path.sibling_is_left() {
            first_hash = node(sibling, &first_hash);
            second_hash = node(sibling, &second_hash);
        } else {
            second_hash = node(&second_hash, sibling);
        }
        path.rise();
    }
    path.last == 0 && first_hash == *first_root && second_hash == *second_root
}

/// A place on the way from a leaf to the root: the index of the node on its level and of the level's last
/// node (`fn` and `sn` in RFC 9162).
struct Path {
    at: u64,
    last: u64,
}

impl Path {
    fn sibling_is_left(&self) -> bool {
        self.at & 1 == 1 || self.at == self.last
    }

    /// Goes to the next node that has a sibling, past the levels on which the last node stands alone.
    fn rise(&mut self) {
        if self.at & 1 == 0 && self.at == self.last {
            let alone = if self.at == 0 { 0 } else { self.at.trailing_zeros() };
            self.shift(alone);
        }
        self.shift(1);
    }

    fn shift(&mut self, levels: u32) {
        self.at = self.at.checked_shr(levels).unwrap_or(0);
        self.last = self.last.checked_shr(levels).unwrap_or(0);
    }
}

/// The two subtrees of a tree of at least two leaves; the left one holds the largest power of two that
/// leaves something for the right one (RFC 9162 section 2.1.1).
fn halves(leaves: &[Hash]) -> Option<(&[Hash], &[Hash])> {
    leaves.split_at_checked(leaves.len().next_power_of_two() / 2)
}
