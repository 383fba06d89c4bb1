//! A database of a test's own, for tests that check whole databases, kill their server or stop its database: no
//! neighbour is disturbed, and none disturbs.

use fettle::storage::{Conn, Db};
use tempfile::TempDir;

use super::served::{Kind, postgres};

/// A database that is gone when this is dropped.
pub struct Own {
    pub url: String,
    pub kind: Kind,
    /// The database's name on the server, or where the embedded one's file lies.
    name: Option<String>,
    pub folder: TempDir,
}

/// The test run's server under another database's name.
fn beside(name: &str) -> String {
    let url = postgres();
    let (server, _) = url.rsplit_once('/').expect("a database's name");
    format!("{server}/{name}")
}

async fn ask(text: &str) {
    let db = Db::open(&postgres()).await.expect("the test run's PostgreSQL");
    let mut conn = db.connect().await.expect("a connection");
    conn.execute(text, &[]).await.expect(text);
    drop(conn);
    db.close().await;
}

impl Own {
    pub async fn new(kind: Kind) -> Own {
        let folder = tempfile::tempdir().expect("a folder");
        match kind {
            Kind::Embedded => {
                let url = format!("sqlite:{}", folder.path().join("fettle.db").display());
                Own { url, kind, name: None, folder }
            }
            Kind::Server => {
                let name = super::served::fresh_site().replace('-', "_");
                ask(&format!("CREATE DATABASE {name}")).await;
                Own { url: beside(&name), kind, name: Some(name), folder }
            }
        }
    }

    /// A connection past the program.
    pub async fn connect(&self) -> Conn {
        let db = Db::open(&self.url).await.expect("a database");
        let conn = db.connect().await.expect("a connection");
        db.close().await;
        conn
    }
}

impl Drop for Own {
    fn drop(&mut self) {
        let Some(name) = self.name.take() else { return };
        // A drop cannot wait in the test's own runtime.
        let dropped = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
            runtime.expect("a runtime").block_on(ask(&format!("DROP DATABASE {name} WITH (FORCE)")));
        });
        if dropped.join().is_err() {
            eprintln!("a test's own database was left behind");
        }
    }
}
