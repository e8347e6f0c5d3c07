"""An invented shop whose units are known, to hold the linking against."""

import numpy as np
import pandas as pd

from insights.history.schema import History, to_schema

LETTERS = np.array(list("ABCDEFGHJKLMNPRSTUVWXYZ"))


def invented_shop(
    jobs: int,
    seed: int,
    *,
    mistyped: float = 0.05,
    unread: float = 0.02,
    two_slips: float = 0.0,
    several: float = 0.25,
    together: float = 0.3,
    moved: float = 0.03,
) -> tuple[History, np.ndarray]:
    """Make a history and the true unit of each job.

    Units come back 0, 1, 2, ... times; a share `several` of customers owns up to eight units, a
    share `together` of which were bought on one day, of one model with serials in a row.
    """
    random = np.random.default_rng(seed)
    owners = max(1, int(jobs * 0.42))
    owned = np.where(random.random(owners) < several, random.integers(2, 9, owners), 1)
    owner = np.repeat(np.arange(owners), owned)
    units = len(owner)
    model = random.choice(12, units, p=random.dirichlet(np.full(12, 3.0)))
    number = random.integers(100_000, 999_999, units)
    born = random.uniform(-8, 0, units)
    suffix = random.choice(LETTERS, units)
    follows = np.flatnonzero((owner[1:] == owner[:-1]) & (random.random(units - 1) < together)) + 1
    for unit in follows:
        model[unit], born[unit] = model[unit - 1], born[unit - 1]
        suffix[unit] = suffix[unit - 1]
        number[unit] = number[unit - 1] + random.integers(1, 4)
    unit = np.sort(random.integers(0, units, jobs))
    received = random.integers(0, 4 * 365, jobs)
    order = np.lexsort((received, unit))
    received = received[order]
    same = np.append(False, unit[1:] == unit[:-1])
    for _ in range(30):
        clash = same & (received < np.append(0, received[:-1] + 5))
        if not clash.any():
            break
        received[clash] = received[np.flatnonzero(clash) - 1] + 5
    serial = np.array(
        [f"{n:06d}-{s}" for n, s in zip(number[unit], suffix[unit], strict=True)], dtype=object
    )
    spoil(serial, np.flatnonzero(random.random(jobs) < mistyped), random)
    spoil(serial, np.flatnonzero(random.random(jobs) < two_slips), random, times=2)
    serial[random.random(jobs) < unread] = "n/a"
    phone = 1_000_000 + owner[unit] * 7
    phone = np.where(random.random(jobs) < moved, phone + 3, phone)
    frame = pd.DataFrame(
        {
            "received": pd.Timestamp("2021-01-04") + pd.to_timedelta(received, unit="D"),
            "handed_back": pd.Timestamp("2021-01-07") + pd.to_timedelta(received, unit="D"),
            "model": np.char.add("Boiler ", model[unit].astype(str)),
            "unit_serial": serial,
            "customer": np.char.add("K", owner[unit].astype(str)),
            "phone": phone.astype(str),
            "postcode": np.char.add("Z", (owner[unit] % 3000).astype(str)),
            "unit_age_years": np.maximum(
                0, np.round(received / 365.25 - born[unit] + random.normal(0, 0.4, jobs), 1)
            ),
            "earlier_repair": np.where(
                random.random(jobs) < 0.4, "unknown", np.where(same, "here", "never")
            ),
        }
    )
    shuffle = np.argsort(received, kind="stable")
    frame, truth = frame.take(shuffle).reset_index(drop=True), unit[shuffle]
    frame.insert(0, "job_id", [f"J{n:07d}" for n in range(jobs)])
    return History(to_schema(frame)), truth


def spoil(
    serial: np.ndarray, rows: np.ndarray, random: np.random.Generator, times: int = 1
) -> None:
    """Mistype serials: a character wrong, left out, doubled, or two swapped."""
    for row in np.repeat(rows, times):
        text, at = serial[row], random.integers(0, len(serial[row]) - 1)
        kind = random.integers(4)
        if kind == 0:
            other = str(random.integers(10))
            text = text[:at] + other + text[at + 1 :]
        elif kind == 1:
            text = text[:at] + text[at + 1 :]
        elif kind == 2:
            text = text[:at] + text[at] + text[at:]
        else:
            text = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
        serial[row] = text


def same_unit_pairs(unit: np.ndarray) -> int:
    """Count pairs of jobs in one unit."""
    size = np.bincount(pd.factorize(unit)[0]).astype(np.int64)
    return int((size * (size - 1) // 2).sum())


def consecutive_links(history: History, unit: np.ndarray) -> set[tuple[int, int]]:
    """Each unit's visits, as pairs of one and the next."""
    order = np.lexsort((history.jobs["received"].to_numpy(), unit))
    again = np.flatnonzero(unit[order][1:] == unit[order][:-1])
    return set(zip(order[again].tolist(), order[again + 1].tolist(), strict=True))


def precision_and_recall(
    history: History, found: np.ndarray, truth: np.ndarray
) -> tuple[float, float]:
    """Share of the links found that are true, and of the true ones that were found."""
    mine, theirs = consecutive_links(history, found), consecutive_links(history, truth)
    right = len(mine & theirs)
    return right / len(mine), right / len(theirs)
