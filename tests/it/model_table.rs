//! Pasted tables of models, read line by line: as people write them, and with the mistakes that they make.

use fettle::domain::model_table::{Checked, check};
use fettle::domain::person::Role;
use serde_json::{Value, json};

use super::served::{Kind, Served};
use super::sizes::{CHILDREN, empty, taken, tenths};

fn table(rows: impl Iterator<Item = String>, header: &str) -> String {
    std::iter::once(header.to_string()).chain(rows).collect::<Vec<_>>().join("\n")
}

/// The same tool wrote the chart's label as "ID" and its inner diameter as "OD", for nearly every size.
#[test]
fn the_wrongly_copied_chart_is_caught_line_by_line() {
    let state = empty();
    let header = "model\tfamily\tname\tID (mm)\tOD (mm)\tlength cm";
    let row = |(nominal, inner, _): (i64, i64, i64)| {
        format!(
            "b-{nominal}\tbronchoscope\tBarrel {}\t{}\t{}\t26",
            tenths(nominal),
            tenths(nominal),
            tenths(inner)
        )
    };
    let checked = check(&state, &table(CHILDREN.into_iter().map(row), header), Some("metal"));
    assert!(checked.faults.is_empty(), "{:?}", checked.faults);
    for (n, (_, inner, outer)) in CHILDREN.into_iter().enumerate() {
        let line = n as u64 + 2;
        let told = checked.doubts.iter().find(|it| it.line == line && it.column == "ID (mm)");
        let told = told.unwrap_or_else(|| panic!("line {line}: {:?}", checked.doubts));
        for number in [inner, outer] {
            let plain = tenths(number);
            let plain = plain.strip_suffix(".0").unwrap_or(&plain);
            assert!(told.needed.contains(plain), "{told:?}");
        }
    }
    // With its label beside it, each line says that too.
    let labelled = |row: (i64, i64, i64)| format!("{}\t{}", row_of(row), tenths(row.0));
    let checked = check(
        &state,
        &table(CHILDREN.into_iter().map(labelled), &format!("{header}\tnominal")),
        Some("metal"),
    );
    let label =
        |line: u64| checked.doubts.iter().any(|it| it.line == line && it.found.contains("the label itself"));
    assert!((2..=8).all(label), "{:?}", checked.doubts);
    // The chart as it should be, in the same form, is asked about nowhere.
    let right = |(nominal, inner, outer): (i64, i64, i64)| {
        format!("b-{nominal}\tbronchoscope\tBarrel\t{}\t{}\t26", tenths(inner), tenths(outer))
    };
    let checked = check(&state, &table(CHILDREN.into_iter().map(right), header), Some("metal"));
    assert_eq!((checked.faults, checked.doubts), (vec![], vec![]));
    assert!(
        checked.lines.iter().all(|line| line.model.dimensions.length_mm.is_some_and(|it| it.0 == 260.into()))
    );
}

fn row_of((nominal, inner, _): (i64, i64, i64)) -> String {
    format!("b-{nominal}\tbronchoscope\tBarrel\t{}\t{}\t26", tenths(nominal), tenths(inner))
}

fn faults(checked: &Checked) -> Vec<(u64, &str)> {
    checked.faults.iter().map(|it| (it.line, it.column.as_str())).collect()
}

#[test]
fn a_table_is_read_as_people_write_it() {
    let state = empty();
    let text = "\u{feff}Model;Family;Name;Route;Nominal;Inner Ø [mm];OD mm;Length (cm);Holes;Couplings;Single use;Max cycles\r\n\
                \r\n\
                b-1;Bronchoscope;Barrel;metal;3,5;5,0 mm;5.7;26;;head/ring-a;no;\r\n\
                c-1;caps;Cap;metal;-;;;;2,5 1,9;rim/seat-14 | lid/seat-2/proximal/10,5;yes;40\r\n\
                ;;;;\r\n\
                s-1;suction tube;Suction;;;;;390 mm;;;;\r\n";
    let checked = check(&state, text, Some("metal"));
    assert_eq!((faults(&checked), checked.lines.len()), (vec![], 3), "{:?}", checked.faults);
    let [barrel, cap, suction] = checked.lines.as_slice() else { panic!("three lines") };
    assert_eq!((barrel.line, cap.line, suction.line), (3, 4, 6));
    assert_eq!(barrel.command["dimensions"]["inner_diameter_mm"], "5");
    assert_eq!(barrel.command["dimensions"]["length_mm"], "260");
    assert_eq!(cap.command["dimensions"]["hole_diameters_mm"], json!(["2.5", "1.9"]));
    assert_eq!(
        cap.command["couplings"][1],
        json!({"end": "lid", "system": "seat-2", "port": "proximal", "bore_mm": "10.5"})
    );
    assert_eq!(
        (&cap.command["single_use"], &cap.command["limits"]["max_cycles"]),
        (&json!(true), &json!(40))
    );
    assert_eq!(
        (&suction.command["route"], &suction.command["dimensions"]["length_mm"]),
        (&json!("metal"), &json!("390"))
    );
    let lacks: Vec<_> = checked.doubts.iter().map(|it| (it.line, it.column.as_str())).collect();
    assert_eq!(lacks, [(6, "shaft_diameter_mm")]);
}

