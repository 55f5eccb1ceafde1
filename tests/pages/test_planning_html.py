"""Planning pages without a browser: no inline code, nothing stored by trying, gaps of a table of rules."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.rule_gaps import MOST_CASES, find_gaps
from api.pages.templating import bundle_is_built
from api.settings import Settings
from corrosion.model.planning import Action, Comparison, Condition, RuleQuantity, RuleRow
from corrosion.rules import Fact, ask_rules, load_rule_set
from tests.api import server
from tests.api.samples import new_survey, survey_file
from tests.support import need

HTML = {"Accept": "text/html"}
PAGES = ["plan", "decision", "worklist", "rules"]
PARTS = ["plan/table", "decision/table", "worklist/cards", "rules/table"]
SOURCE = {"source": "invented manual", "edition": "rev 3", "paragraph": "4-1"}
PLANNING: dict[str, Any] = {
    "allowance": {"depth": 0.02, "source": "invented"},
    "run_out": {"ratio": {"total": 20}, "source": "invented"},
}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Give a client of a service with pages."""
    need(bundle_is_built(), "the pages are not bundled: run 'node build.mjs' in api/web")
    with server.running(Settings(data_dir=tmp_path_factory.mktemp("data"))) as made:
        yield made


@pytest.fixture(scope="module")
def survey(client: httpx.Client) -> str:
    """Give a survey that uses every part of a survey file, with names that look like markup."""
    document = survey_file()
    document["photos"][0] |= {"lens": None, "view": "daylight"}
    made = str(client.post("/api/surveys/import", json=document).json()["survey"]["id"])
    rule: dict[str, Any] = {"id": "r1", "label": "<b>light</b>", "action": "blend"} | SOURCE
    rule["when"] = [{"quantity": "depth_share", "op": "<", "value": 0.1}]
    answer = client.put(
        f"/api/surveys/{made}/planning", json=PLANNING | {"rules": [rule]}, headers={"If-Match": '"0"'}
    )
    assert answer.status_code == 200, answer.text
    return made


@pytest.mark.parametrize("part", [*PAGES, *(f"{page}?wait=1" for page in PAGES), *PARTS])
def test_no_page_holds_inline_code(client: httpx.Client, survey: str, part: str) -> None:
    """No page or part needs a script or a style that the Content-Security-Policy forbids."""
    answer = client.get(f"/surveys/{survey}/{part}", headers=HTML)
    assert answer.status_code == 200
    assert not re.search(r"<script(?![^>]*(src=|application/json))", answer.text)
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=", answer.text)


def test_names_are_text_never_markup(client: httpx.Client, survey: str) -> None:
    """A rule's name with markup in it is shown, not run."""
    page = client.get(f"/surveys/{survey}/rules", headers=HTML).text
    assert "<b>light</b>" not in page
    assert "&lt;b&gt;light&lt;/b&gt;" in page


@pytest.mark.parametrize("page", PAGES)
def test_an_empty_survey_says_what_to_do_next(client: httpx.Client, page: str) -> None:
    """A survey without a photo has every planning page, and none of them is blank."""
    made = new_survey(client)
    text = client.get(f"/surveys/{made}/{page}?wait=1", headers=HTML).text
    wanted = {
        "plan": "Nothing can be planned yet.",
        "decision": "Nothing is stated to compare yet.",
        "worklist": "No card to work on",
        "rules": "No rules are chosen.",
    }
    assert wanted[page] in text


def test_no_page_calls_anything_airworthy(client: httpx.Client, survey: str) -> None:
    """The pages inform; the word of release is not theirs."""
    for page in PAGES:
        assert "airworthy" not in client.get(f"/surveys/{survey}/{page}?wait=1", headers=HTML).text.lower()


def test_trying_stores_nothing(client: httpx.Client, survey: str) -> None:
    """A trial answers with the plan as it would be; planning and structure keep their versions."""
    address = f"/api/surveys/{survey}/planning"
    before = client.get(address)
    tried = {"planning": PLANNING | {"allowance": {"depth": 0.07, "source": "tried out"}}}
    answer = client.post(f"/surveys/{survey}/plan/try", json=tried)
    assert answer.status_code == 200
    assert "tried out" in answer.text
    assert client.get(address).headers["ETag"] == before.headers["ETag"]
    assert client.get(address).json() == before.json()


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({"planning": {"allowance": {"depth": 0.02}}}, "source"),
        ({"limits": {"SK1": {"fraction": 0.1}}}, "source"),
        ({"limits": {"nobody": None}}, "nobody"),
        ({"planning": {"facts": [{"member": "nobody", "source": "x"}]}}, "nobody"),
        ({"decision": {"actions": [{"id": "one", "member": "nobody"}]}}, "nobody"),
        ({"rates": 1}, "rates"),
    ],
)
def test_a_bad_trial_is_refused_with_its_place(
    client: httpx.Client, survey: str, body: dict[str, Any], path: str
) -> None:
    """A figure without a source, a member that is not there and an unknown field are named."""
    answer = client.post(f"/surveys/{survey}/decision/try", json=body)
    assert answer.status_code == 422
    assert path in str(answer.json()["errors"])


