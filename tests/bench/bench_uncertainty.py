"""Coverage of the 90 % intervals on simulated communities, and speed beside a plain resampling loop.

Every sample comes from a community of its own: 25 families with shares drawn at random (uneven, as streams are)
and the index known from the shares. Rows say in how many of 2,000 samples the interval holds that index.
Usage: python tests/bench/bench_uncertainty.py
"""

from __future__ import annotations

import resource
import statistics
import time

import numpy as np
import pandas as pd

from watershedmap.scoring.indices import (
    ASPT,
    BMWP,
    FAMILY_BIOTIC_INDEX,
    STREAMSIDE_RATING,
    fix_definition,
    score_index,
)
from watershedmap.scoring.multimetric import list_examples, read_definition
from watershedmap.scoring.scales import MultimetricIndex
from watershedmap.scoring.spread import metric_intervals
from watershedmap.scoring.uncertainty import score_intervals
from watershedmap.taxa import resolve

NAMES = [
    "Leuctridae",
    "Perlidae",
    "Pteronarcyidae",
    "Nemouridae",
    "Chloroperlidae",
    "Baetidae",
    "Heptageniidae",
    "Ephemerellidae",
    "Caenidae",
    "Leptophlebiidae",
    "Hydropsychidae",
    "Rhyacophilidae",
    "Glossosomatidae",
    "Limnephilidae",
    "Philopotamidae",
    "Elmidae",
    "Psephenidae",
    "Corydalidae",
    "Chironomidae",
    "Simuliidae",
    "Tipulidae",
    "Psychodidae",
    "Asellidae",
    "Gammaridae",
    "Libellulidae",
]
SAMPLES = 2_000
MANY = 10_000
DRAWS = 1_000
REPEATS = 3


