"""The order of restoration need on a made-up network: reaches and sub-watersheds, beside reading and assessing.

The survey is that of `bench_whole.py`, in which next to nothing is degraded; so that there is something to
rank, every reach is then given a random score over all classes, which is far more than any survey assesses.
Usage: python tests/bench/bench_planning.py [reaches ...]
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from watershedmap.assessment import Assessment


def degrade(assessment: Assessment) -> Assessment:
    """Give every reach a score over all classes, with an error as if it were inferred."""
    from watershedmap.condition.probability import rate_classes  # noqa: PLC0415 - a process of its own
    from watershedmap.scoring.classes import classify  # noqa: PLC0415 - the same

    reaches, size = assessment.reaches.copy(), len(assessment.reaches)
    score = pd.Series(np.random.default_rng(3).uniform(3.0, 8.0, size), index=reaches.index)
    reaches["score"], reaches["score_se"], reaches["score_df"] = score, 0.5, 20.0
    reaches["class"] = classify(score, assessment.index)
    chances = rate_classes(pd.DataFrame(reaches[["score", "score_se", "score_df"]]), assessment.index)
    reaches[chances.columns] = chances
    reaches["evidence"] = np.where(reaches["evidence"] == "measured", "measured", "inferred")
    return replace(assessment, reaches=reaches)


def run(folder: Path) -> None:
    """Assess one survey, rank what is degraded, and print what each part took."""
    from watershedmap.assessment import assess  # noqa: PLC0415 - a process of its own measures memory
    from watershedmap.cli.rank import _write_table  # noqa: PLC0415 - the same
    from watershedmap.planning.ranking import rank_areas, rank_reaches  # noqa: PLC0415 - the same

    begin = time.perf_counter()
    assessment = degrade(assess(folder))
    times = [time.perf_counter()]
    ranking = rank_reaches(assessment)
    times.append(time.perf_counter())
    rank_areas(assessment)
    times.append(time.perf_counter())
    _write_table(ranking, assessment)
    times.append(time.perf_counter())
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    parts = "".join(f"{seconds:9.1f}" for seconds in [times[0] - begin, *np.diff(times)])
    ranked = int(ranking.items["rank"].notna().sum())
    print(
        f"{len(ranking.items):9d}{ranked:8d}{ranking.draws:7d}{parts}{times[-1] - begin:9.1f}{memory:8.0f}",
        flush=True,
    )


def main(sizes: list[int]) -> None:
    """Print one line a size; each in a process of its own."""
    from bench_whole import write_survey  # noqa: PLC0415 - found beside this file when it is run

    print("  reaches  ranked  draws   assess  reaches    areas    table    total      MB")
    for size in sizes:
        with tempfile.TemporaryDirectory() as scratch:
            write_survey(Path(scratch), size)
            process = multiprocessing.get_context("spawn").Process(target=run, args=(Path(scratch),))
            process.start()
            process.join()


if __name__ == "__main__":
    main([int(float(word)) for word in sys.argv[1:]] or [1_000, 10_000, 100_000])
