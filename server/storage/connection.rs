//! The only place that knows there are two databases: an enum of two, and one way to run a text with arguments.

use std::str::FromStr;
use std::time::Duration;

use sqlx::postgres::{PgConnectOptions, PgPoolOptions, PgRow};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteRow, SqliteSynchronous,
};
use sqlx::{AssertSqlSafe, Connection, PgConnection, PgPool, Row as _, SqliteConnection, SqlitePool};

use super::dialect::Dialect;
use super::rows::Write;

/// How long a writer waits for another process's lock before it gives up.
const BUSY: Duration = Duration::from_secs(5);
/// How long a reader waits for a free connection.
const ACQUIRE: Duration = Duration::from_secs(5);

#[derive(Debug, thiserror::Error)]
pub enum StorageError {
    #[error("the database does not answer")]
    Database(#[from] sqlx::Error),
    #[error("{0}")]
    Unfit(String),
    #[error("a stored row is not as a release writes it: {0}")]
    Row(String),
}

impl StorageError {
    /// Whether the statement itself failed, not the connection under it.
    pub fn of_statement(&self) -> bool {
        match self {
            StorageError::Database(sqlx::Error::Database(error)) => {
                !meets_every_statement(&error.code().unwrap_or_default())
            }
            StorageError::Row(_) => true,
            _ => false,
        }
    }
}

/// Whether an error would meet every other statement too: locked, read-only, full, disk, corruption, no connection.
/// SQLite's code is a number whose low byte is the kind; PostgreSQL's is five characters, the class first.
fn meets_every_statement(code: &str) -> bool {
    match code.parse::<u32>() {
        Ok(number) if code.len() < 5 => matches!(number & 0xff, 5 | 6 | 8 | 10 | 11 | 13 | 14 | 26),
        _ => code == "55P03" || ["08", "53", "57", "58"].iter().any(|class| code.starts_with(class)),
    }
}

/// An argument of a statement.
#[derive(Clone, Debug, PartialEq)]
pub enum Arg {
    Text(String),
    OptText(Option<String>),
    Int(i64),
    Bytes(Vec<u8>),
}

impl From<&str> for Arg {
    fn from(text: &str) -> Arg {
        Arg::Text(text.into())
    }
}
impl From<String> for Arg {
    fn from(text: String) -> Arg {
        Arg::Text(text)
    }
}
impl From<Option<String>> for Arg {
    fn from(text: Option<String>) -> Arg {
        Arg::OptText(text)
    }
}
impl From<i64> for Arg {
    fn from(number: i64) -> Arg {
        Arg::Int(number)
    }
}
impl From<Vec<u8>> for Arg {
    fn from(bytes: Vec<u8>) -> Arg {
        Arg::Bytes(bytes)
    }
}

/// A row of an answer; columns are taken by place.
pub enum Row {
    Embedded(SqliteRow),
    Server(PgRow),
}

macro_rules! column {
    ($name:ident, $kind:ty) => {
        pub fn $name(&self, column: usize) -> Result<$kind, StorageError> {
            Ok(match self {
                Row::Embedded(row) => row.try_get(column)?,
                Row::Server(row) => row.try_get(column)?,
            })
        }
    };
}

impl Row {
    column!(text, String);
    column!(opt_text, Option<String>);
    column!(int, i64);
    column!(bytes, Vec<u8>);
}

/// A database: its readers, and where to open a writer.
#[derive(Clone)]
pub enum Db {
    Embedded { readers: SqlitePool, options: SqliteConnectOptions },
    Server { readers: PgPool, options: PgConnectOptions },
}

/// One connection of its own.
pub enum Conn {
    Embedded(SqliteConnection),
    Server(PgConnection),
}

/// Binds arguments of either database.
macro_rules! bound {
    ($text:expr, $args:expr) => {{
        let mut query = sqlx::query(AssertSqlSafe($text.to_string()));
        for arg in $args {
            query = match arg {
                Arg::Text(text) => query.bind(text.clone()),
                Arg::OptText(text) => query.bind(text.clone()),
                Arg::Int(number) => query.bind(*number),
                Arg::Bytes(bytes) => query.bind(bytes.clone()),
            };
        }
        query
    }};
}

/// One column of many rows, as PostgreSQL takes it.
enum Column {
    Text(Vec<Option<String>>),
    Int(Vec<i64>),
    Bytes(Vec<Vec<u8>>),
}

impl Column {
    /// An empty column for arguments of this kind, with its type.
    fn of(arg: &Arg, rows: usize) -> (Column, &'static str) {
        match arg {
            Arg::Text(_) | Arg::OptText(_) => (Column::Text(Vec::with_capacity(rows)), "TEXT"),
            Arg::Int(_) => (Column::Int(Vec::with_capacity(rows)), "BIGINT"),
            Arg::Bytes(_) => (Column::Bytes(Vec::with_capacity(rows)), "BYTEA"),
        }
    }

