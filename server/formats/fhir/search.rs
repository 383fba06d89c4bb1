//! Values of search parameters: lists by commas, tokens with a system before a stroke, and what a backslash keeps whole.

use super::{Coding, Identifier};

/// The values between the commas; a comma behind a backslash is part of its value.
pub fn any_of(text: &str) -> Vec<String> {
    let mut all = vec![String::new()];
    let mut letters = text.chars();
    while let Some(letter) = letters.next() {
        match (letter, all.last_mut()) {
            (',', _) => all.push(String::new()),
            ('\\', Some(last)) => {
                last.push('\\');
                last.extend(letters.next());
            }
            (letter, Some(last)) => last.push(letter),
            (_, None) => {}
        }
    }
    all
}

/// A value without the backslashes before what they keep.
pub fn plain(text: &str) -> String {
    let mut plain = String::new();
    let mut letters = text.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '\\' => plain.extend(letters.next()),
            letter => plain.push(letter),
        }
    }
    plain
}

/// A code or identifier, of any system, of this one, or of none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    pub system: Of,
    /// Nothing where any value of the system will do.
    pub value: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Of {
    Any,
    None,
    This(String),
}

impl Token {
    pub fn read(text: &str) -> Token {
        let mut kept = false;
        let stroke = text.char_indices().find(|(_, letter)| {
            let found = *letter == '|' && !kept;
            kept = *letter == '\\' && !kept;
            found
        });
        let (system, value) = match stroke.and_then(|(at, _)| text.split_at_checked(at)) {
            None => (Of::Any, text),
            Some(("", value)) => (Of::None, value),
            Some((system, value)) => (Of::This(plain(system)), value),
        };
        let value = if matches!(system, Of::Any) { value } else { value.strip_prefix('|').unwrap_or(value) };
        Token { system, value: Some(plain(value)).filter(|value| !value.is_empty()) }
    }

    /// Neither a system nor a value: it would name whatever has no system.
    pub fn is_empty(&self) -> bool {
        self.value.is_none() && !matches!(self.system, Of::This(_))
    }

    fn is(&self, system: Option<&str>, value: &str) -> bool {
        let of = match &self.system {
            Of::Any => true,
            Of::None => system.is_none(),
            Of::This(this) => system == Some(this.as_str()),
        };
        of && self.value.as_deref().is_none_or(|wanted| wanted == value)
    }

    pub fn names(&self, identifier: &Identifier) -> bool {
        self.is(identifier.system.as_deref(), &identifier.value)
    }

    pub fn codes(&self, coding: &Coding) -> bool {
        self.is(coding.system.as_deref(), &coding.code)
    }
}

/// Whether a text begins so, capitals or not.
pub fn begins(text: &str, with: &str) -> bool {
    text.to_lowercase().starts_with(&with.to_lowercase())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_and_tokens_are_read_as_the_standard_writes_them() {
        // FHIR R4, search, section 3.1.1.4.17: a backslash before a comma, a stroke or itself.
        assert_eq!(any_of("a,b"), ["a", "b"]);
        assert_eq!(any_of("a\\,b"), ["a\\,b"]);
        assert_eq!(plain("a\\,b\\\\"), "a,b\\");
        let token = |text: &str| Token::read(text);
        let this = |system: &str| Of::This(system.into());
        assert_eq!(token("x"), Token { system: Of::Any, value: Some("x".into()) });
        assert_eq!(token("s|x"), Token { system: this("s"), value: Some("x".into()) });
        assert_eq!(token("|x"), Token { system: Of::None, value: Some("x".into()) });
        assert_eq!(token("s|"), Token { system: this("s"), value: None });
        assert_eq!(token("a\\|b"), Token { system: Of::Any, value: Some("a|b".into()) });
        assert_eq!(token("s|a|b").value.as_deref(), Some("a|b"));
        let named = Identifier::own("s".into(), "x");
        for (text, names) in [("x", true), ("s|x", true), ("s|", true), ("|x", false), ("t|x", false)] {
            assert_eq!(token(text).names(&named), names, "{text}");
        }
        assert!(begins("Telescope", "tele") && !begins("Telescope", "scope"));
    }
}
