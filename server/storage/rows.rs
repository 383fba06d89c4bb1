//! Many rows in one statement. The sizes are few and fixed, so that the driver's cache of statements holds them.

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

const SIZES: [usize; 4] = [256, 64, 8, 1];

impl Table {
    pub fn columns(&self) -> impl Iterator<Item = &'static str> {
        self.key.iter().chain(self.rest).copied()
    }

    fn insert(&self, rows: usize, upsert: bool) -> String {
        let columns: Vec<&str> = self.columns().collect();
        let mut text = format!("INSERT INTO {} ({}) VALUES ", self.name, columns.join(", "));
        let mut n = 0;
        for row in 0..rows {
            text.push_str(if row == 0 { "(" } else { ", (" });
            for column in 0..columns.len() {
                n += 1;
                text.push_str(if column == 0 { "$" } else { ", $" });
                text.push_str(&n.to_string());
            }
            text.push(')');
        }
        if upsert {
            let set: Vec<String> =
                self.rest.iter().map(|column| format!("{column} = excluded.{column}")).collect();
            text.push_str(&format!(
                " ON CONFLICT ({}) DO UPDATE SET {}",
                self.key.join(", "),
                set.join(", ")
            ));
        }
        text
    }

    async fn write(&self, conn: &mut Conn, rows: Vec<Vec<Arg>>, upsert: bool) -> Result<(), StorageError> {
        let mut rest = rows.as_slice();
        while let Some(size) = SIZES.into_iter().find(|size| *size <= rest.len()) {
            let (now, then) = rest.split_at(size);
            let args: Vec<Arg> = now.iter().flatten().cloned().collect();
            conn.execute(&self.insert(size, upsert), &args).await?;
            rest = then;
        }
        Ok(())
    }

    /// Adds rows that are not there yet.
    pub async fn add(&self, conn: &mut Conn, rows: Vec<Vec<Arg>>) -> Result<(), StorageError> {
        self.write(conn, rows, false).await
    }

    /// Writes rows as they are now. A key stands once among them.
    pub async fn put(&self, conn: &mut Conn, rows: Vec<Vec<Arg>>) -> Result<(), StorageError> {
        self.write(conn, rows, true).await
    }
}
