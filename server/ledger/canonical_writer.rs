//! Writes any form as canonical JSON in one pass. An object's members are written as they come; only where they did not
//! come in the canonical order are their texts put in order afterwards.

use std::borrow::Cow;
use std::fmt::{self, Display};

use serde::ser::{self, Serialize, Serializer};

use super::canonical::{CanonicalError, write_double, write_escaped, write_integer};

/// One member of an object, as places in the text: its name with quotes, then a colon and its value.
#[derive(Clone, Copy)]
struct Member {
    start: usize,
    name_end: usize,
    end: usize,
}

#[derive(Default)]
pub struct Writer {
    out: String,
    /// The members of the objects that are open, the innermost last.
    members: Vec<Member>,
    /// Room for putting members in order.
    room: String,
}

impl Writer {
    pub fn into_text(self) -> String {
        self.out
    }

    fn string(&mut self, text: &str) {
        self.out.push('"');
        write_escaped(text, &mut self.out);
        self.out.push('"');
    }

    fn part(&self, from: usize, to: usize) -> &str {
        self.out.get(from..to).unwrap_or_default()
    }

    fn name(&self, member: &Member) -> Cow<'_, str> {
        let quoted = self.part(member.start, member.name_end);
        if quoted.contains('\\') {
            // It was escaped a moment ago, so it reads back.
            serde_json::from_str::<String>(quoted).map(Cow::Owned).unwrap_or_default()
        } else {
            Cow::Borrowed(quoted.trim_matches('"'))
        }
    }

    /// The order of UTF-16 code units differs from that of UTF-8 bytes where a name holds a character above
    /// U+FFFF: its surrogates sort before U+E000.
    fn order(&self, a: &Member, b: &Member) -> std::cmp::Ordering {
        let (a, b) = (self.name(a), self.name(b));
        if a.is_ascii() && b.is_ascii() { a.cmp(&b) } else { a.encode_utf16().cmp(b.encode_utf16()) }
    }

    fn begin(&mut self) -> usize {
        self.out.push('{');
        self.members.len()
    }

    fn begin_member(&mut self, base: usize) -> usize {
        if self.members.len() > base {
            self.out.push(',');
        }
        self.out.len()
    }

    fn value<T: Serialize + ?Sized>(&mut self, start: usize, value: &T) -> Result<(), CanonicalError> {
        let name_end = self.out.len();
        if !self.part(start, name_end).starts_with('"') {
            return Err(CanonicalError::NoJson("an object's name that is no text".into()));
        }
        self.out.push(':');
        value.serialize(&mut *self)?;
        self.members.push(Member { start, name_end, end: self.out.len() });
        Ok(())
    }

    /// Closes an object: its members from `base` on stand in the canonical order then.
    fn end(&mut self, base: usize) {
        let newest = self.members.get(base..).unwrap_or_default();
        if !newest.is_sorted_by(|a, b| self.order(a, b).is_lt()) {
            let mut members = newest.to_vec();
            let from = members.first().map_or(self.out.len(), |first| first.start);
            members.sort_by(|a, b| self.order(a, b));
            let mut room = std::mem::take(&mut self.room);
            room.clear();
            for (n, member) in members.iter().enumerate() {
                if n > 0 {
                    room.push(',');
                }
                room.push_str(self.part(member.start, member.end));
            }
            self.out.truncate(from);
            self.out.push_str(&room);
            self.room = room;
        }
        self.members.truncate(base);
        self.out.push('}');
    }
}

impl ser::Error for CanonicalError {
    fn custom<T: Display>(text: T) -> CanonicalError {
        CanonicalError::NoJson(text.to_string())
    }
}

/// An array or object under way; of an object with the place of its members and of the member begun.
pub struct Open<'a> {
    writer: &'a mut Writer,
    base: usize,
    member: usize,
    first: bool,
    /// What closes it beside itself: the object around a variant with content.
    around: &'static str,
}

/// Escapes what is written to it.
struct Escaping<'a>(&'a mut String);

impl fmt::Write for Escaping<'_> {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        write_escaped(text, self.0);
        Ok(())
    }
}

macro_rules! integers {
    ($($name:ident $kind:ty => |$it:ident| $negative:expr, $magnitude:expr;)*) => {
        $(fn $name(self, $it: $kind) -> Result<(), CanonicalError> {
            write_integer($negative, $magnitude, &mut self.out)
        })*
    };
}

impl<'a> Serializer for &'a mut Writer {
    type Ok = ();
    type Error = CanonicalError;
    type SerializeSeq = Open<'a>;
    type SerializeTuple = Open<'a>;
    type SerializeTupleStruct = Open<'a>;
    type SerializeTupleVariant = Open<'a>;
    type SerializeMap = Open<'a>;
    type SerializeStruct = Open<'a>;
    type SerializeStructVariant = Open<'a>;

    integers! {
        serialize_i8 i8 => |it| it < 0, it.unsigned_abs().into();
        serialize_i16 i16 => |it| it < 0, it.unsigned_abs().into();
        serialize_i32 i32 => |it| it < 0, it.unsigned_abs().into();
        serialize_i64 i64 => |it| it < 0, it.unsigned_abs();
        serialize_u8 u8 => |it| false, it.into();
        serialize_u16 u16 => |it| false, it.into();
        serialize_u32 u32 => |it| false, it.into();
        serialize_u64 u64 => |it| false, it;
    }

