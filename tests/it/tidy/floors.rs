//! Who may name whom: imports point downwards, and each floor keeps to its own words.

use super::source::{Source, is_word};

/// From top to bottom. A floor may use itself and what stands below it.
pub const FLOORS: [&str; 9] =
    ["main", "cli", "web", "app", "storage", "domain", "ledger", "formats", "analysis"];

const PURE: &[&str] = &["domain", "ledger", "formats", "analysis"];
const ALL_BUT_STORAGE: &[&str] = &["main", "cli", "web", "app", "domain", "ledger", "formats", "analysis"];
const ALL_BELOW_WEB: &[&str] = &["app", "storage", "domain", "ledger", "formats", "analysis"];

/// Words that floors may not name, and why.
const FOREIGN: &[(&[&str], &[&str], &str)] = &[
    (ALL_BUT_STORAGE, &["sqlx"], "only storage speaks to a database"),
    (ALL_BELOW_WEB, &["axum", "http", "hyper", "tower", "tower_http", "askama"], "HTTP ends at web"),
    (PURE, &["async", ".await", "tokio"], "this floor is pure: it waits for nothing"),
    (
        PURE,
        &["SystemTime", "Instant::now", "Utc::now", "Local::now"],
        "this floor is pure: time is an argument",
    ),
    (PURE, &["rand", "getrandom"], "this floor is pure: randomness is an argument"),
];

/// The floor that a file stands on; `lib` for the list of floors itself.
pub fn floor(source: &Source) -> &str {
    let path = source.path.strip_prefix("server/").unwrap_or(&source.path);
    path.split('/').next().unwrap_or(path).trim_end_matches(".rs")
}

fn rank(floor: &str) -> Option<usize> {
    FLOORS.iter().position(|name| *name == floor)
}

/// Complains of each path from the crate's root that leads upwards or past the floors.
pub fn upward_imports(source: &Source) -> Vec<String> {
    let own = floor(source);
    let mut found = vec![];
    for (at, name) in root_paths(source) {
        let place = source.place(at);
        match (rank(own), rank(name)) {
            (None, _) => found.push(format!("{place}: {own} holds only the list of floors, not {name}")),
            (_, None) => {
                found.push(format!("{place}: {name} is no floor; name a thing by the floor it is on"))
            }
            (Some(from), Some(to)) if to < from => found.push(format!("{place}: {own} may not use {name}")),
            _ => {}
        }
    }
    found
}

/// What follows the crate's root in every path: after `crate::`, after `fettle::` in the binary, and after
/// as many `super::` as lead there.
fn root_paths(source: &Source) -> Vec<(usize, &str)> {
    let mut found = vec![];
    for (at, word) in source.words() {
        let after = &source.code[at + word.len()..];
        let is_root = match word {
            "crate" => true,
            "fettle" => floor(source) == "main",
            "super" => {
                !source.code[..at].ends_with("super::") && climb(&source.code[at..]) == depth(source, at)
            }
            _ => false,
        };
        let after = if word == "super" { after.trim_start_matches("::super") } else { after };
        let Some(path) = after.strip_prefix("::").filter(|_| is_root) else {
            continue;
        };
        found.extend(heads(path).into_iter().map(|name| (at, name)));
    }
    found
}

fn climb(path: &str) -> usize {
    1 + path["super".len()..].split("::").skip(1).take_while(|part| *part == "super").count()
}

/// How many modules stand around a place, the file's own among them.
fn depth(source: &Source, at: usize) -> usize {
    let parts = source.path.trim_start_matches("server/").trim_end_matches(".rs").split('/');
    let own = parts.filter(|part| !["mod", "lib", "main"].contains(part)).count();
    own + source.blocks_around(at).len()
}

/// The first names of a path, which may begin with a list in braces. A macro is no name of a floor's thing.
fn heads(path: &str) -> Vec<&str> {
    let Some(list) = path.strip_prefix('{') else {
        let end = path.find(|c| !is_word(c)).unwrap_or(path.len());
        let is_macro = path[end..].starts_with('!');
        return if is_macro { vec![] } else { vec![if end == 0 { "*" } else { &path[..end] }] };
    };
    let (mut nested, mut begin, mut found) = (0, 0, vec![]);
    for (i, c) in list.char_indices() {
        match c {
            '{' => nested += 1,
            '}' if nested > 0 => nested -= 1,
            ',' | '}' if nested == 0 => {
                let name = list[begin..i].trim();
                found.extend((!name.is_empty()).then(|| heads(name)).into_iter().flatten());
                begin = i + 1;
                if c == '}' {
                    break;
                }
            }
            _ => {}
        }
    }
    found
}

/// Where a word or a run of words stands in `code` by itself, not as a part of a longer word.
pub fn occurrences<'a>(code: &'a str, word: &'a str) -> impl Iterator<Item = usize> + 'a {
    let opens_free = move |at: usize| !word.starts_with(is_word) || !code[..at].ends_with(is_word);
    let closes_free = move |end: usize| !word.ends_with(is_word) || !code[end..].starts_with(is_word);
    let all = code.match_indices(word).map(|(at, _)| at);
    all.filter(move |&at| opens_free(at) && closes_free(at + word.len()))
}

/// Complains of words that belong to another floor.
pub fn foreign_words(source: &Source) -> Vec<String> {
    let mut found = vec![];
    for (floors, words, why) in FOREIGN.iter().filter(|(floors, ..)| floors.contains(&floor(source))) {
        assert!(floors.iter().all(|floor| rank(floor).is_some()), "a rule names a floor that is not there");
        for word in *words {
            let places = occurrences(&source.code, word).map(|at| source.place(at));
            found.extend(places.map(|place| format!("{place}: {word}: {why}")));
        }
    }
    found
}

