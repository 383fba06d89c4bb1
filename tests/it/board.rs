//! The board: the same tag exactly while nothing that it shows has changed, be it by an entry or by the clock alone.

use fettle::app::board::Boards;
use fettle::domain::id::Id;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::simulate::{Hospital, List, Plan};
use fettle::domain::time::Time;

/// Looks at the board of a simulated hospital after every entry, and at moments between them.
fn follow(seed: u64) -> (u32, u32) {
    let from = Time::parse("2024-01-08T06:00:00Z").expect("a time");
    let until = from.plus_minutes(40 * 24 * 60);
    let zone = chrono_tz::Europe::London;
    let mut hospital =
        Hospital::new(Plan { seed, sets: 5, until, from, zone, keep_record: false, list: List::USUAL });
    let mut paper = Paper::new(Id::new("sim").expect("an id"), zone, from);
    let boards = Boards::default();
    let (mut last, mut same, mut changed) = (None, 0, 0);
    let mut now = from;
    let mut look = |paper: &Paper, now: Time| {
        let shown = boards.show(&paper.state, now);
        let content = serde_json::to_string(&paper.state.board(now)).expect("a board");
        assert_eq!(
            serde_json::to_string(&*shown.board).expect("a board"),
            content,
            "what is shown is true at {now}"
        );
        assert!(shown.as_of <= now, "{} is not after {now}", shown.as_of);
        if let Some((tag, before)) = last.replace((shown.tag.clone(), content.clone())) {
            assert_eq!(tag == shown.tag, before == content, "at {now}, entry {}", paper.state.seq);
            if before == content { same += 1 } else { changed += 1 }
        }
    };
    let mut n = 0u64;
    while let Some(given) = hospital.next(&paper.state) {
        let event = paper.take(&given);
        hospital.heard(&given, event.as_ref().ok());
        n += 1;
        now = now.max(paper.state.recorded_at).max(given.now);
        if n > 150 && n.is_multiple_of(2) {
            look(&paper, now);
            // Between entries the clock goes on by itself.
            for minutes in [1, 7] {
                let next = hospital.next_at().unwrap_or(until);
                let between = now.plus_minutes(minutes);
                if between < next {
                    now = between;
                    look(&paper, now);
                }
            }
        }
    }
    (same, changed)
}

#[test]
fn the_tag_stays_exactly_while_nothing_shown_has_changed() {
    for seed in [3, 4] {
        let (same, changed) = follow(seed);
        assert!(same > 500 && changed > 500, "{same} times the same, {changed} times changed");
    }
}
