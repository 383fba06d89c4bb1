//! A short way of writing the shape of an answer, and what it says as JSON Schema.
//!
//! `{name:text seen?:time by:text? parts:[id] load:#Load ..}`: the name of a field with a question mark may be left out; a type with one may be
//! null; `[…]` is a list, `#…` one of the named shapes, `=a|b` one of these words, `#A|#B` either of the two, and `..` says that there may be more
//! fields.

use serde_json::{Map, Value, json};

/// The JSON Schema of a shape. What it does not understand stands in it as `x-not-understood`, which a test looks for.
pub fn schema(shape: &str) -> Value {
    let mut reader = Reader { rest: shape.trim() };
    let found = reader.type_of();
    match reader.rest.trim().is_empty() {
        true => found,
        false => json!({"x-not-understood": reader.rest}),
    }
}

struct Reader<'a> {
    rest: &'a str,
}

impl<'a> Reader<'a> {
    fn takes(&mut self, text: &str) -> bool {
        self.rest = self.rest.trim_start();
        let rest = self.rest.strip_prefix(text);
        self.rest = rest.unwrap_or(self.rest);
        rest.is_some()
    }

    fn until(&mut self, ends: impl Fn(char) -> bool) -> &'a str {
        let at = self.rest.find(ends).unwrap_or(self.rest.len());
        let (word, rest) = self.rest.split_at(at);
        self.rest = rest;
        word
    }

    fn type_of(&mut self) -> Value {
        let first = self.one_type();
        let mut all = vec![first];
        while let Some(rest) = self.rest.strip_prefix('|') {
            self.rest = rest;
            all.push(self.one_type());
        }
        if all.len() > 1 { json!({"anyOf": all}) } else { all.swap_remove(0) }
    }

    fn one_type(&mut self) -> Value {
        let found = if self.takes("{") {
            self.object()
        } else if self.takes("[") {
            let items = self.type_of();
            match self.takes("]") {
                true => json!({"type": "array", "items": items}),
                false => json!({"x-not-understood": self.rest}),
            }
        } else if self.takes("#") {
            let name = self.word();
            json!({"$ref": format!("#/components/schemas/{name}")})
        } else if self.takes("=") {
            let words: Vec<&str> =
                self.until(|c| c.is_whitespace() || "?]}".contains(c)).split('|').collect();
            json!({"type": "string", "enum": words})
        } else {
            plain(self.word())
        };
        match self.rest.strip_prefix('?') {
            None => found,
            Some(rest) => {
                self.rest = rest;
                json!({"anyOf": [found, {"type": "null"}]})
            }
        }
    }

    fn word(&mut self) -> &'a str {
        self.until(|c| !(c.is_alphanumeric() || c == '_' || c == '-'))
    }

    fn object(&mut self) -> Value {
        let (mut properties, mut required, mut more) = (Map::new(), Vec::new(), false);
        while !self.takes("}") {
            if self.takes("..") {
                more = true;
                continue;
            }
            let name = self.word();
            let may_lack = self.takes("?");
            if name.is_empty() || !self.takes(":") {
                return json!({"x-not-understood": self.rest});
            }
            properties.insert(name.to_owned(), self.type_of());
            if !may_lack {
                required.push(name);
            }
        }
        let mut object = json!({"type": "object", "properties": properties});
        if !required.is_empty() {
            object["required"] = required.into();
        }
        if !more {
            object["additionalProperties"] = false.into();
        }
        object
    }
}

fn plain(word: &str) -> Value {
    match word {
        "text" => json!({"type": "string"}),
        "id" => json!({"$ref": "#/components/schemas/Id"}),
        "time" => json!({"type": "string", "format": "date-time"}),
        "date" => json!({"type": "string", "format": "date"}),
        "int" => json!({"type": "integer"}),
        "num" => json!({"type": "number"}),
        "bool" => json!({"type": "boolean"}),
        "map" => json!({"type": "object"}),
        "any" => json!({}),
        other => json!({"x-not-understood": other}),
    }
}

/// Whether something in a schema was not understood.
pub fn is_unknown(schema: &Value) -> bool {
    match schema {
        Value::Object(fields) => fields.contains_key("x-not-understood") || fields.values().any(is_unknown),
        Value::Array(items) => items.iter().any(is_unknown),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shape_is_a_schema() {
        let found = schema("{name:text seen?:time by:id? parts:[int] how:=a|b}");
        assert_eq!(
            found,
            json!({"type": "object", "additionalProperties": false, "required": ["name", "by", "parts", "how"],
                   "properties": {"name": {"type": "string"}, "seen": {"type": "string", "format": "date-time"},
                   "by": {"anyOf": [{"$ref": "#/components/schemas/Id"}, {"type": "null"}]},
                   "parts": {"type": "array", "items": {"type": "integer"}},
                   "how": {"type": "string", "enum": ["a", "b"]}}})
        );
        assert_eq!(schema("{..}"), json!({"type": "object", "properties": {}}));
        let either = json!({"anyOf": [{"type": "integer"}, {"type": "array", "items": {"type": "boolean"}}]});
        assert_eq!(schema("int|[bool]"), either);
        assert_eq!(schema("#Load"), json!({"$ref": "#/components/schemas/Load"}));
        for wrong in ["", "{a}", "{a:}", "[int", "int int", "number", "{a:int"] {
            assert!(is_unknown(&schema(wrong)), "{wrong}");
        }
    }
}
