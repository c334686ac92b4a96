"""A question as people send it → a case and what is to be told of its facts, or every problem with it.

A subject is a stored record (`id`, or `sku` for what is sold), inline `facts`, or both; inline facts win, but that
they lift no rating above what its record says: there the lower counts, and both are told as disputed.
A vehicle without an `id` whose facts name a make or model is each of the stored vehicles that agree with
them: one alone is taken, as one that it may be unless what is told leaves no other; several are the question's
candidates.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from fitsvc.answers.parts import OF_A_RIG, OF_QUESTION, PARTS, TOGETHER, called, elsewhere, may_have, names_fact
from fitsvc.answers.records import NAMES, Doubt, Named, Records, Stored, naming_facts, sure_of
from fitsvc.answers.spelling import joined_rig, lifts, rig_today
from fitsvc.answers.taken import agree, folded, surely_all, surely_is, told_otherwise
from fitsvc.document import Document, Json
from fitsvc.facts import MOST_ADAPTERS, Case, FactReader, escape
from fitsvc.language.intervals import equal
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.types import ListType, Value
from fitsvc.language.tyres import designation
from fitsvc.rulebook.vocabulary import TYRE_PARTS, Fact
from fitsvc.subjects import BESIDE_RIG, SUBJECTS
from fitsvc.tongues import t
from fitsvc.tried import TOUCHED, ThingTried


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question read: the case, its assumed facts, the stored facts that inline ones replaced, and labels.
    `doubts` are those of its facts of which what was said cannot all hold; `rubbed` the very things asked about that
    went in and rubbed when they were tried; `tried` how the accessory asked about did when it was.

    `candidates` are the stored vehicles that a vehicle without an id may be. The facts of one alone are in
    the case; those of several are not. Where it is not sure that it is of them, `guessed` are the facts that say so.
    `vehicle` is the part that names them, a saved rig's own joined to it.
    `unstored` are the facts by which it names none of the vehicles stored; empty where it names some or none is asked.
    `taken` are the records it takes facts from, a saved rig's own first; `told_here` are the facts it tells itself.
    `not_asked` are the facts that follow from what else is in the question, so that nobody is asked for them.
    """

    case: Case
    assumed: frozenset[str]
    replaced: frozenset[str]
    labels: Mapping[str, str]
    candidates: tuple[Named, ...] = ()
    vehicle: Mapping[str, Json] = field(default_factory=dict)
    guessed: Mapping[str, Json] = field(default_factory=dict)
    unstored: tuple[str, ...] = ()
    not_asked: frozenset[str] = frozenset()
    doubts: Mapping[str, Doubt] = field(default_factory=dict)
    rubbed: tuple[str, ...] = ()
    tried: tuple[ThingTried, ...] = ()
    taken: tuple[Stored, ...] = ()
    told_here: frozenset[str] = frozenset()

    def about(self, document: Mapping[str, Json], candidate: Named) -> Document:
        """The question's document with one of the candidates named by its id; what is told of the vehicle stays."""
        named = {**self.vehicle, "id": candidate.key}
        if self.guessed:
            named["facts"] = {**self.vehicle["facts"], **self.guessed}
        return {**document, "rig": {**document["rig"], "vehicle": named}}


def read_question(document: Json, reader: FactReader, records: Records) -> Question:
    """Read a question; ProblemsFound has every problem, with JSON pointers."""
    return _QuestionReading(reader, records).question(document)


