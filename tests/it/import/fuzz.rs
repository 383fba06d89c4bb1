//! Bytes of all kinds through the look at a list.

use std::collections::BTreeSet;

use fettle::domain::import::{self, Chosen, Drafting, Kind};
use fettle::domain::person::{Actor, Role};
use fettle::formats::grid::{self, Charset};
use proptest::prelude::*;

use super::Lists;

fn lists_of_anything() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        Just("asset".to_string()),
        Just("model,serial;mark\t".to_string()),
        Just("\r\n".to_string()),
        Just("\"".to_string()),
        Just("03/04/2024".to_string()),
        Just("1,234".to_string()),
        Just("9.5E+12".to_string()),
        Just("cap,B-1\n".to_string()),
        "[ -~äöé°\u{a0}\u{200b}]{0,12}",
    ];
    prop_oneof![
        proptest::collection::vec(any::<u8>(), 0..400),
        proptest::collection::vec(piece, 0..40).prop_map(|all| all.concat().into_bytes()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]
    /// Whatever bytes come, the look at them ends, and records what the rules admit or nothing.
    #[test]
    fn no_bytes_break_the_look_at_a_list(bytes in lists_of_anything()) {
        let lists = Lists::open();
        for charset in [None, Some(Charset::Windows1252)] {
            let Ok(grid) = grid::read(&bytes, charset) else { continue };
            for kind in Kind::ALL {
                let mut plan = import::plan(&lists.paper.state, kind, &grid, &Chosen::default());
                let actor = Actor { code: "lead".into(), role: Role::Lead };
                let (people, attachments) = (BTreeSet::new(), std::collections::BTreeMap::new());
                let with = Drafting { actor: &actor, now: lists.now, people: &people, attachments: &attachments };
                import::decide_all(&lists.paper.state, &with, &mut plan);
                prop_assert!(plan.planned.len() <= 2 * grid.rows.len() + 1);
                prop_assert!(plan.faults.iter().all(|it| !it.found.is_empty()));
            }
        }
    }
}
