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

impl Table {
    pub fn columns(&self) -> impl Iterator<Item = &'static str> {
        self.key.iter().chain(self.rest).copied()
    }

    /// What an insert does with rows whose key is there.
    fn upsert(&self) -> String {
        let set: Vec<String> =
            self.rest.iter().map(|column| format!("{column} = excluded.{column}")).collect();
        format!(" ON CONFLICT ({}) DO UPDATE SET {}", self.key.join(", "), set.join(", "))
    }

    /// Adds rows that are not there yet.
    pub async fn add(&self, conn: &mut Conn, rows: Vec<Vec<Arg>>) -> Result<(), StorageError> {
        conn.insert(self, "", rows).await
    }

    /// Writes rows as they are now. A key stands once among them.
    pub async fn put(&self, conn: &mut Conn, rows: Vec<Vec<Arg>>) -> Result<(), StorageError> {
        conn.insert(self, &self.upsert(), rows).await
    }
}
