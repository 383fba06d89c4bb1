//! Hearing of what other servers write, where the database tells of it.

use sqlx::postgres::{PgListener, PgPoolOptions};

use super::connection::{Db, StorageError};

/// The channel on which a clerk tells that it added to a site's ledger.
pub const CHANNEL: &str = "fettle_ledger";

/// A connection of its own on which the database tells whose ledger grew.
pub struct Notices(PgListener);

impl Notices {
    /// Begins to listen; `None` where the database tells nobody.
    pub async fn listen(db: &Db) -> Result<Option<Notices>, StorageError> {
        let Some(options) = db.tells() else { return Ok(None) };
        // A pool of one, so that no reader waits for the connection that only listens.
        let own = PgPoolOptions::new().max_connections(1).max_lifetime(None).idle_timeout(None);
        let mut listener = PgListener::connect_with(&own.connect_with(options.clone()).await?).await?;
        listener.listen(CHANNEL).await?;
        Ok(Some(Notices(listener)))
    }

    /// The next site whose ledger grew; `None` where the connection was lost meanwhile and made anew, so that
    /// notices may be missing.
    pub async fn next(&mut self) -> Result<Option<String>, StorageError> {
        Ok(self.0.try_recv().await?.map(|told| told.payload().to_string()))
    }
}
