//! Many rows in one statement.

use super::connection::{Arg, Conn, StorageError};

/// A table's name, its key columns and its other columns, in the order of its rows.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    pub name: &'static str,
    pub key: &'static [&'static str],
    pub rest: &'static [&'static str],
    /// Columns beyond these two lists are none; the definition's own words follow.
    pub definition: &'static str,
}

/// A table with one row a thing: its id, and what is known of it as JSON.
macro_rules! plain {
    ($name:literal) => {
        $crate::storage::rows::Table {
            name: $name,
            key: &["site", "id"],
            rest: &["facts"],
            definition: concat!(
                "CREATE TABLE ",
                $name,
                " (site TEXT NOT NULL, id TEXT NOT NULL, facts TEXT NOT NULL, PRIMARY KEY (site, id))"
            ),
        }
    };
}
pub(super) use plain;

impl Table {
    pub fn columns(&self) -> impl Iterator<Item = &'static str> {
        self.key.iter().chain(self.rest).copied()
    }

    /// Adds rows that are not there yet.
    pub fn adding(&self, rows: Vec<Vec<Arg>>) -> Write {
        Write { table: *self, then: String::new(), rows }
    }

    /// Writes rows as they are now. A key stands once among them.
    pub fn putting(&self, rows: Vec<Vec<Arg>>) -> Write {
        let set: Vec<String> =
            self.rest.iter().map(|column| format!("{column} = excluded.{column}")).collect();
        let then = format!(" ON CONFLICT ({}) DO UPDATE SET {}", self.key.join(", "), set.join(", "));
        Write { table: *self, then, rows }
    }

    pub async fn add(&self, conn: &mut Conn, rows: Vec<Vec<Arg>>) -> Result<(), StorageError> {
        conn.write(vec![self.adding(rows)]).await
    }

    pub async fn put(&self, conn: &mut Conn, rows: Vec<Vec<Arg>>) -> Result<(), StorageError> {
        conn.write(vec![self.putting(rows)]).await
    }
}

/// Rows on their way into a table, and what happens where a key is there already.
pub struct Write {
    pub table: Table,
    pub then: String,
    pub rows: Vec<Vec<Arg>>,
}

/// The order of keys as both databases sort them: bytes of text, then numbers.
pub fn key_order<'a>(
    a: impl Iterator<Item = &'a Arg>,
    b: impl Iterator<Item = &'a Arg>,
) -> std::cmp::Ordering {
    let part = |a: &Arg, b: &Arg| match (a, b) {
        (Arg::Text(a), Arg::Text(b)) => a.cmp(b),
        (Arg::Int(a), Arg::Int(b)) => a.cmp(b),
        _ => std::cmp::Ordering::Equal,
    };
    a.zip(b).map(|(a, b)| part(a, b)).find(|order| order.is_ne()).unwrap_or(std::cmp::Ordering::Equal)
}
