"""Recomputes the verdicts on cycle records from their raw files, by other means than the program.

    recompute.py MANIFEST

MANIFEST is a JSON list of {"file", "kind": "steam" | "disinfection", "limits": {...}, "ambient_kpa": number or null}. The
answers are written to standard output as a JSON list, with the fields of the program's own answers.

Where the program integrates in closed form, this adds up numerical quadratures; where it solves for a crossing, this
searches for a root; the saturation temperature is that of the package iapws. Nothing here was taken from the program.
"""

import csv
import json
import sys
from decimal import Decimal

import numpy as np
from iapws.iapws97 import _TSat_P
from scipy.integrate import quad
from scipy.optimize import brentq

SAME = 1e-9
# Two roots that are nearer than this, in seconds, are one.
TOUCH_S = 1e-8
KPA = {"kpa": 1.0, "mbar": 0.1, "bar": 100.0, "psi": 6.894757293168361}


class Record:
    def __init__(self, path, ambient_kpa):
        with open(path, encoding="utf-8-sig", newline="") as file:
            header, *rows = csv.reader(file)
        columns = dict(zip(header, np.array(rows, dtype=float).T))
        self.time = columns.pop("time_s")
        self.pressure = None
        for name in [name for name in columns if name.startswith("pressure_")]:
            _, unit, reference = name.split("_")
            self.pressure = columns.pop(name) * KPA[unit] + (ambient_kpa if reference == "gauge" else 0.0)
        self.channels = columns

    def at(self, channel, t):
        return np.interp(t, self.time, self.channels[channel])

    def roots(self, channel, level):
        """Where a channel crosses a level strictly inside a stretch."""
        values = self.channels[channel] - level
        for i in np.nonzero(values[:-1] * values[1:] < 0)[0]:
            f = lambda t: self.at(channel, t) - level  # noqa: E731
            yield brentq(f, self.time[i], self.time[i + 1], xtol=1e-13, rtol=8.9e-16)

    def pieces(self, channels, levels):
        """The record cut at its samples and at every root."""
        cuts = [self.time]
        for channel in channels:
            for level in levels:
                cuts.append(np.fromiter(self.roots(channel, level), dtype=float))
        cuts = np.unique(np.concatenate(cuts))
        return list(zip(cuts[:-1], cuts[1:]))

    def longest(self, low, high):
        """The longest time for which all channels are within a band; of equal ones the first."""
        levels = [level for level in (low, high) if np.isfinite(level)]
        spans = []
        for start, end in self.pieces(self.channels, levels):
            middle = (start + end) / 2
            if not all(low <= self.at(name, middle) <= high for name in self.channels):
                continue
            if spans and spans[-1][1] == start:
                spans[-1][1] = end
            else:
                spans.append([start, end])
        best = None
        for start, end in spans:
            if end - start > TOUCH_S and (best is None or end - start > (best[1] - best[0]) * (1 + SAME)):
                best = (start, end)
        return best

    def lethality(self, channel, reference, start, end, floor=None):
        """The integral of 10^((T - reference)/10) over the pieces between two times, in seconds."""
        total = []
        for a, b in self.pieces([channel], [] if floor is None else [floor]):
            a, b = max(a, start), min(b, end)
            if a >= b or (floor is not None and self.at(channel, (a + b) / 2) < floor):
                continue
            (from_c, to_c), length = (float(self.at(channel, t)) for t in (a, b)), b - a
            rate = lambda t: 10.0 ** ((from_c + (to_c - from_c) * (t - a) / length - reference) / 10.0)  # noqa: E731
            total.append(quad(rate, a, b, epsabs=0.0, epsrel=1e-12)[0])
        return float(np.sum(total)) if total else 0.0

    def gaps(self, span=None):
        gaps = np.diff(self.time)
        if span is not None:
            gaps = gaps[(self.time[1:] > span[0] + TOUCH_S) & (self.time[:-1] < span[1] - TOUCH_S)]
        return float(gaps.max())


def reaches(found, needed):
    return found >= needed * (1 - SAME)


