//! The rows of a long record, read by several threads: each takes some thousand lines at a time, and what they read is
//! put together in the order of the file. What comes out is what one thread reads, to the last bit and the first fault.

use std::collections::BTreeMap;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::Scope;

use crate::analysis::record::Record;

use super::record::{Builder, RecordError};

/// Lines in a batch: enough that handing it over costs nothing beside reading it, and few enough to stay in the cache.
const LINES: u64 = 4_096;
/// Batches that wait for a thread, so that a file is never held as a whole.
const WAITING: usize = 8;

/// Lines as they stand in the file, each with a line feed.
struct Batch {
    number: usize,
    first_line: u64,
    text: Vec<u8>,
}

impl Batch {
    fn lines(&self) -> impl Iterator<Item = &[u8]> {
        self.text.split_inclusive(|byte| *byte == b'\n').map(|line| line.strip_suffix(b"\n").unwrap_or(line))
    }
}

/// What was read so far, in order, and what was read before its turn.
struct Gathered {
    record: Record,
    next: usize,
    early: BTreeMap<usize, (Batch, Record)>,
    fault: Option<RecordError>,
}

/// Threads that read batches.
pub(super) struct Pool {
    to: Option<SyncSender<Batch>>,
    gathered: Arc<Mutex<Gathered>>,
    filling: Batch,
    lines: u64,
}

impl Pool {
    /// Goes on from what one thread has read; `first_line` is the next line.
    pub fn start<'scope>(
        scope: &'scope Scope<'scope, '_>,
        head: &Builder,
        record: Record,
        first_line: u64,
    ) -> Pool {
        let (to, from) = sync_channel::<Batch>(WAITING);
        let from = Arc::new(Mutex::new(from));
        let gathered = Gathered { record, next: 0, early: BTreeMap::new(), fault: None };
        let gathered = Arc::new(Mutex::new(gathered));
        let threads = std::thread::available_parallelism().map_or(2, usize::from).clamp(1, 4);
        for _ in 0..threads {
            let (from, gathered, blank) = (from.clone(), gathered.clone(), head.blank());
            scope.spawn(move || work(&from, &gathered, &blank));
        }
        Pool { to: Some(to), gathered, filling: Batch { number: 0, first_line, text: Vec::new() }, lines: 0 }
    }

    /// Takes the next line.
    ///
    /// # Errors
    /// A fault that was found meanwhile; the first of the file is told by [`Pool::finish`].
    pub fn line(&mut self, line: u64, text: &[u8]) -> Result<(), ()> {
        self.filling.text.extend_from_slice(text);
        self.filling.text.push(b'\n');
        self.lines += 1;
        if self.lines < LINES { Ok(()) } else { self.hand_over(line + 1) }
    }

    fn hand_over(&mut self, next_line: u64) -> Result<(), ()> {
        // The next lines take about as much room as these.
        let text = Vec::with_capacity(self.filling.text.len() + self.filling.text.len() / 8);
        let next = Batch { number: self.filling.number + 1, first_line: next_line, text };
        let full = std::mem::replace(&mut self.filling, next);
        self.lines = 0;
        let is_faulty = locked(&self.gathered).fault.is_some();
        match &self.to {
            Some(to) if !is_faulty => to.send(full).map_err(|_| ()),
            _ => Err(()),
        }
    }

    /// Hands the last lines over; the threads then end by themselves, and [`Ended::record`] tells what they read.
    pub fn finish(mut self) -> Ended {
        if self.lines > 0 {
            // Where a fault was found before, these lines are behind it.
            let _ = self.hand_over(0);
        }
        Ended(self.gathered)
    }
}

/// What the threads of a pool read, once their scope is over.
pub(super) struct Ended(Arc<Mutex<Gathered>>);

impl Ended {
    pub fn record(self) -> Result<Record, RecordError> {
        let mut gathered = locked(&self.0);
        match gathered.fault.take() {
            Some(fault) => Err(fault),
            None => Ok(std::mem::take(&mut gathered.record)),
        }
    }
}

fn locked<T>(it: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    // A thread that panicked ends the scope with its panic, so nobody reads what it left.
    it.lock().unwrap_or_else(PoisonError::into_inner)
}