def draw_communities(
    samples: int, individuals: int, *, evenness: float, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Draw shares of families, one row a sample, and the counts of a sample from each."""
    random = np.random.default_rng(seed)
    shares = random.dirichlet(np.full(len(NAMES), evenness), size=samples)
    return shares, random.multinomial(individuals, shares)


def make_counts(table: np.ndarray) -> pd.DataFrame:
    """Write a table of samples by families as a table of counts."""
    row, column = np.nonzero(table)
    ids = np.array([f"s{number:05d}" for number in range(len(table))])
    return pd.DataFrame(
        {"sample_id": ids[row], "taxon": np.array(NAMES)[column], "count": table[row, column]}
    )


def print_coverage(taxa: pd.DataFrame) -> None:
    """Print how often the interval of the index holds the true one, and what lies on either side."""
    print(f"coverage of the 90 % interval of the family biotic index, {SAMPLES} samples a row, in percent")
    print(
        f"{'evenness':>8s} {'values':>8s} {'n':>5s} {'inside':>7s} {'below':>6s} {'above':>6s} {'none':>5s}"
    )
    tenths = np.round(np.random.default_rng(5).uniform(0, 10, len(NAMES)), 1)
    for evenness in (0.3, 1.0):
        for label, values in (("whole", taxa["tolerance"].loc[NAMES].to_numpy()), ("tenths", tenths)):
            table = taxa.loc[NAMES].assign(tolerance=values)
            for individuals in (100, 200, 500):
                shares, drawn = draw_communities(SAMPLES, individuals, evenness=evenness, seed=individuals)
                found = score_intervals(make_counts(drawn), table, FAMILY_BIOTIC_INDEX)
                truth = shares @ values
                print_row(f"{evenness:8.1f} {label:>8s}", individuals, found, truth)


def print_row(what: str, individuals: int, found: pd.DataFrame, truth: np.ndarray) -> None:
    """Print in how many samples the truth lies within, below and above the interval."""
    low, high = found["score_low"].to_numpy(), found["score_high"].to_numpy()
    figures = [(truth >= low) & (truth <= high), truth < low, truth > high, np.isnan(low)]
    inside, below, above, none = (100 * figure.mean() for figure in figures)
    print(f"{what} {individuals:5d} {inside:7.1f} {below:6.1f} {above:6.1f} {none:5.1f}", flush=True)


def print_classes(taxa: pd.DataFrame) -> None:
    """Print how often the true class is the stated one, by the probability stated for it."""
    shares, drawn = draw_communities(SAMPLES, 200, evenness=1.0, seed=7)
    values = taxa["tolerance"].loc[NAMES].to_numpy()
    chances = score_intervals(make_counts(drawn), taxa, FAMILY_BIOTIC_INDEX).filter(like="probability_")
    limits = np.array(FAMILY_BIOTIC_INDEX.limits) + 0.005
    true = np.searchsorted(limits, shares @ values, side="right")
    print("\nclass probabilities: stated beside come true, n = 200")
    stated = chances.to_numpy().ravel()
    came = (true[:, None] == np.arange(chances.shape[1])).ravel()
    for low, high in ((0.05, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.95)):
        held = (stated >= low) & (stated < high)
        print(
            f"  {low:.2f} to {high:.2f}: {stated[held].mean():.3f} {came[held].mean():.3f} ({held.sum()} cases)"
        )


def print_metrics(taxa: pd.DataFrame) -> None:
    """Print coverage of metrics: of the value that is expected from as many individuals."""
    names = ["taxa_richness", "ept_richness", "percent_ept", "shannon_diversity", "simpson_diversity"]
    print(f"\ncoverage of 90 % intervals of metrics, {SAMPLES} samples, evenness 0.3 and 1.0, in percent")
    for individuals in (100, 200, 500):
        row = []
        for evenness in (0.3, 1.0):
            shares, drawn = draw_communities(SAMPLES, individuals, evenness=evenness, seed=individuals + 1)
            found = metric_intervals(make_counts(drawn), taxa, names)
            truth = expect_metrics(shares, individuals, taxa)
            for name in names:
                low, high = found[f"{name}_low"].to_numpy(), found[f"{name}_high"].to_numpy()
                row.append(f"{name} {100 * ((truth[name] >= low) & (truth[name] <= high)).mean():.1f}")
        print(f"  n = {individuals}: " + ", ".join(row), flush=True)
    print("\ncoverage of 90 % intervals of other indices, 400 samples, evenness 0.3, in percent")
    shares, drawn = draw_communities(400, 200, evenness=0.3, seed=9)
    again = np.random.default_rng(11).multinomial(200, np.repeat(shares, 50, axis=0))
    examples = [read_definition(path)[0] for path in list_examples()]
    for index in (BMWP, ASPT, STREAMSIDE_RATING, *(one for one in examples if one is not None)):
        before = time.perf_counter()
        found = score_intervals(make_counts(drawn), taxa, index)
        seconds = time.perf_counter() - before
        fixed = None
        if isinstance(index, MultimetricIndex):
            fixed = fix_definition(index, make_counts(drawn), taxa)
        value = score_index(index.name, make_counts(again), taxa, definition=fixed)["score"].to_numpy()
        truth = np.nanmean(value.reshape(400, 50), axis=1)
        print_row(f"  {index.name:18s} {seconds:5.2f} s", 200, found, truth)


def expect_metrics(shares: np.ndarray, individuals: int, taxa: pd.DataFrame) -> dict[str, np.ndarray]:
    """Return the metrics expected from a number of individuals of each community."""
    found = 1 - (1 - shares) ** individuals
    ept = taxa["ept"].loc[NAMES].to_numpy(dtype=bool)
    random = np.random.default_rng(3)
    again = random.multinomial(individuals, np.repeat(shares, 100, axis=0)) / individuals
    terms = again * np.log(np.where(again > 0, again, 1))
    return {
        "taxa_richness": found.sum(axis=1),
        "ept_richness": found[:, ept].sum(axis=1),
        "percent_ept": 100 * shares[:, ept].sum(axis=1),
        "shannon_diversity": -terms.sum(axis=1).reshape(len(shares), 100).mean(axis=1),
        "simpson_diversity": (1 - (shares**2).sum(axis=1)) * (1 - 1 / individuals),
    }


def print_speed(taxa: pd.DataFrame) -> None:
    """Print seconds for many samples, ours and a loop that draws the individuals of each sample again."""
    _, drawn = draw_communities(MANY, 300, evenness=0.3, seed=4)
    counts = make_counts(drawn)
    values = taxa["tolerance"].loc[NAMES].to_numpy()
    random = np.random.default_rng(5)
    tenths = taxa.loc[NAMES].assign(tolerance=np.round(random.uniform(0, 10, len(NAMES)), 1))
    print(f"\nspeed, {MANY} samples of 300 individuals, {len(counts)} rows of counts")
    for label, table in (("whole values", taxa), ("values in tenths", tenths)):
        times = []
        for _ in range(REPEATS):
            before, used = time.perf_counter(), time.process_time()
            score_intervals(counts, table, FAMILY_BIOTIC_INDEX)
            times.append((time.perf_counter() - before, time.process_time() - used))
        wall, cpu = (statistics.median(column) for column in zip(*times, strict=True))
        print(f"  score_intervals, {label}: {wall:.2f} s ({cpu:.2f} s of processor)")
    before, used = time.perf_counter(), time.process_time()
    for row in drawn:
        means = random.multinomial(row.sum(), row / row.sum(), size=DRAWS) @ values / row.sum()
        np.quantile(means, [0.05, 0.95])
    by_counts, cpu = time.perf_counter() - before, time.process_time() - used
    before = time.perf_counter()
    for row in drawn[:: MANY // 200]:
        animals = np.repeat(values, row)
        means = random.choice(animals, size=(DRAWS, len(animals))).mean(axis=1)
        np.quantile(means, [0.05, 0.95])
    by_animals = (time.perf_counter() - before) * MANY / 200
    print(
        f"  loop of {DRAWS} multinomial draws of counts a sample: {by_counts:.1f} s ({cpu:.1f} s of processor)"
    )
    print(f"  loop of {DRAWS} draws of animals a sample: {by_animals:.1f} s (200 samples, scaled up)")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  peak memory of this script: {peak:.0f} MB")


def main() -> None:
    """Print coverage, then speed."""
    taxa = resolve(NAMES)
    print_speed(taxa)
    print_coverage(taxa)
    print_classes(taxa)
    print_metrics(taxa)


if __name__ == "__main__":
    main()
