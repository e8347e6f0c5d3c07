"""How time and memory grow with the record: ``python tests/growth.py --most 10000000``.

Writes invented histories as Parquet, asks the command line for curves of each (units by equal
serials), prints the table that DEVELOPERS.md holds and draws it into ``dashboards/pictures/``.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from matplotlib.figure import Figure

import dashboards
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

PICTURE = Path(dashboards.__file__).with_name("pictures") / "growth.png"
SIZES = (10_000, 100_000, 1_000_000, 10_000_000)
PART = 1_000_000
OF_A_PART = ("job_id", "unit_serial", "customer")
COMMAND = "import sys; from insights.command import main; sys.exit(main(sys.argv[1:]))"


@dataclass(frozen=True)
class Measured:
    """One run of the command.

    Parameters
    ----------
    jobs
        Rows of the file.
    seconds, cpu_seconds
        By the clock, and of the processors.
    peak_gb
        The most memory held, in 10^9 bytes.
    load
        The machine's load when it began: waiting for others is in ``seconds`` only.
    """

    jobs: int
    seconds: float
    cpu_seconds: float
    peak_gb: float
    load: float


def write_history(jobs: int, path: Path) -> None:
    """Write an invented history of a size, in parts that share no job, unit or customer."""
    writer = None
    for part, start in enumerate(range(0, jobs, PART), start=1):
        made, _ = generate(cafe_workshop(jobs=min(jobs, PART) * 102 // 100, seed=part))
        table = pa.Table.from_pandas(made.jobs.head(jobs - start), preserve_index=False)
        columns = {name: _plain(table[name]) for name in table.column_names}
        for name in OF_A_PART:
            columns[name] = pc.binary_join_element_wise(columns[name], f"P{part}", "")
        typed = pa.table(columns)
        writer = writer or pq.ParquetWriter(path, typed.schema)
        writer.write_table(typed.slice(0, min(PART, jobs - start)))
    assert writer is not None
    writer.close()


def _plain(column: pa.ChunkedArray) -> pa.ChunkedArray:
    if pa.types.is_timestamp(column.type):
        return column.cast(pa.date32())
    is_number = pa.types.is_floating(column.type)
    return column if is_number else column.cast(pa.string())


def measure(path: Path, jobs: int) -> Measured:
    """Run the command on a file."""
    words = ["curves", str(path), "--by", "model", "--serials-only", "--json"]
    load, start = os.getloadavg()[0], time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", COMMAND, *words], stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    assert status == 0, f"the command failed on {path}"
    return Measured(jobs, seconds, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024 / 1e9, load)


def table_of(found: list[Measured]) -> str:
    """Write what was measured as a table."""
    lines = ["| jobs | by the clock | processor | most memory | load |", "|---|---|---|---|---|"]
    lines += [
        f"| {row.jobs:,} | {row.seconds:.1f} s | {row.cpu_seconds:.1f} s | {row.peak_gb:.2f} GB "
        f"| {row.load:.1f} |"
        for row in found
    ]
    return "\n".join(lines)


def draw(found: list[Measured], path: Path) -> None:
    """Draw processor time and memory against the number of jobs, both axes by powers of ten."""
    figure = Figure(figsize=(8, 3.4), layout="constrained")
    jobs = [row.jobs for row in found]
    drawn = (
        ("Processor seconds", [row.cpu_seconds for row in found], "s"),
        ("Most memory held", [row.peak_gb for row in found], "GB"),
    )
    for place, (title, heights, unit) in enumerate(drawn, start=1):
        axes = figure.add_subplot(1, 2, place)
        axes.loglog(jobs, heights, marker="o", color="#1f5f6b")
        for across, height in zip(jobs, heights, strict=True):
            axes.annotate(
                f"{height:.2g} {unit}" if height < 10 else f"{height:.0f} {unit}",
                (across, height),
                textcoords="offset points",
                xytext=(-5, 5),
                ha="right",
            )
        axes.set_title(title, loc="left", fontsize=11)
        axes.set_xticks(jobs, [f"{count:,}" for count in jobs], fontsize=8)
        axes.set_xlabel("jobs in the Parquet file")
        axes.margins(x=0.3, y=0.18)
        axes.spines[["top", "right"]].set_visible(False)
    figure.savefig(path, dpi=110)


def main() -> None:
    """Measure, print, draw."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=SIZES[-2], help="the largest record")
    most = parser.parse_args().most
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for jobs in (size for size in SIZES if size <= most):
            path = Path(folder) / f"{jobs}.parquet"
            write_history(jobs, path)
            found.append(measure(path, jobs))
            path.unlink()
            print(table_of(found[-1:]).splitlines()[-1], flush=True)
    print(table_of(found))
    draw(found, PICTURE)


if __name__ == "__main__":
    main()
