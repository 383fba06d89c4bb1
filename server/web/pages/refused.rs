use axum::response::{IntoResponse,Response};
use super::super::form::Fields; use super::super::visitor::Visitor;
pub fn malformed(_v:&Visitor,_b:&str,_f:&Fields,_e:&[crate::domain::command::Malformed])->Response{"m".into_response()}
pub fn refused(_v:&Visitor,_b:&str,_f:&Fields,_e:&crate::domain::Refusal)->Response{"r".into_response()}
