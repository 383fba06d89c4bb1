//! The forms of what may be asked, as JSON Schema: derived from the types that read it, so that they cannot say anything
//! else. Here stand those of the few types that read themselves.

use serde_json::{Value, json};
use utoipa::openapi::schema::{
    AnyOfBuilder, ArrayBuilder, KnownFormat, Object, ObjectBuilder, Schema, SchemaFormat, Type,
};
use utoipa::openapi::{Ref, RefOr};
use utoipa::{PartialSchema, ToSchema};

use super::around::Key;
use super::display::DisplayAddress;
use super::id::Id;
use super::load::CycleNo;
use super::marking::LabelSize;
use super::site::Hour;
use super::text::{LONGEST_LINE, LONGEST_TEXT, Line, Quantity, Scan, Text};
use super::time::Time;
use crate::formats::form::Separator;

/// The form of a type, and the forms that it names.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    pub schema: Value,
    pub parts: Vec<(String, Value)>,
}

impl Form {
    pub fn of<T: ToSchema>() -> Form {
        let mut parts = Vec::new();
        T::schemas(&mut parts);
        let parts = parts.into_iter().map(|(name, schema)| (name, json!(schema))).collect();
        Form { schema: json!(T::schema()), parts }
    }
}

fn text(longest: usize, description: &str) -> ObjectBuilder {
    ObjectBuilder::new()
        .schema_type(Type::String)
        .min_length(Some(1))
        .max_length(Some(longest))
        .description(Some(description))
}

fn whole(object: impl Into<Object>) -> RefOr<Schema> {
    RefOr::T(Schema::Object(object.into()))
}

macro_rules! forms {
    ($($type:ident: $form:expr;)*) => {
        $(impl PartialSchema for $type {
            fn schema() -> RefOr<Schema> {
                $form
            }
        }
        impl ToSchema for $type {})*
    };
}

forms! {
    DisplayAddress: whole(text(60, "An address as 10.1.2.3, or a range as 10.1.2.0/28."));
    Id: whole(text(Id::LONGEST, "The name of a thing in its site, matched exactly, case and all.")
        .pattern(Some("^[A-Za-z0-9._-]{1,64}$")));
    Key: whole(text(64, "Any unique text: the same command under it again is done once."));
    Line: whole(text(LONGEST_LINE, "One line: a mark, a name, a place."));
    Text: whole(ObjectBuilder::new().schema_type(Type::String).max_length(Some(LONGEST_TEXT)).description(Some("Free text.")));
    Time: whole(ObjectBuilder::new()
        .schema_type(Type::String)
        .format(Some(SchemaFormat::KnownFormat(KnownFormat::DateTime)))
        .description(Some("A moment: RFC 3339 with an offset.")));
    Hour: whole(text(5, "An hour of the day.").pattern(Some("^[0-2][0-9]:[0-5][0-9]$")));
    LabelSize: whole(text(LONGEST_LINE, "Width and height of a label in millimetres, as 38 x 19."));
    Separator: whole(text(3, "One character that is no letter, digit or quotation mark, or the word tab."));
    Quantity: RefOr::T(Schema::AnyOf(AnyOfBuilder::new()
        .item(ObjectBuilder::new().schema_type(Type::String))
        .item(ObjectBuilder::new().schema_type(Type::Number))
        .description(Some("A decimal number, or the same as text."))
        .build()));
    CycleNo: RefOr::T(Schema::AnyOf(AnyOfBuilder::new()
        .item(text(LONGEST_LINE, "As the machine writes it."))
        .item(ObjectBuilder::new().schema_type(Type::Integer).minimum(Some(0)))
        .description(Some("The machine's own number of the cycle."))
        .build()));
    Scan: RefOr::T(Schema::AnyOf(AnyOfBuilder::new()
        .item(Ref::from_schema_name("Line"))
        .item(ArrayBuilder::new()
            .items(Ref::from_schema_name("Line"))
            .min_items(Some(1))
            .max_items(Some(Scan::MOST)))
        .description(Some("What was scanned, one or many: asset ids, marks or set codes."))
        .build()));
}
