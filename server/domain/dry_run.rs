//! A sample file tried with a record form: what was read of it, and what a programme would say. Nothing comes of it.

use std::sync::Arc;

use super::command::Malformed;
use super::machine::MachineKind;
use super::model::Method;
use super::programme::Programme;
use super::record::{self, Given, Taken, Unreadable};
use super::verdict::{Judgement, judge_record};
use crate::formats::form::Form;

pub struct DryRun {
    pub taken: Result<Taken, Unreadable>,
    /// By the programme, where one with limits was named and the file could be read.
    pub judged: Option<Result<Judgement, Malformed>>,
}

/// Tries a file of a machine, as it would be read and judged.
pub fn dry_run(
    kind: MachineKind,
    form: Option<&Arc<Form>>,
    programme: Option<&Programme>,
    bytes: &[u8],
) -> DryRun {
    let by_steam = match programme {
        Some(programme) => programme.method == Method::Steam,
        None => kind == MachineKind::Steriliser,
    };
    let given = Given { bytes, form, ambient_kpa: None };
    let taken = record::take(&given, by_steam);
    let judged = taken.is_ok().then(|| programme.and_then(|it| judge_record(it, &given))).flatten();
    DryRun { taken, judged }
}
