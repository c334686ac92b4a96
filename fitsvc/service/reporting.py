"""Whom an operator wants told what nightly audits came to: addresses of programs, and of people."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.service.mailing import SENDER_VARIABLE, SERVER_VARIABLE, MailServer, is_mailbox, read_mail_server
from fitsvc.service.signing import MOST_ADDRESSES, Hooks, read_hooks

_MAIL: Final = "mailto:"

_NO_HOOKS: Final = Hooks()


@dataclass(frozen=True, slots=True)
class Reports:
    """Whom to tell: hooks by signed messages, people by mail through a server."""

    hooks: Hooks = _NO_HOOKS
    people: tuple[str, ...] = ()
    server: MailServer | None = None

    @property
    def addresses(self) -> tuple[str, ...]:
        """Each address, by which what it is to be told is kept."""
        return (*(one.address for one in self.hooks.targets), *self.people)


_NOBODY: Final = Reports()


@dataclass(frozen=True, slots=True)
class Nightly:
    """What a service needs for schedules: where suppliers' files come in, and whom to tell. Without, it has none."""

    deliveries: str = ""
    reports: Reports = _NOBODY


def read_nightly(deliveries: str, addresses: Sequence[str], secrets: str, server: str, sender: str) -> Nightly:
    """Return what an operator says of nightly audits; ProblemsFound where that is not whole.

    An audit that nobody is told of is not begun: a folder of deliveries needs an address, and the other way round.
    """
    if deliveries and not addresses:
        help = "name an address by `--report-to`, of a program (`https://...`) or of a person (`mailto:...`)"
        raise _wrong("nobody would be told what nightly audits come to", help)
    if addresses and not deliveries:
        raise _wrong("there are no nightly audits to report", "say where suppliers' files come in by `--deliveries`")
    if len(addresses) > MOST_ADDRESSES:
        raise _wrong(f"there are {len(addresses)} addresses to report to", f"expected {MOST_ADDRESSES} at most")
    people = tuple(dict.fromkeys(one for one in addresses if one.startswith(_MAIL)))
    for one in people:
        if not is_mailbox(mailbox_of(one)):
            raise _wrong(f"`{one[:60]}` is no address for mail", "write it as in `mailto:buyers@shop.example`")
    if people and not (server and sender):
        help = f"set {SERVER_VARIABLE} to the server that takes it, and {SENDER_VARIABLE} to whom it comes from"
        raise _wrong("mail needs a server", help)
    hooks = read_hooks([one for one in addresses if not one.startswith(_MAIL)], secrets)
    return Nightly(deliveries, Reports(hooks, people, read_mail_server(server, sender) if people else None))


def mailbox_of(address: str) -> str:
    """Return the mailbox of an address of a person."""
    return address.removeprefix(_MAIL)


def is_person(address: str) -> bool:
    """Tell whether an address is of a person."""
    return address.startswith(_MAIL)


def _wrong(message: str, help: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help)])
