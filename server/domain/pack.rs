//! Packs that broke: wet, torn, dropped, past their date. What lay in them goes back before packing.

use super::broken::packs_of;
use super::deciding::Deciding;
use super::event::{Moved, Noted, What};
use super::fact::turn_at;
use super::refusal::Code;
use super::scan::{Mode, broken_pack_of};
use super::step::{PackBroken, PackBrokenDone};

pub(super) fn pack_broken(deciding: &mut Deciding, it: &PackBroken) -> Option<What> {
    let picked = deciding.pick(&it.scan, Mode::Fact);
    let state = deciding.state;
    let (mut parts, mut noted): (Vec<Moved>, Vec<Noted>) = (Vec::new(), Vec::new());
    for part in &picked {
        let asset = &part.asset;
        if !part.alone && (!asset.counts() || !asset.stage.in_pack()) {
            continue;
        }
        if asset.missing {
            deciding.against(super::asset::missing(deciding.state, asset));
            continue;
        }
        deciding.touches(Some(asset.last_at));
        if !asset.stage.in_pack()
            || asset.retired.is_some()
            || (deciding.late() && deciding.at() < asset.act_at)
        {
            if !deciding.late() {
                deciding.deviates(if asset.retired.is_some() { Code::Retired } else { Code::OutOfOrder });
            }
            noted.push(Noted { asset: asset.asset.clone(), turn: turn_at(deciding, asset) });
            continue;
        }
        let mates = broken_pack_of(state, asset);
        for broken in std::iter::once(asset).chain(&mates) {
            if parts.iter().any(|moved| moved.asset == broken.asset) {
                continue;
            }
            if !picked.iter().any(|other| other.asset.asset == broken.asset) {
                deciding.also_opened.push(broken.asset.clone());
            }
            parts.push(broken.back_before_packed(state));
        }
    }
    if parts.is_empty() && noted.is_empty() {
        // A fact may not be refused: the set was scanned although none of its packs is closed.
        deciding.deviates(Code::OutOfOrder);
        noted.extend(
            picked.iter().map(|part| Noted { asset: part.asset.asset.clone(), turn: part.asset.turn }),
        );
    }
    let packs = packs_of(state, &parts);
    Some(What::PackBroken(PackBrokenDone { why: it.why, parts, noted, packs }))
}
