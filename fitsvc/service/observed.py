"""What an observation does, as it goes over the wire: what it contradicts, and the rigs that answer otherwise."""

from datetime import UTC

from fitsvc.document import Document
from fitsvc.observing.effects import Effects
from fitsvc.observing.evidence import Contradiction


def contradiction_document(found: Contradiction) -> Document:
    """Return statements that cannot all hold as the API shows them."""
    said = [
        {
            "fact": one.fact,
            "value": one.value,
            "kind": one.kind,
            "by": one.by,
            "source": one.source,
            "at": one.at.astimezone(UTC),
            "observation": one.observation,
        }
        for one in found.said
    ]
    return {"fact": found.fact, "because": found.because, "said": said}


def effects_document(found: Effects, rigs_left_off: int) -> Document:
    """Return what an observation changes for saved rigs as the API shows it."""
    changed = [
        {
            "rig": one.rig,
            "name": one.name,
            "before": one.before,
            "after": one.after,
            "count": one.count,
            "changed": [{"sku": sku, "before": before, "after": after} for sku, before, after in one.changed],
        }
        for one in found.changed
    ]
    return {
        "changed": changed,
        "judged": found.rigs,
        "left_off": rigs_left_off,
        "accessories_left_off": found.accessories_left_off,
    }