#[test]
fn every_fault_of_a_table_is_told_with_its_place() {
    let state = empty();
    let text = "model,family,name,route,inner mm,outer mm,length mm,view\n\
                b-1,bronchoscope,One,metal,5.7,5.0,260,\n\
                b-2,barrel,Two,metal,5.0,5.7,26 in,\n\
                b-1,bronchoscope,Again,metal,5,5.7,260,\n\
                b 4,bronchoscope,Four,metal,5,5.7,260,\n\
                b-5,bronchoscope,=1+1,metal,5,5.7,260,\n\
                b-6,bronchoscope,Six,nowhere,1.2.3,,260,\n\
                b-7,bronchoscope,Seven,nowhere,5,5.7,260,\n\
                b-8,bronchoscope,,metal,5,0,5,7,260,\n\
                ,bronchoscope,Nine,metal,5,5.7,0,\n";
    let checked = check(&state, text, None);
    let expected = [
        (2, "inner mm"),
        (3, "family"),
        (3, "length mm"),
        (4, "model"),
        (5, "model"),
        (6, "name"),
        (7, "inner mm"),
        (8, "route"),
        (9, ""),
        (10, "model"),
    ];
    let mut told = faults(&checked);
    told.sort();
    assert_eq!(told, expected, "{:#?}", checked.faults);
    assert!(
        checked.faults.iter().all(|it| !it.found.is_empty() && !it.needed.is_empty()),
        "{:#?}",
        checked.faults
    );
    for (header, needed) in [
        ("model,ID,name", "inner_diameter_mm for the inner diameter"),
        ("model,diameter mm", "shaft_diameter_mm"),
        ("model,inner inch", "mm or cm"),
        ("model,colour", "one of model, family"),
        ("model,outer,OD", "each column once"),
        ("name,family", "the code of each model"),
    ] {
        let checked = check(&state, &format!("{header}\nx,1,2\n"), None);
        assert!(checked.faults.iter().any(|it| it.needed.contains(needed)), "{header}: {:?}", checked.faults);
    }
    for (text, found) in [("", "nothing"), ("model,name", "a header alone"), ("model\nx\0", "U+0000")] {
        assert!(check(&state, text, None).faults[0].found.contains(found), "{text:?}");
    }
    let long = format!("model\n{}", (0..201).map(|n| format!("m-{n}\n")).collect::<String>());
    assert!(check(&state, &long, None).faults.iter().any(|it| it.needed.contains("at most 200")));
}

/// What a table leaves out of a model that is there stays as it is.
#[test]
fn a_table_changes_only_what_it_names() {
    let mut state = empty();
    let known = json!({"model": "b-1", "family": "bronchoscope", "name": "B", "route": "metal", "limits": {"max_cycles": 40},
        "dimensions": {"inner_diameter_mm": "5", "outer_diameter_mm": "5.7", "length_mm": "260"}});
    taken(&mut state, "model_defined", known);
    let checked = check(&state, "model,length cm\nb-1,30\n", None);
    let command = &checked.lines[0].command;
    assert_eq!(
        (&command["limits"]["max_cycles"], &command["dimensions"]["length_mm"]),
        (&json!(40), &json!("300"))
    );
    assert_eq!(checked.to_save().count(), 1);
    let same = check(&state, "model,length mm\nb-1,260.0\n", None);
    assert_eq!((same.lines.len(), same.to_save().count()), (1, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn programs_check_a_table_without_recording_it() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let ask = async |role: Role, body: Value| {
        let url = format!("{}/api/v1/{}/models/check", served.base, served.site);
        let answer = served
            .client
            .post(url)
            .bearer_auth(served.token(role))
            .json(&body)
            .send()
            .await
            .expect("an answer");
        (answer.status().as_u16(), answer.json::<Value>().await.expect("JSON"))
    };
    let table = "model,family,name,inner mm,outer mm,length mm\nb-1,bronchoscope,One,5,5.7,260\nb-2,bronchoscope,Two,5.7,5,260\n";
    let (status, body) = ask(Role::Biomed, json!({"table": table, "route": "metal"})).await;
    assert_eq!(
        (status, &body["may_save"], body["lines"].as_array().map(Vec::len)),
        (200, &json!(false), Some(2)),
        "{body}"
    );
    assert_eq!(
        (&body["errors"][0]["line"], &body["errors"][0]["column"]),
        (&json!(3), &json!("inner mm")),
        "{body}"
    );
    assert_eq!(ask(Role::Lead, json!({"table": table})).await.0, 403);
    assert_eq!(ask(Role::Admin, json!({"text": table})).await.0, 422);
    // What was checked can be given as it is.
    let (_, body) =
        ask(Role::Admin, json!({"table": table.replace("5.7,5,", "5,5.7,"), "route": "metal"})).await;
    assert_eq!(body["may_save"], json!(true), "{body}");
    let commands: Vec<Value> =
        body["lines"].as_array().expect("lines").iter().map(|it| it["command"].clone()).collect();
    let (status, results) = served.post(Role::Biomed, json!(commands)).await;
    assert!(
        status == 200 && results["results"].as_array().expect("results").iter().all(|it| it["status"] == 201),
        "{results}"
    );
    let (_, listed) = served.get("models?limit=2").await;
    assert_eq!(
        (listed["items"][0]["model"].as_str(), listed["next"].as_str()),
        (Some("b-1"), Some("b-2")),
        "{listed}"
    );
    served.sound().await;
    served.stop().await;
}
