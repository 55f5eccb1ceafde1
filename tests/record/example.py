"""A small survey with everything a report speaks of; invented."""

from __future__ import annotations

import json
from copy import deepcopy
from typing import Any

from corrosion.model import parse_survey
from corrosion.photo import sha256_of
from corrosion.record.subject import Read, Subject, subject_of
from corrosion.survey import assess
from tests.api.samples import picture, survey_file

SOURCE = "invented manual, 3-4"
PIT = {
    "id": "P1",
    "kind": "pit",
    "shape": {"type": "Polygon", "coordinates": [[[150, 110], [170, 110], [170, 130], [150, 130]]]},
    "depths": [{"value": 0.03, "u": 0.002, "method": "gauge", "instrument": "DG-2"}],
}
SPREAD = {"low": 1, "likely": 2, "high": 4}
DECISION: dict[str, Any] = {
    "rates": {"currency": "EUR", "hour": SPREAD},
    "actions": [{"id": "blend", "member": "SK1", "hours": SPREAD, "money": SPREAD, "days": SPREAD}],
    "hidden": {"hours": SPREAD, "money": SPREAD, "days": SPREAD, "findings": SPREAD},
    "candidates": [{"id": "new", "kind": "new", "price": SPREAD, "days": SPREAD}],
    "draws": 1000,
}


def document(**parts: Any) -> dict[str, Any]:
    """Give one member with a pit, an earlier rework and a reading, and a rib nobody looked at."""
    survey = deepcopy(survey_file())
    (photo,) = survey["photos"]
    photo |= {"marks": [PIT], "face": "outer", "station": 412.0, "size": [400, 300], "lens": None}
    photo["sha256"] = sha256_of(picture())
    photo["scale"] = photo["scale"] | {"max_tilt_deg": 3}
    planning = {
        "allowance": {"depth": 0.01, "source": SOURCE},
        "run_out": {"ratio": {"total": 20}, "source": SOURCE},
    }
    return survey | {"planning": planning} | parts


def subject(survey: dict[str, Any] | None = None, read: Read | None = None) -> Subject:
    """Assess a survey whose photos are all the same small picture."""
    file = parse_survey(survey or document())
    whole = assess(file, sizes={photo.id: (400, 300) for photo in file.photos})
    data = picture()
    return subject_of(whole, json.dumps(survey or document()).encode(), read=read or (lambda _: data))