def row(name: str, action: Action, *when: tuple[RuleQuantity, Comparison, bool | float]) -> RuleRow:
    """Make a rule of an invented manual."""
    conditions = [Condition(quantity=q, op=op, value=value) for q, op, value in when]
    return RuleRow(id=name, label=name, when=conditions, action=action, **SOURCE)


DEPTH, AREA = RuleQuantity.DEPTH_SHARE, RuleQuantity.AREA_SHARE


def test_a_table_without_gaps_has_none() -> None:
    """Up to a bound and over it, every case has one answer."""
    rows = [
        row("a", Action.BLEND, (DEPTH, Comparison.AT_MOST, 0.1)),
        row("b", Action.REPLACE, (DEPTH, Comparison.MORE, 0.1)),
    ]
    assert find_gaps(rows) == []


def test_a_bound_that_nobody_takes_is_a_gap() -> None:
    """Under 20 % and over 20 % leave exactly 20 % open, and nothing else."""
    rows = [
        row("a", Action.BLEND, (DEPTH, Comparison.LESS, 0.2)),
        row("b", Action.REPLACE, (DEPTH, Comparison.MORE, 0.2)),
    ]
    (gap,) = find_gaps(rows)
    assert gap.why.startswith("gap")
    assert gap.words == "removed thickness as a share of the thickness exactly 20 %"


def test_the_published_example_has_its_known_gaps() -> None:
    """TM 1-1520-238-23 (Change 9), p. 2-372: exactly 20 %; shallow but over 25 %; half the area but thin.

    Class B takes damage up to half the panel, but its patch may cover a quarter only: an inner conflict.
    """
    skin = [gap for gap in find_gaps(load_rule_set("example-empennage").rules) if gap.kinds == "skin"]
    gaps = [gap.words for gap in skin if gap.why.startswith("gap")]
    assert any(
        "thickness exactly 20 %; damaged share of the panel's area up to 25 %" in one for one in gaps
    )
    assert any("thickness up to 20 %; damaged share of the panel's area over 25 %" in one for one in gaps)
    assert any("thickness up to 50 %; damaged share of the panel's area over 50 %" in one for one in gaps)
    (inner,) = [gap for gap in skin if gap.why.startswith("inner conflict")]
    assert "over 25 % and under 50 %" in inner.words


OPS = st.sampled_from([Comparison.LESS, Comparison.AT_MOST, Comparison.MORE, Comparison.AT_LEAST])
CONDITIONS = st.tuples(st.sampled_from([DEPTH, AREA]), OPS, st.sampled_from([0.1, 0.25, 0.5]))
ROWS = st.lists(
    st.tuples(st.sampled_from([Action.BLEND, Action.REPLACE]), CONDITIONS), min_size=1, max_size=4
)


@given(ROWS, st.sampled_from([0.0, 0.05, 0.1, 0.2, 0.25, 0.3, 0.5, 0.9]), st.floats(0.0, 1.0))
def test_a_table_without_gaps_answers_every_case(
    listed: list[tuple[Action, tuple[RuleQuantity, Comparison, float]]], depth: float, area: float
) -> None:
    """Where no gap is found, no share of depth and area is left without an answer."""
    rows = [row(f"r{number}", action, when) for number, (action, when) in enumerate(listed)]
    answer = ask_rules(rows, "any", {DEPTH: Fact(depth), AREA: Fact(area)})
    if answer.rule is None:
        assert find_gaps(rows)


def test_too_many_cases_are_said_not_skipped() -> None:
    """A table that distinguishes more cases than are looked through says so instead of claiming none."""
    quantities = list(RuleQuantity)[:4]
    rows = [
        row(f"{quantity}-{number}", Action.BLEND, (quantity, Comparison.LESS, number / 20))
        for quantity in quantities
        for number in range(1, 9)
    ]
    (gap,) = find_gaps(rows)
    assert gap.why == "not looked at"
    assert f"{17**4:,}" in gap.words
    assert MOST_CASES < 17**4
