"""Servers of two versions go on side by side on one database, while it is brought up to the newer one's tables."""

from pathlib import Path

import pytest
from alembic.script import ScriptDirectory
from demo_world import answerer
from litestar.testing import TestClient
from sqlalchemy import Engine, create_engine, inspect

from fitsvc.service.app import create_app
from fitsvc.store import database as store
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.store.engines import parse_url
from fitsvc.store.errors import NotMigrated

FROM = "0008"
"""The last migration that older versions are not held to get on with."""


def test_an_older_server_goes_on_after_the_upgrade(migrated_url: str, tmp_path: Path) -> None:
    """It stays ready, reads and writes, loses nothing of what the newer one wrote; another of its kind is not begun.

    The next version is stood in for by tables that have more than these.
    """
    database = Database(migrated_url)
    with database.session() as session:
        key = {"X-API-Key": create_key(session, "till")[0]}
    with TestClient(create_app(database, answerer(), tmp_path / "audits"), raise_server_exceptions=False) as client:

        def ready() -> int:
            return client.get("/health/ready").status_code

        assert client.post("/v1/vehicles", json={"id": "veh_1", "label": "One"}, headers=key).status_code == 201
        assert ready() == 200
        engine = create_engine(parse_url(migrated_url))
        with engine.begin() as newer:
            newer.exec_driver_sql("ALTER TABLE vehicle ADD COLUMN paint VARCHAR(20)")
            newer.exec_driver_sql("CREATE TABLE paint (name VARCHAR(20) PRIMARY KEY)")
            newer.exec_driver_sql("UPDATE vehicle SET paint = 'green'")
            newer.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
        assert ready() == 200
        changed = client.put("/v1/vehicles/veh_1", json={"label": "Two"}, headers=key | {"If-Match": "*"})
        assert changed.status_code == 200
        assert client.post("/v1/vehicles", json={"id": "veh_2"}, headers=key).status_code == 201
        assert client.get("/v1/vehicles/veh_1").json()["label"] == "Two"
        with engine.begin() as newer:
            rows = newer.exec_driver_sql("SELECT id, paint FROM vehicle ORDER BY id").all()
            assert [tuple(row) for row in rows] == [("veh_1", "green"), ("veh_2", None)]
            newer.exec_driver_sql("UPDATE alembic_version SET version_num = '0001'")
        assert ready() == 503, "tables that were taken back are noticed all the same"
        with engine.begin() as newer:
            newer.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
        engine.dispose()
        begun = Database(migrated_url)
        with pytest.raises(NotMigrated, match="newer fitsvc"):
            begun.check()
        begun.close()
    database.close()


def test_migrations_only_add(tmp_path: Path) -> None:
    """What an older version reads stays, and what it does not write may be left out: else it could not go on."""
    url = f"sqlite:///{tmp_path / 'fitsvc.db'}"
    steps = ScriptDirectory.from_config(store.migration_config(url)).iterate_revisions("head", FROM)
    store.upgrade(url, FROM)
    engine = create_engine(parse_url(url))
    for step in reversed([one.revision for one in steps]):
        before = _columns(engine)
        store.upgrade(url, step)
        after = _columns(engine)
        for table, columns in before.items():
            assert columns.items() <= after[table].items(), (step, table)
            for name in after[table].keys() - columns.keys():
                assert after[table][name][1], (step, table, name)
    engine.dispose()


def _columns(engine: Engine) -> dict[str, dict[str, tuple[str, bool]]]:
    """Each table's columns: of which type, and whether a row may be written that does not name it."""
    found = inspect(engine)
    return {
        table: {
            one["name"]: (str(one["type"]), one["nullable"] or one["default"] is not None)
            for one in found.get_columns(table)
        }
        for table in found.get_table_names()
    }
