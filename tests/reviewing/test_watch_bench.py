"""Speed of the watch (-m bench --benchmark-enable)."""

from __future__ import annotations

import pytest
from watched import followed

from insights.reviewing import alarm_limits
from insights.reviewing.watch import watch
from synthetic.presets import null_shop

pytestmark = pytest.mark.bench


@pytest.mark.parametrize(
    ("jobs", "lots", "most_seconds", "most_with_limits"),
    [(100_000, 200, 3.0, 30.0), (1_000_000, 200, 10.0, 60.0)],
)
def test_a_watch_with_limits_kept(jobs, lots, most_seconds, most_with_limits, benchmark, measured):
    shop = followed(null_shop(jobs, 5, days=3650, lots=lots, technicians=12))
    kept: dict[str, float] = {}
    alarm_limits._walks.cache_clear()
    told: list[float] = []
    watch(shop, kept=kept, progress=told.append)
    assert told[-1] == pytest.approx(1.0)
    assert told == sorted(told)
    benchmark.pedantic(watch, (shop,), {"kept": kept}, rounds=3)
    measured.seconds(f"watch, limits kept, {jobs:,} jobs", benchmark, jobs=jobs)
    if benchmark.stats is not None:
        assert benchmark.stats.stats.median < most_seconds