    fn push(&mut self, arg: Arg) -> Result<(), StorageError> {
        match (self, arg) {
            (Column::Text(all), Arg::Text(text)) => all.push(Some(text)),
            (Column::Text(all), Arg::OptText(text)) => all.push(text),
            (Column::Int(all), Arg::Int(number)) => all.push(number),
            (Column::Bytes(all), Arg::Bytes(bytes)) => all.push(bytes),
            _ => return Err(StorageError::Row("a column holds values of one type".into())),
        }
        Ok(())
    }
}

/// How many rows SQLite gets at once: few sizes, so that the cache of statements holds them all.
const SIZES: [usize; 9] = [256, 128, 64, 32, 16, 8, 4, 2, 1];

impl Db {
    /// Opens `sqlite:PATH` or `postgres://…`. A SQLite file is made where it is not there.
    pub async fn open(url: &str) -> Result<Db, StorageError> {
        if let Some(path) = url.strip_prefix("sqlite:") {
            let path = path.strip_prefix("//").unwrap_or(path);
            let options = SqliteConnectOptions::new()
                .filename(path)
                .create_if_missing(true)
                .journal_mode(SqliteJournalMode::Wal)
                .synchronous(SqliteSynchronous::Full)
                .foreign_keys(true)
                .busy_timeout(BUSY)
                // Pages that every batch changes go from the log into the file once in many batches, not in a few.
                .pragma("wal_autocheckpoint", "4000")
                .statement_cache_capacity(256)
                .row_buffer_size(1024);
            // The first connection makes the file and its journal mode; only then may several readers come.
            SqliteConnection::connect_with(&options).await?.close().await?;
            let readers = SqlitePoolOptions::new().max_connections(8).acquire_timeout(ACQUIRE);
            let readers = readers.connect_with(options.clone()).await?;
            // In a large ledger the rows that history is found by lie far apart: the writer keeps more of them at hand.
            let options = options.pragma("cache_size", "-32768");
            return Ok(Db::Embedded { readers, options });
        }
        if url.starts_with("postgres://") || url.starts_with("postgresql://") {
            let options = PgConnectOptions::from_str(url)?.application_name("fettle");
            let readers = PgPoolOptions::new().max_connections(16).acquire_timeout(ACQUIRE);
            let readers = readers.connect_with(options.clone()).await?;
            return Ok(Db::Server { readers, options });
        }
        Err(StorageError::Unfit("a database is named as sqlite:PATH or postgres://USER@HOST/NAME".into()))
    }

    pub fn dialect(&self) -> Dialect {
        match self {
            Db::Embedded { .. } => Dialect::Embedded,
            Db::Server { .. } => Dialect::Server,
        }
    }

    /// How to reach a database that tells its other clients of what is written.
    pub(super) fn tells(&self) -> Option<&PgConnectOptions> {
        match self {
            Db::Embedded { .. } => None,
            Db::Server { options, .. } => Some(options),
        }
    }

    /// A connection of its own, for one that writes or reads at length.
    pub async fn connect(&self) -> Result<Conn, StorageError> {
        Ok(match self {
            Db::Embedded { options, .. } => Conn::Embedded(SqliteConnection::connect_with(options).await?),
            Db::Server { options, .. } => Conn::Server(PgConnection::connect_with(options).await?),
        })
    }

    /// A connection of its own for a writer, which gives up on a lock that others hold for too long.
    pub async fn connect_to_write(&self) -> Result<Conn, StorageError> {
        let mut conn = self.connect().await?;
        if let Some(text) = conn.dialect().patience() {
            conn.execute(text, &[]).await?;
        }
        Ok(conn)
    }

    pub async fn fetch(&self, text: &str, args: &[Arg]) -> Result<Vec<Row>, StorageError> {
        Ok(match self {
            Db::Embedded { readers, .. } => {
                bound!(text, args).fetch_all(readers).await?.into_iter().map(Row::Embedded).collect()
            }
            Db::Server { readers, .. } => {
                bound!(text, args).fetch_all(readers).await?.into_iter().map(Row::Server).collect()
            }
        })
    }

    pub async fn one(&self, text: &str, args: &[Arg]) -> Result<Option<Row>, StorageError> {
        Ok(self.fetch(text, args).await?.into_iter().next())
    }

    /// Runs one statement that writes outside the ledger; says how many rows it changed.
    pub async fn execute(&self, text: &str, args: &[Arg]) -> Result<u64, StorageError> {
        Ok(match self {
            Db::Embedded { readers, .. } => bound!(text, args).execute(readers).await?.rows_affected(),
            Db::Server { readers, .. } => bound!(text, args).execute(readers).await?.rows_affected(),
        })
    }

