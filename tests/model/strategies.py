"""Hypothesis strategies for survey documents: structures, photos, marks, removals, readings."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from corrosion.model.bounds import LEAST_RATIO, MOST_LENGTH

# The ends of what the format takes are drawn often: hypothesis likes bounds.
COORDINATES = st.floats(-MOST_LENGTH, MOST_LENGTH, allow_nan=False)
POSITIVE = st.floats(LEAST_RATIO, MOST_LENGTH)
NOT_NEGATIVE = st.floats(0.0, MOST_LENGTH)
POINTS = st.lists(COORDINATES, min_size=2, max_size=2)
TEXTS = st.text(st.characters(codec="utf-8"), max_size=12)
DATES = st.dates().map(str)
FACES = st.sampled_from(["outer", "inner"])


def _optional(**fields: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=fields)


def _with(
    required: dict[str, st.SearchStrategy[Any]], **optional: st.SearchStrategy[Any]
) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(required, optional=optional)


RINGS = st.lists(POINTS, min_size=3, max_size=6, unique_by=tuple)
AREAS = st.one_of(
    st.fixed_dictionaries(
        {"type": st.just("Polygon"), "coordinates": st.lists(RINGS, min_size=1, max_size=2)}
    ),
    st.fixed_dictionaries({"type": st.just("Circle"), "center": POINTS, "radius": POSITIVE}),
    _with(
        {
            "type": st.just("Ellipse"),
            "center": POINTS,
            "semi_axes": st.lists(POSITIVE, min_size=2, max_size=2),
        },
        angle_deg=st.floats(-360, 360),
    ),
)
SHAPES = st.one_of(
    AREAS,
    st.fixed_dictionaries({"type": st.just("Point"), "coordinates": POINTS}),
    st.fixed_dictionaries(
        {"type": st.just("LineString"), "coordinates": st.lists(POINTS, min_size=2, max_size=4)}
    ),
)
RUN_OUTS = st.one_of(
    st.fixed_dictionaries({"total": POSITIVE}), st.fixed_dictionaries({"per_side": POSITIVE})
)
DEPTHS = _with(
    {
        "value": NOT_NEGATIVE,
        "u": NOT_NEGATIVE,
        "method": st.sampled_from(["gauge", "ultrasonic", "shadow", "focus-travel"]),
    },
    relation=st.sampled_from(["=", ">=", "<="]),
    date=DATES,
    note=TEXTS,
)
LIMITS = st.one_of(
    st.fixed_dictionaries({"fraction": st.floats(0.001, 0.999), "source": st.just("manual, 1-2")}),
    st.fixed_dictionaries({"depth": POSITIVE, "source": st.just("para § 3 ±")}),
)


@st.composite
def marks(draw: st.DrawFn, name: str) -> dict[str, Any]:
    """Draw a mark that keeps the format's rules."""
    mark = {
        "id": name,
        "kind": draw(st.sampled_from(["pit", "blend-out", "affected", "clear"])),
        "shape": draw(SHAPES),
        "depths": draw(st.lists(DEPTHS, max_size=2)),
        "measured_from": draw(st.sampled_from(["original", "current"])),
    } | draw(
        _optional(feature=st.just("F1"), sigma_px=POSITIVE, u_edge_px=NOT_NEGATIVE, note=TEXTS, date=DATES)
    )
    if draw(st.booleans()):
        mark |= {"profile": "faired", "run_out": draw(RUN_OUTS)}
    return mark  # fmt: skip


@st.composite
def scales(draw: st.DrawFn) -> dict[str, Any]:
    """Draw one of the scale references."""
    kind = draw(st.sampled_from(["bar", "points", "card"]))
    common = draw(_optional(sigma_px=POSITIVE, height=NOT_NEGATIVE, u_height=NOT_NEGATIVE))
    if kind == "bar":
        ends = draw(st.lists(POINTS, min_size=2, max_size=2))
        more = draw(_optional(u_length=NOT_NEGATIVE, max_tilt_deg=st.floats(0, 89)))
        return {"kind": kind, "image": ends, "length": draw(POSITIVE)} | more | common
    four = draw(st.lists(POINTS, min_size=4, max_size=4))
    if kind == "card":
        return {"kind": kind, "image": four} | draw(_optional(u_size=NOT_NEGATIVE)) | common
    plane = draw(st.lists(POINTS, min_size=4, max_size=4))
    more = draw(_optional(u_plane=NOT_NEGATIVE, u_scale=NOT_NEGATIVE))
    return {"kind": kind, "image": four, "plane": plane} | more | common


@st.composite
def members(draw: st.DrawFn, name: str) -> dict[str, Any]:
    """Draw a member; its outline need not be sensible, only well-formed."""
    required = {
        "id": name,
        "kind": "skin",
        "zone": "334",
        "material": "2024-T3",
        "thickness": draw(POSITIVE),
        "outline": draw(RINGS),
    }
    zones = st.lists(
        st.fixed_dictionaries({"id": st.just("Z1"), "outline": RINGS, "limit": LIMITS}), max_size=1
    )
    return required | draw(
        _optional(
            limit=LIMITS,
            limit_zones=zones,
            thickness_measured=POSITIVE,
            clad_thickness=NOT_NEGATIVE,
            outer_view=st.sampled_from(["offset-up", "offset-down"]),
            name=TEXTS,
        )
    )  # fmt: skip


@st.composite
def surveys(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a survey document with up to two members, one photo, and removals and readings."""
    names = [f"M{i}" for i in range(draw(st.integers(1, 2)))]
    photo = {
        "id": "f1",
        "file": "photos/f1.jpg",
        "member": names[0],
        "marks": [draw(marks(f"K{i}")) for i in range(draw(st.integers(0, 2)))],
    } | draw(
        _optional(scale=scales(), face=FACES, station=st.one_of(COORDINATES, st.just("340B+1")), note=TEXTS)
    )
    removal = _with(
        {
            "id": st.just("R1"),
            "member": st.just(names[-1]),
            "face": FACES,
            "footprint": AREAS,
            "depth": st.fixed_dictionaries({"value": NOT_NEGATIVE, "u": NOT_NEGATIVE}),
            "measured_from": st.sampled_from(["original", "current"]),
        },
        date=DATES,
    )
    return {
        "format": "corrosion-survey",
        "version": 1,
        "units": draw(st.sampled_from(["mm", "in"])),
        "structure": {"name": "bench", "members": [draw(members(name)) for name in names]},
        "photos": [photo],
        "removals": draw(st.lists(removal, max_size=1)),
    } | draw(_optional(display_units=st.sampled_from(["mm", "in"])))  # fmt: skip
