//! A map that takes no more room than its pairs: sorted, in one piece. A case has some dozens of parts, and there are
//! years of cases.

use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::id::Id;

/// Pairs in the order of their ids; each id stands once.
#[derive(Clone, Debug, PartialEq)]
pub struct Sorted<V>(Vec<(Id, V)>);

impl<V> Default for Sorted<V> {
    fn default() -> Self {
        Sorted(Vec::new())
    }
}

impl<V> Sorted<V> {
    fn place(&self, id: &Id) -> Result<usize, usize> {
        self.0.binary_search_by(|(known, _)| known.cmp(id))
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub fn get(&self, id: &Id) -> Option<&V> {
        self.0.get(self.place(id).ok()?).map(|(_, value)| value)
    }

    pub fn get_mut(&mut self, id: &Id) -> Option<&mut V> {
        let at = self.place(id).ok()?;
        self.0.get_mut(at).map(|(_, value)| value)
    }

    pub fn contains_key(&self, id: &Id) -> bool {
        self.place(id).is_ok()
    }

    pub fn insert(&mut self, id: Id, value: V) {
        match self.place(&id) {
            Ok(at) => self.0.splice(at..=at, [(id, value)]).for_each(drop),
            Err(at) => self.0.insert(at, (id, value)),
        }
    }

    /// Puts a value where none is.
    pub fn or_insert_with(&mut self, id: &Id, value: impl FnOnce() -> V) {
        if let Err(at) = self.place(id) {
            self.0.insert(at, (id.clone(), value()));
        }
    }

    pub fn remove(&mut self, id: &Id) -> Option<V> {
        self.place(id).ok().map(|at| self.0.remove(at).1)
    }

    pub fn iter(&self) -> impl Iterator<Item = (&Id, &V)> {
        self.0.iter().map(|(id, value)| (id, value))
    }

    pub fn keys(&self) -> impl Iterator<Item = &Id> {
        self.0.iter().map(|(id, _)| id)
    }

    pub fn values(&self) -> impl Iterator<Item = &V> {
        self.0.iter().map(|(_, value)| value)
    }

    pub fn values_mut(&mut self) -> impl Iterator<Item = &mut V> {
        self.0.iter_mut().map(|(_, value)| value)
    }

    /// The same with its ids told anew, in the same order, and no room left over.
    pub fn with_ids(self, id: impl Fn(&Id) -> Id) -> Sorted<V> {
        let mut pairs: Vec<(Id, V)> = self.0.into_iter().map(|(known, value)| (id(&known), value)).collect();
        pairs.shrink_to_fit();
        Sorted(pairs)
    }
}

impl<V> FromIterator<(Id, V)> for Sorted<V> {
    fn from_iter<I: IntoIterator<Item = (Id, V)>>(pairs: I) -> Self {
        let mut all = Sorted::default();
        pairs.into_iter().for_each(|(id, value)| all.insert(id, value));
        all
    }
}

impl<V: Serialize> Serialize for Sorted<V> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_map(self.iter())
    }
}

impl<'de, V: DeserializeOwned> Deserialize<'de> for Sorted<V> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let pairs = std::collections::BTreeMap::<Id, V>::deserialize(from)?;
        Ok(Sorted(pairs.into_iter().collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_holds_what_a_map_holds() {
        let id = |name: &str| Id::new(name).unwrap();
        let mut sorted: Sorted<u32> =
            [("b", 2), ("a", 1), ("c", 3), ("b", 4)].map(|(n, v)| (id(n), v)).into_iter().collect();
        assert_eq!(
            sorted.iter().map(|(id, v)| (id.as_str(), *v)).collect::<Vec<_>>(),
            [("a", 1), ("b", 4), ("c", 3)]
        );
        assert_eq!((sorted.remove(&id("a")), sorted.remove(&id("x"))), (Some(1), None));
        sorted.or_insert_with(&id("b"), || 9);
        sorted.or_insert_with(&id("0"), || 0);
        *sorted.get_mut(&id("c")).unwrap() += 1;
        let text = serde_json::to_string(&sorted).unwrap();
        assert_eq!(text, "{\"0\":0,\"b\":4,\"c\":4}");
        assert_eq!(serde_json::from_str::<Sorted<u32>>(&text).unwrap(), sorted);
        assert!(sorted.contains_key(&id("0")) && !sorted.contains_key(&id("a")));
    }
}
