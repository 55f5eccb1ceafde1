"""Plan, disposition, unseen area and decision as tables for the terminal, in the survey's display unit."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from rich import box
from rich.console import Group
from rich.table import Table
from rich.text import Text

from corrosion.blend import PlannedBlend, ratio_words
from corrosion.decision import DecisionResult, OptionResult, Spread5
from corrosion.disposition import MemberDisposition
from corrosion.extremes import UnseenDepth
from corrosion.model.planning import Action
from corrosion.report.bench_numbers import target_and_stop
from corrosion.report.decision import decision_lines, money_text, share_text, unseen_lines
from corrosion.report.numbers import chance_text, length_text
from corrosion.report.tables import NOTHING, unbreakable
from corrosion.report.words import VERDICT_STYLE, clean, verdict_words
from corrosion.units import LengthUnit

ACTION_STYLE: dict[Action, str] = {
    Action.LEAVE: "green",
    Action.BLEND: "cyan",
    Action.REINFORCE: "yellow",
    Action.REPLACE: "bold red",
    Action.NOT_DETERMINED: "magenta",
}
Side = Literal["left", "right"]


def plan_table(members: Iterable[MemberDisposition], unit: LengthUnit) -> Group | None:
    """Blend plan of all members with its ratios; None where nothing can be planned."""
    blends = [(one.member_id, blend) for one in members for blend in one.plan.blends]
    if not blends:
        return None
    table = _table(
        f"Blend plan ({unit})",
        ("Member", "left"),
        ("Face", "left"),
        ("Takes out", "left"),
        ("Depth", "right"),
        ("Stop at", "right"),
        ("Run-out,\neach side", "right"),
        ("Sum\nafter", "right"),
        ("Limit", "right"),
        ("Verdict", "left"),
        ("P over", "right"),
        ("Conflicts", "left"),
    )
    for member, blend in blends:
        table.add_row(*_blend_row(member, blend, unit))
    ratios = list(dict.fromkeys(ratio_words(blend.run_out) for _, blend in blends))
    return Group(unbreakable(table), *(Text(f"Run-out {words}.") for words in ratios))


def _blend_row(member: str, blend: PlannedBlend, unit: LengthUnit) -> list[Text]:
    target, stop = target_and_stop(blend.depth, blend.stop_depth, unit)
    conflicts = [f"{c.kind} ({c.stands})" for c in blend.conflicts]
    cells = [
        member,
        str(blend.removal.face),
        ", ".join(site.finding.id for site in blend.sites),
        target,
        stop or NOTHING,
        length_text(blend.run_out.side * blend.depth, unit),
        length_text(blend.after.removed.value, unit),
        length_text(blend.after.limit, unit),
    ]
    verdict = Text(verdict_words(blend.verdict), style=VERDICT_STYLE[blend.verdict], no_wrap=True)
    chance = chance_text(blend.after.probability_over)
    return [*_row(cells), verdict, *_row([chance, "; ".join(conflicts) or NOTHING])]


def disposition_table(members: Iterable[MemberDisposition]) -> Table:
    """List what is to be done with every member and finding; of a finding, the reason that decided."""
    table = _table("Disposition", ("Member", "left"), ("Finding", "left"), ("Do", "left"), ("Why", "left"))
    for one in members:
        table.add_row(Text(clean(one.member_id)), Text(), _action(one.action), _lines(one.reasons))
        for finding in one.findings:
            why = _lines(finding.reasons[-1:])
            table.add_row(Text(), Text(clean(finding.finding_id)), _action(finding.action), why)
        table.add_section()
    return table


def unseen_table(faces: Iterable[UnseenDepth], unit: LengthUnit) -> Table:
    """Deepest pit to expect where nobody has looked, or why it cannot be told."""
    table = _table(
        "Not seen: the deepest pit to expect there", ("Member", "left"), ("Seen", "right"), ("", "left")
    )
    for face in faces:
        whole = face.seen_mm2 + face.unseen_mm2
        seen = f"{100.0 * face.seen_mm2 / whole:.0f} %" if whole else NOTHING
        words = unseen_lines(face, unit)[0].partition(": ")[2]
        table.add_row(*_row([f"{face.member_id}, {face.face}", seen, words]))
    return unbreakable(table)


def decision_table(result: DecisionResult) -> Group:
    """Repair against replacement: the options, then everything else in plain words."""
    table = _table(
        "Repair or replace (median, and 5 % to 95 %)",
        ("Option", "left"),
        ("Money", "right"),
        ("Hours", "right"),
        ("Days", "right"),
        ("Cheapest in", "right"),
    )
    for option in result.options:
        table.add_row(*_option_row(option, result.currency))
    # The options are in the table already; the words tell the rest.
    words = decision_lines(result)[len(result.options) :]
    return Group(table, *(Text(clean(line)) for line in words))


def _option_row(option: OptionResult, currency: str) -> list[Text]:
    cheapest = NOTHING if option.cheapest is None else share_text(option.cheapest)
    return _row(
        [
            f"{option.name} ({option.kind})",
            _spread(option.money, currency),
            _spread(option.hours, None),
            _spread(option.days, None),
            cheapest,
        ]
    )


def _spread(spread: Spread5 | None, currency: str | None) -> str:
    if spread is None:
        return "not determined"
    middle, low, high = (
        f"{value:.0f}" if currency is None else money_text(value, currency)
        for value in (spread.p50, spread.p5, spread.p95)
    )
    return f"{middle}\n{low} to {high}"


def _action(action: Action) -> Text:
    return Text(str(action), style=ACTION_STYLE[action], no_wrap=True)


def _lines(reasons: Iterable[str]) -> Text:
    return Text(clean("\n".join(reasons)))


def _row(cells: Iterable[str]) -> list[Text]:
    return [Text(clean(cell)) for cell in cells]


def _table(title: str, *columns: tuple[str, Side]) -> Table:
    table = Table(
        title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False
    )
    for header, side in columns:
        table.add_column(header, justify=side, vertical="top")
    return table
