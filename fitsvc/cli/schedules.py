"""`fitsvc schedule`: audits that a running service carries out every day."""

from pathlib import Path

import click

from fitsvc.cli.console import err, one_line, out
from fitsvc.cli.options import Commands, audits_option, database_option, in_the_shell, open_database


@click.group(cls=Commands)
def schedule() -> None:
    """Plan audits of suppliers' files for every day.

    A service that was started with `--deliveries` carries them out.
    """


@schedule.command()
@click.argument("supplier", help="Whose file it is: by the mapping that is kept under that name it is read.")
@click.argument("file", help="The file, as a path below the service's deliveries.")
@click.option("--at", metavar="HH:MM", required=True, help="The time of day, of 24 hours.")
@click.option("--zone", default="UTC", show_default=True, help="Where that is meant, such as `Europe/Berlin`.")
@click.option("--claims", metavar="PATH", help="A file of claims, below the deliveries too.")
@audits_option
@database_option
def create(
    supplier: str, file: str, at: str, zone: str, claims: str | None, audits: Path | None, database: str | None
) -> None:
    """Have a supplier's file audited every day, against the audit before."""
    from fitsvc.service.audits.folder import Audits, audits_root
    from fitsvc.service.audits.run_words import local
    from fitsvc.service.audits.schedules import planned

    told = {"supplier": supplier, "file": file, "at": at, "zone": zone, "claims": claims}
    with open_database(database) as opened, opened.session() as session:
        made = planned(session, Audits(audits_root(audits)), told, in_the_shell(), "en")
    out().print(made.id)
    err().print(f"{one_line(supplier)} is audited first at {local(made.due_at, made.zone)}")


@schedule.command("list")
@database_option
def show(database: str | None) -> None:
    """List the schedules, each with when it is due and what its newest run came to."""
    from fitsvc.service.audits.run_words import local, stands
    from fitsvc.store.schedules import list_schedules, newest_runs

    with open_database(database) as opened, opened.session() as session:
        found = [(one, newest_runs(session, one.id, limit=1)) for one in list_schedules(session)]
    for one, newest in found:
        told = stands(one, newest[0][0]) if newest else "not run yet"
        next_ = f"next {local(one.due_at, one.zone)}"
        out().print(f"{one.id}  {one_line(one.supplier)}  {one_line(one.file)}  {next_}  {one_line(told)}")
    if not found:
        err().print("there are no schedules; `fitsvc schedule create SUPPLIER FILE --at HH:MM` makes one")


@schedule.command()
@click.argument("id", metavar="ID", help="The schedule's id, as `fitsvc schedule list` shows it.")
@click.option("--most", metavar="COUNT", type=click.IntRange(1, 400), default=7, show_default=True, help="How many.")
@database_option
def runs(id: str, most: int, database: str | None) -> None:
    """Show what the last runs of a schedule came to, and who was told."""
    from fitsvc.service.audits.notices import host_of
    from fitsvc.service.audits.run_words import lines, local, stands
    from fitsvc.store.schedules import get_schedule, newest_runs

    with open_database(database) as opened, opened.session() as session:
        one, found = get_schedule(session, id), newest_runs(session, id, limit=most)
    for run, notices in found:
        out().print(f"{run.sequence}  {one_line(stands(one, run))}")
        for line in lines(one, run):
            out().print(f"  {one_line(line)}")
        for notice in notices:
            why = f": {notice.failure}" if notice.failure else ""
            how = f"told {local(notice.told_at, one.zone)}" if notice.told_at else f"not told yet{why}"
            out().print(f"  {host_of(notice.address)}: {one_line(how)}")
    if not found:
        err().print("it has not run yet")


@schedule.command()
@click.argument("id", metavar="ID", help="The schedule's id, as `fitsvc schedule list` shows it.")
@database_option
def run(id: str, database: str | None) -> None:
    """Have the service run a schedule now, out of its time."""
    from fitsvc.store.schedules import ask_run

    with open_database(database) as opened, opened.session() as session:
        number = ask_run(session, id, in_the_shell().by).sequence
    err().print(f"run {number} waits for the service: `fitsvc schedule runs {one_line(id)}` tells what came of it")


@schedule.command()
@click.argument("id", metavar="ID", help="The schedule's id, as `fitsvc schedule list` shows it.")
@database_option
def delete(id: str, database: str | None) -> None:
    """End a schedule, with what its runs came to; its audits stay."""
    from fitsvc.service.audits.schedules import ended

    with open_database(database) as opened, opened.session() as session:
        ended(session, id, in_the_shell())
    err().print(f"deleted `{one_line(id)}`")
