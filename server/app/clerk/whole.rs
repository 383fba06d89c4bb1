//! Many commands as one: one transaction, and one refusal lets none of them be.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::{Clerk, Hand, Line};
use crate::app::batch::{self, Done};
use crate::app::house::{Outcome, Unavailable};
use crate::domain::id::Id;
use crate::storage::{Conn, StorageError};

/// What became of commands that belong together.
pub enum Whole {
    Written(Vec<Done>),
    /// Nothing was written: each that was turned away, by its place.
    Refused(Vec<(usize, Outcome)>),
    UnknownSite,
    Unavailable(Unavailable),
}

impl Whole {
    /// Whether the ledger grew by it.
    pub(super) fn is_new(&self) -> bool {
        match self {
            Whole::Written(outcomes) => outcomes.iter().any(Done::is_new),
            Whole::Refused(_) | Whole::UnknownSite | Whole::Unavailable(_) => false,
        }
    }
}

impl Clerk {
    /// Decides and writes all of them, or none.
    pub(super) async fn whole(&mut self, site: &Id, lines: &[Line], decided: &Arc<AtomicUsize>) -> Whole {
        match self.write_whole(site, lines, decided).await {
            Ok(whole) => whole,
            Err(error) => {
                let operation = crate::app::house::operation();
                let error = crate::app::house::chain(&error);
                tracing::error!(operation, error, "nothing was written");
                Whole::Unavailable(Unavailable { operation })
            }
        }
    }

    async fn write_whole(
        &mut self,
        site: &Id,
        lines: &[Line],
        decided: &Arc<AtomicUsize>,
    ) -> Result<Whole, StorageError> {
        let mut conn = self.connection().await?;
        let written = self.whole_in_transaction(&mut conn, site, lines, decided).await;
        self.after(site, conn, written.as_ref().err()).await;
        written
    }

    async fn whole_in_transaction(
        &mut self,
        conn: &mut Conn,
        site: &Id,
        lines: &[Line],
        decided: &Arc<AtomicUsize>,
    ) -> Result<Whole, StorageError> {
        conn.begin().await?;
        let hand = self.hands.remove(site);
        let Some(mut hand) = batch::gather(conn, site, hand).await? else {
            conn.commit().await?;
            return Ok(Whole::UnknownSite);
        };
        // The maps share what does not change: this costs a few counters.
        let before =
            Hand { state: hand.state.clone(), frontier: hand.frontier.clone(), secret: hand.secret.clone() };
        match batch::decide_whole(conn, &mut hand, lines, &self.clock, decided).await? {
            Ok(outcomes) => {
                conn.commit().await?;
                self.hands.insert(site.clone(), hand);
                Ok(Whole::Written(outcomes))
            }
            Err(refused) => {
                conn.rollback().await?;
                decided.store(0, Ordering::Relaxed);
                self.hands.insert(site.clone(), before);
                Ok(Whole::Refused(refused))
            }
        }
    }
}
