"""/v1/rulebooks, /v1/rules, /v1/needs and /v1/vocabulary: what answers rest on, and that it is read anew."""

from collections.abc import Iterable
from typing import Any, Final

from anyio import to_thread
from litestar import Response, get, post
from litestar.params import FromPath

from fitsvc.document import Document
from fitsvc.language.problems import Problem
from fitsvc.language.types import ListType
from fitsvc.rulebook.rules import Need, Rule, Rulebook
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.operations import IF_NONE_MATCH, Operation, query_of
from fitsvc.service.problems import problem
from fitsvc.service.queries import Parameter
from fitsvc.service.replies import reply, tagged
from fitsvc.tongues import t

_HEADERS: Final[dict[str, Any]] = {"headers": (IF_NONE_MATCH,), "sends": ("ETag",)}

_RULEBOOKS: Final = Operation(
    id="list_rulebooks",
    summary="List rulebooks",
    about="The rulebook that answers are given by.",
    tag="Knowledge",
    gives="Rulebooks",
    errors=(304,),
    **_HEADERS,
)


@get("/v1/rulebooks", opt=_RULEBOOKS.opt, sync_to_thread=False)
def list_rulebooks(request: AnyRequest) -> Response[bytes]:
    """Give the loaded rulebook."""
    query_of(request)
    book = service_of(request).answerer.rulebook
    return tagged(request, {"items": [_rulebook(book)]}, f'"{book.digest}"')


_RELOAD: Final = Operation(
    id="reload_rulebook",
    summary="Have the rules read anew",
    about="Reads the folder of rules that is served (`serve --rules`) as it is now: what can be read holds for every "
    "process within a second, and of what cannot `detail` says why, while the one before goes on. Where what is "
    "published is served, it tells what is in force.",
    tag="Knowledge",
    gives="Reloaded",
    scope="administer",
    needs_key=True,
    errors=(409,),
)


@post("/v1/rulebooks/reload", opt=_RELOAD.opt, status_code=200)
async def reload(request: AnyRequest) -> Response[bytes]:
    """Read anew what is served."""
    query_of(request)
    return await to_thread.run_sync(_reload, service_of(request))


def _reload(service: Service) -> Response[bytes]:
    published, held = service.published, None
    if published is not None:
        published.ask()
        held = published.in_force()
        if held is not None and (why := published.refused.get(held)):
            raise problem(409, why, code="not-reloaded")
    told = {"rulebook": service.answerer.rulebook.digest, "in_force": held}
    return reply(told, headers={"Cache-Control": "no-store"})


_RULES: Final = Operation(
    id="list_rules",
    summary="List rules",
    about="Every rule, in the order findings are told.",
    tag="Knowledge",
    gives="Rules",
    query=(Parameter("topic", "Only those of this topic.", {"type": "string", "maxLength": 80}, example="coupling"),),
    errors=(304, 404),
    **_HEADERS,
)


@get("/v1/rules", opt=_RULES.opt, sync_to_thread=False)
def list_rules(request: AnyRequest) -> Response[bytes]:
    """Give all rules, or a topic's."""
    topic = query_of(request)["topic"]
    book = service_of(request).answerer.rulebook
    if topic is not None and topic not in book.topics:
        help = t("there are {listed}", listed=", ".join(f"`{one}`" for one in book.topics))
        message = t("there is no topic `{topic}`", topic=topic[:60])
        raise problem(404, f"{message}; {help}", [Problem(message, help, parameter="topic")])
    items = [rule_document(rule) for rule in book.rules if topic in (None, rule.topic)]
    return tagged(request, {"items": items}, f'"{book.digest}-{topic or ""}"')


_RULE: Final = Operation(
    id="get_rule",
    summary="Get one rule",
    about="What a rule requires, why, and where it comes from.",
    tag="Knowledge",
    gives="Rule",
    path={"rule": "The rule's id, as in a finding's `rule`; it may hold a `/`."},
    errors=(304, 404),
    **_HEADERS,
)


