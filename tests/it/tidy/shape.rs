//! Lengths, dead files, and what no file may hold.

use std::collections::{BTreeMap, BTreeSet};

use super::floors::occurrences;
use super::source::Source;

const FILE_LINES: usize = 400;
const FUNCTION_LINES: usize = 70;

pub fn long_file(source: &Source) -> Vec<String> {
    let lines = source.raw.lines().count();
    let long = lines > FILE_LINES;
    long.then(|| format!("{}: {lines} lines, {FILE_LINES} are allowed", source.path)).into_iter().collect()
}

pub fn long_functions(source: &Source) -> Vec<String> {
    let long = source.functions().into_iter().filter(|function| function.lines > FUNCTION_LINES);
    let say = |f: super::source::Function| {
        format!("{}:{}: {} has {} lines, {FUNCTION_LINES} are allowed", source.path, f.line, f.name, f.lines)
    };
    long.map(say).collect()
}

/// Complains of work put off, in comments too. The words are put together so that this file does not hold them.
pub fn put_off(source: &Source) -> Vec<String> {
    let mut found = vec![];
    for word in [concat!("TO", "DO"), concat!("FIX", "ME")] {
        let places = occurrences(&source.raw, word).map(|at| source.place(at));
        found.extend(places.map(|place| format!("{place}: {word}: do it or drop it")));
    }
    for word in ["todo!", "unimplemented!"] {
        let places = occurrences(&source.code, word).map(|at| source.place(at));
        found.extend(places.map(|place| format!("{place}: {word}: do it or drop it")));
    }
    found
}

/// Complains of what can bring the server down, outside tests.
pub fn panics(source: &Source) -> Vec<String> {
    let code = source.outside_tests();
    let mut found = vec![];
    for word in [".unwrap()", ".expect(", "panic!("] {
        let places = occurrences(&code, word).map(|at| source.place(at));
        found.extend(places.map(|place| format!("{place}: {word}: give the error back")));
    }
    found
}

/// The files that modules lead to from `root`, each with whether only tests see it.
pub fn reachable(sources: &BTreeMap<String, Source>, root: &str) -> BTreeMap<String, bool> {
    let mut found = BTreeMap::new();
    let mut waiting = vec![(root.to_string(), false)];
    while let Some((path, test)) = waiting.pop() {
        let Some(source) = sources.get(&path) else {
            continue;
        };
        let folder = children(&path);
        for declared in source.declared() {
            let stem = format!("{folder}{}", declared.names.join("/"));
            waiting.push((format!("{stem}.rs"), test || declared.test));
            waiting.push((format!("{stem}/mod.rs"), test || declared.test));
        }
        found.insert(path, test);
    }
    found
}

/// The folder in which the modules of a file lie, with its slash.
fn children(path: &str) -> String {
    let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
    match name {
        "main.rs" | "lib.rs" | "mod.rs" => format!("{folder}/"),
        _ => format!("{}/", path.trim_end_matches(".rs")),
    }
}

/// Complains of files that no module leads to, and of modules whose path is given, which nothing here follows.
pub fn dead_files(sources: &BTreeMap<String, Source>, roots: &[&str]) -> Vec<String> {
    let alive: BTreeSet<String> =
        roots.iter().flat_map(|root| reachable(sources, root).into_keys()).collect();
    let dead = sources.keys().filter(|path| !alive.contains(*path));
    let led = sources.values().filter(|source| source.code.contains("#[path"));
    let dead = dead.map(|path| format!("{path}: no module leads to this file"));
    dead.chain(led.map(|source| format!("{}: a module lies where its name says", source.path))).collect()
}

/// The templates that a file renders.
fn rendered(source: &Source) -> BTreeSet<&str> {
    let parts = source.text.split("path = \"").skip(1);
    parts.filter_map(|part| part.split('"').next()).collect()
}

/// Complains of templates that no code renders and no living template takes in.
pub fn dead_templates(
    templates: &BTreeMap<String, String>,
    sources: &BTreeMap<String, Source>,
) -> Vec<String> {
    let mut alive: BTreeSet<&str> = BTreeSet::new();
    let mut waiting: Vec<&str> = sources.values().flat_map(rendered).collect();
    while let Some(name) = waiting.pop() {
        let Some(text) = templates.get(name).filter(|_| alive.insert(name)) else {
            continue;
        };
        let tags = text.split("{%").skip(1).filter_map(|part| part.split("%}").next());
        waiting.extend(tags.flat_map(|tag| tag.split('"').skip(1).step_by(2)));
    }
    let dead = templates.keys().filter(|name| !alive.contains(name.as_str()));
    dead.map(|name| format!("templates/{name}: nothing renders it")).collect()
}

/// Complains of a page that renders templates, but none that is named as its noun.
pub fn misnamed_page(source: &Source) -> Vec<String> {
    let Some(noun) = source.path.strip_prefix("server/web/pages/").and_then(|name| name.strip_suffix(".rs"))
    else {
        return vec![];
    };
    let noun = noun.trim_end_matches("/mod").split('/').next().unwrap_or(noun);
    let names = rendered(source);
    let strange = noun != "mod" && !names.is_empty() && !names.iter().any(|name| name.starts_with(noun));
    strange.then(|| format!("{}: no template of it begins with {noun}", source.path)).into_iter().collect()
}

