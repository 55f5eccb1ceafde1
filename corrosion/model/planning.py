"""What a blend plan and a disposition rest on: allowances, ratios, distances, rules, each with its source.

Nothing here has a default figure: what is not stated leaves the plan *not determined*.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from corrosion.model.base import (
    Identifier,
    NonNegativeLength,
    NonNegativeRatio,
    Part,
    PositiveArea,
    PositiveLength,
    Ratio,
    Text,
)
from corrosion.model.bounds import MOST_RATIO
from corrosion.model.photo import RunOut
from corrosion.terms import SpliceFastener, SpliceJoint

SourceText = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=500)]
Label = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]


class Action(StrEnum):
    """What is to be done with a finding or a member (design.md section 5)."""

    LEAVE = "leave and protect"
    BLEND = "blend"
    REINFORCE = "reinforce"
    REPLACE = "replace member"
    NOT_DETERMINED = "not determined"


class RuleQuantity(StrEnum):
    """What a rule may ask about. Shares are of 1.

    The first five are computed by the program, the others are stated by a person.
    """

    DEPTH_SHARE = "depth_share"
    LIMIT_SHARE = "limit_share"
    AREA_SHARE = "area_share"
    SECTION_SHARE = "section_share"
    SECTION_LOSS_SHARE = "section_loss_share"
    ADJACENT_UNAFFECTED = "adjacent_unaffected"
    ATTACHMENT_POSSIBLE = "attachment_possible"
    GREATER_THAN_MINOR = "greater_than_minor"
    CRITICAL = "critical"


class Comparison(StrEnum):
    """How a rule compares a quantity with its value."""

    LESS = "<"
    AT_MOST = "<="
    MORE = ">"
    AT_LEAST = ">="
    IS = "is"


class Condition(Part):
    """One comparison of a rule: a share with a number, or a stated fact with true or false."""

    quantity: RuleQuantity
    op: Comparison
    value: bool | NonNegativeRatio

    @model_validator(mode="after")
    def _kinds_agree(self) -> Condition:
        if (self.op is Comparison.IS) != isinstance(self.value, bool):
            raise ValueError("'is' goes with true or false, the other comparisons with a number")
        return self


class RuleRow(Part):
    """One row of a published or a user's own table: when it holds, what is to be done, and who says so.

    `when` describes the damage; `only_if` what the action itself needs. A row whose damage is met while
    its own needs are not is an inner conflict: the answer is then not determined.
    """

    id: Identifier
    label: Label
    applies_to: list[Label] = []
    when: list[Condition] = Field(min_length=1)
    only_if: list[Condition] = []
    action: Action
    words: Text = ""
    source: SourceText
    edition: SourceText
    paragraph: SourceText


class Allowance(Part):
    """Clean-up allowance: metal taken off below the deepest corrosion to be sure that it is gone."""

    depth: NonNegativeLength
    source: SourceText


class PlannedRunOut(Part):
    """Run-out ratio that planned blends keep, and blend-outs are held to."""

    ratio: RunOut
    source: SourceText


class Elongation(Part):
    """Length of a blend along the member's main direction over its width across it, at least."""

    ratio: Annotated[float, Field(ge=1, le=MOST_RATIO)]
    source: SourceText


class Clearance(Part):
    """Least distance between the outline of a blend and something else."""

    distance: NonNegativeLength
    source: SourceText


class FastenerClearance(Part):
    """Least distance of a blend's outline from a fastener.

    Either `distance` from the edge of the hole, or `diameters` of the fastener from its centre.
    """

    distance: NonNegativeLength | None = None
    diameters: Ratio | None = None
    source: SourceText

    @model_validator(mode="after")
    def _one_of(self) -> FastenerClearance:
        if (self.distance is None) == (self.diameters is None):
            raise ValueError("give exactly one of 'distance' and 'diameters'")
        return self


class ApproachShare(Part):
    """Share of the limit from which a removal counts as approaching it."""

    share: Annotated[float, Field(gt=0, lt=1)]
    source: SourceText


class MemberFacts(Part):
    """What a person states of a member, because no photo shows it. Left out: not known."""

    member: Identifier
    panel_area: PositiveArea | None = None
    adjacent_unaffected: bool | None = None
    attachment_possible: bool | None = None
    greater_than_minor: bool | None = None
    critical: bool | None = None
    widespread: bool | None = None
    # Whether the corrosion found at every scheduled inspection so far was light.
    light_each_time: bool | None = None
    unusual_event: Text = ""
    urgent: bool | None = None
    source: SourceText


class Reinforcement(Part):
    """A reinforcement to be estimated: damage across (`width`) and along (`length`) the load.

    Material and thickness are the member's. `table` names a splice table of AC 43.13-1B where the
    material alone does not choose it.
    """

    id: Identifier
    member: Identifier
    width: PositiveLength
    length: PositiveLength
    fastener: SpliceFastener
    joint: SpliceJoint = SpliceJoint.SHEET
    table: Literal["4-9", "4-10", "4-11"] | None = None
    note: Text = ""


class Planning(Part):
    """Everything a plan needs that is not metal.

    `rules` are the user's own rows; `rule_set` names an example set that comes with the program
    instead. Blends nearer to each other than `spacing` merge; without it those whose outlines meet.
    With ``merge`` false they stay apart, and the plan says that metal stands between them.
    """

    allowance: Allowance | None = None
    run_out: PlannedRunOut | None = None
    merge: bool = True
    spacing: Clearance | None = None
    elongation: Elongation | None = None
    edge_distance: Clearance | None = None
    fastener_distance: FastenerClearance | None = None
    support_distance: Clearance | None = None
    approach: ApproachShare | None = None
    rules: list[RuleRow] = []
    rule_set: Identifier | None = None
    facts: list[MemberFacts] = []
    reinforcements: list[Reinforcement] = []

    @model_validator(mode="after")
    def _one_rule_source(self) -> Planning:
        if self.rules and self.rule_set is not None:
            raise ValueError("give 'rules' or 'rule_set', not both")
        for what, names in (
            ("rule", [rule.id for rule in self.rules]),
            ("member in facts", [fact.member for fact in self.facts]),
            ("reinforcement", [one.id for one in self.reinforcements]),
        ):
            twice = next((name for name in names if names.count(name) > 1), None)
            if twice is not None:
                raise ValueError(f"{what} {twice!r} occurs {names.count(twice)} times")
        return self
