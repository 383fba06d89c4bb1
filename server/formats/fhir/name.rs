//! Logical ids. FHIR takes letters, digits, hyphens and dots, at most 64 of them; names of a house have underscores too,
//! and some ids are made of several names.

use sha2::{Digest, Sha256};

const LONGEST: usize = 64;

/// The logical id of a thing that has these names: the names themselves, with a dot before what stands for a dot (`.0`),
/// an underscore (`.1`), a space (`.2`) or the end of a name (`..`). What would be too long, or has other letters, is told
/// by its hash, behind `.9`.
pub fn of(names: &[&str]) -> String {
    let (mut id, mut fits) = (String::new(), true);
    for (at, name) in names.iter().enumerate() {
        if at > 0 {
            id.push_str("..");
        }
        for letter in name.chars() {
            match letter {
                '.' => id.push_str(".0"),
                '_' => id.push_str(".1"),
                ' ' => id.push_str(".2"),
                other => {
                    fits &= other.is_ascii_alphanumeric() || other == '-';
                    id.push(other);
                }
            }
        }
    }
    if fits && !id.is_empty() && id.len() <= LONGEST {
        return id;
    }
    let hash = hex::encode(Sha256::digest(id.as_bytes()));
    format!(".9{}", hash.get(..40).unwrap_or_default())
}

/// What a logical id names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Named {
    /// These names.
    Names(Vec<String>),
    /// Something whose names are too long, or have letters that no id has: whatever has this very id.
    Hashed,
    /// Nothing could ever have that id.
    Nothing,
}

pub fn read(id: &str) -> Named {
    if id.starts_with(".9") {
        return Named::Hashed;
    }
    let mut names = vec![String::new()];
    let mut letters = id.chars();
    while let Some(letter) = letters.next() {
        let letter = match letter {
            '.' => match letters.next() {
                Some('0') => '.',
                Some('1') => '_',
                Some('2') => ' ',
                Some('.') => {
                    names.push(String::new());
                    continue;
                }
                _ => return Named::Nothing,
            },
            letter if letter.is_ascii_alphanumeric() || letter == '-' => letter,
            _ => return Named::Nothing,
        };
        if let Some(name) = names.last_mut() {
            name.push(letter);
        }
    }
    if id.len() > LONGEST { Named::Nothing } else { Named::Names(names) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_come_back() {
        for names in [
            vec!["T-0142"],
            vec!["a.b"],
            vec!["a_b"],
            vec!["."],
            vec![".."],
            vec!["_._"],
            vec!["case-7", "T_1", "3"],
            vec!["a.", ".b"],
            vec!["shelf 3"],
        ] {
            let id = of(&names);
            let fits = id.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'.');
            assert!(fits && id.len() <= LONGEST, "{id}");
            assert_eq!(read(&id), Named::Names(names.iter().map(ToString::to_string).collect()), "{id}");
            // A path never takes it for a folder.
            assert!(id != "." && id != "..");
        }
        assert_eq!(of(&["T-0142"]), "T-0142");
        assert_eq!(of(&["case-7", "T_1", "3"]), "case-7..T.11..3");
    }

    #[test]
    fn long_names_have_ids_of_their_own() {
        let (long, other) = ("x".repeat(64), format!("{}y", "x".repeat(63)));
        assert_eq!(of(&[&long]), long);
        let (one, two) = (of(&[&long, "a"]), of(&[&other, "a"]));
        assert!(one != two && one.len() <= LONGEST && one.starts_with(".9"));
        assert_eq!(read(&one), Named::Hashed);
        let (one, two) = (of(&["Stra\u{df}e"]), of(&["Stra\u{df}e 2"]));
        assert!(one != two && one.is_ascii() && read(&one) == Named::Hashed);
        for id in ["a b", "a/b", "a.", "a.3", "\u{e9}", &"x".repeat(65)] {
            assert_eq!(read(id), Named::Nothing, "{id}");
        }
    }
}
