"""The example of a shop's service names what there is: commands with options that are read, files, and settings."""

import json
import re
import shlex
from pathlib import Path
from typing import Any

import click
import pytest
import yaml
from prometheus_client.parser import text_string_to_metric_families

from fitsvc.cli.app import app
from fitsvc.service.metrics import Metrics

FOLDER = Path(__file__).parents[1] / ".deploy"
COMPOSED: dict[str, Any] = yaml.safe_load((FOLDER / "compose.yaml").read_text("utf-8"))
SERVICES: dict[str, dict[str, Any]] = COMPOSED["services"]
COMMANDS = [
    part
    for service in SERVICES.values()
    for part in re.findall(r"fitsvc (?:serve|db|key)[^;']*", str(service.get("command", "")))
]


@pytest.mark.parametrize("command", sorted(set(COMMANDS)))
def test_every_command_is_one_that_is_read(command: str) -> None:
    """The command line takes it as it stands there."""
    words = shlex.split(command.replace("$$(date +%F)", "today"))[1:]
    found: click.Command = app
    context = click.Context(found, **found.context_settings)
    while isinstance(found, click.Group):
        _, below, words = found.resolve_command(context, words)
        assert below is not None, command
        found, context = below, click.Context(below, parent=context)
    assert found.parse_args(context, words) == []
    assert context.params


def test_the_parts_fit_together() -> None:
    """The proxy hands on to the servers there are, by their name, and lets go of idle connections before they do."""
    proxy = (FOLDER / "proxy.conf").read_text("utf-8")
    servers = [name for name, service in SERVICES.items() if "fitsvc serve" in str(service.get("command"))]
    assert re.findall(r"server (\w+):8000", proxy) == servers
    (name,) = re.findall(r"server_name (\S+);", proxy)
    assert f"--trusted-host {name}" in SERVICES[servers[0]]["command"]
    network = COMPOSED["networks"]["default"]["ipam"]["config"][0]["subnet"]
    assert f"--trusted-proxy {network}" in SERVICES[servers[0]]["command"]
    assert "X-Forwarded-For $proxy_add_x_forwarded_for" in proxy
    assert int(re.findall(r"keepalive_timeout (\d+)s", proxy)[0]) < 75
    copied = re.findall(r"^COPY (.+) \S+$", (FOLDER / "Dockerfile").read_text("utf-8"), re.MULTILINE)
    assert all((FOLDER.parent / file).exists() for line in copied for file in line.split())


def test_dashboard_and_alerts_ask_for_what_is_counted() -> None:
    """Each figure they name is one that `/metrics` has, and each has its line in the guide."""
    counted = Metrics()
    counted.request("GET", "/v1/answers", 200, 0.1)
    names = {
        f"{one.name}{end}"
        for one in text_string_to_metric_families(counted.text().decode())
        for end in ("", "_total", "_bucket")
    }
    alerts = yaml.safe_load((FOLDER / "alerts.yaml").read_text("utf-8"))["groups"][0]["rules"]
    panels = json.loads((FOLDER / "dashboard.json").read_text("utf-8"))["panels"]
    asked = [one["expr"] for one in alerts]
    asked += [one["expr"] for panel in panels for one in panel["targets"]]
    used = set(re.findall(r"\b(?:fitsvc|process)_\w+", " ".join(asked)))
    assert len(used) > 7
    assert used <= names
    guide = (FOLDER.parent / "fitsvc" / "guide" / "operator.md").read_text("utf-8")
    assert [one["alert"] for one in alerts if one["annotations"]["do"].split(":")[0] not in guide] == []