fn work(from: &Mutex<Receiver<Batch>>, gathered: &Mutex<Gathered>, blank: &Builder) {
    loop {
        let next = locked(from).recv();
        let Ok(batch) = next else { return };
        let mut builder = blank.blank();
        let read = rows(&mut builder, &batch);
        let mut all = locked(gathered);
        match read {
            Err(fault) => all.faulty(fault),
            Ok(()) => {
                all.early.insert(batch.number, (batch, builder.into_record()));
                all.put_in_order(blank);
            }
        }
    }
}

fn rows(builder: &mut Builder, batch: &Batch) -> Result<(), RecordError> {
    (batch.first_line..).zip(batch.lines()).try_for_each(|(line, text)| builder.row(line, text))
}

impl Gathered {
    /// Keeps the first fault of the file: batches before the one with a fault are all read to their end.
    fn faulty(&mut self, fault: RecordError) {
        if self.fault.as_ref().is_none_or(|known| fault.line < known.line) {
            self.fault = Some(fault);
        }
    }

    fn put_in_order(&mut self, blank: &Builder) {
        while let Some((batch, read)) = self.early.remove(&self.next) {
            self.next += 1;
            let times = (self.record.time_s.last().copied(), read.time_s.first());
            if let (Some(last), Some(first)) = times
                && *first <= last
            {
                // Its first row says what stands still or goes back, beside the time before it.
                let mut builder = blank.after(last);
                if let Err(fault) = rows(&mut builder, &batch) {
                    self.faulty(fault);
                }
            }
            self.record.time_s.extend_from_slice(&read.time_s);
            for (all, more) in self.record.channels.iter_mut().zip(&read.channels) {
                all.temp_c.extend_from_slice(&more.temp_c);
            }
            if let (Some(all), Some(more)) = (&mut self.record.pressure_kpa_abs, &read.pressure_kpa_abs) {
                all.extend_from_slice(more);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::formats::record::read;

    /// A long record, with one line changed.
    fn text(rows: usize, changed: Option<(usize, &str)>) -> String {
        let mut lines = vec!["time_s,temp_c_a,pressure_kpa_abs".to_string()];
        lines.extend((0..rows).map(|n| format!("{n},{}.{},304.1", 20 + n % 100, n % 10)));
        if let Some((line, text)) = changed {
            lines[line - 1] = text.to_string();
        }
        lines.join("\n") + "\n"
    }

    #[test]
    fn many_threads_read_what_one_reads() {
        let (record, _) = read(text(50_000, None).as_bytes(), None, true).unwrap();
        let times: Vec<f64> = (0..50_000).map(f64::from).collect();
        assert_eq!(record.time_s, times);
        let temps: Vec<f64> =
            (0..50_000).map(|n| format!("{}.{}", 20 + n % 100, n % 10).parse().unwrap()).collect();
        assert_eq!(record.channels[0].temp_c, temps);
        assert_eq!(record.pressure_kpa_abs.unwrap().len(), 50_000);
    }

    #[test]
    fn the_first_fault_is_told_wherever_it_stands() {
        // Before the threads take part, in a batch, at the first line of one, in the last, and two at once.
        for line in [7, 4_097, 4_098, 8_194, 12_290, 33_333, 50_001] {
            for (wrong, says) in [
                ("1e9,warm,304.1", "found \"warm\""),
                ("1,20.5,304.1", "where the time goes back"),
                ("5,20.5", "found 2 cells"),
            ] {
                let told = read(text(50_000, Some((line, wrong))).as_bytes(), None, true).unwrap_err();
                assert_eq!(told.line, Some(line as u64), "{told}");
                assert!(told.to_string().contains(says), "{told}");
                let mut two = text(50_000, Some((line, wrong)));
                two.push_str("x,y,z\n\n1,2,3\n");
                assert_eq!(read(two.as_bytes(), None, true).unwrap_err(), told);
            }
        }
        let still = format!("{},20.5,304.1", 8_194 - 3);
        let told = read(text(50_000, Some((8_194, &still))).as_bytes(), None, true).unwrap_err();
        assert!(told.to_string().contains("where the time stands still"), "{told}");
    }
}
