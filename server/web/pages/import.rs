//! A list on its way into the house: brought, understood, looked at row by row, recorded, and what was made of it.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State as Of};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::import_words::{
    ColumnRow, QuestionRow, act_words, charset_words, column, first_of, of_kind, question, told,
};
use super::shared::{Page, when};
use crate::app::import::{KEPT_DAYS, Progress, Tried, Waiting, Written};
use crate::domain::import::{Change, Kind};
use crate::domain::time::Time;
use crate::formats::grid::{BYTES_MOST, Charset, Refused};
use crate::formats::table::Fault;
use crate::web::import::kinds;
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

/// So many problems and things stand on the page; the others in the sheet of them.
const SHOWN_MOST: usize = 500;
/// What will not do is told in the page until somebody would rather have it as a sheet; the columns stand below it.
const FAULTS_MOST: usize = 100;

/// A list that waits, or what became of it.
pub struct WaitingRow {
    pub id: String,
    pub name: String,
    pub kind: &'static str,
    pub brought: String,
    pub became: String,
}

pub struct ThingRow {
    pub line: u64,
    pub name: String,
    pub becomes: String,
}

#[derive(Template)]
#[template(path = "import.html")]
pub struct ImportPage {
    pub page: Page,
    pub heading: String,
    pub id: String,
    pub name: String,
    /// What the list is of; empty before one was brought.
    pub kind: &'static str,
    pub kinds: Vec<(&'static str, String)>,
    pub waiting: Vec<WaitingRow>,
    pub trouble: String,
    pub most_mib: usize,
    pub days: i64,
    /// How far it is, where it is under way: done, of.
    pub under_way: Option<(usize, usize)>,
    pub written: bool,
    pub first: u64,
    pub questions: Vec<QuestionRow>,
    pub columns: Vec<ColumnRow>,
    pub left_out: String,
    pub notes: Vec<String>,
    pub faults: Vec<Fault>,
    pub faults_more: usize,
    pub doubts: Vec<Fault>,
    pub things: Vec<ThingRow>,
    pub things_more: usize,
    pub same: usize,
    pub sure: String,
    pub act: String,
}

#[derive(Debug, Default, Deserialize)]
pub struct Changed {
    #[serde(default)]
    pub changed: Option<String>,
}

impl ImportPage {
    fn blank(visitor: &Visitor) -> ImportPage {
        let named = kinds(visitor.actor.role)
            .into_iter()
            .map(|kind| (kind.name(), super::shared::capital(kind.words().1)));
        ImportPage {
            page: Page::of(visitor, "/import", "/import", None),
            heading: "Bring a list. It is looked at row by row, and nothing is recorded before you say so."
                .into(),
            id: String::new(),
            name: String::new(),
            kind: "",
            kinds: named.collect(),
            waiting: Vec::new(),
            trouble: String::new(),
            most_mib: BYTES_MOST >> 20,
            days: KEPT_DAYS,
            under_way: None,
            written: false,
            first: 0,
            questions: Vec::new(),
            columns: Vec::new(),
            left_out: String::new(),
            notes: Vec::new(),
            faults: Vec::new(),
            faults_more: 0,
            doubts: Vec::new(),
            things: Vec::new(),
            things_more: 0,
            same: 0,
            sure: String::new(),
            act: String::new(),
        }
    }

    fn of(visitor: &Visitor, waiting: &Waiting) -> ImportPage {
        let mut page = ImportPage::blank(visitor);
        page.id.clone_from(&waiting.id);
        page.name.clone_from(&waiting.name);
        page.kind = waiting.kind.words().1;
        page.page.path = format!("/import/{}", waiting.id);
        page
    }

    fn under_way(mut self, progress: &Progress, now: Time) -> ImportPage {
        let (done, total) = (progress.done(), progress.total);
        self.under_way = Some((done, total));
        self.heading = match progress.left_s(now) {
            Some(left) if done < total => {
                format!(
                    "{done} of {total} are decided; about {} to go.",
                    super::shared::count(left as usize, "second", "seconds")
                )
            }
            _ if done == total => format!("All {total} are decided and being written."),
            _ => format!("{total} wait for their turn."),
        };
        self
    }

    fn written(mut self, kind: Kind, it: &Written) -> ImportPage {
        self.written = true;
        self.first = it.first;
        self.heading = if it.entries == 0 {
            format!("Nothing changes: all {} in the list stand so already.", of_kind(kind, it.same))
        } else {
            let changed = if it.changes > 0 { format!(", {} changed", it.changes) } else { String::new() };
            let same = if it.same > 0 { format!(", {} stood so already", it.same) } else { String::new() };
            format!("{} added{changed}{same}: entries {} to {}.", of_kind(kind, it.new), it.first, it.last)
        };
        self
    }