/// Complains of a path that means something on one machine only. `text` is any file's, `path` its own.
pub fn private_paths(path: &str, text: &str) -> Vec<String> {
    let beside = concat!("..", "/shared");
    let home = concat!("/wo", "rk/");
    let mut found = vec![];
    for (n, line) in text.lines().enumerate() {
        let is_part = |c: char| c.is_alphanumeric() || "_.-}".contains(c);
        let from_root = line.match_indices(home).any(|(at, _)| !line[..at].ends_with(is_part));
        if line.contains(beside) || from_root {
            found.push(format!("{path}:{}: names a folder outside the project", n + 1));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(rule: fn(&Source) -> Vec<String>, path: &str, raw: &str, expected: &[&str]) {
        let found = rule(&Source::new(path, raw));
        assert_eq!(found.len(), expected.len(), "{path}: {raw}: {found:?}");
        for (found, expected) in found.iter().zip(expected) {
            assert!(found.contains(expected), "{path}: {raw}: {found}");
        }
    }

    fn sources(files: &[(&str, &str)]) -> BTreeMap<String, Source> {
        files.iter().map(|(path, raw)| (path.to_string(), Source::new(path, raw))).collect()
    }

    #[test]
    fn lengths_are_bounded() {
        check(long_file, "a.rs", &"x\n".repeat(400), &[]);
        check(long_file, "a.rs", &"x\n".repeat(401), &["401 lines"]);
        let function = |lines: usize| format!("\nfn long() {{\n{}}}", "x\n".repeat(lines - 2));
        check(long_functions, "a.rs", &function(70), &[]);
        check(long_functions, "a.rs", &function(71), &["a.rs:2: long has 71 lines"]);
    }

    #[test]
    fn nothing_is_put_off() {
        let word = concat!("TO", "DO");
        check(put_off, "a.rs", &format!("// {word}: later\n"), &["a.rs:1"]);
        check(put_off, "a.rs", concat!("x\n/* FIX", "ME */"), &["a.rs:2"]);
        check(put_off, "a.rs", "todo!(); unimplemented!()", &["todo!", "unimplemented!"]);
        check(put_off, "a.rs", "let mastodon = \"todo!\";", &[]);
    }

    #[test]
    fn nothing_panics_outside_tests() {
        check(panics, "a.rs", "a.unwrap(); b.expect(c); panic!(d)", &[".unwrap()", ".expect(", "panic!("]);
        check(panics, "a.rs", "a.unwrap_or(b); // .unwrap()\n#[expect(unused)] fn expect() {}", &[]);
        check(panics, "a.rs", "#[cfg(test)] mod t { fn a() { b.unwrap() } }\nc.unwrap()", &["a.rs:2"]);
    }

    #[test]
    fn every_file_is_reached() {
        let roots = ["server/lib.rs", "server/main.rs"];
        let alive = [
            ("server/lib.rs", "pub mod a; mod c { mod d; }"),
            ("server/main.rs", "fn main() {}"),
            ("server/a/mod.rs", "mod b;"),
            ("server/a/b.rs", "#[cfg(test)] mod e;"),
            ("server/a/b/e.rs", ""),
            ("server/c/d.rs", ""),
        ];
        let tree = sources(&alive);
        assert!(dead_files(&tree, &roots).is_empty());
        let tests: Vec<_> = reachable(&tree, "server/lib.rs").into_iter().filter(|(_, test)| *test).collect();
        assert_eq!(tests, [("server/a/b/e.rs".into(), true)]);

        let dead =
            [&alive[..], &[("server/a/f.rs", ""), ("server/b.rs", "#[path = \"x.rs\"] mod g;")]].concat();
        let found = dead_files(&sources(&dead), &roots);
        let expected = ["server/a/f.rs: no module", "server/b.rs: no module", "server/b.rs: a module lies"];
        assert_eq!(found.len(), expected.len(), "{found:?}");
        assert!(found.iter().zip(expected).all(|(found, expected)| found.starts_with(expected)), "{found:?}");
    }

    #[test]
    fn templates_live_by_a_page() {
        let page = |path: &str, name: &str| {
            let raw = format!("#[template(path = \"{name}\")] struct Page;");
            Source::new(path, &raw)
        };
        let tree = BTreeMap::from([("p".to_string(), page("server/web/pages/load.rs", "load.html"))]);
        let texts =
            [("load.html", "{% extends \"base.html\" %}"), ("base.html", "{% import \"macros.html\" %}")];
        let texts = [&texts[..], &[("macros.html", "\"orphan.html\""), ("orphan.html", "")]].concat();
        let templates = texts.iter().map(|(name, text)| (name.to_string(), text.to_string())).collect();
        assert_eq!(dead_templates(&templates, &tree), ["templates/orphan.html: nothing renders it"]);

        let misnamed = |path, name| misnamed_page(&page(path, name)).len();
        assert_eq!(misnamed("server/web/pages/load.rs", "load_list.html"), 0);
        assert_eq!(misnamed("server/web/pages/load/list.rs", "load/list.html"), 0);
        assert_eq!(misnamed("server/web/pages/load.rs", "case.html"), 1);
        assert_eq!(misnamed("server/web/fragment.rs", "case.html"), 0);
    }

    #[test]
    fn private_paths_are_found() {
        let check = |text: &str, expected| assert_eq!(private_paths("a", text).len(), expected, "{text}");
        check(&["see ..", "/shared/x"].concat(), 1);
        check(&["a\n(/wo", "rk/main)\n'/wo", "rk/x'"].concat(), 2);
        check(&["frame/wo", "rk/x and shared/x"].concat(), 0);
    }
}
