"""Processor time and memory of summing 1,000 blend-outs, and how both grow.

Run: ``python tests/benchmarks/assess.py``. Prints processor seconds, peak memory and two ratios from the
same run: sixteen times the member's area at the same marked area should cost the same, four times the
marked area about four times as much.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np

from corrosion.model import Removal, SurveyFile, parse_survey
from corrosion.survey import assess

SECONDS_FLOOR = 10.0
MEMORY_FLOOR_MB = 1024.0


def survey(count: int, length: float, width: float, radius: tuple[float, float]) -> SurveyFile:
    """Scatter `count` blend-outs over a member, on both faces, of every profile and rule."""
    rng = np.random.default_rng(20310417)
    removals = []
    for number in range(count):
        a = float(rng.uniform(*radius))
        kind = ("flat", "dished", "faired")[number % 3]
        removals.append(
            {
                "id": f"R{number}",
                "member": "M",
                "face": ("outer", "inner")[int(rng.integers(2))],
                "footprint": {
                    "type": "Ellipse",
                    "center": [float(rng.uniform(a, length - a)), float(rng.uniform(a, width - a))],
                    "semi_axes": [a, float(a * rng.uniform(0.4, 1.0))],
                    "angle_deg": float(rng.uniform(0, 180)),
                },
                "depth": {"value": float(rng.uniform(0.01, 0.08)), "u": 0.004, "instrument": "DG"},
                "profile": kind,
                "run_out": {"total": 20} if kind == "faired" else None,
                "measured_from": ("original", "current")[int(rng.integers(2))],
                "date": f"20{25 + number % 6}-05-01",
            }
        )
    return parse_survey(
        {
            "format": "corrosion-survey",
            "version": 1,
            "units": "mm",
            "structure": {
                "name": "benchmark",
                "members": [
                    {
                        "id": "M",
                        "kind": "skin",
                        "zone": "334",
                        "material": "2024-T3",
                        "thickness": 1.6,
                        "outline": [[0, 0], [length, 0], [length, width], [0, width]],
                        "limit": {"fraction": 0.1, "source": "invented"},
                    }
                ],
            },
            "instruments": [{"id": "DG", "u_systematic": 0.003}],
            "removals": removals,
        }
    )


def with_unknown(what: SurveyFile) -> SurveyFile:
    """Add what a blend-out of an earlier survey leaves whose place is unknown: at least 0 on all of it."""
    member = what.structure.members[0]
    record = {
        "id": "unknown", "member": member.id, "face": "outer", "depth": {"value": 0.0, "u": 0.0},
        "footprint": {"type": "Polygon", "coordinates": [[*member.outline, member.outline[0]]]},
        "relation": ">=", "measured_from": "current", "date": "2024-05-01",
    }  # fmt: skip
    return what.model_copy(update={"removals": [Removal.model_validate(record), *what.removals]})


def timed(label: str, what: SurveyFile) -> float:
    """Assess and print."""
    start = time.process_time()
    member = assess(what).members[0]
    seconds = time.process_time() - start
    deepest = member.deepest.removed.value if member.deepest else 0.0
    print(
        f"{label:<42} {seconds:6.2f} s   deepest {deepest:.4f} mm (+{member.cell_error_mm:.4f} at most), "
        f"cell {member.cell_mm:.2f} mm"
    )
    return seconds


def main() -> int:
    """Print the figures; 1 where a floor is missed."""
    timed("warm-up, 20 blend-outs", survey(20, 3000, 1000, (5, 20)))
    base = timed("1,000 blend-outs on 3 m x 1 m", survey(1000, 3000, 1000, (5, 20)))
    wide = timed("same marks, 12 m x 4 m", survey(1000, 12000, 4000, (5, 20)))
    unknown = timed(
        "under a record of unknown depth and place", with_unknown(survey(1000, 3000, 1000, (5, 20)))
    )
    big = timed("marks twice as long and wide, 3 m x 1 m", survey(1000, 3000, 1000, (10, 40)))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(
        f"sixteen times the member: x{wide / base:.2f}; four times the marks: x{big / base:.2f}; "
        f"under an unknown record: x{unknown / base:.2f}"
    )
    print(f"peak memory {peak:.0f} MiB")
    missed = base > SECONDS_FLOOR or peak > MEMORY_FLOOR_MB
    print("FAIL" if missed else "PASS", f"(floors {SECONDS_FLOOR:.0f} s, {MEMORY_FLOOR_MB:.0f} MiB)")
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
