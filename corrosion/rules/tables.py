"""Rule sets as data: TOML tables in which every row names its source, edition and paragraph."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from importlib import resources

from pydantic import Field, ValidationError

from corrosion.errors import RuleSetError
from corrosion.model.base import Identifier, Part, Text
from corrosion.model.planning import Label, Planning, RuleRow

_SUFFIX = ".toml"
_PREFIX = "example-"


class RuleSet(Part):
    """A table of rules."""

    name: Identifier
    title: Label
    note: Text = ""
    rules: list[RuleRow] = Field(alias="rule", min_length=1)


@dataclass(frozen=True)
class ChosenRules:
    """The rules a survey works by; no rows where it names none."""

    name: str
    rows: list[RuleRow]


def rule_set_names() -> list[str]:
    """Names of the example sets that come with the program."""
    files = (resources.files("corrosion.rules") / "data").iterdir()
    return sorted(f.name.removesuffix(_SUFFIX) for f in files if f.name.startswith(_PREFIX))


def load_rule_set(name: str) -> RuleSet:
    """Read an example set.

    Raises
    ------
    RuleSetError
        If there is none of that name, or it breaks the format.
    """
    if name not in rule_set_names():
        raise RuleSetError(
            f"there is no rule set {name!r}.",
            remedy=f"Sets: {', '.join(rule_set_names())}; or give 'rules'.",
        )
    file = resources.files("corrosion.rules") / "data" / f"{name}{_SUFFIX}"
    return parse_rule_set(file.read_text(encoding="utf-8"), place=f"rule set {name!r}")


def parse_rule_set(text: str, *, place: str = "rule set") -> RuleSet:
    """Read a rule set from TOML text, or from JSON text of the same shape.

    Raises
    ------
    RuleSetError
        If it is neither TOML nor JSON, or a row breaks the format, above all one without source, edition or
        paragraph; the message names every bad field.
    """
    try:
        document = json.loads(text) if text.lstrip().startswith("{") else tomllib.loads(text)
        # Through JSON, so that the reading is as strict as a survey file's.
        found = RuleSet.model_validate_json(json.dumps(document), strict=True)
    except (tomllib.TOMLDecodeError, json.JSONDecodeError, RecursionError, TypeError) as error:
        raise RuleSetError(f"is not a valid table ({error}).", place=place) from error
    except ValidationError as error:
        raise RuleSetError(
            _explain(error),
            place=place,
            remedy="Every rule needs its source, edition and paragraph: a rule nobody vouches for is none.",
        ) from error
    ids = [rule.id for rule in found.rules]
    twice = next((one for one in ids if ids.count(one) > 1), None)
    if twice is not None:
        raise RuleSetError(f"rule id {twice!r} occurs {ids.count(twice)} times.", place=place)
    return found


def _explain(error: ValidationError) -> str:
    problems = error.errors(include_url=False, include_context=False, include_input=False)
    return "; ".join(f"{'.'.join(map(str, item['loc']))}: {item['msg']}" for item in problems[:20]) + "."


def chosen_rules(planning: Planning) -> ChosenRules:
    """Give the rules a survey works by: its own rows, or the example set it names.

    Raises
    ------
    RuleSetError
        If it names a set that is not there.
    """
    if planning.rule_set is not None:
        found = load_rule_set(planning.rule_set)
        return ChosenRules(found.title, found.rules)
    return ChosenRules("the survey's own rules" if planning.rules else "", planning.rules)