    /// A file that is no list, or whose characters nobody knows.
    fn unread(mut self, refused: &Refused) -> ImportPage {
        match refused {
            Refused::Fault(fault) => {
                self.heading = format!("This is no list that can be read: {}.", fault.found);
                self.faults = vec![fault.clone()];
            }
            Refused::WhichCharset { suggested } => {
                self.heading =
                    "In which characters is the file written? It is not UTF-8, and does not say.".into();
                let mut answers: Vec<_> =
                    Charset::ALL.iter().map(|it| (it.name(), charset_words(*it))).collect();
                answers.sort_by_key(|(name, _)| *name != suggested.name());
                let words = "Its characters; look at names with letters such as ä or é afterwards".into();
                self.questions = vec![QuestionRow { field: "charset".into(), words, answers }];
            }
        }
        self
    }

    fn tried(mut self, kind: Kind, tried: &Tried) -> ImportPage {
        let plan = &tried.plan;
        self.questions = plan.questions.iter().map(question).collect();
        self.columns = plan.mapping.wanted.iter().map(|it| column(it, &plan.mapping.header)).collect();
        self.left_out = plan.mapping.left_out().join(", ");
        self.notes.clone_from(&plan.notes);
        self.faults = plan.faults.iter().take(FAULTS_MOST).cloned().collect();
        self.faults_more = plan.faults.len().saturating_sub(FAULTS_MOST);
        self.doubts = plan.doubts.iter().take(SHOWN_MOST).cloned().collect();
        let changing = || plan.told.iter().filter(|it| it.change != Change::Same);
        let thing = |it: &crate::domain::import::Told| ThingRow {
            line: it.line,
            name: it.name.clone(),
            becomes: match it.change {
                Change::New if it.words.is_empty() => "new".into(),
                Change::New => format!("new, {}", it.words),
                Change::Changes => it.words.clone(),
                Change::Same => String::new(),
            },
        };
        self.things = changing().take(SHOWN_MOST).map(thing).collect();
        self.things_more = changing().count().saturating_sub(SHOWN_MOST);
        self.same = plan.count(Change::Same);
        let (new, changes) = (plan.count(Change::New), plan.count(Change::Changes));
        self.heading = match (plan.questions.len(), plan.faults.len()) {
            (0, 0) if plan.planned.is_empty() => match self.same {
                0 => format!("The list has a header and no {}.", kind.words().1),
                same => format!("Nothing changes: all {} in the list stand so already.", of_kind(kind, same)),
            },
            (0, 0) => {
                self.sure = tried.digest();
                self.act = act_words(kind, new, changes);
                let doubts = if plan.doubts.is_empty() { "" } else { " Some look odd: see below." };
                format!("{} can be recorded.{doubts} Nothing is recorded yet.", told(kind, new, changes))
            }
            (0, 1) => format!(
                "Nothing can be recorded: one thing in the list will not do. {}",
                first_of(&plan.faults)
            ),
            (0, many) => format!("Nothing can be recorded: {many} things in the list will not do."),
            (1, _) => "One question has to be answered first.".into(),
            (many, _) => format!("{many} questions have to be answered first."),
        };
        self
    }
}

/// The page where a list is chosen.
pub async fn first(app: &App, visitor: &Visitor, trouble: &str) -> Response {
    let mut page = ImportPage::blank(visitor);
    page.trouble = trouble.into();
    let lists = match app.house.lists_of(&visitor.state.site, &visitor.actor).await {
        Ok(lists) => lists,
        Err(gone) => return fail::unavailable(&gone.operation),
    };
    let row = |it: &Waiting| WaitingRow {
        id: it.id.clone(),
        name: it.name.clone(),
        kind: it.kind.words().1,
        brought: when(&visitor.state, it.at, visitor.now),
        became: match &it.written {
            None => "waits".into(),
            Some(written) if written.entries == 0 => "nothing changed".into(),
            Some(written) => format!("entries {} to {}", written.first, written.last),
        },
    };
    page.waiting = lists.iter().map(row).collect();
    render(&page)
}

pub async fn get(Of(app): Of<App>, visitor: Visitor) -> Response {
    first(&app, &visitor, "").await
}

/// One list, as far as it is.
pub async fn one(
    Of(app): Of<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    Query(changed): Query<Changed>,
) -> Response {
    let site = &visitor.state.site;
    // Before the list is read: one that ends in between then stands as written.
    let progress = app.house.progress_of(site, &id);
    let (waiting, raw) = match app.house.list_of(site, &visitor.actor, &id).await {
        Ok(Some(found)) => found,
        Ok(None) => return fail::nothing_here(),
        Err(gone) => return fail::unavailable(&gone.operation),
    };
    let page = ImportPage::of(&visitor, &waiting);
    if let Some(written) = &waiting.written {
        return render(&page.written(waiting.kind, written));
    }
    let failed = app.house.take_failure(site, &id);
    if let Some(progress) = progress.filter(|_| failed.is_none()) {
        return render(&page.under_way(&progress, visitor.now));
    }
    let kind = waiting.kind;
    let tried = app.house.try_list(&visitor.state, &visitor.actor, kind, Arc::new(raw), waiting.chosen).await;
    let mut page = match tried {
        Ok(Ok(tried)) => page.tried(kind, &tried),
        Ok(Err(refused)) => page.unread(&refused),
        Err(gone) => return fail::unavailable(&gone.operation),
    };
    if let Some(faults) = failed {
        page.trouble =
            format!("Nothing was recorded, since the house went on meanwhile. {}", first_of(&faults));
    } else if changed.changed.is_some() {
        page.trouble = "Nothing was recorded: the house or the answers changed since the list was looked at. Look again.".into();
    }
    render(&page)
}

/// Every problem of a list as a sheet.
pub async fn problems(Of(app): Of<App>, visitor: Visitor, Path(id): Path<String>) -> Response {
    let (waiting, raw) = match app.house.list_of(&visitor.state.site, &visitor.actor, &id).await {
        Ok(Some(found)) => found,
        Ok(None) => return fail::nothing_here(),
        Err(gone) => return fail::unavailable(&gone.operation),
    };
    let tried =
        app.house.try_list(&visitor.state, &visitor.actor, waiting.kind, Arc::new(raw), waiting.chosen).await;
    let faults = match tried {
        Ok(Ok(tried)) => tried.plan.faults,
        Ok(Err(Refused::Fault(fault))) => vec![fault],
        Ok(Err(Refused::WhichCharset { .. })) => Vec::new(),
        Err(gone) => return fail::unavailable(&gone.operation),
    };
    let rows: Vec<[String; 4]> =
        faults.into_iter().map(|it| [it.line.to_string(), it.column, it.found, it.needed]).collect();
    match crate::formats::sheet::csv(["row", "column", "found", "needed"], &rows) {
        Ok(text) => {
            let kind = [
                (header::CONTENT_TYPE, "text/csv; charset=utf-8"),
                (header::CONTENT_DISPOSITION, "attachment; filename=\"problems.csv\""),
            ];
            (kind, text).into_response()
        }
        Err(_) => fail::nothing_here(),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::domain::import::{Chosen, Drafting, decide_all, plan};
    use crate::domain::person::Role;
    use crate::formats::grid;
    use crate::web::pages::sample;

    fn shown(text: &str) -> String {
        let mut visitor = sample::visitor();
        visitor.actor.role = Role::Lead;
        let grid = grid::read(text.as_bytes(), None).unwrap();
        let mut plan = plan(&visitor.state, Kind::Assets, &grid, &Chosen::default());
        let (people, attachments) = (BTreeSet::new(), std::collections::BTreeMap::new());
        let with =
            Drafting { actor: &visitor.actor, now: visitor.now, people: &people, attachments: &attachments };
        decide_all(&visitor.state, &with, &mut plan);
        let waiting = Waiting {
            id: "7f".into(),
            kind: Kind::Assets,
            name: "ours.csv".into(),
            chosen: Chosen::default(),
            written: None,
            at: visitor.now,
            by: visitor.actor.code.clone(),
        };
        let page =
            ImportPage::of(&visitor, &waiting).tried(Kind::Assets, &Tried { plan, seq: visitor.state.seq });
        sample::show("import", &page)
    }

    #[test]
    fn the_heading_says_whether_the_list_will_do() {
        let model = sample::visitor().state.models.keys().next().unwrap().to_string();
        let good = shown(&format!("asset,model\nNEW-1,{model}\nNEW-2,{model}\n"));
        assert!(
            good.contains("2 parts can be recorded. Nothing is recorded yet.")
                && good.contains("name=\"sure\"")
        );
        let bad = shown(&format!("asset,model\nNEW-1,{model}\nNEW-1,{model}\n"));
        assert!(
            bad.contains("Nothing can be recorded: one thing in the list will not do.")
                && !bad.contains("sure")
        );
        let open = shown(&format!("asset,model,acquired\nNEW-1,{model},03/04/2024\n"));
        assert!(open.contains("One question has to be answered first.") && open.contains("dates.acquired"));
    }

    #[test]
    fn an_import_under_way_says_how_far_it_is() {
        let visitor = sample::visitor();
        let progress = Progress {
            total: 400,
            decided: Arc::new(100.into()),
            begun: visitor.now.plus_s(-3),
            failed: std::sync::Mutex::default(),
        };
        let page = ImportPage::blank(&visitor).under_way(&progress, visitor.now);
        assert_eq!(page.heading, "100 of 400 are decided; about 9 seconds to go.");
        assert!(sample::show("import-under-way", &page).contains("value=\"100\" max=\"400\""));
    }
}
