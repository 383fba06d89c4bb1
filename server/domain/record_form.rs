//! The record form of a machine: how its own files read.

use std::sync::Arc;

use serde::{Deserialize, Deserializer, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::machine::known;
use super::refusal::{Code, Problem};
use crate::formats::form::Form;

/// Says how the files of a machine read; no form takes it away, and only the plain one is read then.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DefineRecordForm {
    pub machine: Id,
    #[serde(deserialize_with = "given")]
    pub form: Option<Arc<Form>>,
}

/// A form, or null: what is left out is neither.
fn given<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Arc<Form>>, D::Error> {
    Option::<Form>::deserialize(from).map(|form| form.map(Arc::new))
}

/// Where a form at `pointer` cannot be meant.
pub fn check(form: &Form, pointer: &str) -> Result<(), Malformed> {
    form.check().map_err(|(at, detail)| wrong(format!("{pointer}{at}"), detail))
}

impl DefineRecordForm {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        self.form.as_ref().map_or(Ok(()), |form| check(form, "/form"))
    }
}

pub(super) fn define(deciding: &mut Deciding, it: &DefineRecordForm) -> Option<What> {
    deciding.touches(None);
    let machine = known(deciding, &it.machine)?;
    let zone = deciding.state.zone;
    let form = it.form.as_ref().map(|form| Arc::new(Form::clone(form).in_zone(zone)));
    if machine.form == form {
        let how = if form.is_some() { "has this very record form" } else { "has no record form" };
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} {how} already.", it.machine),
            "Another form is needed.",
            "Nothing needs to be done.",
        ));
    }
    Some(What::RecordFormDefined(DefineRecordForm { machine: it.machine.clone(), form }))
}
