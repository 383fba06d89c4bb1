//! Webhooks: alerts on their way to other programs. Each message is CloudEvents 1.0 in JSON, signed with the rule's secret,
//! and sent once for each try: nothing is followed, nothing of the answer's body is read.

pub mod reach;
mod send;

use std::sync::Arc;
use std::time::Duration;

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use tokio::task::JoinSet;

pub use reach::Reach;

use crate::app::alert_sending::{Heard, Taken};
use crate::app::house::House;
use crate::formats::fhir::base64;

/// So many tries are under way at once: one address that does not answer holds up no other.
const AT_ONCE: usize = 16;
/// How often is looked for what is due, where nobody rings.
const LOOK: Duration = Duration::from_secs(1);

/// The signature of a message: HMAC-SHA256 over its id, the second of its sending and its body, with points between them.
pub fn signature(secret: &[u8], id: &str, at_s: i64, body: &str) -> String {
    let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(secret) else {
        // HMAC takes a key of any length.
        return String::new();
    };
    mac.update(format!("{id}.{at_s}.{body}").as_bytes());
    format!("v1,{}", base64(&mac.finalize().into_bytes()))
}

/// Sends what is due until it is ended; what is under way then is due again after a minute.
pub async fn deliver(house: Arc<House>, reach: Arc<Reach>) {
    let mut running = JoinSet::new();
    loop {
        let free = AT_ONCE.saturating_sub(running.len());
        let taken = match u32::try_from(free) {
            Ok(free) if free > 0 => house.take_messages(free).await,
            _ => Ok(Vec::new()),
        };
        // A database that does not answer stands in the log, and the next look tries again.
        for it in taken.unwrap_or_default() {
            running.spawn(tried(house.clone(), reach.clone(), it));
        }
        tokio::select! {
            () = house.bell.rung() => {}
            () = tokio::time::sleep(LOOK) => {}
            Some(_) = running.join_next() => {}
        }
    }
}

async fn tried(house: Arc<House>, reach: Arc<Reach>, it: Taken) {
    let heard = send::send(&reach, &it, house.clock.now()).await;
    if let Heard::Failed(why) = &heard {
        tracing::warn!(site = %it.site, rule = it.delivery.rule, why, "an address did not take an alert");
    }
    // What cannot be kept now is tried again, under the same id.
    let _ = house.settle_message(&it, &heard).await;
}
