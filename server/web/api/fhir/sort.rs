//! The order in which a search tells what it found, and where its next page begins.

use std::cmp::Ordering;

use super::super::super::problem::Problem;
use super::asked::unfit;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum By {
    Id,
    Updated,
}

/// By these, each forwards or backwards; what is alike by all of them stands by its id, so that the order is whole.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Order(Vec<(By, bool)>);

/// What an order looks at: the place in the ledger of the last change, which is in the order of times, and the id.
pub type Key<'a> = (u64, &'a str);

impl Order {
    /// Reads what `_sort` says: `_id` and `_lastUpdated`, backwards behind a hyphen.
    pub fn read(text: &str, timed: bool) -> Result<Order, Problem> {
        let mut order = Order::default();
        for name in text.split(',') {
            let (backwards, bare) = match name.strip_prefix('-') {
                Some(bare) => (true, bare),
                None => (false, name),
            };
            let by = match bare {
                "_id" => By::Id,
                "_lastUpdated" if timed => By::Updated,
                _ => {
                    let known = if timed { "_id and _lastUpdated" } else { "_id" };
                    let detail = format!(
                        "\"_sort\" names \"{name}\"; known are {known}, with a hyphen before it for backwards"
                    );
                    let mut problem = unfit("_sort", detail);
                    problem.members.insert("code".into(), "not_supported".into());
                    return Err(problem);
                }
            };
            order.0.push((by, backwards));
        }
        Ok(order)
    }

    pub fn compare(&self, one: Key, other: Key) -> Ordering {
        for (by, backwards) in &self.0 {
            let found = match by {
                By::Id => one.1.cmp(other.1),
                By::Updated => one.0.cmp(&other.0),
            };
            if found != Ordering::Equal {
                return if *backwards { found.reverse() } else { found };
            }
        }
        one.1.cmp(other.1)
    }

    /// What the address of the page after this one says. It names a place in the order, not a thing: a thing that
    /// changed meanwhile does not move the page.
    pub fn cursor(&self, key: Key) -> String {
        let timed = self.0.iter().any(|(by, _)| *by == By::Updated);
        if timed { format!("{}:{}", key.0, key.1) } else { key.1.to_owned() }
    }

    /// The place that a cursor names, if this order could have made it.
    pub fn place<'a>(&self, cursor: &'a str) -> Option<Key<'a>> {
        let timed = self.0.iter().any(|(by, _)| *by == By::Updated);
        let (entry, id) = match timed {
            true => cursor.split_once(':').and_then(|(entry, id)| Some((entry.parse().ok()?, id)))?,
            false => (0, cursor),
        };
        let fits = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'.';
        (!id.is_empty() && id.bytes().all(fits)).then_some((entry, id))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_order_is_whole_and_its_cursor_names_a_place_in_it() {
        let all = [(3, "b"), (1, "c"), (3, "a")];
        for (text, sorted) in [
            ("_id", ["a", "b", "c"]),
            ("-_id", ["c", "b", "a"]),
            ("_lastUpdated", ["c", "a", "b"]),
            ("-_lastUpdated", ["a", "b", "c"]),
            ("-_lastUpdated,-_id", ["b", "a", "c"]),
            ("_id,_lastUpdated", ["a", "b", "c"]),
        ] {
            let order = Order::read(text, true).unwrap();
            let mut found = all;
            found.sort_by(|one, other| order.compare(*one, *other));
            assert_eq!(found.map(|it| it.1), sorted, "{text}");
            for key in all {
                let cursor = order.cursor(key);
                assert_eq!(order.compare(order.place(&cursor).unwrap(), key), Ordering::Equal, "{text}");
            }
        }
        for wrong in ["", "id", "--_id", "_id,", "_lastUpdated,status"] {
            assert!(Order::read(wrong, true).is_err(), "{wrong}");
        }
        assert!(Order::read("_lastUpdated", false).is_err());
        let order = Order::read("_lastUpdated", true).unwrap();
        for wrong in ["", "a", "x:a", ":a", "1:", "1:a b", "-1:a"] {
            assert_eq!(order.place(wrong), None, "{wrong}");
        }
    }
}
