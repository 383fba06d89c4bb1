//! Lives as the analysis takes them: counted rows for fits, spans for curves.

use std::collections::BTreeMap;

use super::lifetime::{Lives, Piece};
use crate::analysis::life::{Life, Refused, Row, Weibull, weibull};

/// A row of whole ages: entry, from, to.
type Ages = (u32, u32, Option<u32>);

fn counted(all: impl Iterator<Item = Ages>) -> Vec<Row> {
    let mut counts: BTreeMap<Ages, u64> = BTreeMap::new();
    for ages in all {
        *counts.entry(ages).or_default() += 1;
    }
    let row = |((entry, lo, hi), count): (Ages, u64)| Row {
        entry: f64::from(entry),
        lo: f64::from(lo),
        hi: hi.map(f64::from),
        count,
    };
    counts.into_iter().map(row).collect()
}

fn spans(all: impl Iterator<Item = (u32, u32, bool)>) -> Vec<Life> {
    let mut counts: BTreeMap<(u32, u32, bool), u64> = BTreeMap::new();
    for span in all {
        *counts.entry(span).or_default() += 1;
    }
    let life = |((entry, exit, event), count): ((u32, u32, bool), u64)| Life {
        entry: f64::from(entry),
        exit: f64::from(exit),
        event,
        count,
    };
    counts.into_iter().map(life).collect()
}

impl Piece {
    /// It was retired as failed and had gone through nothing since its record began.
    fn retired_at_once(&self) -> bool {
        self.failed.is_some() && self.age <= self.entry
    }

    /// Between which ages it failed, or since when that is not known; none where it was watched for no time.
    fn ages(&self) -> Option<Ages> {
        let ages = match &self.failed {
            Some(failed) if failed.exact => (self.entry, failed.by, Some(failed.by)),
            Some(failed) => (self.entry, failed.after.max(self.entry), Some(failed.by)),
            None => (self.entry, self.whole_at, None),
        };
        let last = ages.2.unwrap_or(ages.1);
        (last > self.entry).then_some(ages)
    }
}

impl Lives {
    /// The lives as a fit takes them: what an inspection found lies between two ages, what is still whole was so at its
    /// last good inspection. A part that was watched for no time, or failed before its first cycle, says nothing of wear.
    pub fn to_rows(&self) -> Vec<Row> {
        counted(self.pieces.iter().filter_map(Piece::ages))
    }

    /// The lives as a curve takes them: a failure stands at the age at which it was found.
    pub fn to_lives(&self) -> Vec<Life> {
        spans(self.pieces.iter().filter_map(|piece| {
            let (entry, lo, hi) = piece.ages()?;
            Some((entry, hi.unwrap_or(lo), hi.is_some()))
        }))
    }

    /// How many parts say nothing, since they were watched for no time.
    pub fn unwatched(&self) -> usize {
        self.pieces.iter().filter(|piece| piece.ages().is_none()).count()
    }

    /// The lives by their retirements alone: each failure at the age at which the part was retired, everything else as
    /// old as it is. What failed before it had gone through anything here is left out, as in every other law and curve.
    pub fn rows_at_retirement(&self) -> Vec<Row> {
        counted(self.watched().map(|piece| {
            let failed = piece.failed.as_ref().map(|_| piece.age);
            (piece.entry, piece.age, failed)
        }))
    }

    pub fn lives_at_retirement(&self) -> Vec<Life> {
        spans(self.watched().map(|piece| (piece.entry, piece.age, piece.failed.is_some())))
    }

    fn watched(&self) -> impl Iterator<Item = &Piece> {
        self.pieces.iter().filter(|piece| !piece.retired_at_once())
    }

    /// How many parts the lives by retirement leave out, and why.
    pub fn left_out_at_retirement(&self) -> Option<(usize, String)> {
        let many = self.pieces.iter().filter(|piece| piece.retired_at_once()).count();
        let said = match many {
            0 => return None,
            1 => "1 piece is left out: it was retired as failed at the very age at which its record here begins, so it was \
                  watched for no time. Look at the age it came with, and at its delivery."
                .into(),
            _ => format!(
                "{many} pieces are left out: they were retired as failed at the very age at which their record here begins, so \
                 they were watched for no time. Look at the ages they came with, and at their delivery."
            ),
        };
        Some((many, said))
    }

    /// The law of these lives, or why none is told.
    pub fn fit(&self) -> Result<Weibull, Refused> {
        weibull::fit(&self.to_rows())
    }
}
