//! The rows of a long record, read by several threads: each takes some thousand lines at a time, and what they read is
//! put together in the order of the file. What comes out is what one thread reads, to the last bit and the first fault.

use std::collections::BTreeMap;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::Scope;

use crate::analysis::record::Record;

use super::record::{Builder, RecordError};
use super::record_rows::{empty_line, is_empty, whole};

/// Bytes in a batch: enough that handing it over costs nothing beside reading it, and few enough to stay in the cache.
const BYTES: usize = 128 * 1024;
/// Batches that wait for a thread, so that a file is never held as a whole.
const WAITING: usize = 8;

/// Lines as they stand in the file, each with its line feed, which only the last of the file may lack.
struct Batch {
    number: usize,
    text: Vec<u8>,
}

/// What one thread read of a batch. Its lines are counted from 1.
struct Read {
    record: Record,
    lines: u64,
    /// Whether anything stands on one of its lines.
    any: bool,
    /// From which line on nothing stands on its lines.
    empty: Option<u64>,
    fault: Option<RecordError>,
}

/// What was read so far, in order, and what was read before its turn.
struct Gathered {
    record: Record,
    /// The last line of what was read in order.
    line: u64,
    empty: Option<u64>,
    next: usize,
    early: BTreeMap<usize, (Batch, Read)>,
    /// The first of the file: batches are looked at in order.
    fault: Option<RecordError>,
    /// A fault was found, maybe in a batch whose turn has not come: nothing behind it is needed.
    is_over: bool,
    /// Room that was used and may be used again.
    texts: Vec<Vec<u8>>,
    records: Vec<Record>,
}

/// Threads that read batches.
pub(super) struct Pool {
    to: Option<SyncSender<Batch>>,
    gathered: Arc<Mutex<Gathered>>,
    filling: Batch,
    /// How much of the filling is whole lines.
    whole: usize,
}

impl Pool {
    /// Goes on from what one thread has read; `line` is the last that it read.
    pub fn start<'scope>(
        scope: &'scope Scope<'scope, '_>,
        head: &Builder,
        record: Record,
        line: u64,
    ) -> Pool {
        let (to, from) = sync_channel::<Batch>(WAITING);
        let from = Arc::new(Mutex::new(from));
        let gathered = Arc::new(Mutex::new(Gathered {
            record,
            line,
            empty: None,
            next: 0,
            early: BTreeMap::new(),
            fault: None,
            is_over: false,
            texts: Vec::new(),
            records: Vec::new(),
        }));
        let threads = std::thread::available_parallelism().map_or(2, usize::from).clamp(1, 4);
        for _ in 0..threads {
            let (from, gathered, blank) = (from.clone(), gathered.clone(), head.blank());
            scope.spawn(move || work(&from, &gathered, blank));
        }
        let filling = Batch { number: 0, text: Vec::with_capacity(2 * BYTES) };
        Pool { to: Some(to), gathered, filling, whole: 0 }
    }

    /// Takes the next bytes of the file.
    ///
    /// # Errors
    /// A fault that was found meanwhile; the first of the file is told by [`Ended::record`].
    pub fn bytes(&mut self, piece: &[u8]) -> Result<(), ()> {
        for part in piece.chunks(BYTES) {
            let before = self.filling.text.len();
            self.filling.text.extend_from_slice(part);
            if let Some(at) = memchr::memrchr(b'\n', part) {
                self.whole = before + at + 1;
            }
            if self.whole >= BYTES {
                self.hand_over()?;
            }
        }
        Ok(())
    }

    fn hand_over(&mut self) -> Result<(), ()> {
        let mut text = {
            let mut gathered = locked(&self.gathered);
            if gathered.is_over {
                return Err(());
            }
            gathered.texts.pop().unwrap_or_else(|| Vec::with_capacity(2 * BYTES))
        };
        text.extend_from_slice(self.filling.text.get(self.whole..).unwrap_or_default());
        self.filling.text.truncate(self.whole);
        self.whole = 0;
        let next = Batch { number: self.filling.number + 1, text };
        let full = std::mem::replace(&mut self.filling, next);
        self.to.as_ref().map_or(Err(()), |to| to.send(full).map_err(|_| ()))
    }

    /// Hands the last lines over; the threads then end by themselves, and [`Ended::record`] tells what they read.
    pub fn finish(mut self) -> Ended {
        self.whole = self.filling.text.len();
        if self.whole > 0 {
            // Where a fault was found before, these lines are behind it.
            let _ = self.hand_over();
        }
        Ended(self.gathered)
    }
}

/// What the threads of a pool read, once their scope is over.
pub(super) struct Ended(Arc<Mutex<Gathered>>);

impl Ended {
    /// The record, and its last line.
    pub fn record(self) -> Result<(Record, u64), RecordError> {
        let mut gathered = locked(&self.0);
        match gathered.fault.take() {
            Some(fault) => Err(fault),
            None => Ok((std::mem::take(&mut gathered.record), gathered.line)),
        }
    }
}

