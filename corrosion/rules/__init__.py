"""Rules as data: published and own tables, programme levels, cautions."""

from corrosion.rules.cautions import Caution, cautions_for, material_families
from corrosion.rules.evaluate import Fact, Facts, RuleAnswer, ask_rules
from corrosion.rules.programme import (
    Inspection,
    LevelAnswer,
    ProgrammeLevel,
    location_history,
    programme_level,
)
from corrosion.rules.tables import (
    ChosenRules,
    RuleSet,
    chosen_rules,
    load_rule_set,
    parse_rule_set,
    rule_set_names,
)

__all__ = [
    "Caution",
    "ChosenRules",
    "Fact",
    "Facts",
    "Inspection",
    "LevelAnswer",
    "ProgrammeLevel",
    "RuleAnswer",
    "RuleSet",
    "ask_rules",
    "cautions_for",
    "chosen_rules",
    "load_rule_set",
    "location_history",
    "material_families",
    "parse_rule_set",
    "programme_level",
    "rule_set_names",
]
