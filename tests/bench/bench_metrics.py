"""All metrics of many samples, beside a plain loop over the samples, with the memory they take.

Samples hold 25 taxa each, drawn from the names of the built-in tables, with effort. The loop computes a part
of the metrics only and runs on some of the samples; its time is scaled up.
Usage: python tests/bench/bench_metrics.py [SAMPLES]
"""

from __future__ import annotations

import math
import resource
import sys
import time
import tracemalloc
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.scoring.metrics import compute_metrics
from watershedmap.taxa import load_taxa, resolve

if TYPE_CHECKING:
    from collections.abc import Mapping

SAMPLES = 100_000
TAXA_A_SAMPLE = 25
LOOPED = 1_000
TARGET_SECONDS = 10.0


def draw_counts(samples: int) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Draw counts, the taxa they name, and the effort."""
    random = np.random.default_rng(5)
    names = load_taxa()["taxon"].to_numpy(dtype=object)
    ids = np.array([f"sample-{number:06d}" for number in range(samples)], dtype=object)
    start = random.integers(0, len(names), samples)
    stride = random.integers(1, len(names) // TAXA_A_SAMPLE, samples)
    picked = (start[:, None] + stride[:, None] * np.arange(TAXA_A_SAMPLE)) % len(names)
    counts = pd.DataFrame(
        {
            "sample_id": np.repeat(ids, TAXA_A_SAMPLE),
            "taxon": names[picked.ravel()],
            "count": random.geometric(0.08, samples * TAXA_A_SAMPLE),
        }
    )
    effort = pd.DataFrame({"sample_id": ids, "fraction_sorted": 0.25, "area_m2": 1.0})
    return counts, resolve(names), effort


def loop_over_samples(counts: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Compute some of the metrics one sample at a time, as one would by hand."""
    rows = taxa.to_dict("index")
    return pd.DataFrame(
        {sample: measure_one(part, rows) for sample, part in counts.groupby("sample_id")},
    ).T


def measure_one(part: pd.DataFrame, rows: Mapping[str, Mapping[str, object]]) -> dict[str, float]:
    """Measure one sample in plain Python."""
    numbers: dict[str, int] = {}
    for name, count in zip(part["taxon"], part["count"], strict=True):
        taxon = str(rows[name]["taxon"])
        numbers[taxon] = numbers.get(taxon, 0) + int(count)
    total = sum(numbers.values())
    whole = math.comb(total, 100)
    return {
        "total_individuals": total,
        "taxa_recorded": len(numbers),
        "shannon_diversity": -sum(n / total * math.log(n / total) for n in numbers.values()),
        "percent_dominant": 100 * max(numbers.values()) / total,
        "hurlbert": sum(1 - math.comb(total - n, 100) / whole for n in numbers.values())
        if whole
        else math.nan,
    }


def main() -> None:
    """Print seconds, ratio and memory."""
    samples = int(sys.argv[1]) if len(sys.argv) > 1 else SAMPLES
    counts, taxa, effort = draw_counts(samples)
    taxa_used = counts["taxon"].nunique()
    print(f"{samples} samples, {len(counts)} rows, {taxa_used} names")
    before, worked = time.perf_counter(), time.process_time()
    metrics = compute_metrics(counts, taxa, effort=effort)
    ours, worked = time.perf_counter() - before, time.process_time() - worked
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    some = counts.iloc[: min(LOOPED, samples) * TAXA_A_SAMPLE]
    before = time.perf_counter()
    looped = loop_over_samples(some, taxa)
    theirs = (time.perf_counter() - before) * samples / len(looped)
    shared = ["total_individuals", "taxa_recorded", "shannon_diversity", "percent_dominant"]
    pd.testing.assert_frame_equal(
        metrics.loc[looped.index, shared].astype(float), looped[shared].astype(float), check_names=False
    )
    tracemalloc.start()
    compute_metrics(counts, taxa, effort=effort)
    allocated = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    print(
        f"{metrics.shape[1]} columns in {ours:.2f} s, {worked:.2f} s of a processor (target under {TARGET_SECONDS:g} s)"
    )
    print(
        f"plain loop, 5 figures: {theirs:.0f} s (scaled up from {len(looped)} samples); {theirs / ours:.0f} times"
    )
    print(
        f"memory: {allocated:.0f} MiB allocated at the most beside the counts; process at most {peak:.0f} MiB"
    )


if __name__ == "__main__":
    main()