@get("/v1/rules/{rule:path}", opt=_RULE.opt, sync_to_thread=False)
def get_rule(request: AnyRequest, rule: FromPath[str]) -> Response[bytes]:
    """Give one rule by its id."""
    query_of(request)
    book = service_of(request).answerer.rulebook
    wanted = book.today(str(rule).removeprefix("/"))
    for one in book.rules:
        if one.id == wanted:
            return tagged(request, rule_document(one), f'"{book.digest}"')
    raise problem(404, t("there is no rule `{wanted}`; /v1/rules lists them", wanted=wanted[:80]))


_NEEDS: Final = Operation(
    id="list_needs",
    summary="List needs",
    about="Every further part to have, or work to do, that an answer may name: by its `name` it stands among `codes`, "
    "beside the ids of rules.",
    tag="Knowledge",
    gives="Needs",
    errors=(304,),
    **_HEADERS,
)


@get("/v1/needs", opt=_NEEDS.opt, sync_to_thread=False)
def list_needs(request: AnyRequest) -> Response[bytes]:
    """Give all needs."""
    query_of(request)
    book = service_of(request).answerer.rulebook
    return tagged(request, {"items": [need_document(one) for one in book.needs]}, f'"{book.digest}"')


_VOCABULARY: Final = Operation(
    id="get_vocabulary",
    summary="Get the vocabulary",
    about="Every subject, list and fact: what it means and how it is measured.",
    tag="Knowledge",
    gives="Vocabulary",
    errors=(304,),
    **_HEADERS,
)


@get("/v1/vocabulary", opt=_VOCABULARY.opt, sync_to_thread=False)
def get_vocabulary(request: AnyRequest) -> Response[bytes]:
    """Give the vocabulary."""
    query_of(request)
    book = service_of(request).answerer.rulebook
    return tagged(request, vocabulary_document(book.vocabulary), f'"{book.digest}"')


def rule_document(rule: Rule) -> Document:
    """Return a rule as the API shows it."""
    return {
        "id": rule.id,
        "topic": rule.topic,
        "title": rule.title,
        "applies_when": rule.applies_text,
        "requires": rule.requires_text,
        "severity": rule.severity,
        "if_unknown": rule.if_unknown,
        "subjects": list(rule.subjects),
        "limit": rule.limit,
        "remedy": rule.remedy,
        "source": rule.source.document(),
    }


def need_document(need: Need) -> Document:
    """Return a need as the API shows it."""
    return {
        "name": need.name,
        "topic": need.topic,
        "title": need.title,
        "applies_when": need.applies_text,
        "subjects": list(need.subjects),
        "work": need.work,
        "source": need.source.document(),
    }


def vocabulary_document(vocabulary: Vocabulary, facts: Iterable[Fact] | None = None) -> Document:
    """Return the vocabulary as the API shows it, with all facts or some."""
    return {
        "subjects": [
            {"name": one.name, "title": one.title, "presence": one.presence} for one in vocabulary.subjects.values()
        ],
        "lists": [_list(vocabulary, kind) for kind in vocabulary.lists.values()],
        "facts": [_fact(fact) for fact in (vocabulary.facts.values() if facts is None else facts)],
    }


def _rulebook(book: Rulebook) -> Document:
    vocabulary = book.vocabulary
    counted = {
        "rules": book.rules,
        "limits": book.limits,
        "needs": book.needs,
        "cautions": book.cautions,
        "tables": book.tables,
        "subjects": vocabulary.subjects,
        "facts": vocabulary.facts,
    }
    counts = {name: len(things) for name, things in counted.items()}
    return {"name": book.name, "digest": book.digest, "topics": dict(book.topics), "counts": counts}


def _list(vocabulary: Vocabulary, kind: ListType) -> Document:
    words = vocabulary.words.get(kind.name, {})
    members = [{"name": member, "words": words.get(member, member)} for member in kind.members]
    return {"name": kind.name, "kind": "sizes" if kind.sizes else "words", "members": members}


def _fact(fact: Fact) -> Document:
    return {
        "name": fact.name,
        "type": fact.kind,
        "label": fact.label,
        "shown_in": fact.shown_in,
        "range": list(fact.range_text) if fact.range_text else None,
        "meaning": fact.meaning,
        "how_to_measure": fact.how_to_measure,
        "effort": fact.effort,
    }
