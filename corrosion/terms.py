"""The vocabulary of the trade, and the registry of flags that travel with a number."""

from __future__ import annotations

from enum import StrEnum


class Face(StrEnum):
    """Side of a member; both share one layout frame."""

    OUTER = "outer"
    INNER = "inner"


class View(StrEnum):
    """How a photo was taken."""

    FLASHLIGHT = "flashlight"
    BORESCOPE = "borescope"
    DAYLIGHT = "daylight"


class MarkKind(StrEnum):
    """What a mark on a photo outlines."""

    PIT = "pit"
    BLEND_OUT = "blend-out"
    AFFECTED = "affected"
    CLEAR = "clear"


class MeasuredFrom(StrEnum):
    """The surface a depth was measured from (design.md section 4)."""

    ORIGINAL = "original"
    CURRENT = "current"


class ProfileKind(StrEnum):
    """How the depth of a removal falls off towards its outline."""

    FLAT = "flat"
    DISHED = "dished"
    FAIRED = "faired"


class DepthMethod(StrEnum):
    """How a depth was read."""

    GAUGE = "gauge"
    MICROMETER = "micrometer"
    CALLIPER = "calliper"
    ULTRASONIC = "ultrasonic"
    FOCUS_TRAVEL = "focus-travel"
    SHADOW = "shadow"


INDICATIVE_METHODS = frozenset({DepthMethod.FOCUS_TRAVEL, DepthMethod.SHADOW})
"""Methods that read light, not metal: they may not prove a depth is within a limit."""


class Relation(StrEnum):
    """Whether a reading is a value or only a bound."""

    EQUAL = "="
    AT_LEAST = ">="
    AT_MOST = "<="


class Origin(StrEnum):
    """Where a removal entry comes from."""

    SURVEY = "survey"
    EARLIER = "earlier"
    PLANNED = "planned"


class Verdict(StrEnum):
    """How a value stands against a limit (design.md section 2)."""

    WITHIN = "within"
    TOO_CLOSE = "too close to call"
    OVER = "over"
    NOT_DETERMINED = "not determined"


VERDICT_ORDER = (Verdict.WITHIN, Verdict.NOT_DETERMINED, Verdict.TOO_CLOSE, Verdict.OVER)
"""From best to worst, for rolling many verdicts up into one: see `worst_verdict`."""


def worst_verdict(verdicts: list[Verdict]) -> Verdict:
    """Return the worst of `verdicts`; nothing to judge is *not determined*.

    A part is within its limits only when every place on it is: one undetermined place outranks any
    number of places within, and one place over its limit outranks everything.
    """
    if not verdicts:
        return Verdict.NOT_DETERMINED
    return max(verdicts, key=VERDICT_ORDER.index)


class SpliceFastener(StrEnum):
    """Fasteners of the published splice tables (AC 43.13-1B), by nominal diameter in inches."""

    RIVET_3_32 = "3/32 rivet"
    RIVET_1_8 = "1/8 rivet"
    RIVET_5_32 = "5/32 rivet"
    RIVET_3_16 = "3/16 rivet"
    RIVET_1_4 = "1/4 rivet"
    BOLT_AN3 = "AN-3 bolt"


class SpliceJoint(StrEnum):
    """What is spliced; notes a, b and c of those tables allow fewer fasteners for some."""

    SHEET = "sheet, the whole count"
    UPPER_STRINGER = "stringer in the upper wing surface or fuselage"
    INTERMEDIATE_FRAME = "intermediate frame"
    SINGLE_LAP = "single-lap sheet joint"


class Flag(StrEnum):
    """Reasons to doubt a number. `FLAG_MEANING` has the words for a reader."""

    EXTRAPOLATED = "extrapolated"
    TILT_ASSUMED = "tilt-assumed"
    TILT_NOT_STATED = "tilt-not-stated"
    NO_RESIDUAL = "no-residual"
    RESIDUAL_HIGH = "residual-high"
    REFERENCE_RAISED = "reference-raised"
    TOLERANCE_NOT_STATED = "tolerance-not-stated"
    LENS_UNKNOWN = "lens-unknown"
    LENS_NOT_CONFIRMED = "lens-not-confirmed"
    LENS_BEYOND_FIELD = "lens-beyond-field"
    LENS_FROM_EDGE = "lens-from-edge"
    TRUNCATED = "truncated"
    FIRST_ORDER_DOUBTFUL = "first-order-doubtful"
    INDICATIVE = "indicative"
    BY_LIGHT_RULE = "by-light-rule"
    LOWER_BOUND = "lower-bound"
    UPPER_BOUND = "upper-bound"
    NO_DEPTH = "no-depth"
    LAYOUT_SCALE = "layout-scale"
    SCALE_DISAGREES = "scale-disagrees"
    SIDE_ASSUMED = "side-assumed"
    PLUG_UNKNOWN = "plug-unknown"
    NOMINAL_THICKNESS = "nominal-thickness"
    NOT_STAR_SHAPED = "not-star-shaped"
    RUN_OUT_DOES_NOT_FIT = "run-out-does-not-fit"
    OUTSIDE_MEMBER = "outside-member"
    THROUGH_CLAD = "through-clad"
    READING_GOVERNS = "reading-governs"
    READINGS_DISAGREE = "readings-disagree"
    DOUBLE_COUNT = "possible-double-count"
    DATE_ASSUMED = "date-assumed"
    TILT_DIRECTION_UNKNOWN = "tilt-direction-unknown"
    PERSPECTIVE_FITTED = "perspective-fitted"
    RULE_UNCHECKED = "rule-unchecked"
    PRINT_ONE_WAY = "print-one-way"


