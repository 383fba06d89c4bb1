//! The two rows of a part: what it is and where it belongs, which seldom changes, and where it stands in its turn, which
//! every act on its set changes. A small second row is what a scan of twelve parts writes twelve times.

use serde::{Deserialize, Serialize};

use super::connection::{Arg, StorageError};
use super::facts::{Rows, json};
use crate::domain::asset::Owner;
use crate::domain::id::Id;
use crate::domain::inspect_next::AskedFor;
use crate::domain::migration::SatIn;
use crate::domain::model::Dimensions;
use crate::domain::set::Seat;
use crate::domain::state::{Asset, Changes, HeldBy, InspectedAt, PackOf, RetiredAs, Stage, State};
use crate::domain::text::Line;
use crate::domain::time::{Date, Time};

/// What a part is, where it belongs and what keeps it.
#[derive(Serialize, Deserialize)]
pub struct Fixed {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    mark: Option<Line>,
    model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    serial: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    acquired: Option<Date>,
    prior_cycles: u32,
    prior_uses: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    cost_cents: Option<u64>,
    owner: Owner,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    seat: Option<Seat>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    location: Option<Line>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    holds: Vec<HeldBy>,
    in_repair: bool,
    missing: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    retired: Option<RetiredAs>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    measured: Option<Box<Dimensions>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    asked: Option<Box<AskedFor>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    supplier: Option<Line>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    sat_in: Vec<SatIn>,
    added_at: Time,
}

/// Where a part stands in its turn, as an array without names, times in microseconds: turn and its beginning, route and
/// its version, next step, stage, pack and its packaging, load it is in, load that made it ready, last sterile day, when it is cool,
/// cycles, uses, last inspection, and the last event, the last act, the last entry and the end of its use together.
type Turned = (
    u32,
    i64,
    Id,
    u32,
    u32,
    Stage,
    (Option<PackOf>, Option<Line>),
    Option<Id>,
    Option<Id>,
    Option<Date>,
    Option<i64>,
    u32,
    u32,
    Option<(i64, u32, u64)>,
    (i64, i64, u64, Option<i64>),
);

fn fixed(it: &Asset) -> Fixed {
    Fixed {
        mark: it.mark.clone(),
        model: it.model.clone(),
        serial: it.serial.clone(),
        lot: it.lot.clone(),
        acquired: it.acquired,
        prior_cycles: it.prior_cycles,
        prior_uses: it.prior_uses,
        cost_cents: it.cost_cents,
        owner: it.owner,
        seat: it.seat.clone(),
        location: it.location.clone(),
        holds: it.holds.clone(),
        in_repair: it.in_repair,
        missing: it.missing,
        retired: it.retired.clone(),
        measured: it.measured.clone(),
        asked: it.asked.clone(),
        supplier: it.supplier.clone(),
        sat_in: it.sat_in.clone(),
        added_at: it.added_at,
    }
}

fn turned(it: &Asset) -> impl Serialize {
    (
        it.turn,
        it.turn_began_at.0,
        &it.route,
        it.route_version,
        it.next,
        it.stage,
        (&it.pack, &it.packaging),
        &it.in_load,
        &it.load,
        it.sterile_until,
        it.cool_at.map(|at| at.0),
        it.cycles,
        it.uses,
        it.inspected.as_ref().map(|it| (it.at.0, it.cycles, it.entry)),
        (it.last_at.0, it.act_at.0, it.last_entry, it.soiled_since.map(|at| at.0)),
    )
}

/// The rows of parts of which more changed than their turn.
pub fn fixed_rows(state: &State, changes: &Changes) -> Result<Rows, StorageError> {
    let assets = changes.assets.iter().filter_map(|id| state.assets.get(id));
    let row = |asset: &std::sync::Arc<Asset>| -> Result<Vec<Arg>, StorageError> {
        Ok(vec![
            state.site.as_str().into(),
            asset.asset.as_str().into(),
            asset.mark.as_ref().map(|mark| mark.0.clone()).into(),
            asset.model.as_str().into(),
            asset.seat.as_ref().map(|seat| seat.set.to_string()).into(),
            json(&fixed(asset))?,
        ])
    };
    assets.map(row).collect()
}

/// The rows of parts that moved in their turn.
pub fn turned_rows(state: &State, changes: &Changes) -> Result<Rows, StorageError> {
    let assets = changes.turned.iter().filter_map(|id| state.assets.get(id));
    let row = |asset: &std::sync::Arc<Asset>| -> Result<Vec<Arg>, StorageError> {
        Ok(vec![state.site.as_str().into(), asset.asset.as_str().into(), json(&turned(asset))?])
    };
    assets.map(row).collect()
}

/// A part from its two rows.
pub fn whole(asset: Id, fixed: Fixed, facts: &str) -> Result<Asset, serde_json::Error> {
    let turned: Turned = serde_json::from_str(facts)?;
    let (turn, began, route, route_version, next, stage, ..) = turned;
    let (.., (pack, packaging), in_load, load, sterile_until, cool_at, cycles, uses, inspected, last) =
        turned;
    let (last_at, act_at, last_entry, soiled_since) = last;
    Ok(Asset {
        asset,
        mark: fixed.mark,
        model: fixed.model,
        serial: fixed.serial,
        lot: fixed.lot,
        acquired: fixed.acquired,
        prior_cycles: fixed.prior_cycles,
        prior_uses: fixed.prior_uses,
        cost_cents: fixed.cost_cents,
        owner: fixed.owner,
        seat: fixed.seat,
        location: fixed.location,
        turn,
        turn_began_at: Time(began),
        route,
        route_version,
        next,
        stage,
        pack,
        packaging,
        in_load,
        load,
        sterile_until,
        cool_at: cool_at.map(Time),
        cycles,
        uses,
        holds: fixed.holds,
        in_repair: fixed.in_repair,
        missing: fixed.missing,
        retired: fixed.retired,
        measured: fixed.measured,
        asked: fixed.asked,
        supplier: fixed.supplier,
        inspected: inspected.map(|(at, cycles, entry)| InspectedAt { at: Time(at), cycles, entry }),
        added_at: fixed.added_at,
        last_at: Time(last_at),
        last_entry,
        act_at: Time(act_at),
        soiled_since: soiled_since.map(Time),
        sat_in: fixed.sat_in,
    })
}
