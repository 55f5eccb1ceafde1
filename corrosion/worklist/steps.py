"""The steps of a card, in the order of work; each names its source."""

from __future__ import annotations

from dataclasses import dataclass

from corrosion.model import Member
from corrosion.worklist.figures import Figures
from corrosion.worklist.practice import (
    APPROVED_DATA,
    INSPECT,
    LOOK,
    RECORD,
    SHOP_PRACTICE,
    TREAT,
    TREAT_CLAD,
    Fact,
    StepName,
    is_clad,
    primer_for,
)


@dataclass(frozen=True)
class Step:
    """One step to be ticked off."""

    name: StepName
    text: str
    source: str


def steps_of(kind: str, member: Member, figures: Figures | None) -> list[Step]:
    """List the steps of a card of a kind.

    Only `blend` and `fair out` take metal off; the other kinds have no such step.
    """
    if kind == "blend" and figures is not None:
        return [_step(StepName.RECORD, RECORD), *_blend(figures), *_protect(member), _enter()]
    if kind == "fair out":
        return [_fair(), _remeasure("original surface"), *_protect(member), _enter()]
    if kind == "measure first":
        return [_measure()]
    if kind == "treat and protect":
        return _protect(member)
    return []


def _step(name: StepName, *facts: Fact) -> Step:
    return Step(name, " ".join(f.text for f in facts), "; ".join(dict.fromkeys(f.source for f in facts)))


def _blend(figures: Figures) -> list[Step]:
    stop = "Corrosion left there: stop and ask engineering."
    if figures.stop not in {"", figures.target}:
        stop = (
            f"Corrosion left: go on in small steps, reading each, no deeper than {figures.stop}. "
            "Still corrosion there: stop and ask engineering."
        )
    words = f"Blend to {figures.target} {figures.measured}. {LOOK.text} {stop}"
    return [
        Step(StepName.BLEND, words, f"this plan; {LOOK.source}"),
        _remeasure(figures.measured.removeprefix("below the ")),
    ]


def _remeasure(surface: str) -> Step:
    words = f"Read the depth at its deepest, from the {surface}: bridge or straightedge on metal beside it."
    return Step(StepName.REMEASURE, words, SHOP_PRACTICE)


def _fair() -> Step:
    words = "Lengthen the run-out to the ratio. Take nothing off at the deepest place."
    return Step(StepName.FAIR, words, APPROVED_DATA)


def _measure() -> Step:
    words = (
        "Take off no metal. Clean out the corrosion product, read the depth at its deepest with a gauge "
        "whose tip fits, and enter it; the plan follows from it."
    )
    return Step(StepName.MEASURE, words, SHOP_PRACTICE)


def _protect(member: Member) -> list[Step]:
    clad = is_clad(member.material) or bool(member.clad_thickness)
    return [
        _step(StepName.INSPECT, INSPECT),
        _step(StepName.TREAT, TREAT_CLAD if clad else TREAT),
        _step(StepName.PRIME, *primer_for(member.material)),
    ]


def _enter() -> Step:
    words = "Enter the blend-out with its photo, depth, gauge and date; the sum is worked out again."
    return Step(StepName.ENTER, words, "this plan")
