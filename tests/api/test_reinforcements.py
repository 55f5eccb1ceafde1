"""Reinforcement estimates over HTTP and on the plan page."""

from __future__ import annotations

import httpx

from tests.api.samples import new_survey


def test_the_service_estimates_what_the_planning_asks(client: httpx.Client) -> None:
    """A reinforcement kept in the planning comes back estimated; of a member that is not there, refused."""
    made = new_survey(client)
    one = {"id": "R1", "member": "SK1", "width": 254.0, "length": 50.0, "fastener": "1/8 rivet"}
    held = client.get(f"/api/surveys/{made}/planning").headers["ETag"]
    wrong = {"reinforcements": [one | {"member": "S9"}]}
    refused = client.put(f"/api/surveys/{made}/planning", json=wrong, headers={"If-Match": held})
    assert refused.status_code == 422
    kept = client.put(
        f"/api/surveys/{made}/planning", json={"reinforcements": [one]}, headers={"If-Match": held}
    )
    assert kept.status_code == 200, kept.text
    found = client.get(f"/api/surveys/{made}/reinforcements").json()
    assert found["reinforcements"][0]["estimate"]["per_side"] > 0
    page = client.get(f"/surveys/{made}/plan?wait=1").text
    assert "Estimate for planning, not approved data." in page
