"""`fitsvc select`: the service's bytes, a page for people, and bad input."""

import pytest
from demo_world import answerer
from litestar.testing import TestClient

from fitsvc.cli import main
from fitsvc.service.app import create_app
from fitsvc.store.database import Database

RIG = "rig_farm_muckle"


@pytest.fixture(scope="module")
def url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Give the URL of a database with the demo's shop."""
    file = tmp_path_factory.mktemp("select") / "demo.db"
    assert main(["demo", "--into", str(file)]) == 0
    return f"sqlite:///{file}"


def test_json_is_the_service_s_own(url: str, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    """The same page has the same bytes from the command line and over HTTP, and goes on where the other ended."""
    options = ["--kind", "step", "--kind", "ball_mount", "--outcome", "works", "--limit", "3", "--json"]
    assert main(["select", "--rig", RIG, *options, "--database", url]) == 0
    printed = capfdbinary.readouterr().out
    database = Database(url)
    with TestClient(create_app(database, answerer())) as client:
        query = "kind=ball_mount,step&outcome=works&limit=3"
        page = client.get(f"/v1/rigs/{RIG}/accessories?{query}")
        assert printed == page.content + b"\n"
        after = page.json()["next"]
        second = client.get(f"/v1/rigs/{RIG}/accessories?{query}&after={after}").content
    database.close()
    assert main(["select", "--rig", RIG, *options, "--after", after, "--database", url]) == 0
    assert capfdbinary.readouterr().out == second + b"\n"


def test_a_page_for_people_tells_reasons_and_counts(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each item has its reason below it, and what decides is counted over the whole catalogue."""
    question = ["--rig", RIG, "--fact", "load.bikes=2", "--fact", "load.bike_weight=40 lb"]
    assert main(["select", *question, "--outcome", "fails", "--limit", "2", "--database", url]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line[0] for line in lines if line[:1] in "✓!?✗" and line] == ["✗", "✗"]
    assert any(line.startswith("2 of ") for line in lines)
    counts = next(line for line in lines if line.startswith("Of all "))
    assert "undetermined" in counts
    assert any("fails: The shank is the size of the opening" in line for line in lines)


def test_bad_input_ends_with_2(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A rig that is not there, and a kind that is none, are told with what to do."""
    assert main(["select", "--rig", "rig_none", "--database", url]) == 2
    assert "there is no saved rig `rig_none`" in capsys.readouterr().err
    assert main(["select", "--rig", RIG, "--kind", "stepp", "--database", url]) == 2
    assert "did you mean `step`?" in capsys.readouterr().err
    assert main(["select", "--rig", RIG, "--after", "nonsense", "--database", url]) == 2
    assert "`after` is not where a page ended" in capsys.readouterr().err
