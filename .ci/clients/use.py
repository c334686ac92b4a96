"""The calls of the guide through the client generated for Python: `python use.py ADDRESS KEY EXAMPLES`."""

import json
import sys
from pathlib import Path
from typing import TypeVar

from fitsvc_client import AuthenticatedClient
from fitsvc_client.api.answers import answer
from fitsvc_client.api.audits import create_audit
from fitsvc_client.api.observations import add_observation
from fitsvc_client.api.records import create_vehicle, delete_vehicle, get_vehicle
from fitsvc_client.api.selections import match, select_rig
from fitsvc_client.models import (
    Answer,
    Audit,
    Matches,
    MatchQuestion,
    NewAudit,
    NewObservationType0,
    NewVehicle,
    Observed,
    Question,
    Selection,
    Vehicle,
)

T = TypeVar("T")


def is_a(kind: type[T], found: object) -> T:
    """What was answered, which must be of a kind."""
    assert isinstance(found, kind), found
    return found


def main(address: str, key: str, examples: dict[str, dict[str, object]]) -> None:
    """Ask, select, match, write, observe and send a file."""
    client = AuthenticatedClient(base_url=address, token=key, prefix="", auth_header_name="X-API-Key")
    question = Question.from_dict(examples["Question"])
    answered = is_a(Answer, answer.sync(client=client, body=question))
    assert answered.outcome in ("works", "conditional", "undetermined", "fails")
    assert question.to_dict() == examples["Question"]
    page = is_a(Selection, select_rig.sync("rig_farm_muckle", client=client, limit=5))
    assert len(page.items) == 5
    asked = MatchQuestion.from_dict({"rigs": [{"id": "rig_farm_muckle"}], "skus": [page.items[0].sku]})
    matched = is_a(Matches, match.sync(client=client, body=asked))
    assert matched.rigs[0].items[0].outcome == page.items[0].outcome
    new = NewVehicle.from_dict({"id": "veh_client", "facts": {"year": 2024, "wheelbase": "121 in"}})
    made = is_a(Vehicle, create_vehicle.sync(client=client, body=new))
    told = NewObservationType0.from_dict(
        {"subject": "vehicle", "record": made.id, "facts": {"overall_width": "79 in"}, "kind": "measured"}
    )
    is_a(Observed, add_observation.sync(client=client, body=told))
    now = get_vehicle.sync_detailed(made.id, client=client)
    assert is_a(Vehicle, now.parsed).version == made.version + 1
    gone = delete_vehicle.sync_detailed(made.id, client=client, if_match=now.headers["ETag"])
    assert gone.status_code == 204, gone.content
    audit = is_a(Audit, create_audit.sync(client=client, body=NewAudit.from_dict({"id": "aud_client"})))
    sent = client.get_httpx_client().put(
        f"/v1/audits/{audit.id}/files/catalogue",
        content="sku,kind,shank\nCLIENT-3,step,2 in\n",
        headers={"Content-Type": "text/csv"},
    )
    assert sent.status_code == 200, sent.content


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], json.loads(Path(sys.argv[3]).read_text("utf-8")))
