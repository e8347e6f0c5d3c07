"""The verbs `counts` and `pool`: a branch's counts to hand on, and several branches' as one."""

from __future__ import annotations

import argparse
from pathlib import Path

from insights import as_json, tables
from insights.errors import RequestError
from insights.survival.branches import (
    branch_counts,
    pool_branches,
    pooled_causes,
    read_counts,
    write_counts,
)
from insights.verbs.answer import Answer
from insights.verbs.asked import DAYS, days_of, names_of, selected
from insights.wording import pool as wording_pool


def counts_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `counts`."""
    parser.add_argument("--by", metavar="COLUMNS", help="count the groups of these columns apart")
    parser.add_argument("--branch", metavar="NAME", required=True, help="the branch's name")
    parser.add_argument("--to", metavar="FILE.json", required=True, help="the file to write")


def count(args: argparse.Namespace) -> Answer:
    """Write a branch's counts."""
    if Path(args.to).exists():
        raise RequestError(f"{args.to} is there already. Name a new file.")
    counts = branch_counts(selected(args), names_of(args.by) or (), branch=args.branch)
    write_counts(counts, args.to)
    data = {
        "file": args.to,
        "branch": counts.branch,
        "jobs": counts.table.job_count,
        "by": counts.table.by,
        "single_job_groups": counts.alone,
        "notes": as_json.notes(counts.notes),
    }
    return Answer(data, wording_pool.of_counts(counts, args.to))


def pool_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `pool`; the rules of the clock are in the files."""
    parser.add_argument(
        "files", metavar="FILE.json", nargs="+", help="counts that `staysfixed counts` wrote"
    )
    parser.add_argument(
        "--at", default=DAYS, metavar="DAYS", help="back by these days (%(default)s)"
    )


def pool(args: argparse.Namespace) -> Answer:
    """Say what several branches' counts say together, in all and by root cause."""
    pooled = pool_branches([read_counts(file) for file in args.files])
    causes = pooled_causes(pooled, days_of(args.at))
    data = {
        **as_json.causes(causes),
        "branches": pooled.branches,
        "follow": pooled.follow,
        "count": pooled.count,
        "grace_days": pooled.grace_days,
    }
    listed = (
        ("Branches", tables.of_branches(pooled)),
        ("Share back", tables.of_curves(causes.total, every_day=True)),
        ("By root cause", tables.of_causes(causes, every_day=True)),
    )
    return Answer(data, wording_pool.of_pooled(pooled, causes), listed)