class _QuestionReading:
    """One question being read."""

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
        self.of_items: dict[str, dict[str, Value]] = {}
        self.told_here: dict[str, Json] = {}
        self.stored: dict[str, Json] = {}
        self.taken: list[Stored] = []

    def question(self, document: Json) -> Question:
        """Read the whole document; one that names several things is read by `things`, and here refused."""
        if isinstance(document, dict) and document.get(TOGETHER, 0) is None:
            document = {name: part for name, part in document.items() if name != TOGETHER}
        if self._is_mapping(document, "", t("a question"), OF_QUESTION):
            self._rig(document.get("rig"))
            for subject in BESIDE_RIG:
                self._subject(subject, document.get(subject), f"/{subject}")
            if not self.present & {"accessory", "trailer", "spare"} and not self.adapters and not self.problems:
                help = t("name an `accessory`, a `trailer` or a `rig.spare`")
                self._complain("", t("the question asks about nothing"), help, meaning=True)
        if self.problems:
            raise ProblemsFound(self.problems)
        for stored in self.trials:
            self._try(stored)
            self._try_things(stored)
        self.values |= self.of_items.get(self.sku, {})
        present = self.reader.named(self.values, self.adapters) | self.present
        case = Case(self.values, present, tuple(self.adapters), self.texts, of_items=self.of_items)
        return Question(
            case=case,
            assumed=frozenset(self.assumed),
            replaced=frozenset(self.replaced),
            labels=self.labels,
            candidates=self.candidates,
            vehicle=self.vehicle,
            guessed=self.guessed,
            unstored=self.unstored,
            doubts=self.doubts,
            rubbed=tuple(self.rubbed),
            taken=tuple(self.taken),
            told_here=frozenset(self.told_here),
            tried=tuple(self.tried),
        )

    def _complain(self, pointer: str, message: str, help: str = "", meaning: bool = False) -> None:
        self.problems.append(Problem(message, help, pointer=pointer, meaning=meaning))

    def _is_mapping(self, document: Json, pointer: str, what: str, known: tuple[str, ...]) -> bool:
        if not isinstance(document, dict):
            self._complain(pointer, t("{what} is an object", what=what), may_have(known))
            return False
        for key in document:
            if key not in known:
                near = nearest(key, known)
                help = elsewhere(key, known) or (t("did you mean `{near}`?", near=near) if near else may_have(known))
                self._complain(f"{pointer}/{escape(key)}", t("{what} has no part `{key}`", what=what, key=key), help)
        return True

    def _rig(self, rig: Json) -> None:
        if rig is None or not self._is_mapping(rig, "/rig", t("a rig"), OF_A_RIG):
            return
        given: Mapping[str, Json] = rig
        told: Stored | None = None
        if rig.get("id") is not None:
            rig, told = self._saved(rig)
        stored = {name: self._subject(name, rig.get(name), f"/rig/{name}") for name in ("vehicle", "receiver")}
        if stored["vehicle"] is None and not self.problems:
            stored["vehicle"] = self._named(rig)
        self._mounting(rig.get("mounting"), stored)
        self._adapters(rig.get("adapters"))
        self._subject("spare", rig.get("spare"), "/rig/spare")
        if told is not None:
            self.doubts |= {name: doubt for name, doubt in told.doubts.items() if not names_fact(given, name)}
            facts = {name: value for name, value in told.facts.items() if not names_fact(given, name)}
            self.taken.insert(0, replace(told, facts=facts))
            self._hold_ratings({name: value for name, value in told.facts.items() if names_fact(given, name)})
        self._hold_to_its_record()
        self._leave_what_leant()

    def _leave_what_leant(self) -> None:
        """Take what is stored of a fact for not known where what it leans on is told here to be another."""
        if self.problems or not self.stored:
            return
        for fact in self.reader.vocabulary.facts.values():
            if not fact.leans_on or fact.name not in self.stored or fact.name in self.told_here:
                continue
            changed = tuple(on for on in fact.leans_on if self._is_another(self.reader.vocabulary.facts[on]))
            if changed:
                self._forget(fact.name)
                self.doubts[fact.name] = Doubt("stale", ((self.stored[fact.name], "", ""),), changed)

    def _is_another(self, fact: Fact) -> bool:
        """Whether what is told here of a fact cannot be what is stored of it; not known is no other."""
        if fact.name not in self.told_here or self.stored.get(fact.name) is None:
            return False
        if fact.tyre:
            tyre = self.texts.get(fact.name)
            return tyre is not None and designation(tyre) != designation(str(self.stored[fact.name]))
        was, now = self.reader.value(fact, self.stored[fact.name]).get(fact.name), self.values.get(fact.name)
        if isinstance(was, tuple) and isinstance(now, tuple):
            return equal(was, now) == NO
        return isinstance(was, int) and isinstance(now, int) and isinstance(fact.type, ListType) and not was & now

    def _saved(self, rig: Mapping[str, Json]) -> tuple[Mapping[str, Json], Stored | None]:
        saved = self.records.rig(rig["id"]) if isinstance(rig["id"], str) else None
        told = self._today(self.records.rig_told(rig["id"])) if saved is not None else None
        if saved is None:
            known = isinstance(rig["id"], str)
            help = self._near("rig", rig["id"], t("check the id")) if known else t("write the rig's id")
            self._complain("/rig/id", t("there is no saved rig `{rig}`", rig=rig["id"]), help, known)
            saved = {}
        return joined_rig(rig_today(saved, self.reader), rig_today(rig, self.reader)), told

    def _named(self, rig: Mapping[str, Json]) -> Stored | None:
        """The one stored vehicle that is meant by the facts given for it; several are noted as candidates."""
        mounting = rig.get("mounting")
        if not any(f"vehicle.{name}" in self.texts for name in NAMES):
            return None
        if isinstance(mounting, dict) and mounting.get("id") is not None:
            return None
        facts = naming_facts(self.reader.vocabulary)
        values = {name: value for name, value in self.values.items() if name in facts}
        texts = {name: text for name, text in self.texts.items() if name in facts}
        self.vehicle = rig["vehicle"]
        found = self.records.vehicles(values, texts)
        self.candidates = self._meant(found or ())
        if found is not None and not found:
            self.unstored = self._unmatched(values, texts)
        if self.candidates and not self._surely_of(self.candidates, values, texts) and not self._guess():
            self.candidates = ()
        if len(self.candidates) != 1:
            return None
        one = self.candidates[0]
        stored = self._subject("vehicle", {**self.vehicle, "id": one.key}, "/rig/vehicle")
        for short in self.guessed:
            self.values.pop(f"vehicle.{short}", None)
        return stored

    def _meant(self, found: Sequence[Named]) -> tuple[Named, ...]:
        """Those of the vehicles that go by a name that no figure told rules out, nor that it is told to be another."""
        if self._identity() == NO:
            return ()
        ruled_out = [told_otherwise(self.reader, one.figures, self.values)[0] for one in found]
        meant = tuple(one for one, out in zip(found, ruled_out, strict=True) if not out)
        if found and not meant:
            self.unstored = tuple(dict.fromkeys(name for out in ruled_out for name in out))
        return meant

    def _surely_of(self, meant: Sequence[Named], values: Mapping[str, Value], texts: Mapping[str, str]) -> bool:
        """Whether what is told names a stored vehicle so that it can be no other, or all of a make, model and year."""
        if any(told_otherwise(self.reader, one.figures, self.values)[1] for one in meant):
            return False
        always = [f"vehicle.{name}" for name in NAMES] + self.reader.vocabulary.serving("model_year")
        if any(name not in values and name not in texts for name in always):
            return False
        others = self.records.vehicles({}, {name: texts[name] for name in always if name in texts})
        if len(meant) == 1:
            return surely_is(meant[0], values, texts, always, others or ())
        return surely_all(meant, values, texts, always, others or ())

    def _identity(self) -> int:
        """Whether the vehicle is told to be the stored one that goes by its name: the first of what it may be."""
        told = [self.values.get(name) for name in self.reader.vocabulary.serving("identity")]
        return {1: YES, 2: NO}.get(told[0], UNKNOWN) if told and isinstance(told[0], int) else UNKNOWN

    def _guess(self) -> bool:
        """Ask whether the vehicle is the stored one, unless that is told; false where no fact can ask it.

        Of several each is asked by itself, as the question is then put about it.
        """
        for name in self.reader.vocabulary.serving("identity"):
            fact = self.reader.vocabulary.facts[name]
            assert isinstance(fact.type, ListType)
            if len(self.candidates) == 1:
                self.present.add(name)
            if self._identity() == UNKNOWN:
                self.guessed = {fact.short: list(fact.type.members)}
            return True
        return False

    def _hold_to_its_record(self) -> None:
        """Ask whether a vehicle is the stored one that it is said to be, where what is told of it is another's."""
        for one in self.taken if not self.problems else ():
            for name in self._another(sure_of(one)) if one.subject == "vehicle" else ():
                said = (self.told_here[name], t("this question"), "")
                wire = one.facts[name.partition(".")[2]]
                self.doubts[name] = Doubt("disputed", (said, (wire, t("its record"), "")))
                self.present.update(self.reader.vocabulary.serving("identity"))

    def _another(self, on_record: Mapping[str, Json]) -> list[str]:
        """The names, choices and figures told that a record has otherwise; of a rating, the lower counts anyway."""
        if self.told_here.keys().isdisjoint(on_record):
            return []
        told = {name: self.values[name] for name in self.told_here if name in self.values}
        figures = {name.partition(".")[2]: wire for name, wire in on_record.items() if name not in self.reader.ratings}
        found = told_otherwise(self.reader, figures, told)[0]
        for name, fact in naming_facts(self.reader.vocabulary).items():
            if name not in on_record or name not in self.told_here or name in found:
                continue
            if fact.kind == "text":
                differs = name in self.texts and folded(self.texts[name]) != folded(str(on_record[name]))
            else:
                was = self.reader.value(fact, on_record[name]).get(name)
                differs = name in told and was is not None and not agree(was, told[name])
            found += [name] if differs else []
        return found

    def _unmatched(self, values: Mapping[str, Value], texts: Mapping[str, str]) -> tuple[str, ...]:
        """The facts by which no stored vehicle is found: make and model first, each beside those that find some."""
        told: dict[str, Value | str] = {**texts, **values}
        names = [f"vehicle.{name}" for name in NAMES if f"vehicle.{name}" in texts]
        kept: list[str] = []
        for name in dict.fromkeys([*names, *told]):
            some = [*kept, name]
            these = ({n: values[n] for n in some if n in values}, {n: texts[n] for n in some if n in texts})
            if self.records.vehicles(*these):
                kept = some
        return tuple(name for name in dict.fromkeys([*names, *told]) if name not in kept)

    def _mounting(self, part: Json, stored: Mapping[str, Stored | None]) -> None:
        """The mounting named, or the one that is stored for the vehicle and receiver named."""
        named = self._subject("mounting", part, "/rig/mounting")
        vehicle, receiver = stored["vehicle"], stored["receiver"]
        if named is None:
            if vehicle and receiver:
                found = self.records.mountings(vehicle.key, receiver.key)
                if len(found) == 1:
                    self._take(found[0], "/rig/mounting", only_missing=True)
            return
        for subject, record in stored.items():
            linked = named.links.get(subject, "")
            if record is not None and linked and linked != record.key:
                message = t(
                    "mounting `{key}` belongs to {subject} `{linked}`, not to `{key2}`",
                    key=named.key,
                    subject=called(subject),
                    linked=linked,
                    key2=record.key,
                )
                self._complain(
                    "/rig/mounting/id",
                    message,
                    t("name another mounting or leave the {subject} out", subject=called(subject)),
                    True,
                )
            elif record is None and linked:
                found_part = self.records.find(subject, linked)
                if found_part:
                    self._take(found_part, f"/rig/{subject}", only_missing=True)

    def _adapters(self, parts: Json) -> None:
        if parts is None:
            return
        if not isinstance(parts, list):
            self._complain("/rig/adapters", t("adapters are a list, from the receiver outwards"), t("write `[{...}]`"))
            return
        if len(parts) > MOST_ADAPTERS:
            self._complain(
                "/rig/adapters",
                t("{count} adapters are more than anyone stacks", count=len(parts)),
                t("at most {MOST_ADAPTERS}", MOST_ADAPTERS=MOST_ADAPTERS),
            )
            return
        for i, part in enumerate(parts):
            self._adapter(part, f"/rig/adapters/{i}")

    def _adapter(self, part: Json, pointer: str) -> None:
        outer, self.values = self.values, {}
        self._subject("adapter", part, pointer)
        if isinstance(part, dict):
            self.adapters.append(self.values)
        elif part is None:
            self._complain(pointer, t("an adapter is an object"), t("give its `sku` or its `facts`"))
        self.values = outer

    def _subject(self, subject: str, part: Json, pointer: str) -> Stored | None:
        """Read one subject, and return its stored record if it names one."""
        if part is None:
            return None
        if not self._is_mapping(part, pointer, *PARTS[subject]):
            return None
        key = SUBJECTS[subject].key
        stored = self._stored(subject, key, part, pointer) if part.get(key) is not None else None
        if stored is not None and stored.subject == "adapter" and subject == "accessory":
            self._accessory_is_adapter(stored, part, pointer)
            return None
        if subject != "adapter":
            self.present.add(subject)
        if stored:
            self._take(stored, f"{pointer}/{key}")
            self.sku = stored.key if subject == "accessory" else self.sku
        self._inline(subject, part.get("facts"), f"{pointer}/facts", stored)
        return stored

    def _accessory_is_adapter(self, stored: Stored, part: Json, pointer: str) -> None:
        """An adapter asked about is judged where it would sit: in the opening, after those already there."""
        outer, self.values = self.values, {}
        self._take(stored, f"{pointer}/sku")
        self._inline("adapter", part.get("facts"), f"{pointer}/facts", stored)
        self.adapters.append(self.values)
        self.values = outer

    def _stored(self, subject: str, key: str, part: Mapping[str, Json], pointer: str) -> Stored | None:
        name = part[key]
        place = f"{pointer}/{key}"
        if not isinstance(name, str):
            self._complain(place, t("`{key}` is a text", key=key), t("write the record's {key}", key=key))
            return None
        stored = self.records.find(subject, name)
        if stored is None:
            message = t("no {subject} is stored under `{name}`", subject=called(subject), name=name)
            help = self._near(subject, name, t("check the {key}, or give `facts`", key=key))
            self.problems.append(Problem(message, help, pointer=place, meaning=True, kind="missing record"))
        elif stored.subject != subject and (subject, stored.subject) != ("accessory", "adapter"):
            self._complain(
                place,
                t(
                    "`{name}` is a {subject}, not a {wanted}",
                    name=name,
                    subject=called(stored.subject),
                    wanted=called(subject),
                ),
                t("name it in its own place"),
                True,
            )
            return None
        return stored

    def _near(self, subject: str, name: str, else_: str) -> str:
        """What to do about an id or SKU that is not stored: take the nearest there is, or something else."""
        near = nearest(name, self.records.keys_near(subject, name))
        return t("did you mean `{near}`? If not, {otherwise}", near=near, otherwise=else_) if near else else_

    def _take(self, stored: Stored, pointer: str, only_missing: bool = False) -> None:
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
            self._complain(pointer, message, problem.help, True)
        stored = self._today(stored)
        if only_missing:
            self._hold_ratings(sure_of(stored))
            values = {name: value for name, value in values.items() if not self._said(name)}
            texts = {name: text for name, text in texts.items() if not self._said(name)}
        self.values |= values
        self.texts |= texts
        self.stored |= {f"{stored.subject}.{short}": wire for short, wire in stored.facts.items()}
        self.taken.append(stored)
        self.assumed |= {name for name in (f"{stored.subject}.{short}" for short in stored.assumed) if name in values}
        doubts = {f"{stored.subject}.{short}": doubt for short, doubt in stored.doubts.items()}
        self.doubts |= {name: doubt for name, doubt in doubts.items() if not (only_missing and self._said(name))}
        self.trials += [stored] if stored.tried or stored.things else []
        self.labels.setdefault(stored.subject, stored.label)

    def _today(self, stored: Stored) -> Stored:
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

    def _try(self, stored: Stored) -> None:
        """Take what a trial of the very thing asked about says, unless the question itself tells the fact."""
        asked = {designation(text) for name, text in self.texts.items() if not name.startswith("vehicle.")}
        for name, by_what in stored.tried.items():
            fact = self.reader.subjects[stored.subject].get(name)
            for what in asked & by_what.keys() if fact else ():
                assert fact is not None
                if self.values.get(fact.name) == self.reader.value(fact, stored.facts[name]).get(fact.name):
                    self.values |= self.reader.value(fact, by_what[what])
                    self.rubbed += [what] if what in stored.rubbed else []

    def _try_things(self, stored: Stored) -> None:
        """Note what touched or rubbed here, and how the very accessory asked about did, each way of trying it once."""
        latest = {(one.way, one.result): one for one in stored.things if one.sku == self.sku and self.sku}
        self.tried += latest.values()
        states = self.reader.rulebook.trials.values()
        # What touched is told last, as it takes the place of what rubbed.
        for one in sorted(stored.things, key=lambda each: each.result == TOUCHED):
            if one.counts:
                # Of a way to try it that the rulebook no longer has, any may have been meant.
                names = [state.told_as for state in states if state.title == one.how]
                facts = [self.reader.vocabulary.facts[name] for name in names or [each.told_as for each in states]]
                came = {fact.name: fact.type.mask(one.result) for fact in facts if isinstance(fact.type, ListType)}
                self.of_items.setdefault(one.sku, {}).update(came)

    def _said(self, slot: str) -> bool:
        """Whether the question itself says something of a slot: a value, or that it is not known."""
        fact = self.reader.vocabulary.fact_of(slot)
        said = slot in self.values or slot in self.texts
        return said or (fact is not None and fact.name in self.forgotten)

    def _inline(self, subject: str, facts: Json, pointer: str, stored: Stored | None) -> None:
        if facts is None:
            return
        if not isinstance(facts, dict):
            self._complain(pointer, t("`facts` is an object"), t('write `{"fact": value}`'))
            return
        for name in self.reader.read(subject, facts, pointer, self.problems, self.values, self.texts):
            self._forget(f"{subject}.{name}")
        self.told_here |= {f"{subject}.{name}": wire for name, wire in facts.items()}
        if stored:
            self.assumed.difference_update(f"{subject}.{name}" for name in facts)
            for name in facts:
                self.doubts.pop(f"{subject}.{name}", None)
            changed = (name for name, wire in facts.items() if stored.facts.get(name) not in (None, wire))
            self.replaced.update(f"{subject}.{name}" for name in changed if facts[name] is not None)
            self._hold_ratings(sure_of(stored))

    def _hold_ratings(self, on_record: Mapping[str, Json]) -> None:
        """Take each rating as it is on record where what is told here is surely more, and tell both as disputed.

        As of one rig: what is told of it does not lift what its record says. What is told lower counts.
        """
        for name in self.reader.ratings & on_record.keys() if not self.problems else ():
            wire, now = on_record[name], self.values.get(name)
            was = self.reader.value(self.reader.vocabulary.facts[name], wire)[name]
            if lifts(now, was):
                self.values[name] = was
                said = (self.told_here.pop(name, None), t("this question"), "")
                self.doubts[name] = Doubt("disputed", (said, (wire, t("its record, which counts as the lower"), "")))
                self.replaced.discard(name)

    def _forget(self, name: str) -> None:
        """An inline null says that a fact is not known after all."""
        self.forgotten.add(name)
        self.texts.pop(name, None)
        for slot in (name, *(f"{name}.{part}" for part in TYRE_PARTS)):
            self.values.pop(slot, None)
