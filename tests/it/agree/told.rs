//! Whatever changes what is told elsewhere of a part or a use changes its version too, so that whoever asks for changes finds it.

use std::collections::BTreeMap;

use fettle::domain::fhir::{Use, device, device_entry};
use fettle::domain::state::State;
use serde_json::{Value, json};

/// What is told, by kind and id, with the place in the ledger that its version names.
fn told(state: &State) -> BTreeMap<String, (Value, u64)> {
    let devices = state.assets.values().map(|asset| {
        let it = device(state, asset);
        (format!("Device {}", it.id), (json!(it), device_entry(state, asset)))
    });
    let uses =
        state.cases.values().flat_map(|case| Use::at(case)).map(|it| {
            (format!("use {}", it.id()), (json!([it.told(&state.site), it.part.since]), it.entry()))
        });
    devices.chain(uses).collect()
}

pub fn versions_follow(before: &State, after: &State) {
    let (was, all) = (told(before), told(after));
    for (name, (now, version)) in all {
        assert!(version <= after.seq, "{name} is of entry {version}, which is not there yet");
        match was.get(&name) {
            None => assert_eq!(version, after.seq, "{name} is new: {now}"),
            Some((told, old)) if *told != now => {
                assert_eq!(version, after.seq, "{name} was {told} ({old}) and is {now}")
            }
            Some((_, old)) => assert!(version >= *old, "{name} goes back from {old} to {version}"),
        }
    }
}
