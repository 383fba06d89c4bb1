//! The loop, once round, on both databases.

use super::served::{BOTH, Served};

#[tokio::test(flavor = "multi_thread")]
async fn a_set_goes_from_soiled_to_released() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let set = served.set("SET-1").await;
        assert_eq!(set["status"], "ready", "{kind:?} {set}");
        for (asset, cycles) in [("B-1", 1), ("C-1", 1), ("T-1", 1)] {
            let told = served.asset(asset).await;
            assert_eq!(
                (told["stage"].as_str(), told["cycles"].as_u64()),
                (Some("ready"), Some(cycles)),
                "{told}"
            );
        }
        served.round("SET-1").await;
        let told = served.asset("T-1").await;
        assert_eq!((told["turn"].as_u64(), told["cycles"].as_u64()), (Some(2), Some(2)), "{told}");
        served.sound().await;
        served.stop().await;
    }
}
