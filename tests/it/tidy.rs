//! The layout's invariants are absences, so this reads the sources and complains of what must not be there.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::{env, fs};

mod floors;
mod shape;
mod source;

use source::Source;

fn root() -> PathBuf {
    env::var_os("CARGO_MANIFEST_DIR").expect("cargo names the package's folder").into()
}

/// All files below a folder, named from the package's root.
fn files(folder: &str) -> Vec<String> {
    let mut found = vec![];
    let mut waiting = vec![folder.to_string()];
    while let Some(folder) = waiting.pop() {
        let Ok(entries) = fs::read_dir(root().join(&folder)) else {
            continue;
        };
        for entry in entries {
            let entry = entry.unwrap();
            let name = entry.file_name().into_string().unwrap();
            let path = if folder == "." { name } else { format!("{folder}/{name}") };
            if entry.file_type().unwrap().is_dir() { waiting.push(path) } else { found.push(path) }
        }
    }
    found.sort();
    found
}

fn sources(folder: &str) -> BTreeMap<String, Source> {
    let rust = files(folder).into_iter().filter(|path| path.ends_with(".rs"));
    let read = |path: String| {
        let raw = fs::read_to_string(root().join(&path)).unwrap();
        (path.clone(), Source::new(&path, &raw))
    };
    rust.map(read).collect()
}

/// The files that belong to the project: what git tracks or would track, or all where there is no git.
fn project_files() -> Vec<String> {
    let arguments = ["ls-files", "-z", "--cached", "--others", "--exclude-standard"];
    let listed = Command::new("git").args(arguments).current_dir(root()).output();
    match listed.ok().filter(|listed| listed.status.success()) {
        Some(listed) => {
            let names = String::from_utf8(listed.stdout).unwrap();
            names.split('\0').filter(|name| !name.is_empty()).map(String::from).collect()
        }
        None => {
            let built = |path: &String| path.starts_with("target/") || path.starts_with(".git/");
            files(".").into_iter().filter(|path| !built(path)).collect()
        }
    }
}

fn hold(complaints: Vec<String>) {
    assert!(complaints.is_empty(), "\n{}\n", complaints.join("\n"));
}

fn hold_each(sources: &BTreeMap<String, Source>, rule: fn(&Source) -> Vec<String>) {
    hold(sources.values().flat_map(rule).collect());
}

/// A rule that reads nothing holds always, so the reading itself is held to something.
#[test]
fn the_sources_are_read() {
    let server = sources("server");
    assert!(server.contains_key("server/lib.rs") && server.contains_key("server/main.rs"));
    for floor in floors::FLOORS.iter().filter(|floor| **floor != "main") {
        assert!(server.keys().any(|path| path.starts_with(&format!("server/{floor}/"))), "{floor} is empty");
    }
    assert!(
        server
            .values()
            .all(|source| floors::floor(source) == "lib" || floors::FLOORS.contains(&floors::floor(source)))
    );
    assert!(sources("tests/it").contains_key("tests/it/tidy/source.rs"));
    assert!(project_files().iter().any(|path| path == "Cargo.toml"));
}

#[test]
fn imports_point_downwards() {
    hold_each(&sources("server"), floors::upward_imports);
}

#[test]
fn each_floor_keeps_to_its_words() {
    hold_each(&sources("server"), floors::foreign_words);
    hold_each(&sources("server"), floors::stray_sql);
    hold_each(&sources("server"), floors::stray_branches);
}

#[test]
fn lengths_are_bounded() {
    for folder in ["server", "tests/it"] {
        hold_each(&sources(folder), shape::long_file);
        hold_each(&sources(folder), shape::long_functions);
    }
}

#[test]
fn nothing_is_put_off() {
    hold_each(&sources("server"), shape::put_off);
    hold_each(&sources("tests/it"), shape::put_off);
}

#[test]
fn nothing_panics_outside_tests() {
    let mut server = sources("server");
    let tests = shape::reachable(&server, "server/lib.rs");
    server.retain(|path, _| tests.get(path) != Some(&true));
    hold_each(&server, shape::panics);
}

#[test]
fn no_file_is_dead() {
    hold(shape::dead_files(&sources("server"), &["server/lib.rs", "server/main.rs"]));
    hold(shape::dead_files(&sources("tests/it"), &["tests/it/main.rs"]));
}

#[test]
fn templates_live_by_a_page() {
    let read = |path: String| {
        let name = path.trim_start_matches("templates/").to_string();
        (name, fs::read_to_string(root().join(path)).unwrap())
    };
    let templates = files("templates").into_iter().map(read).collect();
    hold(shape::dead_templates(&templates, &sources("server")));
    hold_each(&sources("server"), shape::misnamed_page);
}

#[test]
fn no_file_names_a_folder_outside_the_project() {
    let read = |path: String| fs::read_to_string(root().join(Path::new(&path))).ok().map(|text| (path, text));
    let texts = project_files().into_iter().filter_map(read);
    hold(texts.flat_map(|(path, text)| shape::private_paths(&path, &text)).collect());
}
