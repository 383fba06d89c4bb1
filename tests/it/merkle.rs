//! The Merkle tree against the published tree, every pair of proofs up to eight leaves, and the verifier cases.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing)]

use fettle::ledger::frontier::{Frontier, FrontierError, root};
use fettle::ledger::leaf::{Hash, empty_root, leaf, node};
use fettle::ledger::proof::{consistency, inclusion, verify_consistency, verify_inclusion};
use proptest::prelude::*;
use serde_json::Value;

fn vectors() -> Value {
    serde_json::from_str(include_str!("../specimens/rfc6962_vectors.json")).unwrap()
}

/// A hash, or None where the text is not one.
fn hash(text: &Value) -> Option<Hash> {
    hex::decode(text.as_str()?).ok()?.try_into().ok()
}

/// A root of a verifier case. Some are placeholders of another length, of which only equality matters.
fn case_root(text: &Value) -> Option<Hash> {
    let bytes = hex::decode(text.as_str()?).ok()?;
    Some(bytes.as_slice().try_into().unwrap_or_else(|_| leaf(&bytes)))
}

fn proof(texts: &Value) -> Option<Vec<Hash>> {
    texts.as_array().unwrap().iter().map(hash).collect()
}

fn published_leaves(vectors: &Value) -> Vec<Hash> {
    let inputs = vectors["published"]["leaf_inputs_hex"].as_array().unwrap();
    inputs.iter().map(|input| leaf(&hex::decode(input.as_str().unwrap()).unwrap())).collect()
}

fn numbered_leaves(size: u64) -> Vec<Hash> {
    (0..size).map(|i| leaf(i.to_string().as_bytes())).collect()
}

#[test]
fn hashes_are_the_published_ones() {
    for case in vectors()["published"]["hasher"].as_array().unwrap() {
        let bytes = |hex_key: &str, text_key: &str| match case[hex_key].as_str() {
            Some(digits) => hex::decode(digits).unwrap(),
            None => case[text_key].as_str().unwrap().as_bytes().to_vec(),
        };
        let found = match case["op"].as_str().unwrap() {
            "empty_root" => empty_root(),
            "leaf" => leaf(&bytes("in_hex", "in_utf8")),
            // The published case hashes two short texts, which `node` with its fixed lengths cannot take.
            _ => continue,
        };
        assert_eq!(Some(found), hash(&case["want"]), "{case}");
    }
}

#[test]
fn roots_and_nodes_are_the_published_ones() {
    let vectors = vectors();
    let leaves = published_leaves(&vectors);
    let mut frontier = Frontier::new();
    for (size, expected) in vectors["published"]["roots_by_size_hex"].as_array().unwrap().iter().enumerate() {
        assert_eq!(Some(frontier.root()), hash(expected), "{size} leaves");
        assert_eq!(frontier.size(), size as u64);
        frontier.extend(leaves.get(size).copied());
    }
    for levels in vectors["published"]["node_hashes_hex"].as_array().unwrap().windows(2) {
        let (below, above) = (proof(&levels[0]).unwrap(), proof(&levels[1]).unwrap());
        let joined: Vec<Hash> = below.chunks(2).map(|pair| node(&pair[0], &pair[1])).collect();
        assert_eq!(joined, above);
    }
}

#[test]
fn large_roots_and_their_frontiers() {
    let vectors = vectors();
    let mut frontier = Frontier::new();
    for case in vectors["derived"]["large_roots_leaf_is_ascii_decimal_index"].as_array().unwrap() {
        let size = case["tree_size"].as_u64().unwrap();
        frontier.extend((frontier.size()..size).map(|i| leaf(i.to_string().as_bytes())));
        assert_eq!(Some(frontier.root()), hash(&case["root"]), "{size} leaves");
        assert_eq!(frontier.peaks().len() as u64, case["stack_len"].as_u64().unwrap(), "{size} leaves");
        assert_eq!(Frontier::from_bytes(&frontier.to_bytes()).as_ref(), Ok(&frontier), "{size} leaves");
    }
}

