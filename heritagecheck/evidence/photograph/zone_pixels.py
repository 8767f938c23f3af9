"""Compiled loops over the pixels of labelled zones; loaded only when one is first needed."""

from typing import Any

import numpy as np

from heritagecheck.evidence.compile_loops import compiled

BIN_WIDTH = 0.025  # of the histograms of differences, in ΔE00
BINS = 8192

# Division by 0 gives no number instead of an error: a branch in a loop would keep it from taking
# several pixels at once. The lock of the interpreter is let go, so that threads run side by side.
_compiled = compiled(nogil=True, error_model="numpy")
_inlined = compiled(error_model="numpy", forceinline=True)


@_inlined
def _seen(value: Any) -> Any:
    """Whether a difference is a number; beyond 1e300 the steps of a histogram would overflow."""
    return abs(value) < 1e300


@_compiled
def mark_labels(labels: Any, present: Any) -> None:
    """Note which labels occur."""
    for label in labels:
        present[label] = True


@_compiled
def count_labels(values: Any, labels: Any, seen: Any, unseen: Any) -> None:
    """Count the pixels of each label: with a value (two lists, to be added up), and without."""
    # Neighbours mostly share a label. Counted in two lists by turns, one need not wait for another.
    for i in range(len(values)):
        label = np.uint64(labels[i])
        if _seen(values[i]):
            seen[i & 1, label] += 1
        else:
            unseen[label] += 1


@_compiled
def sort_by_label(values: Any, labels: Any, place: Any, out: Any) -> None:
    """Put each value at the next place of its label; what has no label or no value is left out."""
    for i in range(len(values)):
        label = np.uint64(labels[i])
        if label > 0 and _seen(values[i]):
            out[np.uint64(place[label])] = values[i]
            place[label] += 1


