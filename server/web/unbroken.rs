//! Names in running text stay whole: a browser would break "SET-04" after its hyphen.

/// A longer name may break where it must: it would be wider than a phone.
const MOST: usize = 24;

fn is_of_name(letter: char) -> bool {
    letter.is_ascii_alphanumeric() || matches!(letter, '-' | '.')
}

/// A name of the house: letters and digits on both sides of a hyphen, with a digit somewhere.
fn is_name(word: &str) -> bool {
    let parts: Vec<&str> = word.split('-').collect();
    parts.len() > 1
        && word.len() <= MOST
        && parts.iter().all(|part| !part.is_empty())
        && word.chars().all(is_of_name)
        && word.contains(|letter: char| letter.is_ascii_digit())
}

/// The text with its names marked, and how many there were.
fn with_marks(text: &str) -> (String, usize) {
    let (mut into, mut found) = (String::with_capacity(text.len() + 16), 0);
    let mut rest = text;
    while !rest.is_empty() {
        let end = rest.find(|letter| !is_of_name(letter)).unwrap_or(rest.len());
        let (word, after) = rest.split_at(end);
        let name = word.trim_end_matches(['.', '-']);
        if is_name(name) {
            found += 1;
            into.push_str("<bdi>");
            into.push_str(name);
            into.push_str("</bdi>");
            into.push_str(word.get(name.len()..).unwrap_or_default());
        } else {
            into.push_str(word);
        }
        let next = after.find(is_of_name).unwrap_or(after.len());
        let (between, left) = after.split_at(next);
        into.push_str(between);
        rest = left;
    }
    (into, found)
}

/// A run of text stays one thing beside its neighbours, also where they stand in a row with gaps between them.
fn marked(text: &str, into: &mut String) {
    let whole = text.trim();
    let (inner, found) = with_marks(whole);
    if found == 0 {
        into.push_str(text);
        return;
    }
    let from = text.len() - text.trim_start().len();
    let (before, after) = (text.get(..from), text.get(from + whole.len()..));
    into.push_str(before.unwrap_or_default());
    match is_name(whole) {
        true => into.push_str(&inner),
        false => {
            into.push_str("<bdi class=\"run\">");
            into.push_str(&inner);
            into.push_str("</bdi>");
        }
    }
    into.push_str(after.unwrap_or_default());
}

/// Elements whose text is no prose: their content stays as it is, since a mark in it would be shown, sent or lost.
const BARE: [&str; 9] = ["head", "script", "style", "svg", "option", "textarea", "code", "bdi", "pre"];

/// The name of the element that a tag opens, where its content stays as it is.
fn bare(tag: &str) -> Option<&'static str> {
    let name = tag.split(|letter: char| !letter.is_ascii_alphanumeric()).next()?;
    BARE.into_iter().find(|bare| *bare == name)
}

/// The page with the names in its sentences marked as such.
pub fn names(page: &str) -> String {
    let mut done = String::with_capacity(page.len() + page.len() / 8);
    let mut rest = page;
    while let Some((text, after)) = rest.split_once('<') {
        marked(text, &mut done);
        done.push('<');
        let Some((tag, content)) = after.split_once('>') else {
            done.push_str(after);
            return done;
        };
        done.push_str(tag);
        done.push('>');
        rest = content;
        if let Some(name) = bare(tag) {
            let end = content.find(&format!("</{name}")).unwrap_or(content.len());
            let (inner, left) = content.split_at(end);
            done.push_str(inner);
            rest = left;
        }
    }
    marked(rest, &mut done);
    done
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_sentences_stay_whole_and_nothing_else_changes() {
        let page = "<head><title>L-1</title></head><h1>The oldest is L-05293 in peroxide-1. <b>SET-04</b>: air-removal, &#60;x-1&#62; - 3</h1><p class=\"a-1\">L-2</p>";
        let expected = "<head><title>L-1</title></head><h1><bdi class=\"run\">The oldest is <bdi>L-05293</bdi> in <bdi>peroxide-1</bdi>.</bdi> <b><bdi>SET-04</bdi></b><bdi class=\"run\">: air-removal, &#60;<bdi>x-1</bdi>&#62; - 3</bdi></h1><p class=\"a-1\"><bdi>L-2</bdi></p>";
        assert_eq!(names(page), expected);
        let long = format!("<h1>{}-1</h1>", "a".repeat(30));
        assert_eq!(names(&long), long);
        let steps = "<ol class=\"track\"><li><span>into load L-7</span></li></ol>";
        assert!(names(steps).contains("<bdi class=\"run\">into load <bdi>L-7</bdi></bdi></span>"));
    }

    #[test]
    fn what_is_drawn_chosen_or_typed_stays_as_it_is() {
        for page in [
            "<svg class=\"sign\"><title>T-1</title><text>T-1</text></svg>",
            "<select><option value=\"T-1\">T-1</option></select>",
            "<textarea rows=\"4\">T-1\nT-2</textarea>",
            "<code>a-1</code><bdi>B-1</bdi>",
            "<input value=\"T-1\">",
            "<p>no end <b",
        ] {
            assert_eq!(names(page), page);
        }
        assert_eq!(
            names("<button>Take back finding-0001</button>"),
            "<button><bdi class=\"run\">Take back <bdi>finding-0001</bdi></bdi></button>"
        );
        assert_eq!(names("<svg><path/></svg>T-1"), "<svg><path/></svg><bdi>T-1</bdi>");
    }
}
