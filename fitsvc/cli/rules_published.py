"""`fitsvc rules publish` and its kin: rulebooks kept in the store, and which of them servers answer by."""

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitsvc.cli.console import FAULTS, one_line, out, refuse, show_problems
from fitsvc.cli.options import (
    FILE,
    database_option,
    folder_argument,
    in_the_shell,
    open_database,
    read_date,
    rules_folder,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlmodel import Session

    from fitsvc.language.problems import Problem
    from fitsvc.rulebook.rules import Rulebook
    from fitsvc.store.tables import Activation

signing_key = click.option(
    "--sign",
    metavar="FILE",
    type=FILE,
    envvar="FITSVC_SIGNING_KEY",
    show_envvar=True,
    help="Sign it with the key in this file, which `fitsvc rules key` makes.",
)
_because = click.option("--because", metavar="REASON", required=True, help="Why, for the log.")


@click.command()
@click.argument("file", metavar="FILE", type=FILE, help="The file that is made, which you alone may read.")
def key(file: Path) -> None:
    """Make a key that publications are signed with. What is printed is for `fitsvc serve --signed-by`."""
    from fitsvc.service.signatures import make_key

    out().print(make_key(file))


@click.command()
@folder_argument
@database_option
@signing_key
def publish(folder: Path | None, database: str | None, sign: Path | None) -> None:
    """Keep a folder of rules in the database.

    Whole, under its digest. No server answers by it yet.

    It is checked, its examples are run, and both they and its answers on what is stored are compared with those of the
    rulebook in force: more that say yes must be signed for.
    """
    from fitsvc.rulebook.dating import frozen, today
    from fitsvc.rulebook.folder import lay_out, texts_of
    from fitsvc.service.publishing import unsigned_here
    from fitsvc.service.signatures import Signer
    from fitsvc.store.publications import publish as keep

    source, signer = rules_folder(folder), Signer(sign) if sign else None
    with tempfile.TemporaryDirectory() as below, open_database(database) as opened:
        copy = Path(below, source.resolve().name)
        texts = frozen(texts_of(source), today())
        lay_out(texts, copy)  # what is kept is what was tried, whoever writes meanwhile
        rulebook = _tried(copy)
        stop_at(unsigned_here(opened, rulebook, Path(below)))
        signed = {signer.name: signer.sign(rulebook.digest, texts)} if signer else {}
        with opened.session() as session:
            is_new = keep(session, rulebook.digest, rulebook.name, texts, in_the_shell(), signed)
    out().print(f"{one_line(rulebook.name)} {'is published' if is_new else 'was published before'}")
    out().print(rulebook.digest)
    tell_days(source)


@click.command()
@click.argument("digest", metavar="DIGEST", help="A published rulebook's digest, or its first eight digits or more.")
@click.option("--from", "begins", metavar="DATE", help="From when on, such as 2027-01-01; at once, if not said.")
@_because
@database_option
def activate(digest: str, begins: str | None, because: str, database: str | None) -> None:
    """Let a published rulebook be in force.

    Servers change over to it within seconds, between two requests.
    """
    from fitsvc.store.publications import activate as bring_into_force

    holds_from = read_date(begins)
    with open_database(database) as opened, opened.session() as session:
        line = bring_into_force(session, digest, in_the_shell(), because, holds_from)
        coming = _coming(session, line)
    out().print(f"{line.digest} is in force from {line.holds_from:%Y-%m-%d %H:%M:%S} UTC on")
    for told in coming:
        out().print(told)


@click.command()
@_because
@database_option
def rollback(because: str, database: str | None) -> None:
    """Let the rulebook that was in force before be so again, at once."""
    from fitsvc.store.publications import in_force, roll_back
    from fitsvc.store.tables import now

    with open_database(database) as opened, opened.session() as session:
        held = in_force(session, now())
        if not held:
            help = "`fitsvc rules published` lists what can be brought into force, with `fitsvc rules activate DIGEST`"
            refuse("no published rulebook is in force: servers answer by fitsvc's own already", help)
        if len(held) == 1:
            help = (
                "to go back to fitsvc's own, `fitsvc rules publish` it, which prints its digest, and bring that into "
                "force: `fitsvc rules activate DIGEST --because REASON`"
            )
            refuse("there is no rulebook to go back to: none was in force before", help)
        line = roll_back(session, in_the_shell(), because)
        coming = _coming(session, line)
    out().print(f"{line.digest} is in force again")
    for told in coming:
        out().print(told)
    for one in held[:1]:
        out().print(f"another rollback brings back {one}, which was in force till now")


@click.command()
@click.argument("digest", metavar="[DIGEST]", required=False, help="The rulebook to take out.")
@click.option("--to", "folder", metavar="DIR", type=FILE, help="Write its files into a new folder.")
@database_option
def published(digest: str | None, folder: Path | None, database: str | None) -> None:
    """List published rulebooks, or take one out.

    With the log of what was in force from when on; what is taken out goes into a folder.
    """
    from fitsvc.rulebook.folder import lay_out
    from fitsvc.store.publications import in_force, list_activations, list_publications, to_come
    from fitsvc.store.publications import published as find
    from fitsvc.store.tables import now

    if (digest is None) != (folder is None):
        refuse("a rulebook and a folder go together", "give DIGEST and `--to DIR`, or neither")
    with open_database(database) as opened, opened.session() as session:
        if digest is not None and folder is not None:
            if folder.exists():
                refuse(f"`{folder}` is there already", "name a folder that does not exist yet")
            found = find(session, digest)
            lay_out(found.files, folder)
            out().print(f"{one_line(found.name)} is in {folder}")
            return
        at = now()
        held = in_force(session, at)[:1]
        for one in list_publications(session):
            signed = "".join(f"  signed by {one_line(name)}" for name in one.signatures)
            told = f"published {one.at:%Y-%m-%d %H:%M}  {one_line(one.by)}: {one_line(one.name)}"
            out().print(f"{one.digest}  {told}{signed}")
        lines, coming = list_activations(session), {line.sequence for line in to_come(session, at)}
        # Of a rulebook that was let in force more than once, the line by which it is.
        by = max(
            ((one.holds_from, one.sequence) for one in lines if [one.digest] == held and one.holds_from <= at),
            default=None,
        )
        for line in lines:
            state = "  in force" if (line.holds_from, line.sequence) == by else ""
            state = "  to come" if line.sequence in coming else state
            told = f"from {line.holds_from:%Y-%m-%d %H:%M:%S}  {line.digest[:19]}  {one_line(line.by)}"
            out().print(f"{told}: {one_line(line.because)}{state}")
        if not held:
            out().print("no published rulebook is in force: servers answer by fitsvc's own")


def _coming(session: "Session", line: "Activation") -> list[str]:
    """What takes the place of what is brought into force, at a time that was said before, and how to keep it."""
    from fitsvc.store.publications import to_come

    found, before = list[str](), line.digest
    for one in to_come(session, line.holds_from):
        if one.digest != before:
            day = f"{one.holds_from:%Y-%m-%dT%H:%M:%SZ}".removesuffix("T00:00:00Z")
            keep = f"fitsvc rules activate {line.digest} --from {day} --because REASON"
            found.append(f"{one.digest} takes its place on {day}, as was said before; to keep it then, `{keep}`")
        before = one.digest
    return found


def _tried(folder: Path) -> "Rulebook":
    """The rulebook in a folder, whose examples are all kept."""
    from fitsvc.service.publishing import tried

    rulebook, problems = tried(folder)
    stop_at(problems)
    return rulebook


def stop_at(problems: "Sequence[Problem]") -> None:
    """Tell what is wrong with rules; raises click's Exit where anything is."""
    if problems:
        show_problems(problems, out())
        raise click.exceptions.Exit(FAULTS)


def tell_days(folder: Path) -> None:
    """Tell on which days to come the rules of a folder are others: what was taken of it is of today alone."""
    from fitsvc.rulebook.overlay import days_of

    for day in days_of(folder):
        told = day.isoformat()
        out().print(
            f"From {told} on the rules are others: with `as_of: {told}` in the folder publish them too, "
            f"and `activate --from {told}`."
        )
