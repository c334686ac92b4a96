"""Examples in the API's description; a test sends each and expects it to be taken."""

from typing import Final

from fitsvc.document import Document

QUESTION: Final[Document] = {
    "rig": {
        "receiver": {"facts": {"opening": "2 in", "pin_hole": "5/8 in", "tongue_rating": "500 lb"}},
        "mounting": {"facts": {"pin_to_bumper": {"value": "4 in", "tolerance": "1/4 in"}}},
    },
    "accessory": {"facts": {"kind": "bike_carrier", "shank": "2 in", "weight": "52 lb", "bikes_max": 4}},
    "load": {"facts": {"bikes": 3, "bike_weight": "40 lb"}},
}

WISHES: Final[Document] = {
    "rig": QUESTION["rig"],
    "wishes": [
        {"name": "four bikes", "load": {"facts": {"bikes": 4, "bike_weight": "40 lb", "needs_closure_open": True}}},
        {"name": "the trailer", "trailer": {"facts": {"gross_weight": "2,900 lb", "coupler": "2 in"}}},
        {"name": "a step", "kind": "step"},
    ],
    "parts_at_most": 5,
}

BODIES: Final[dict[str, Document]] = {
    "Question": QUESTION,
    "SelectionQuestion": {"rig": QUESTION["rig"], "load": QUESTION["load"]},
    "Wishes": WISHES,
    "NewVehicle": {
        "id": "veh_moorfell_2019",
        "label": "2019 Moorfell, four doors",
        "facts": {"year": 2019, "body": "suv", "gvwr": "6,100 lb", "tyre": "245/75R16"},
    },
    "VehicleState": {"label": "2019 Moorfell, four doors", "facts": {"year": 2019, "body": "suv", "gvwr": "6,100 lb"}},
    "NewReceiver": {
        "id": "rcv_dray_2",
        "label": "Dray Two",
        "facts": {"opening": "2 in", "pin_hole": "5/8 in", "tongue_rating": "500 lb"},
    },
    "ReceiverState": {"label": "Dray Two", "facts": {"opening": "2 in", "tongue_rating": "500 lb"}},
    "NewMounting": {
        "id": "mnt_moorfell_dray_2",
        "vehicle": "veh_moorfell_2019",
        "receiver": "rcv_dray_2",
        "facts": {"height": "17-1/2 in", "pin_to_bumper": {"at_least": "3 in", "at_most": "4 in"}},
        "told": {"kind": "assumed", "note": "from the sister model"},
    },
    "MountingState": {
        "vehicle": "veh_moorfell_2019",
        "receiver": "rcv_dray_2",
        "facts": {"height": "17-1/2 in", "pin_to_bumper": "3-1/4 in"},
    },
    "NewAccessory": {
        "sku": "DRY-RACK-4",
        "subject": "accessory",
        "label": "Dray rack for four",
        "facts": {"kind": "bike_carrier", "shank": "2 in", "weight": "52 lb", "bikes_max": 4},
    },
    "AccessoryState": {"subject": "accessory", "facts": {"kind": "bike_carrier", "shank": "2 in"}},
    "NewRig": {
        "id": "rig_farm",
        "name": "The farm's Moorfell",
        "rig": {"vehicle": {"id": "veh_moorfell_2019"}, "receiver": {"id": "rcv_dray_2"}},
    },
    "RigState": {"name": "The farm's Moorfell", "rig": {"vehicle": {"id": "veh_moorfell_2019"}}},
    "NewAudit": {
        "id": "aud_spring",
        "name": "The spring catalogue",
        "load": {"facts": {"bikes": 2, "bike_weight": "40 lb"}},
    },
    "NewObservation": {
        "subject": "mounting",
        "record": "mnt_moorfell_dray_2",
        "facts": {"pin_to_bumper": {"value": "3-1/4 in", "tolerance": "1/8 in"}},
        "at": "2026-03-02T09:30:00Z",
        "note": "taken in the yard",
    },
}
"""By the name of a body's schema; sent in this order, each finds what it names."""

MISTAKEN: Final[Document] = {"rig": {"receiver": {"facts": {"opening": "50 mm"}}}, "accessory": {"facts": {}}}
"""A question that is refused, for an example of a problem."""
