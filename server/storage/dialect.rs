//! What really differs between the two databases, as text. Everything else is one statement that both accept.

/// Which database stands behind a connection.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Dialect {
    Embedded,
    Server,
}

impl Dialect {
    /// A table definition in this database's types. SQLite's STRICT tables know INTEGER and BLOB; PostgreSQL orders
    /// text by the database's locale unless told otherwise.
    pub fn definition(self, text: &str) -> String {
        let word = |w: &str| match (self, w) {
            (Dialect::Embedded, "BIGINT") => "INTEGER",
            (Dialect::Embedded, "BYTES") => "BLOB",
            (Dialect::Server, "BYTES") => "BYTEA",
            (Dialect::Server, "TEXT") => "TEXT COLLATE \"C\"",
            _ => "",
        };
        let mut out = String::with_capacity(text.len() + 64);
        let mut rest = text;
        while let Some(start) = rest.find(|c: char| c.is_ascii_alphabetic()) {
            let (before, from) = rest.split_at(start);
            let end = from.find(|c: char| !(c.is_ascii_alphanumeric() || c == '_')).unwrap_or(from.len());
            let (name, after) = from.split_at(end);
            out.push_str(before);
            out.push_str(Some(word(name)).filter(|w| !w.is_empty()).unwrap_or(name));
            rest = after;
        }
        out.push_str(rest);
        let closing = out.trim_end().ends_with(')') && out.trim_start().starts_with("CREATE TABLE");
        if self == Dialect::Embedded && closing {
            out.push_str(" STRICT");
        }
        out
    }

    /// The definition of a table of current facts. SQLite keeps its rows in the key's own order, without a second tree
    /// for the key; PostgreSQL leaves room beside each row, so that its next form stands on the same page.
    pub fn facts_definition(self, text: &str) -> String {
        let defined = self.definition(text);
        match self {
            Dialect::Embedded => format!("{defined}, WITHOUT ROWID"),
            Dialect::Server => format!("{defined} WITH (fillfactor = 50)"),
        }
    }

    /// Adds rows, so many at once: one place for each value on SQLite, whose places bear no names because it looks
    /// names up one by one; one array for each column on PostgreSQL, where a thousand places cost more than the rows.
    /// `from` is the number of the first place there.
    pub fn insert(self, table: &str, columns: &[&str], types: &[&str], from: usize, rows: usize) -> String {
        let head = format!("INSERT INTO {table} ({})", columns.join(", "));
        match self {
            Dialect::Embedded => {
                let row = format!("({})", vec!["?"; columns.len()].join(","));
                format!("{head} VALUES {}", vec![row.as_str(); rows].join(","))
            }
            Dialect::Server => {
                let arrays: Vec<String> =
                    types.iter().enumerate().map(|(n, kind)| format!("${}::{kind}[]", n + from)).collect();
                format!("{head} SELECT * FROM UNNEST({})", arrays.join(", "))
            }
        }
    }

    /// Several statements that write to different tables as one, where the database can: then it is asked only once.
    pub fn together(statements: &[String]) -> String {
        match statements.split_last() {
            None => String::new(),
            Some((last, [])) => last.clone(),
            Some((last, before)) => {
                let named = before.iter().enumerate().map(|(n, text)| format!("w{n} AS ({text})"));
                format!("WITH {} {last}", named.collect::<Vec<_>>().join(", "))
            }
        }
    }

    /// Begins a transaction that will write.
    pub fn begin(self) -> &'static str {
        match self {
            Dialect::Embedded => "BEGIN IMMEDIATE",
            Dialect::Server => "BEGIN",
        }
    }

    /// How long a writer waits for a lock, where the connection's options do not say it: five seconds on both.
    pub fn patience(self) -> Option<&'static str> {
        match self {
            Dialect::Embedded => None,
            Dialect::Server => Some("SET lock_timeout = '5s'"),
        }
    }

    /// Tells the other servers that a site's ledger grew, where the database can.
    pub fn notice(self) -> Option<&'static str> {
        match self {
            Dialect::Embedded => None,
            Dialect::Server => Some("SELECT pg_notify($1, $2)"),
        }
    }

    /// Begins a transaction whose reads all see one moment.
    pub fn snapshot(self) -> &'static str {
        match self {
            Dialect::Embedded => "BEGIN",
            Dialect::Server => "BEGIN ISOLATION LEVEL REPEATABLE READ",
        }
    }

    /// Locks the row that a query selects, where the database needs it: SQLite has one writer already.
    pub fn locking(self) -> &'static str {
        match self {
            Dialect::Embedded => "",
            Dialect::Server => " FOR UPDATE",
        }
    }

    /// Makes the entries of the ledger refuse change and removal.
    pub fn append_only(self, table: &str) -> Vec<String> {
        match self {
            Dialect::Embedded => ["UPDATE", "DELETE"]
                .into_iter()
                .map(|verb| {
                    format!(
                        "CREATE TRIGGER {table}_no_{} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, \
                         'the ledger is append-only'); END",
                        verb.to_lowercase()
                    )
                })
                .collect(),
            Dialect::Server => vec![
                format!(
                    "CREATE OR REPLACE FUNCTION {table}_append_only() RETURNS trigger LANGUAGE plpgsql AS \
                     $$ BEGIN RAISE EXCEPTION 'the ledger is append-only'; END $$"
                ),
                format!(
                    "CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW \
                     EXECUTE FUNCTION {table}_append_only()"
                ),
                format!(
                    "CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} FOR EACH STATEMENT \
                     EXECUTE FUNCTION {table}_append_only()"
                ),
            ],
        }
    }

    /// Held while migrating, so that two processes starting at once do not both do it. On SQLite the transaction's
    /// own write lock does.
    pub fn migration_lock(self) -> Option<&'static str> {
        match self {
            Dialect::Embedded => None,
            Dialect::Server => Some("SELECT pg_advisory_xact_lock(7305846121)"),
        }
    }

    /// Whether a table of that name exists: one row with one number.
    pub fn has_table(self) -> &'static str {
        match self {
            Dialect::Embedded => "SELECT COUNT(*) FROM sqlite_master WHERE type = 'table' AND name = $1",
            Dialect::Server => {
                "SELECT COUNT(*) FROM information_schema.tables WHERE table_schema = current_schema() \
                 AND table_name = $1"
            }
        }
    }

    pub fn version(self) -> &'static str {
        match self {
            Dialect::Embedded => "SELECT sqlite_version()",
            Dialect::Server => "SELECT current_setting('server_version_num')",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_definition_speaks_each_databases_types() {
        let text = "CREATE TABLE t (a TEXT NOT NULL, n BIGINT, b BYTES, PRIMARY KEY (a))";
        assert_eq!(
            Dialect::Embedded.definition(text),
            "CREATE TABLE t (a TEXT NOT NULL, n INTEGER, b BLOB, PRIMARY KEY (a)) STRICT"
        );
        assert_eq!(
            Dialect::Server.definition(text),
            "CREATE TABLE t (a TEXT COLLATE \"C\" NOT NULL, n BIGINT, b BYTEA, PRIMARY KEY (a))"
        );
    }
}
