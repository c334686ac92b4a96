"""What a question says and what is stored of it, gathered subject by subject, and every problem on the way.

What is told here takes the place of what is stored; but no rating, and nothing else that a maker allows or asks for, is
lifted above what its record says.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

from fitsvc.answers.parts import PARTS, called, elsewhere, may_have
from fitsvc.answers.records import Doubt, Named, Records, Stored, sure_of
from fitsvc.answers.spelling import held_to
from fitsvc.answers.taken import apart
from fitsvc.document import Json
from fitsvc.facts import FactReader, escape
from fitsvc.language.problems import Problem, ProblemKind, nearest
from fitsvc.language.types import Value
from fitsvc.rulebook.vocabulary import TYRE_PARTS
from fitsvc.subjects import LONGEST_KEY, SUBJECTS, storable
from fitsvc.tongues import t
from fitsvc.tried import ThingTried


class Gathered:
    """What is known of a question while it is read; what is told of an adapter is its own."""

    def __init__(self, reader: FactReader, records: Records) -> None:
        self.reader, self.records = reader, records
        self.problems: list[Problem] = []
        self.values: dict[str, Value] = {}
        self.texts: dict[str, str] = {}
        self.present: set[str] = set()
        self.adapters: list[dict[str, Value]] = []
        self.assumed: set[str] = set()
        self.replaced: set[str] = set()
        self.forgotten: set[str] = set()
        self.labels: dict[str, str] = {}
        self.candidates: tuple[Named, ...] = ()
        self.vehicle: Mapping[str, Json] = {}
        self.guessed: Mapping[str, Json] = {}
        self.unstored: tuple[str, ...] = ()
        self.doubts: dict[str, Doubt] = {}
        self.trials: list[Stored] = []
        self.rubbed: list[str] = []
        self.sku = ""
        self.tried: list[ThingTried] = []
        self.things: list[ThingTried] = []
        self.row: list[str] = []
        self.told_here: dict[str, Json] = {}
        self.stored: dict[str, Json] = {}
        self.taken: list[Stored] = []
        self.taken_out: list[str] = []

    def complain(
        self, pointer: str, message: str, help: str = "", meaning: bool = False, kind: ProblemKind = ""
    ) -> None:
        """Note a problem with the question."""
        self.problems.append(Problem(message, help, pointer=pointer, meaning=meaning, kind=kind))

    def is_mapping(
        self, document: Json, pointer: str, what: str, known: tuple[str, ...], instead: tuple[str, ...] = ()
    ) -> bool:
        """Whether a part is an object; what it has and may not have is noted.

        What would be read elsewhere, had it that, is `instead` named among what it may have, and is no part of it here.
        """
        if not isinstance(document, dict):
            self.complain(pointer, t("{what} is an object", what=what), may_have(known))
            return False
        for key in document:
            if key not in known:
                every = known if key in instead else (*known, *instead)
                near = nearest(key, every)
                help = elsewhere(key, known) or (t("did you mean `{near}`?", near=near) if near else may_have(every))
                self.complain(f"{pointer}/{escape(key)}", t("{what} has no part `{key}`", what=what, key=key), help)
        return True

    def subject(self, subject: str, part: Json, pointer: str) -> Stored | None:
        """Read one subject, and return its stored record if it names one."""
        if part is None:
            return None
        if not self.is_mapping(part, pointer, *PARTS[subject]):
            return None
        key = SUBJECTS[subject].key
        stored = self._stored(subject, key, part, pointer) if part.get(key) is not None else None
        if stored is not None and stored.subject == "adapter" and subject == "accessory":
            self._accessory_is_adapter(stored, part, pointer)
            return None
        if subject != "adapter":
            self.present.add(subject)
        if stored:
            self.take(stored, f"{pointer}/{key}")
            self.sku = stored.key if subject == "accessory" else self.sku
        self._inline(subject, part.get("facts"), f"{pointer}/facts", stored)
        return stored

    def _accessory_is_adapter(self, stored: Stored, part: Json, pointer: str) -> None:
        """An adapter asked about is judged where it would sit: in the opening, after those already there."""
        outer, self.values = self.values, {}
        self.take(stored, f"{pointer}/sku")
        self._inline("adapter", part.get("facts"), f"{pointer}/facts", stored)
        self.add_adapter(part)
        self.values = outer

    def add_adapter(self, part: Mapping[str, Json]) -> None:
        """Take what was read last for the next adapter in the opening, with what its part tells by one end."""
        self.values |= self.reader.told_by_one_end(self.values, self.against_here)
        self.adapters.append(self.values)
        self.row.append(part["sku"] if isinstance(part.get("sku"), str) else "")

    def _stored(self, subject: str, key: str, part: Mapping[str, Json], pointer: str) -> Stored | None:
        name = part[key]
        place = f"{pointer}/{key}"
        if not isinstance(name, str):
            self.complain(place, t("`{key}` is a text", key=key), t("write the record's {key}", key=key))
            return None
        if not self.can_be_stored(name, place):
            return None
        stored = self.records.find(subject, name)
        if stored is None:
            message = t("no {subject} is stored under `{name}`", subject=called(subject), name=name)
            help = self.near(subject, name, t("check the {key}, or give `facts`", key=key))
            self.problems.append(Problem(message, help, pointer=place, meaning=True, kind="missing record"))
        elif stored.subject != subject and (subject, stored.subject) != ("accessory", "adapter"):
            self.complain(
                place,
                t(
                    "`{name}` is stored as {subject}, not as {wanted}",
                    name=name,
                    subject=called(stored.subject),
                    wanted=called(subject),
                ),
                t("name it in its own place"),
                True,
                "other record",
            )
            return None
        return stored

    def can_be_stored(self, name: str, place: str) -> bool:
        """Whether a record could have an id or SKU; one that none could have is told as what cannot be read."""
        if name and storable(name):
            return True
        message = t("it is no id or SKU: they have 1 to {LONGEST_KEY} characters, and no NUL", LONGEST_KEY=LONGEST_KEY)
        self.complain(place, message, t("write it as it is stored"))
        return False

    def near(self, subject: str, name: str, else_: str) -> str:
        """What to do about an id or SKU that is not stored: take the nearest there is, or something else."""
        if self.records.earlier:
            else_ = t("it may not have been stored by then: ask as of a later time, or {otherwise}", otherwise=else_)
        near = nearest(name, self.records.keys_near(subject, name))
        return t("did you mean `{near}`? If not, {otherwise}", near=near, otherwise=else_) if near else else_

    def take(self, stored: Stored, pointer: str, only_missing: bool = False) -> None:
        """Take what is stored of a thing: all of it, or only of what the question says nothing."""
        values: dict[str, Value] = {}
        texts: dict[str, str] = {}
        found: list[Problem] = []
        self.reader.read(stored.subject, stored.facts, "", found, values, texts)
        for problem in found:
            message = t(
                "the stored {subject} `{key}` has a fact that cannot be read: {message}",
                subject=called(stored.subject),
                key=stored.key,
                message=problem.message,
            )
            self.complain(pointer, message, problem.help, True, "other record")
        stored = self.today(stored)
        if only_missing:
            self.hold_limits(sure_of(stored))
            values = {name: value for name, value in values.items() if not self.said(name)}
            texts = {name: text for name, text in texts.items() if not self.said(name)}
        self.values |= values
        self.texts |= texts
        self.stored |= {f"{stored.subject}.{short}": wire for short, wire in stored.facts.items()}
        self.taken.append(stored)
        self.assumed |= {name for name in (f"{stored.subject}.{short}" for short in stored.assumed) if name in values}
        doubts = {f"{stored.subject}.{short}": doubt for short, doubt in stored.doubts.items()}
        self.doubts |= {name: doubt for name, doubt in doubts.items() if not (only_missing and self.said(name))}
        self.trials += [stored] if stored.tried or stored.things else []
        self.labels.setdefault(stored.subject, stored.label)

    def today(self, stored: Stored) -> Stored:
        """What is stored, by the names that its facts have today."""
        names = self.reader.names_today(stored.subject)
        if not names:
            return stored
        now, today = names.get, partial(self.reader.today, stored.subject)
        return replace(
            stored,
            facts=today(stored.facts),
            assumed=frozenset(now(name, name) for name in stored.assumed),
            doubts=today(stored.doubts),
            tried=today(stored.tried),
            things=tuple(replace(one, fact=now(one.fact, one.fact)) for one in stored.things),
            provenance=today(stored.provenance),
        )

    def said(self, slot: str) -> bool:
        """Whether the question itself says something of a slot: a value, or that it is not known."""
        fact = self.reader.vocabulary.fact_of(slot)
        said = slot in self.values or slot in self.texts
        return said or (fact is not None and fact.name in self.forgotten)

    def _inline(self, subject: str, facts: Json, pointer: str, stored: Stored | None) -> None:
        if facts is None:
            return
        if not isinstance(facts, dict):
            self.complain(pointer, t("`facts` is an object"), t('write `{"fact": value}`'))
            return
        for name in self.reader.read(subject, facts, pointer, self.problems, self.values, self.texts):
            self.forget(f"{subject}.{name}")
        self.told_here |= {f"{subject}.{name}": wire for name, wire in facts.items()}
        if stored:
            self.assumed.difference_update(f"{subject}.{name}" for name in facts)
            for name in facts:
                self.doubts.pop(f"{subject}.{name}", None)
            changed = (name for name, wire in facts.items() if stored.facts.get(name) not in (None, wire))
            self.replaced.update(f"{subject}.{name}" for name in changed if facts[name] is not None)
            self.hold_limits(sure_of(stored))

    def hold_limits(self, on_record: Mapping[str, Json]) -> None:
        """Take of each limit no more than is on record, where what is told here may allow more.

        Both are told as disputed where they leave nothing that both allow.

        As of one rig: what is told of it does not lift what its record says. What is told stricter counts, and so does
        the stricter end of bounds that reach past the record. Told as not known it may be stricter than the record, and
        not more: so no reading is asked for that the record then refuses.
        """
        for name in self.reader.limits & on_record.keys() if not self.problems else ():
            wire, fact = on_record[name], self.reader.vocabulary.facts[name]
            kind = self.reader.slots[name]
            now = self.values.get(name, kind.unknown if name in self.forgotten else None)
            was = self.reader.value(fact, wire).get(name)
            if was is None or now is None or (held := held_to(fact, now, was)) == now:
                continue
            self.values[name] = held
            if held != was:
                continue
            lower = name in self.reader.ratings
            why = t("its record, which counts as the lower") if lower else t("its record, which counts as stricter")
            told = self.told_here.pop(name, None)
            if told is not None and apart(kind, now, was):
                self.doubts[name] = Doubt("disputed", ((told, t("this question"), ""), (wire, why, "")))
            self.replaced.discard(name)

    @property
    def against_here(self) -> set[str]:
        """The facts of which this question and a record say what cannot both hold: of these nobody told one end."""
        on_record = {f"{one.subject}.{short}" for one in self.taken for short in one.doubts}
        return self.doubts.keys() - on_record

    def ratings_untold(self) -> set[str]:
        """The trailer's ratings on record that the question says are not known: there is one, to be read again.

        No rule asks for its own label where none is named; those of receiver and vehicle are asked for in any case.
        """
        untold = self.forgotten & self.reader.ratings
        return {name for name in untold if name.startswith("trailer.") and self.stored.get(name) is not None}

    def forget(self, name: str) -> None:
        """An inline null says that a fact is not known after all."""
        self.forgotten.add(name)
        self.texts.pop(name, None)
        for slot in (name, *(f"{name}.{part}" for part in TYRE_PARTS)):
            self.values.pop(slot, None)