@_compiled
def describe_zones(values: Any, starts: Any, out: Any) -> None:
    """
    Mean, sd, least, most, median and 95th percentile of zones that lie one behind the other.

    starts has one entry more than there are zones; each zone holds a value.
    """
    most = 2048
    coarse = np.empty(most, np.int64)
    finer = np.empty(most, np.int64)
    held = np.empty(2 * most, values.dtype)
    for zone in range(len(starts) - 1):
        own = values[starts[zone] : starts[zone + 1]]
        total, low, high = _total_and_range(own)
        mean = total / len(own)
        out[zone, 0] = mean
        out[zone, 1] = np.sqrt(_squares(own, mean) / len(own))
        out[zone, 2], out[zone, 3] = low, high
        counts = coarse[: min(most, 16 + len(own) // 8)]
        _fill_bins(own, low, high, counts)
        out[zone, 4] = _quantile(own, 0.5, low, high, counts, finer, held)
        out[zone, 5] = _quantile(own, 0.95, low, high, counts, finer, held)


@_compiled
def _total_and_range(values: Any) -> Any:
    """Sum, always in the same order, least and greatest value."""
    # Four sums side by side: one alone would wait for each addition.
    p, q, r, s = 0.0, 0.0, 0.0, 0.0
    low_1, low_2, high_1, high_2 = values[0], values[0], values[0], values[0]
    whole = len(values) // 4 * 4
    for i in range(0, whole, 4):
        a, b, c, d = values[i], values[i + 1], values[i + 2], values[i + 3]
        p, q, r, s = p + a, q + b, r + c, s + d
        low_1, low_2 = min(low_1, a, b), min(low_2, c, d)
        high_1, high_2 = max(high_1, a, b), max(high_2, c, d)
    for i in range(whole, len(values)):
        p += values[i]
        low_1, high_1 = min(low_1, values[i]), max(high_1, values[i])
    return (p + q) + (r + s), min(low_1, low_2), max(high_1, high_2)


@_compiled
def _squares(values: Any, mean: float) -> Any:
    """Sum of squared distances from the mean, always in the same order."""
    p, q, r, s = 0.0, 0.0, 0.0, 0.0
    whole = len(values) // 4 * 4
    for i in range(0, whole, 4):
        a, b = values[i] - mean, values[i + 1] - mean
        c, d = values[i + 2] - mean, values[i + 3] - mean
        p, q, r, s = p + a * a, q + b * b, r + c * c, s + d * d
    for i in range(whole, len(values)):
        a = values[i] - mean
        p += a * a
    return (p + q) + (r + s)


@_inlined
def _bin(value: Any, low: Any, scale: Any) -> Any:
    """Number of the bin of a value; only ever asked for values between low and high."""
    return np.int32((value - low) * scale)


@_compiled
def _fill_bins(values: Any, low: Any, high: Any, counts: Any) -> None:
    """Count the values from low to high in bins of equal width."""
    counts[:] = 0
    scale = (len(counts) - 1) / max(np.float64(high) - np.float64(low), 1e-300)
    for value in values:
        if low <= value <= high:
            counts[np.uint32(_bin(value, low, scale))] += 1


@_compiled
def _quantile(
    values: Any, share: float, low: Any, high: Any, counts: Any, finer: Any, held: Any
) -> Any:
    """
    Quantile between two neighbouring values in order, as numpy takes it.

    The histogram in counts says in which bin they lie. If it holds few values these are sorted,
    if it holds many they are counted anew in finer bins. Nothing is estimated: a quantile in the
    gap of a zone with two peaks is as exact as any other.
    """
    place = share * (len(values) - 1)
    rank = int(place)
    part = place - rank
    before = 0
    while high - low > 1e-300:
        scale = (len(counts) - 1) / (np.float64(high) - np.float64(low))
        first = 0
        while before + counts[first] <= rank:
            before += counts[first]
            first += 1
        number = counts[first]
        if before + number <= rank + 1 and rank + 1 < len(values):
            below, above = _around_end_of_bin(values, low, high, scale, first)
            return _between(below, above, part)
        if number <= len(held):
            _take_bin(values, low, high, scale, first, held)
            held[:number].sort()
            below = held[rank - before]
            above = held[min(rank + 1 - before, number - 1)]
            return _between(below, above, part)
        low, high = _range_of_bin(values, low, high, scale, first)
        _fill_bins(values, low, high, finer)
        counts = finer
    return np.float64(low)


@_inlined
def _between(below: Any, above: Any, part: Any) -> Any:
    """Value part of the way from one to the other, in double precision."""
    return np.float64(below) + (np.float64(above) - np.float64(below)) * part


@_compiled
def _take_bin(values: Any, low: Any, high: Any, scale: Any, wanted: int, held: Any) -> None:
    """Collect the values of one bin."""
    number = 0
    for value in values:
        if low <= value <= high and _bin(value, low, scale) == wanted:
            held[number] = value
            number += 1


@_compiled
def _range_of_bin(values: Any, low: Any, high: Any, scale: Any, wanted: int) -> Any:
    """Least and greatest value of one bin."""
    least, most = high, low
    for value in values:
        if low <= value <= high and _bin(value, low, scale) == wanted:
            least, most = min(least, value), max(most, value)
    return least, most


@_compiled
def _around_end_of_bin(values: Any, low: Any, high: Any, scale: Any, wanted: int) -> Any:
    """Greatest value of one bin, and the least of all that follow it."""
    most, after = low, values.dtype.type(np.inf)
    for value in values:
        if low <= value:
            if value <= high and _bin(value, low, scale) <= wanted:
                most = max(most, value)
            else:
                after = min(after, value)
    return most, after


@_compiled
def add_differences(values: Any, labels: Any, line: Any, sums: Any) -> None:
    """
    Add a strip to the sums of its zones.

    `line` gives the line of a label in the sums, -1 for none. A line holds seen, unseen, origin,
    sum, sum of squares, least, greatest. Sums are of distances from the first value met, so that a
    small spread on a large mean is not lost in rounding.
    """
    for i in range(len(values)):
        k = line[np.uint64(labels[i])]
        if k < 0:
            continue
        own = sums[k]
        value = np.float64(values[i])
        if not _seen(value):
            own[1] += 1
            continue
        if own[0] == 0:
            own[2] = own[5] = own[6] = value
        off = value - own[2]
        own[0] += 1
        own[3] += off
        own[4] += off * off
        own[5] = min(own[5], value)
        own[6] = max(own[6], value)


@_compiled
def add_to_histograms(values: Any, labels: Any, line: Any, counts: Any) -> None:
    """Count the differences of a strip, in bins of BIN_WIDTH, a row a zone."""
    for i in range(len(values)):
        k = line[np.uint64(labels[i])]
        if k >= 0 and _seen(values[i]):
            counts[k, int(min(values[i] * (1 / BIN_WIDTH), BINS - 1.0))] += 1


@_compiled
def quantiles_of_histograms(counts: Any, share: float, out: Any) -> None:
    """Quantile of each row, from the bins of both neighbouring values in order."""
    for zone in range(len(counts)):
        total = 0
        for number in counts[zone]:
            total += number
        place = share * (total - 1)
        rank = int(place)
        below = _value_of_rank(counts[zone], rank)
        above = _value_of_rank(counts[zone], min(rank + 1, total - 1))
        out[zone] = below + (above - below) * (place - rank)


@_compiled
def _value_of_rank(counts: Any, rank: int) -> Any:
    """Value number `rank` in order, the values of a bin lying evenly in it."""
    place, before = 0, 0
    while before + counts[place] <= rank:
        before += counts[place]
        place += 1
    return BIN_WIDTH * (place + (rank - before + 0.5) / counts[place])


@_compiled
def add_colours(lab: Any, labels: Any, line: Any, sums: Any) -> None:
    """
    Add a strip to the sums of colours, as `add_differences` does.

    Seen, unseen, origin (3), sums (3), sums of squares LL, aa, bb and of products La, Lb, ab.
    """
    for i in range(len(labels)):
        k = line[np.uint64(labels[i])]
        if k < 0:
            continue
        own = sums[k]
        light, a, b = lab[3 * i], lab[3 * i + 1], lab[3 * i + 2]
        if not (_seen(light) and _seen(a) and _seen(b)):
            own[1] += 1
            continue
        if own[0] == 0:
            own[2], own[3], own[4] = light, a, b
        light, a, b = light - own[2], a - own[3], b - own[4]
        own[0] += 1
        own[5] += light
        own[6] += a
        own[7] += b
        own[8] += light * light
        own[9] += a * a
        own[10] += b * b
        own[11] += light * a
        own[12] += light * b
        own[13] += a * b