    fn serialize_bool(self, it: bool) -> Result<(), CanonicalError> {
        self.out.push_str(if it { "true" } else { "false" });
        Ok(())
    }
    fn serialize_f32(self, it: f32) -> Result<(), CanonicalError> {
        write_double(it.into(), &mut self.out)
    }
    fn serialize_f64(self, it: f64) -> Result<(), CanonicalError> {
        write_double(it, &mut self.out)
    }
    fn serialize_char(self, it: char) -> Result<(), CanonicalError> {
        self.string(it.encode_utf8(&mut [0; 4]));
        Ok(())
    }
    fn serialize_str(self, it: &str) -> Result<(), CanonicalError> {
        self.string(it);
        Ok(())
    }
    fn serialize_bytes(self, it: &[u8]) -> Result<(), CanonicalError> {
        it.serialize(self)
    }
    fn serialize_none(self) -> Result<(), CanonicalError> {
        self.serialize_unit()
    }
    fn serialize_some<T: Serialize + ?Sized>(self, it: &T) -> Result<(), CanonicalError> {
        it.serialize(self)
    }
    fn serialize_unit(self) -> Result<(), CanonicalError> {
        self.out.push_str("null");
        Ok(())
    }
    fn serialize_unit_struct(self, _: &'static str) -> Result<(), CanonicalError> {
        self.serialize_unit()
    }
    fn serialize_unit_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
    ) -> Result<(), CanonicalError> {
        self.serialize_str(variant)
    }
    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        it: &T,
    ) -> Result<(), CanonicalError> {
        it.serialize(self)
    }
    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        it: &T,
    ) -> Result<(), CanonicalError> {
        self.out.push('{');
        self.string(variant);
        self.out.push(':');
        it.serialize(&mut *self)?;
        self.out.push('}');
        Ok(())
    }
    fn serialize_seq(self, _: Option<usize>) -> Result<Open<'a>, CanonicalError> {
        self.out.push('[');
        Ok(Open { writer: self, base: 0, member: 0, first: true, around: "" })
    }
    fn serialize_tuple(self, size: usize) -> Result<Open<'a>, CanonicalError> {
        self.serialize_seq(Some(size))
    }
    fn serialize_tuple_struct(self, _: &'static str, size: usize) -> Result<Open<'a>, CanonicalError> {
        self.serialize_seq(Some(size))
    }
    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Open<'a>, CanonicalError> {
        self.out.push('{');
        self.string(variant);
        self.out.push_str(":[");
        Ok(Open { writer: self, base: 0, member: 0, first: true, around: "}" })
    }
    fn serialize_map(self, _: Option<usize>) -> Result<Open<'a>, CanonicalError> {
        let base = self.begin();
        Ok(Open { writer: self, base, member: 0, first: true, around: "" })
    }
    fn serialize_struct(self, _: &'static str, size: usize) -> Result<Open<'a>, CanonicalError> {
        self.serialize_map(Some(size))
    }
    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Open<'a>, CanonicalError> {
        self.out.push('{');
        self.string(variant);
        self.out.push(':');
        let base = self.begin();
        Ok(Open { writer: self, base, member: 0, first: true, around: "}" })
    }
    fn collect_str<T: Display + ?Sized>(self, it: &T) -> Result<(), CanonicalError> {
        use fmt::Write;
        self.out.push('"');
        write!(Escaping(&mut self.out), "{it}").map_err(ser::Error::custom)?;
        self.out.push('"');
        Ok(())
    }
}

impl Open<'_> {
    fn item<T: Serialize + ?Sized>(&mut self, it: &T) -> Result<(), CanonicalError> {
        if !std::mem::take(&mut self.first) {
            self.writer.out.push(',');
        }
        it.serialize(&mut *self.writer)
    }

    fn field<T: Serialize + ?Sized>(&mut self, name: &'static str, it: &T) -> Result<(), CanonicalError> {
        let start = self.writer.begin_member(self.base);
        self.writer.string(name);
        self.writer.value(start, it)
    }

    fn close_array(self) -> Result<(), CanonicalError> {
        self.writer.out.push(']');
        self.writer.out.push_str(self.around);
        Ok(())
    }

    fn close_object(self) -> Result<(), CanonicalError> {
        self.writer.end(self.base);
        self.writer.out.push_str(self.around);
        Ok(())
    }
}

macro_rules! parts {
    ($($trait:ident $method:ident ($($name:ident: $kind:ty)?) => $own:ident, $close:ident;)*) => {
        $(impl ser::$trait for Open<'_> {
            type Ok = ();
            type Error = CanonicalError;
            fn $method<T: Serialize + ?Sized>(&mut self, $($name: $kind,)? it: &T) -> Result<(), CanonicalError> {
                self.$own($($name,)? it)
            }
            fn end(self) -> Result<(), CanonicalError> {
                self.$close()
            }
        })*
    };
}

parts! {
    SerializeSeq serialize_element() => item, close_array;
    SerializeTuple serialize_element() => item, close_array;
    SerializeTupleStruct serialize_field() => item, close_array;
    SerializeTupleVariant serialize_field() => item, close_array;
    SerializeStruct serialize_field(name: &'static str) => field, close_object;
    SerializeStructVariant serialize_field(name: &'static str) => field, close_object;
}

impl ser::SerializeMap for Open<'_> {
    type Ok = ();
    type Error = CanonicalError;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, name: &T) -> Result<(), CanonicalError> {
        self.member = self.writer.begin_member(self.base);
        name.serialize(&mut *self.writer)
    }
    fn serialize_value<T: Serialize + ?Sized>(&mut self, it: &T) -> Result<(), CanonicalError> {
        self.writer.value(self.member, it)
    }
    fn end(self) -> Result<(), CanonicalError> {
        self.close_object()
    }
}
