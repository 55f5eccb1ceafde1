"""What the invented shop plans by, and what repair and replacement would cost it (planning and decision)."""

from __future__ import annotations

Json = dict[str, object]
NOTES = "VM-6 Structural Rework Notes SRN-55 (invented document)"
QUOTE = "Estimate of Brandhollow's planning desk, 2031-04-22 (invented)"


def _rule(name: str, when: list[tuple[str, str, float]], action: str, words: str, paragraph: str) -> Json:
    return {
        "id": name,
        "label": f"SRN-55 {name}",
        "applies_to": ["skin", "spar web"],
        "when": [{"quantity": q, "op": op, "value": value} for q, op, value in when],
        "action": action,
        "words": words,
        "source": NOTES,
        "edition": "rev C",
        "paragraph": paragraph,
    }


PLANNING: Json = {
    "allowance": {"depth": 0.005, "source": f"{NOTES}, para 2.4, rev C"},
    "run_out": {
        "ratio": {"total": 20.0},
        "source": f"{NOTES}, para 2.5, rev C; as AC 43.13-1B, para 6-115c",
    },
    "elongation": {"ratio": 1.5, "source": f"{NOTES}, para 2.6, rev C"},
    "edge_distance": {"distance": 6.0, "source": f"{NOTES}, para 2.7, rev C"},
    "fastener_distance": {"diameters": 2.0, "source": f"{NOTES}, para 3.4, rev C"},
    "approach": {"share": 0.9, "source": f"{NOTES}, para 1.8, rev C"},
    "rules": [
        _rule("limit", [("limit_share", "<=", 1.0)], "blend", "Remove the corrosion.", "3.6 a"),
        _rule(
            "doubler",
            [("limit_share", ">", 1.0), ("depth_share", "<=", 0.25)],
            "reinforce",
            "Fit a doubler to an approved drawing.",
            "3.6 b",
        ),
        _rule("renew", [("depth_share", ">", 0.25)], "replace member", "Renew the part.", "3.6 c"),
    ],
}


def _spread(low: float, likely: float, high: float) -> Json:
    return {"low": low, "likely": likely, "high": high}


def _work(name: str, words: str, hours: Json, money: Json, days: Json, **more: object) -> Json:
    work: Json = {"id": name, "name": words, "hours": hours, "money": money, "days": days}
    return work | {"source": QUOTE} | more


_NONE = _spread(0, 0, 0)
DECISION: Json = {
    "rates": {
        "currency": "EUR",
        "hour": _spread(82, 94, 110),
        "day": _spread(60, 120, 260),
        "source": QUOTE,
    },
    "actions": [
        _work(
            "open", "Open up and close again", _spread(30, 38, 60), _spread(150, 250, 500), _spread(4, 5, 9)
        ),
        _work(
            "sk1-doublers",
            "Lower skin: blend, two doublers",
            _spread(24, 34, 60),
            _spread(400, 600, 1100),
            _spread(4, 6, 10),
            member="SK1",
        ),
        _work(
            "sk2-rework",
            "Upper skin: doubler over the old rework",
            _spread(8, 12, 20),
            _spread(150, 250, 400),
            _spread(1, 2, 4),
            member="SK2",
        ),
        _work(
            "sp1-web",
            "Front spar web: doubler at the lower row",
            _spread(20, 32, 70),
            _spread(300, 500, 1200),
            _spread(3, 5, 10),
            member="SP1",
        ),
        _work(
            "rb2-renew",
            "Rib 3: renew, if it looks like rib 2 once opened",
            _spread(14, 20, 34),
            _spread(500, 800, 1600),
            _spread(2, 4, 8),
            member="RB2",
            needed=0.4,
        ),
        _work(
            "finish", "Treat, prime, paint", _spread(12, 16, 24), _spread(250, 400, 600), _spread(2, 3, 5)
        ),
    ],
    "hidden": {
        "hours": _spread(2, 4, 12),
        "money": _spread(20, 60, 300),
        "days": _spread(0.2, 0.4, 1.5),
        "findings": _spread(4, 14, 45),
        "source": f"{QUOTE}: photos were taken where corrosion showed, so their rate is not the whole's",
    },
    "candidates": [
        {
            "id": "new",
            "kind": "new",
            "name": "New half stabilizer from the maker",
            "price": _spread(26000, 31000, 38000),
            "days": _spread(90, 150, 300),
            "actions": [
                _work("fit", "Fit and rig", _spread(26, 34, 50), _spread(300, 500, 900), _spread(4, 5, 8))
            ],
            "source": QUOTE,
        },
        {
            "id": "second-hand",
            "kind": "second-hand",
            "name": "Second-hand half, not surveyed yet",
            "price": _spread(6500, 9000, 13000),
            "days": _spread(10, 21, 45),
            "actions": [
                _work("fit", "Fit and rig", _spread(26, 34, 50), _spread(300, 500, 900), _spread(4, 5, 8)),
                _work(
                    "open",
                    "Open, look, treat",
                    _spread(30, 44, 70),
                    _spread(300, 500, 900),
                    _spread(5, 7, 12),
                ),
            ],
            "hidden_findings": _spread(1, 8, 40),
            "source": QUOTE,
        },
    ],
    "correlation": 0.3,
    "seed": 55,
    "note": "Invented prices and hours.",
}

# Kept when blend-out B1 was begun, so that it can be held against what was planned.
PLANNED: Json = {
    "id": "plan-B1",
    "member": "SK1",
    "face": "inner",
    "footprint": {"type": "Circle", "center": [628.0, 152.0], "radius": 11.0},
    "depth": {"value": 0.066, "u": 0.01, "instrument": "DG-2"},
    "profile": "faired",
    "run_out": {"per_side": 10.0},
    "measured_from": "original",
    "origin": "planned",
    "note": "Bench card of 2031-04-18: pit 0.045 deep, its uncertainty and the clean-up allowance.",
}