FLAG_MEANING: dict[Flag, str] = {
    Flag.EXTRAPOLATED: "The mark lies outside the scale reference; uncertainty grows with distance.",
    Flag.TILT_ASSUMED: "A bar cannot see tilt; the stated largest tilt is in the uncertainty.",
    Flag.TILT_NOT_STATED: "No largest tilt was stated for the bar, so no uncertainty can be given.",
    Flag.NO_RESIDUAL: "The points leave no residual: a wrongly placed one cannot be noticed.",
    Flag.RESIDUAL_HIGH: "The reference points do not fit one plane as well as their clicks should.",
    Flag.REFERENCE_RAISED: "The reference stands above the surface; parallax was corrected or widened.",
    Flag.TOLERANCE_NOT_STATED: "The reference's own tolerance was not stated and counts as zero.",
    Flag.LENS_UNKNOWN: "A borescope picture without a lens profile: distortion is not corrected.",
    Flag.LENS_NOT_CONFIRMED: "Photo or lens profile does not say for which device, tip, focus or distance.",
    Flag.LENS_BEYOND_FIELD: "The mark reaches where the lens was not calibrated: no board was seen there.",
    Flag.LENS_FROM_EDGE: "The lens profile rests on one straight edge; its focal length is not known.",
    Flag.TRUNCATED: "The mark touches the border of the picture; the feature may go on.",
    Flag.FIRST_ORDER_DOUBTFUL: "The uncertainty is large; it comes from random draws, not first order.",
    Flag.BY_LIGHT_RULE: "Read from light or focus, not from metal; the survey's own rule lets it count.",
    Flag.INDICATIVE: "Read from light or focus, not from metal; it cannot prove a depth within limits.",
    Flag.LOWER_BOUND: "The true value is at least this.",
    Flag.UPPER_BOUND: "The true value is at most this.",
    Flag.NO_DEPTH: "No depth was read; a photo alone never gives one.",
    Flag.LAYOUT_SCALE: "The layout drawing is the only scale of this photo.",
    Flag.SCALE_DISAGREES: "The photo's scale and the layout points disagree on distance.",
    Flag.SIDE_ASSUMED: "Two points cannot tell a mirror view; the side was taken from where marks fall.",
    Flag.PLUG_UNKNOWN: "The station's plug is not in the structure's table; it counts as unplugged.",
    Flag.NOMINAL_THICKNESS: "The limit rests on nominal, not measured, thickness.",
    Flag.NOT_STAR_SHAPED: "A dish cannot fill this outline; full depth to the outline was assumed.",
    Flag.RUN_OUT_DOES_NOT_FIT: "The outline is too small for the stated run-out; a steeper one was used.",
    Flag.OUTSIDE_MEMBER: "Part of the outline lies outside the member and was cut off.",
    Flag.THROUGH_CLAD: "The removal reaches through the clad layer.",
    Flag.READING_GOVERNS: "A thickness reading shows more removed than the entries add up to.",
    Flag.READINGS_DISAGREE: "A thickness reading and the entries disagree beyond their uncertainty.",
    Flag.DOUBLE_COUNT: "Marks in different photos overlap; name one feature on both if they are one.",
    Flag.DATE_ASSUMED: "The entry has no date; it was applied in file order.",
    Flag.TILT_DIRECTION_UNKNOWN: "A disc cannot tell which side is farther; the uncertainty holds both.",
    Flag.PERSPECTIVE_FITTED: "The rule's ticks draw together with distance; the tilt was fitted to them.",
    Flag.RULE_UNCHECKED: "No labelled marks confirm the rule's tick; half or twice of it would pass.",
    Flag.PRINT_ONE_WAY: "One check bar of the printed sheet was measured; the other is taken as equal.",
}


DENSITY_KG_PER_MM3: dict[str, float] = {
    # Aluminum Design Manual Table 4.3 (g/cm3); published-values.md section 6.
    "2024": 2.78e-6,
    "7075": 2.81e-6,
    "6061": 2.70e-6,
    "5052": 2.68e-6,
    # MIL-HDBK-5, from memory.
    "AZ31B": 1.77e-6,
    "4130": 7.83e-6,
}


def density_of(material: str) -> float | None:
    """Density in kg/mm3 of an alloy named like ``2024-T3 clad``; None where the table has none."""
    head = material.upper().split()[0].split("-")[0] if material.strip() else ""
    return DENSITY_KG_PER_MM3.get(head)
