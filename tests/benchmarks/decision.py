"""Time of a decision with 100,000 draws and forty actions.

Run: ``python -m tests.benchmarks.decision``. The floor is measured in the same run: drawing as many
numbers as the decision needs, and sorting them once each, which no such comparison can do without. The
exit code is 0 if the decision takes at most fifteen floors.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from corrosion.decision import decide
from tests.decision.example import EXAMPLE, decision, scattered, spread, surveyed

DRAWS = 100_000
ACTIONS = 10
MOST = 15.0


def main() -> int:
    """Print the figures; 1 where the target is missed."""
    actions = [
        {
            "id": f"W{i}",
            "member": "SK1",
            "hours": spread(5, 10 + i, 40),
            "money": spread(10, 50 + i, 300),
            "days": spread(1, 2, 6),
        }
        for i in range(ACTIONS)
    ]
    asked = decision(actions=[*EXAMPLE["actions"], *actions], draws=DRAWS)
    own, other = surveyed(pits=scattered(80)), surveyed(pits=scattered(20, seed=3), seen_width=900.0)
    decide(decision(), own, {"S1": other})
    start = time.process_time()
    result = decide(asked, own, {"S1": other})
    took = time.process_time() - start
    floor = _floor(len(result.drivers))
    print(f"{len(result.drivers)} doubtful inputs, {DRAWS:,} draws: {took:.2f} s of processor time")
    print(
        f"drawing and sorting as many numbers: {floor:.2f} s; ratio {took / floor:.1f} (at most {MOST:.0f})"
    )
    missed = took / floor > MOST
    print("FAIL" if missed else "PASS")
    return int(missed)


def _floor(inputs: int) -> float:
    rng = np.random.default_rng(1)
    start = time.process_time()
    for _ in range(inputs):
        np.sort(rng.random(DRAWS))
    return time.process_time() - start


if __name__ == "__main__":
    sys.exit(main())
