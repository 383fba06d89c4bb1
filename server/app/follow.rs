//! Following a site's ledger: what another server writes is seen here by its notice, and else by looking.

use std::sync::{Arc, Weak};
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::MissedTickBehavior;

use super::house::{House, Unavailable, chain};
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::storage::notices::Notices;

/// How often is looked where no notice came: SQLite gives none, and a connection may be lost.
const LOOK: Duration = Duration::from_secs(2);

impl House {
    /// The site's facts, and every newer state from now on, whoever writes it; states that follow quickly are told as
    /// one. `None` where there is no such site.
    pub async fn follow(
        self: &Arc<House>,
        site: &Id,
    ) -> Result<Option<watch::Receiver<Arc<State>>>, Unavailable> {
        if self.state(site).await?.is_none() {
            return Ok(None);
        }
        if let Ok(mut following) = self.following.lock()
            && following.as_ref().is_none_or(tokio::task::JoinHandle::is_finished)
        {
            *following = Some(tokio::spawn(run(Arc::downgrade(self))));
        }
        Ok(self.published.lock().ok().and_then(|published| published.get(site).map(watch::Sender::subscribe)))
    }

    pub(super) fn stop_following(&self) {
        if let Ok(mut following) = self.following.lock()
            && let Some(task) = following.take()
        {
            task.abort();
        }
    }

    /// The sites that somebody follows, of all or of one.
    fn followed(&self, only: Option<&str>) -> Vec<Id> {
        let Ok(published) = self.published.lock() else { return Vec::new() };
        let wanted = |site: &Id| only.is_none_or(|only| only == site.as_str());
        let is_followed =
            |(site, sender): &(&Id, &watch::Sender<Arc<State>>)| sender.receiver_count() > 0 && wanted(site);
        published.iter().filter(is_followed).map(|(site, _)| site.clone()).collect()
    }

    /// To look at a site is to see what was written: its clerk catches up and tells whoever follows.
    async fn look_at(&self, only: Option<&str>) {
        for site in self.followed(only) {
            // Where the database does not answer, the log has it, and the next look tries again.
            let _ = self.state(&site).await;
        }
    }
}

/// Looks for as long as the house stands.
async fn run(house: Weak<House>) {
    let mut look = tokio::time::interval(LOOK);
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut notices: Option<Notices> = None;
    loop {
        let told = tokio::select! {
            told = next(&mut notices) => Some(told),
            _ = look.tick() => None,
        };
        let Some(house) = house.upgrade() else { return };
        match told {
            Some(Some(site)) => house.look_at(Some(&site)).await,
            // A lost connection may have lost notices.
            Some(None) => house.look_at(None).await,
            None => {
                if notices.is_none() {
                    notices = listen(&house).await;
                }
                house.look_at(None).await;
            }
        }
    }
}

async fn listen(house: &House) -> Option<Notices> {
    match Notices::listen(&house.db).await {
        Ok(notices) => notices,
        Err(error) => {
            tracing::debug!(error = %chain(&error), "nobody tells of other servers; looking every few seconds");
            None
        }
    }
}

/// The next site of which the database tells; `None` where some may have been lost. Without notices it waits for ever.
async fn next(notices: &mut Option<Notices>) -> Option<String> {
    let Some(open) = notices else { return std::future::pending().await };
    match open.next().await {
        Ok(told) => told,
        Err(error) => {
            tracing::debug!(error = %chain(&error), "notices are lost; looking every few seconds");
            *notices = None;
            None
        }
    }
}