def as_span(span):
    return span and {"start_s": float(span[0]), "end_s": float(span[1]), "duration_s": float(span[1] - span[0])}


def per_channel(values):
    return {**values, "least": min(values.values())}


def reason(code, found, needed, unit):
    return {"code": code, "found": float(found), "needed": needed, "unit": unit}


def too_long_a_gap(record, span, limits):
    found = record.gaps(span) if span else 0.0
    needed = limits["max_gap_s"]
    return [reason("gap_too_long", found, needed, "s")] if found > needed * (1 + SAME) else []


def steam(record, limits):
    low = limits["band_c"]
    high = float(Decimal(str(low)) + Decimal(str(limits["band_width_k"])))
    hold = record.longest(low, high)
    reasons = too_long_a_gap(record, hold, limits)
    duration = hold[1] - hold[0] if hold else 0.0
    if hold is None or not reaches(duration, limits["hold_s"]):
        reasons.append(reason("hold_too_short", duration, limits["hold_s"], "s"))
    highest = max(values.max() for values in record.channels.values())
    if highest > high:
        reasons.append(reason("above_band", highest, high, "°C"))
    saturation = temperature = None
    if hold:
        inside = (record.time >= hold[0] - TOUCH_S) & (record.time <= hold[1] + TOUCH_S)
        ends = [record.at(name, t) for name in record.channels for t in hold]
        held = np.concatenate([values[inside] for values in record.channels.values()] + [ends])
        temperature = {"min_c": float(held.min()), "max_c": float(held.max())}
        if record.pressure is not None:
            boils = np.array([_TSat_P(kpa / 1000) - 273.15 for kpa in record.pressure[inside]])
            above = np.concatenate([values[inside] - boils for values in record.channels.values()] + [[0.0]])
            saturation = {"max_below_k": float((-above).max()), "max_above_k": float(above.max())}
            tolerance = limits["saturation_tolerance_k"]
            for code, key in (("air_suspected", "max_below_k"), ("superheated", "max_above_k")):
                if saturation[key] > tolerance:
                    reasons.append(reason(code, saturation[key], tolerance, "K"))
    first, last = record.time[0], record.time[-1]
    start, end = hold or (first, first)
    total = {name: record.lethality(name, 121.1, first, last) / 60 for name in record.channels}
    held = {name: record.lethality(name, 121.1, start, end) / 60 for name in record.channels}
    return {
        "reasons": reasons,
        "hold": as_span(hold),
        "temperature": temperature,
        "f0_min": {"ref_c": 121.1, "z_k": 10.0, "total": per_channel(total), "hold": per_channel(held)},
        "saturation": saturation,
    }


def disinfection(record, limits):
    span = record.longest(limits["band_c"], np.inf)
    reasons = too_long_a_gap(record, span, limits)
    duration = span[1] - span[0] if span else 0.0
    if not reaches(duration, limits["hold_s"]):
        reasons.append(reason("hold_too_short", duration, limits["hold_s"], "s"))
    floor, (first, last) = limits["floor_c"], (record.time[0], record.time[-1])
    total = {name: record.lethality(name, 80.0, first, last, floor) for name in record.channels}
    if not reaches(min(total.values()), limits["a0_s"]):
        reasons.append(reason("a0_too_low", min(total.values()), limits["a0_s"], "s"))
    return {
        "reasons": reasons,
        "continuous": as_span(span),
        "a0_s": {"ref_c": 80.0, "z_k": 10.0, "floor_c": floor, "total": per_channel(total)},
    }


def answer(case):
    record = Record(case["file"], case["ambient_kpa"])
    judged = {"steam": steam, "disinfection": disinfection}[case["kind"]](record, case["limits"])
    judged["verdict"] = "fail" if judged["reasons"] else "pass"
    judged["samples"] = len(record.time)
    judged["max_gap_s"] = record.gaps()
    return judged


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        cases = json.load(file)
    json.dump([answer(case) for case in cases], sys.stdout)


if __name__ == "__main__":
    main()
