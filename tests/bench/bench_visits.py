"""Next season's visits on a made-up network: 200 visits chosen, beside what reading and assessing take.

The survey is that of `bench_whole.py`. Usage: python tests/bench/bench_visits.py [reaches ...]
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

VISITS = 200


def run(folder: Path) -> None:
    """Assess one survey, choose the visits, and print what each part took."""
    from watershedmap.assessment import assess  # noqa: PLC0415 - a process of its own measures memory
    from watershedmap.planning.visits import plan_visits  # noqa: PLC0415 - the same
    from watershedmap.render.visits import make_table, tell_plan  # noqa: PLC0415 - the same

    times = [time.perf_counter()]
    assessment = assess(folder)
    times.append(time.perf_counter())
    plan = plan_visits(assessment, assessment.survey.settings.plan, visits=VISITS)
    times.append(time.perf_counter())
    make_table(plan, decimals=assessment.index.decimals)
    tell_plan(plan)
    times.append(time.perf_counter())
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    parts = "".join(f"{seconds:9.1f}" for seconds in np.diff(times))
    print(
        f"{len(assessment.reaches):9d}{len(assessment.sites):7d}{len(plan.visits):8d}{parts}"
        f"{times[-1] - times[0]:9.1f}{time.process_time():10.1f}{memory:8.0f}{plan.balance:9.3f}{plan.random_balance:9.3f}",
        flush=True,
    )


def main(sizes: list[int]) -> None:
    """Print one line a size; each in a process of its own."""
    from bench_whole import write_survey  # noqa: PLC0415 - found beside this file when it is run

    print("  reaches  sites  visits   assess     plan    write    total processor      MB  balance   random")
    for size in sizes:
        with tempfile.TemporaryDirectory() as scratch:
            write_survey(Path(scratch), size)
            process = multiprocessing.get_context("spawn").Process(target=run, args=(Path(scratch),))
            process.start()
            process.join()


if __name__ == "__main__":
    main([int(float(word)) for word in sys.argv[1:]] or [1_000, 10_000, 100_000])