/// Complains of SQL outside storage, mostly inside strings.
pub fn stray_sql(source: &Source) -> Vec<String> {
    if !ALL_BUT_STORAGE.contains(&floor(source)) {
        return vec![];
    }
    let mut found = vec![];
    for word in ["SELECT", "INSERT", "UPDATE", "DELETE FROM"] {
        let follows = |at: &usize| source.text[at + word.len()..].starts_with(char::is_whitespace);
        let places = occurrences(&source.text, word).filter(follows).map(|at| source.place(at));
        found.extend(places.map(|place| format!("{place}: {word}: only storage holds SQL")));
    }
    found
}

/// Complains of a choice between the two databases outside the one file that holds it.
pub fn stray_branches(source: &Source) -> Vec<String> {
    if source.path == "server/storage/connection.rs" {
        return vec![];
    }
    let places = ["Sqlite(", "Postgres("].into_iter().flat_map(|word| occurrences(&source.code, word));
    places.map(|at| format!("{}: only connection.rs tells the databases apart", source.place(at))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each case: a file, its text, and the parts of the complaints it must draw, in order.
    fn check(rule: fn(&Source) -> Vec<String>, path: &str, raw: &str, expected: &[&str]) {
        let found = rule(&Source::new(path, raw));
        assert_eq!(found.len(), expected.len(), "{path}: {raw}: {found:?}");
        for (found, expected) in found.iter().zip(expected) {
            assert!(found.contains(expected), "{path}: {raw}: {found}");
        }
    }

    #[test]
    fn imports_point_downwards() {
        let check = |path, raw, expected| check(upward_imports, path, raw, expected);
        check("server/web/api/load.rs", "use crate::domain::load::Load; crate::app::x()", &[]);
        check(
            "server/domain/load.rs",
            "use crate::storage::Pool;",
            &["load.rs:1: domain may not use storage"],
        );
        check("server/app/load.rs", "\nfn a() { crate::web::x() }", &[":2: app may not use web"]);
        check(
            "server/app/load.rs",
            "use crate::{domain::{a, b}, web::c, storage};",
            &["app may not use web"],
        );
        check("server/app/load.rs", "use crate::{\n  cli,\n  domain,\n};", &["app may not use cli"]);
        check("server/ledger/hash.rs", "use crate::domain::Id;", &["ledger may not use domain"]);
        check("server/analysis/fit.rs", "use crate::formats::csv;", &["analysis may not use formats"]);
        check(
            "server/app/load.rs",
            "use crate::Thing; use crate::*;",
            &["Thing is no floor", "* is no floor"],
        );
        check("server/app/load.rs", "pub(crate) fn x() { crate::check!() } // crate::web", &[]);
        check("server/main.rs", "use fettle::cli;", &[]);
        check("server/lib.rs", "pub use crate::domain::Id;", &["lib holds only the list"]);
    }

    #[test]
    fn climbing_out_of_a_floor_counts_as_well() {
        let check = |path, raw, expected| check(upward_imports, path, raw, expected);
        check("server/domain/load.rs", "use super::web; use super::ledger::X;", &[]);
        check("server/domain/load.rs", "use super::super::web;", &["domain may not use web"]);
        check("server/domain/mod.rs", "use super::{app::x, ledger};", &["domain may not use app"]);
        check("server/domain/load.rs", "mod tests { use super::super::web; }", &[]);
        check(
            "server/domain/load.rs",
            "mod tests { use super::super::super::web; }",
            &["domain may not use web"],
        );
    }

    #[test]
    fn each_floor_keeps_to_its_words() {
        let check = |path, raw, expected| check(foreign_words, path, raw, expected);
        check("server/app/load.rs", "use sqlx::Row;", &["only storage speaks"]);
        check("server/storage/load.rs", "use sqlx::Row; async fn a() { b().await }", &[]);
        check("server/storage/load.rs", "use axum::Json;", &["HTTP ends at web"]);
        check("server/web/load.rs", "use axum::Json; use http::Uri;", &[]);
        check("server/domain/load.rs", "async fn a() {}\nfn b() { c.await }", &["async", ".await"]);
        check("server/domain/time.rs", "Instant::now(); chrono::Utc::now()", &["Instant::now", "Utc::now"]);
        check(
            "server/domain/time.rs",
            "/// Utc::now\nfn a(now: DateTime<Utc>, operand: &str) -> \"rand\"",
            &[],
        );
        check("server/analysis/fit.rs", "use rand::Rng;", &["randomness is an argument"]);
        check("server/formats/csv.rs", "let system = \"http://a\"; let x = http;", &["HTTP ends"]);
    }

    #[test]
    fn sql_and_the_choice_of_database_stay_in_storage() {
        let web = "let a = \"SELECT x\"; // DELETE FROM y\nlet b = \"INSERT\\n\"; let c = \"UPDATE\n x\";";
        check(stray_sql, "server/web/load.rs", web, &["1: SELECT", "2: UPDATE"]);
        check(stray_sql, "server/web/load.rs", "\"DELETE FROM x\"; \"RESELECT x\"", &["DELETE FROM"]);
        check(stray_sql, "server/storage/load.rs", web, &[]);
        let choice = "match pool { Pool::Sqlite(a) => a, Pool::Postgres(b) => b }";
        check(stray_branches, "server/storage/load.rs", choice, &["connection.rs", "connection.rs"]);
        check(stray_branches, "server/storage/connection.rs", choice, &[]);
        check(stray_branches, "server/storage/load.rs", "type A = SqlitePool; fn is_Sqlite() {}", &[]);
    }
}