#[test]
fn every_proof_up_to_eight_leaves() {
    let vectors = vectors();
    let leaves = published_leaves(&vectors);
    for case in vectors["derived"]["inclusion_all_pairs"].as_array().unwrap() {
        let size = case["tree_size"].as_u64().unwrap() as usize;
        let found = inclusion(&leaves[..size], case["leaf_index"].as_u64().unwrap());
        assert_eq!(found, proof(&case["proof"]), "{case}");
    }
    for case in vectors["derived"]["consistency_all_pairs"].as_array().unwrap() {
        let size = case["size2"].as_u64().unwrap() as usize;
        let found = consistency(&leaves[..size], case["size1"].as_u64().unwrap());
        assert_eq!(found, proof(&case["proof"]), "{case}");
    }
}

/// Runs verifier cases; leaves and proofs of another length than 32 bytes cannot even be handed over.
fn check(cases: &str, verify: impl Fn(&Value) -> Option<bool>) {
    let cases: Value = serde_json::from_str(cases).unwrap();
    for case in cases["cases"].as_array().unwrap() {
        let is_refused = case["wantErr"].as_bool().unwrap();
        assert_eq!(verify(case).unwrap_or(false), !is_refused, "{}: {}", case["file"], case["desc"]);
    }
}

#[test]
fn the_inclusion_verifier_refuses_what_it_must() {
    check(include_str!("../specimens/merkle_inclusion_cases.json"), |case| {
        let (index, size) = (case["leafIdx"].as_u64()?, case["treeSize"].as_u64()?);
        let (leaf, root) = (hash(&case["leafHash"])?, case_root(&case["root"])?);
        Some(verify_inclusion(&leaf, index, size, &proof(&case["proof"])?, &root))
    });
}

#[test]
fn the_consistency_verifier_refuses_what_it_must() {
    check(include_str!("../specimens/merkle_consistency_cases.json"), |case| {
        let (first, second) = (case["size1"].as_u64()?, case["size2"].as_u64()?);
        let (first_root, second_root) = (case_root(&case["root1"])?, case_root(&case["root2"])?);
        Some(verify_consistency(first, second, &proof(&case["proof"])?, &first_root, &second_root))
    });
}

#[test]
fn stored_bytes_of_the_wrong_length_are_refused() {
    let mut frontier = Frontier::new();
    frontier.extend(numbered_leaves(6));
    let bytes = frontier.to_bytes();
    assert_eq!(bytes.len(), 8 + 2 * 32);
    assert_eq!(Frontier::from_bytes(&bytes[..7]), Err(FrontierError::TooShort { found: 7 }));
    for end in [8, 40, 71] {
        let refused = Err(FrontierError::WrongLength { size: 6, found: end, needed: 72 });
        assert_eq!(Frontier::from_bytes(&bytes[..end]), refused);
    }
}

proptest! {
    #[test]
    fn proofs_convince_and_altered_ones_do_not(size in 1_u64..200, at in any::<u64>(), bit in any::<usize>()) {
        let leaves = numbered_leaves(size);
        let whole = root(&leaves);
        let index = at % size;
        let mut path = inclusion(&leaves, index).unwrap();
        let leaf = leaves[index as usize];
        prop_assert!(verify_inclusion(&leaf, index, size, &path, &whole));
        prop_assert!(!verify_inclusion(&leaf, (index + 1) % size, size, &path, &whole) || size == 1);
        let first = index + 1;
        let begin = root(&leaves[..first as usize]);
        let mut link = consistency(&leaves, first).unwrap();
        prop_assert!(verify_consistency(first, size, &link, &begin, &whole));
        for altered in [&mut path, &mut link] {
            if let Some(length) = altered.len().checked_sub(1) {
                altered[bit % (length + 1)][bit % 32] ^= 1;
            }
        }
        prop_assert!(path.is_empty() || !verify_inclusion(&leaf, index, size, &path, &whole));
        prop_assert!(link.is_empty() || !verify_consistency(first, size, &link, &begin, &whole));
        prop_assert_eq!(inclusion(&leaves, size), None);
        prop_assert_eq!(consistency(&leaves, 0), None);
        prop_assert_eq!(consistency(&leaves, size + 1), None);
    }
}
