"""How fast the column kernel decides, against the bare special functions that it cannot do without.

    python -m tests.bench.kernel --rows 1000000 --rounds 9

Goals: verdict and specific risk within 3 times of `scipy.special.ndtr` on one column, and 1,000
times as fast as a loop over `scipy.stats.norm`; global risks no slower than twelve `owens_t` for
each row, on the arguments that the formula itself has, and 3 times as fast as a Gauss-Legendre rule
that is as accurate (96 nodes). The share of rows whose farther limit counts too, and so cost a
second `ndtr`, is printed: the ratio depends on it most.
"""

from __future__ import annotations

import argparse
import statistics
import time

import numpy as np
from scipy.special import ndtr, owens_t
from scipy.stats import norm

from api.rules.risk import global_risk
from api.rules.rule import BUILT_IN
from api.rules.vector import decide_columns
from tests.bench.results import interleaved, sheet, show

NODES = 96
LOOP = 2_000
RULE = BUILT_IN["guard_U"]


def specific(rows: int, rounds: int) -> None:
    value, U, k, lower, upper = columns(rows)
    u = U / k
    z = (lower - value) / u
    near = np.minimum(value - lower, upper - value) / u
    far = np.maximum(value - lower, upper - value) / u
    share = float((far * far - near * near < 75.0).mean())
    print(f"verdict and specific risk, {rows} rows, second tail in {100 * share:.0f} % of them")
    found = interleaved(
        {
            "scipy.special.ndtr on one column": lambda: ndtr(z),
            "verdict, specific risk": lambda: decide_columns(
                value, U, k, lower, upper, RULE, wanted=("specific_risk",)
            ),
            "verdict, risks, acceptance limits": lambda: decide_columns(
                value, U, k, lower, upper, RULE
            ),
        },
        rounds,
    )
    show(found, rows, "scipy.special.ndtr on one column")
    begin = time.perf_counter()
    for row in range(LOOP):
        low, high = lower[row] + U[row], upper[row] - U[row]
        _ = low <= value[row] <= high
        _ = norm.cdf(lower[row], value[row], u[row]) + norm.sf(upper[row], value[row], u[row])
    loop = (time.perf_counter() - begin) / LOOP
    ours = statistics.median(found["verdict, specific risk"]) / rows
    print(f"  a loop over scipy.stats.norm: {1e9 * loop:.0f} ns/row, {loop / ours:.0f} times ours")


def columns(rows: int) -> tuple[np.ndarray, ...]:
    frame = sheet(rows)
    return tuple(frame[name].to_numpy() for name in ("value", "U", "k", "lower", "upper"))


def joint(rows: int, rounds: int) -> None:
    _, U, k, lower, upper = columns(rows)
    mean, sd, u = (lower + upper) / 2, (upper - lower) / 4, U / k
    low, high = lower + U, upper - U
    pairs = [
        pair
        for x in (lower - mean, upper - mean)
        for y in (low - mean, high - mean)
        for pair in arguments(x, y, sd, u)
    ]
    print(f"global risks, {rows} rows")
    found = interleaved(
        {
            "twelve owens_t": lambda: [owens_t(*pair) for pair in (*pairs, *pairs[:4])],
            "global risks": lambda: global_risk(lower, upper, low, high, mean, sd, u),
            f"Gauss-Legendre, {NODES} nodes": lambda: by_nodes(
                lower, upper, low, high, mean, sd, u
            ),
        },
        rounds,
    )
    show(found, rows, "twelve owens_t")
    ours = global_risk(lower, upper, low, high, mean, sd, u)
    theirs = by_nodes(lower, upper, low, high, mean, sd, u)
    print(f"  Gauss-Legendre, for one of its three integrals, {slower(found):.1f} times ours")
    print(f"  largest difference of producer's risks: {np.abs(ours.producer - theirs).max():.1e}")


def slower(found: dict[str, list[float]]) -> float:
    pairs = zip(found[f"Gauss-Legendre, {NODES} nodes"], found["global risks"], strict=True)
    return statistics.median(theirs / ours for theirs, ours in pairs)


def arguments(x, y, sd, u) -> list[tuple[np.ndarray, np.ndarray]]:
    """The arguments of Owen's T at one corner: what the formula itself asks for."""
    h, apart = x / sd, (y - x) / u
    return [(h, apart / h), (y / np.hypot(sd, u), (h * u / sd - apart) / (y / sd))]


def by_nodes(lower, upper, low, high, mean, sd, u) -> np.ndarray:
    """Producer's risk over the tolerance interval; the consumer's needs two such integrals more."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    found = np.empty(len(lower))
    for start in range(0, len(lower), 4_096):
        some = slice(start, start + 4_096)
        half = ((upper - lower) / 2)[some, None]
        x = ((upper + lower) / 2)[some, None] + half * nodes
        inside = ndtr((high[some, None] - x) / u[some, None])
        inside -= ndtr((low[some, None] - x) / u[some, None])
        density = np.exp(-0.5 * ((x - mean[some, None]) / sd[some, None]) ** 2)
        density /= sd[some, None] * np.sqrt(2 * np.pi)
        found[some] = ((1.0 - inside) * density) @ weights * half[:, 0]
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=9)
    given = parser.parse_args()
    specific(given.rows, given.rounds)
    joint(given.rows // 20, given.rounds)
