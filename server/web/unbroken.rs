//! Names in headings and in lines of steps stay whole: a browser would break "SET-04" after its hyphen.

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
        && word.contains(|letter: char| letter.is_ascii_digit())
}

fn marked(text: &str, into: &mut String) {
    let mut rest = text;
    while !rest.is_empty() {
        let end = rest.find(|letter| !is_of_name(letter)).unwrap_or(rest.len());
        let (word, after) = rest.split_at(end);
        let name = word.trim_end_matches(['.', '-']);
        if is_name(name) {
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
}

/// Where names are marked: a heading of the first order, and a line of steps.
const PLACES: [(&str, &str); 2] = [("<h1>", "</h1>"), ("<ol class=\"track\">", "</ol>")];

/// The page with the names in its headings and its lines of steps marked as such.
pub fn names(page: &str) -> String {
    PLACES.iter().fold(page.to_string(), |page, (from, to)| within(&page, from, to))
}

fn within(page: &str, from: &str, to: &str) -> String {
    let mut done = String::with_capacity(page.len() + 64);
    let mut rest = page;
    while let Some((before, after)) = rest.split_once(from) {
        let Some((inner, after)) = after.split_once(to) else { break };
        done.push_str(before);
        done.push_str(from);
        for (n, piece) in inner.split('<').enumerate() {
            // Behind a tag's end its text goes on.
            let text = match (n, piece.split_once('>')) {
                (0, _) => piece,
                (_, Some((tag, text))) => {
                    done.push('<');
                    done.push_str(tag);
                    done.push('>');
                    text
                }
                (_, None) => {
                    done.push('<');
                    piece
                }
            };
            marked(text, &mut done);
        }
        done.push_str(to);
        rest = after;
    }
    done.push_str(rest);
    done
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_headings_stay_whole_and_nothing_else_changes() {
        let page = "<title>L-1</title><h1>The oldest is L-05293 in peroxide-1. <b>SET-04</b>: air-removal, &#60;x-1&#62; - 3</h1><p>L-2</p>";
        let expected = "<title>L-1</title><h1>The oldest is <bdi>L-05293</bdi> in <bdi>peroxide-1</bdi>. <b><bdi>SET-04</bdi></b>: air-removal, &#60;<bdi>x-1</bdi>&#62; - 3</h1><p>L-2</p>";
        assert_eq!(names(page), expected);
        let long = format!("<h1>{}-1</h1>", "a".repeat(30));
        assert_eq!(names(&long), long);
        let steps = "<ol class=\"track\"><li><span>into load L-7</span></li></ol>";
        assert!(names(steps).contains("<span>into load <bdi>L-7</bdi></span>"));
    }
}
