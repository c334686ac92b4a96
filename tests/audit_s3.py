"""Pairs alone with items, rigs and pairs on an S3 server of its own on loopback: `PYTHONPATH=tests python -m audit_s3`.

By a cluster of two processes, against the same on a disk. By itself: the server (`pip install 'moto[s3]' flask
flask-cors`) wants an older `python-dateutil` than the tests have, so it goes into a folder of its own on PYTHONPATH.
"""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa
import pyarrow.fs as pf
import pyarrow.parquet as pq
from audit_world import accessories, pair_bytes, rigs
from dask_cluster import clustered

from fitsvc.audits.pair_files import judge_files, storage_of
from fitsvc.audits.rigs import rigs_table

_SERVER = """
import sys
from werkzeug.serving import make_server
from moto.server import DomainDispatcherApplication, create_backend_app
server = make_server("127.0.0.1", 0, DomainDispatcherApplication(create_backend_app), threaded=True)
print(server.server_port, flush=True)
server.serve_forever()
"""
_BUCKET = (
    "s3://key:secret@shop/{}?region=us-east-1&scheme=http&endpoint_override=127.0.0.1%3A{}&allow_bucket_creation=true"
)


@contextmanager
def _serving() -> Iterator[int]:
    """The port of a server that holds objects in its memory, as a process of its own."""
    with subprocess.Popen(
        [sys.executable, "-c", _SERVER], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        assert process.stdout is not None
        try:
            yield int(process.stdout.readline())
        finally:
            process.kill()


@contextmanager
def _shop(folder: Path) -> Iterator[tuple[int, list[Path], Path]]:
    """A server with a bucket of two files of items, each of several row groups, and the same files on the disk."""
    rows = [{title: cell or None for title, cell in row.items()} for row in accessories()]
    schema = pa.schema([(title, pa.string()) for title in rows[0]])
    parts, shared = [folder / f"part-{number}.parquet" for number in range(2)], folder / "rigs.parquet"
    for number, path in enumerate(parts):
        pq.write_table(pa.Table.from_pylist(rows[number::2], schema), path, row_group_size=30)
    pq.write_table(rigs_table(rigs()[:6]), shared)
    with _serving() as port:
        for path in (*parts, shared):
            storage, place = storage_of(_BUCKET.format(path.name, port))
            storage.create_dir(place.partition("/")[0])
            with storage.open_output_stream(place) as stream:
                stream.write(path.read_bytes())
        yield port, parts, shared


def main() -> None:
    """Judge, then begin again once a note is gone, and look that the notes tell no secret of the address."""
    with tempfile.TemporaryDirectory() as folder, _shop(Path(folder)) as shop:
        _judged(Path(folder), *shop)


def _judged(folder: Path, port: int, parts: list[Path], shared: Path) -> None:
    items, of = [_BUCKET.format(path.name, port) for path in parts], _BUCKET.format(shared.name, port)
    with clustered() as client:
        count = judge_files(client, parts, shared, folder / "out", pairs=60)
        assert count == len(accessories()) * 6
        assert judge_files(client, items, of, _BUCKET.format("out", port), pairs=60) == count
        storage, place = storage_of(_BUCKET.format("out", port))
        expected = pair_bytes(*storage_of(folder / "out"))
        assert pair_bytes(storage, place) == expected
        notes = [one.path for one in storage.get_file_info(pf.FileSelector(place)) if one.path.endswith(".json")]
        for path in notes:
            with storage.open_input_stream(path) as stream:
                assert b"secret" not in stream.read()
        storage.delete_file(notes[0])
        assert judge_files(client, items, of, _BUCKET.format("out", port), pairs=60) == count
        assert pair_bytes(storage, place) == expected
    print(f"{count:,} pairs on S3, in the same {len(expected)} files as on the disk")


if __name__ == "__main__":
    main()