fn locked<T>(it: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    // A thread that panicked ends the scope with its panic, so nobody reads what it left.
    it.lock().unwrap_or_else(PoisonError::into_inner)
}

fn work(from: &Mutex<Receiver<Batch>>, gathered: &Mutex<Gathered>, mut builder: Builder) {
    loop {
        let next = locked(from).recv();
        let Ok(batch) = next else { return };
        let read = rows(&mut builder, &batch.text);
        let mut all = locked(gathered);
        all.is_over |= read.fault.is_some();
        all.early.insert(batch.number, (batch, read));
        all.put_in_order(&builder);
        if let Some(record) = all.records.pop() {
            builder.reuse(record);
        }
    }
}

fn rows(builder: &mut Builder, text: &[u8]) -> Read {
    let mut read = Read { record: Record::default(), lines: 0, any: false, empty: None, fault: None };
    let mut rest = text;
    while !rest.is_empty() {
        let (line, after) = rest.split_at(memchr::memchr(b'\n', rest).unwrap_or(rest.len()));
        rest = after.get(1..).unwrap_or_default();
        read.lines += 1;
        let line = whole(line);
        if is_empty(line) {
            read.empty.get_or_insert(read.lines);
            continue;
        }
        read.any = true;
        read.fault = match read.empty {
            Some(empty) => Some(empty_line(empty)),
            None => builder.row(read.lines, line).err(),
        };
        if read.fault.is_some() {
            break;
        }
    }
    read.record = builder.take();
    read
}

impl Gathered {
    fn put_in_order(&mut self, blank: &Builder) {
        while self.fault.is_none()
            && let Some((mut batch, mut read)) = self.early.remove(&self.next)
        {
            self.next += 1;
            self.fault = self.fault_of(&batch, &read, blank);
            self.is_over |= self.fault.is_some();
            self.line += read.lines;
            if read.any {
                self.empty = None;
            }
            self.empty = self.empty.or(read.empty.map(|empty| self.line - read.lines + empty));
            self.record.time_s.append(&mut read.record.time_s);
            for (all, more) in self.record.channels.iter_mut().zip(&mut read.record.channels) {
                all.temp_c.append(&mut more.temp_c);
            }
            if let (Some(all), Some(more)) =
                (&mut self.record.pressure_kpa_abs, &mut read.record.pressure_kpa_abs)
            {
                all.append(more);
            }
            batch.text.clear();
            self.texts.push(batch.text);
            self.records.push(read.record);
        }
    }

    /// The first fault of a batch whose turn it is.
    fn fault_of(&self, batch: &Batch, read: &Read, blank: &Builder) -> Option<RecordError> {
        if let Some(empty) = self.empty
            && read.any
        {
            return Some(empty_line(empty));
        }
        let times = (self.record.time_s.last().copied(), read.record.time_s.first());
        let again = match times {
            // Its first row says what stands still or goes back, beside the time before it.
            (Some(last), Some(first)) if *first <= last => rows(&mut blank.after(last), &batch.text).fault,
            _ => None,
        };
        let fault = again.or_else(|| read.fault.clone())?;
        Some(RecordError { line: fault.line.map(|line| self.line + line), ..fault })
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
        assert_eq!(record.pressure_kpa_abs.as_ref().unwrap().len(), 50_000);
        // However lines end, and whether the last one does; what is empty behind it does not count.
        for ending in ["\r\n", "\n\n", "\n\r\n\r\n", ""] {
            let other = text(50_000, None).trim_end().replace('\n', "\r\n") + ending;
            assert_eq!(read(other.as_bytes(), None, true).unwrap().0, record);
        }
    }

    #[test]
    fn the_first_fault_is_told_wherever_it_stands() {
        // Before the threads take part, in a batch, at the first line of one, in the last, and two at once.
        for line in [7, 4_097, 4_098, 8_194, 12_290, 33_333, 50_001] {
            for (wrong, says) in [
                ("1e9,warm,304.1", "found \"warm\""),
                ("1,20.5,304.1", "where the time goes back"),
                ("5,20.5", "found 2 cells"),
                ("", "an empty line"),
            ] {
                if wrong.is_empty() && line == 50_001 {
                    // Nothing follows it.
                    continue;
                }
                let told = read(text(50_000, Some((line, wrong))).as_bytes(), None, true).unwrap_err();
                assert_eq!(told.line, Some(line as u64), "{told}");
                assert!(told.to_string().contains(says), "{told}");
                let mut two = text(50_000, Some((line, wrong)));
                two.push_str("x,y,z\n\n1,2,3\n");
                assert_eq!(read(two.as_bytes(), None, true).unwrap_err(), told);
            }
        }
        let told = read((text(50_000, None) + "\n\r\n\n7,20.5,304.1\n").as_bytes(), None, true).unwrap_err();
        assert_eq!((told.line, told.found.as_str()), (Some(50_002), "an empty line"));
        let still = format!("{},20.5,304.1", 8_194 - 3);
        let told = read(text(50_000, Some((8_194, &still))).as_bytes(), None, true).unwrap_err();
        assert!(told.to_string().contains("where the time stands still"), "{told}");
    }
}