    pub async fn close(&self) {
        match self {
            Db::Embedded { readers, .. } => readers.close().await,
            Db::Server { readers, .. } => readers.close().await,
        }
    }
}

impl Conn {
    pub fn dialect(&self) -> Dialect {
        match self {
            Conn::Embedded(_) => Dialect::Embedded,
            Conn::Server(_) => Dialect::Server,
        }
    }

    pub async fn execute(&mut self, text: &str, args: &[Arg]) -> Result<u64, StorageError> {
        Ok(match self {
            Conn::Embedded(conn) => bound!(text, args).execute(conn).await?.rows_affected(),
            Conn::Server(conn) => bound!(text, args).execute(conn).await?.rows_affected(),
        })
    }

    /// Writes rows to tables, each table once, many rows at once.
    pub async fn write(&mut self, mut writes: Vec<Write>) -> Result<(), StorageError> {
        writes.retain(|write| !write.rows.is_empty());
        match self {
            Conn::Embedded(conn) => {
                for write in writes {
                    write_embedded(conn, write).await?;
                }
                Ok(())
            }
            Conn::Server(conn) => write_server(conn, writes).await,
        }
    }

    pub async fn fetch(&mut self, text: &str, args: &[Arg]) -> Result<Vec<Row>, StorageError> {
        Ok(match self {
            Conn::Embedded(conn) => {
                bound!(text, args).fetch_all(conn).await?.into_iter().map(Row::Embedded).collect()
            }
            Conn::Server(conn) => {
                bound!(text, args).fetch_all(conn).await?.into_iter().map(Row::Server).collect()
            }
        })
    }

    pub async fn one(&mut self, text: &str, args: &[Arg]) -> Result<Option<Row>, StorageError> {
        Ok(self.fetch(text, args).await?.into_iter().next())
    }

    pub async fn begin(&mut self) -> Result<(), StorageError> {
        let text = self.dialect().begin();
        self.execute(text, &[]).await.map(|_| ())
    }

    pub async fn commit(&mut self) -> Result<(), StorageError> {
        self.execute("COMMIT", &[]).await.map(|_| ())
    }

    pub async fn rollback(&mut self) -> Result<(), StorageError> {
        self.execute("ROLLBACK", &[]).await.map(|_| ())
    }
}

async fn write_embedded(conn: &mut SqliteConnection, write: Write) -> Result<(), StorageError> {
    let names: Vec<&str> = write.table.columns().collect();
    let mut rows = write.rows;
    while let Some(size) = SIZES.into_iter().find(|size| *size <= rows.len()) {
        let text = Dialect::Embedded.insert(write.table.name, &names, &[], 1, size) + &write.then;
        let mut query = sqlx::query(AssertSqlSafe(text));
        for arg in rows.drain(..size).flatten() {
            query = match arg {
                Arg::Text(text) => query.bind(text),
                Arg::OptText(text) => query.bind(text),
                Arg::Int(number) => query.bind(number),
                Arg::Bytes(bytes) => query.bind(bytes),
            };
        }
        query.execute(&mut *conn).await?;
    }
    Ok(())
}

async fn write_server(conn: &mut PgConnection, writes: Vec<Write>) -> Result<(), StorageError> {
    let mut all: Vec<Column> = Vec::new();
    let mut texts = Vec::with_capacity(writes.len());
    for write in writes {
        let Some(first) = write.rows.first() else { continue };
        let names: Vec<&str> = write.table.columns().collect();
        let (mut columns, types): (Vec<Column>, Vec<&str>) =
            first.iter().map(|arg| Column::of(arg, write.rows.len())).unzip();
        for row in write.rows {
            for (column, arg) in columns.iter_mut().zip(row) {
                column.push(arg)?;
            }
        }
        texts.push(Dialect::Server.insert(write.table.name, &names, &types, all.len() + 1, 0) + &write.then);
        all.extend(columns);
    }
    if texts.is_empty() {
        return Ok(());
    }
    let mut query = sqlx::query(AssertSqlSafe(Dialect::together(&texts)));
    for column in all {
        query = match column {
            Column::Text(all) => query.bind(all),
            Column::Int(all) => query.bind(all),
            Column::Bytes(all) => query.bind(all),
        };
    }
    query.execute(conn).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes of the result-code page of SQLite's documentation and of appendix A of PostgreSQL's.
    #[test]
    fn what_meets_every_statement_is_told_from_what_one_statement_did() {
        for code in ["5", "13", "10", "778", "1034", "517", "8", "53100", "55P03", "57P01", "08006"] {
            assert!(meets_every_statement(code), "{code}");
        }
        for code in ["19", "2067", "1", "1811", "23505", "22021", "40001", "42P01", ""] {
            assert!(!meets_every_statement(code), "{code}");
        }
    }
}
