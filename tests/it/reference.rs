//! The API's document: every route and command stands in it, it is a valid OpenAPI 3.1 document by somebody else's judgement,
//! its forms take what the program takes, and its examples work.

mod demo;

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command as Program;

use fettle::domain::command::{Act, Command};
use fettle::web::api::reference::{
    EXAMPLES, OPERATIONS, PARAMETERS, SHAPES, SITE, document, examples, is_unknown, operation_of,
};
use fettle::web::router::{ROUTES, Route};
use jsonschema::Validator;
use serde_json::{Value, json};

use super::simulate::{Run, plan};

/// A validator of a schema that stands in the document.
fn validator(schema: &Value) -> Validator {
    let mut whole = schema.clone();
    whole["components"] = document()["components"].clone();
    jsonschema::validator_for(&whole).expect("a schema")
}

#[track_caller]
fn fits(validator: &Validator, value: &Value, what: &str) {
    let wrong: Vec<String> =
        validator.iter_errors(value).map(|it| format!("{}: {it}", it.instance_path())).collect();
    let wrong: Vec<String> = wrong.into_iter().map(|it| it.chars().take(600).collect()).collect();
    assert!(wrong.is_empty(), "{what}: {}", wrong.join("\n"));
}

fn of_command(name: &str) -> Validator {
    validator(&json!({"$ref": format!("#/components/schemas/{name}")}))
}

#[test]
fn every_route_and_command_stands_in_the_document() {
    let ours = |route: &&Route| route.path.starts_with("/api/");
    for route in ROUTES.iter().filter(ours) {
        let stands = document()["paths"][route.path][route.method].is_object();
        let (method, path) = (route.method, route.path.strip_prefix(SITE).unwrap_or(route.path));
        assert!(
            stands,
            "no operation for {method} {path}: add a line to OPERATIONS in server/web/api/reference/operations.rs"
        );
    }
    for it in OPERATIONS {
        let route = ROUTES.iter().find(|route| {
            ours(route)
                && operation_of(route).is_some_and(|own| (own.method, own.path) == (it.method, it.path))
        });
        assert!(
            route.is_some(),
            "no route for {} {}: take its line out of OPERATIONS in server/web/api/reference/operations.rs",
            it.method,
            it.path
        );
    }
    let listed = EXAMPLES.lines().count();
    assert_eq!(examples().count(), listed, "a line of server/web/api/reference/commands.txt does not read");
    for name in Act::NAMES {
        assert!(
            examples().any(|it| it.command["do"] == *name),
            "no example of {name}: add a line to server/web/api/reference/commands.txt, where the demo accepts it"
        );
        assert!(document()["components"]["schemas"][name]["properties"]["do"]["const"] == *name);
    }
    let ids: Vec<&str> = operations().map(|(.., it)| it["operationId"].as_str().unwrap()).collect();
    let once: BTreeSet<&&str> = ids.iter().collect();
    assert_eq!(ids.len(), once.len(), "an operation's id stands twice");
}

fn operations() -> impl Iterator<Item = (&'static str, &'static str, &'static Value)> {
    let paths = document()["paths"].as_object().unwrap();
    paths.iter().flat_map(|(path, methods)| {
        methods.as_object().unwrap().iter().map(move |(method, it)| (path.as_str(), method.as_str(), it))
    })
}

#[test]
fn what_the_document_names_is_there() {
    assert!(!is_unknown(document()), "a shape or a parameter's type does not read");
    for it in OPERATIONS {
        for name in it.query.split_whitespace().map(|name| name.trim_end_matches('!')) {
            assert!(
                PARAMETERS.iter().any(|(own, ..)| *own == name),
                "{name} of {}: add it to PARAMETERS",
                it.path
            );
        }
    }
    let text = document().to_string();
    let schemas = document()["components"]["schemas"].as_object().unwrap();
    for part in text.split("#/components/schemas/").skip(1) {
        let name = part.split('"').next().unwrap();
        assert!(schemas.contains_key(name), "{name} is named and nowhere");
    }
    // One name, one form: two types of one name would be taken for each other.
    let mut forms: BTreeMap<String, Value> = BTreeMap::new();
    for (_, _, form) in Act::forms() {
        for (name, schema) in form.parts {
            let before = forms.insert(name.clone(), schema.clone());
            assert!(before.is_none_or(|before| before == schema), "two types are called {name}");
        }
    }
    for (name, _) in SHAPES {
        assert!(!forms.contains_key(*name), "a type and a shape are called {name}");
        assert!(!Act::NAMES.contains(name), "a command and a shape are called {name}");
    }
}

#[test]
fn the_document_is_as_it_was() {
    insta::assert_json_snapshot!("openapi", document());
}

#[test]
fn somebody_elses_judge_takes_the_document() {
    let python = std::env::var("FETTLE_TEST_PYTHON")
        .expect("FETTLE_TEST_PYTHON names the test run's Python with tests/requirements.txt; use tests/run");
    let folder = tempfile::tempdir().unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/openapi.py");
    let judged = |document: &Value| -> Value {
        let file = folder.path().join("openapi.json");
        std::fs::write(&file, document.to_string()).unwrap();
        let output = Program::new(&python).arg(script).arg(&file).output().expect("Python");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    };
    assert_eq!(judged(document()), json!({"version": "3.1.0", "wrong": []}));
    let mut broken = document().clone();
    broken["info"]["title"] = json!(7);
    assert_ne!(judged(&broken)["wrong"], json!([]));
}

#[test]
fn a_commands_form_takes_what_the_program_takes() {
    let validators: BTreeMap<&str, Validator> =
        Act::NAMES.iter().map(|name| (*name, of_command(name))).collect();
    for example in examples() {
        let name = example.command["do"].as_str().unwrap();
        fits(&validators[name], &example.command, &example.command.to_string());
        assert!(Command::read(example.command.clone()).is_ok(), "{}", example.command);
        // What the reader refuses, the form refuses: a field that nobody knows, and one that lacks.
        let mut more = example.command.clone();
        more["colour"] = "red".into();
        assert!(!validators[name].is_valid(&more) && Command::read(more).is_err(), "{name} takes any field");
        for field in example.command.as_object().unwrap().keys() {
            let mut less = example.command.clone();
            less.as_object_mut().unwrap().remove(field);
            if !validators[name].is_valid(&less) {
                assert!(Command::read(less).is_err(), "{name} does not need {field}");
            }
        }
        let required = document()["components"]["schemas"][name]["required"].as_array().unwrap();
        for field in required.iter().filter_map(Value::as_str) {
            assert!(example.command.get(field).is_some(), "{name} needs {field}");
        }
    }
    // Months of everybody's work, with times, keys, late entries and overrides.
    let (mut run, mut given, mut names) = (Run::new(plan(5, 3, 40)), 0, BTreeSet::new());
    while let Some((it, _)) = run.step() {
        let command = it.command.to_value().unwrap();
        let name = it.command.act.name();
        fits(&validators[name], &command, &command.to_string());
        names.insert(name);
        given += 1;
    }
    assert!(given > 2_000 && names.len() > 20, "{given} commands, {} kinds", names.len());
}
