//! What a record says of itself: the number of its cycle, and the machine that wrote it.

use super::form::Is;
use super::lines::{cells, numbered};
use super::mapping::{broken, fault};
use super::record::{RecordError, excerpt};

/// More characters than this no number and no name has.
const LONGEST: usize = 200;

/// What a file says, with the line where it says it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Said {
    pub cycle_no: Option<(String, u64)>,
    pub machine: Option<(String, u64)>,
}

#[derive(Default)]
pub(super) struct Saying {
    pub(super) said: Said,
}

impl Saying {
    /// Takes one cell. An empty one says nothing; two that differ say that the file is of two cycles.
    pub(super) fn take(&mut self, line: u64, column: &str, is: Is, cell: &str) -> Result<(), RecordError> {
        let (known, what) = match is {
            Is::CycleNo => (&mut self.said.cycle_no, "cycle number"),
            Is::Machine => (&mut self.said.machine, "machine"),
            Is::Date | Is::Time | Is::Temperature | Is::Pressure => return Ok(()),
        };
        let cell: String = cell.trim().chars().take(LONGEST).collect();
        match known {
            _ if cell.is_empty() => Ok(()),
            Some((before, _)) if *before == cell => Ok(()),
            Some((before, first)) => {
                let found = format!("\"{}\" after \"{before}\" in line {first}", excerpt(cell.as_bytes()));
                let needed = format!("one {what} in the whole file is needed: a record is of one cycle");
                Err(fault(line, Some(column), found, needed))
            }
            None => {
                *known = Some((cell, line));
                Ok(())
            }
        }
    }
}

/// What a file in the plain form says in columns `cycle_no` and `machine`, which its reader passes over.
///
/// # Errors
/// Where it names two cycles or two machines.
pub fn of_plain(bytes: &[u8]) -> Result<Said, RecordError> {
    let mut saying = Saying::default();
    // The file was read in the plain form, so it is UTF-8.
    let text = std::str::from_utf8(bytes).unwrap_or_default();
    let mut lines = numbered(text.strip_prefix('\u{feff}').unwrap_or(text));
    let header = lines.next().map(|(_, header)| header).unwrap_or_default();
    let names = cells(header, ',').map_err(|()| broken(1))?;
    let columns = names.iter().enumerate().filter_map(|(i, name)| match &**name {
        "cycle_no" => Some((i, "cycle_no", Is::CycleNo)),
        "machine" => Some((i, "machine", Is::Machine)),
        _ => None,
    });
    let columns: Vec<_> = columns.collect();
    if columns.is_empty() {
        return Ok(saying.said);
    }
    for (at, line) in lines.filter(|(_, line)| !line.is_empty()) {
        let row = cells(line, ',').map_err(|()| broken(at))?;
        for (i, name, is) in &columns {
            saying.take(at, name, *is, row.get(*i).map_or("", |cell| cell))?;
        }
    }
    Ok(saying.said)
}
