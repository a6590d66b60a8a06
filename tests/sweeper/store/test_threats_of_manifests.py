"""A manifest from somebody else cannot point out of its folder."""

import hashlib
import json
from datetime import timedelta
from pathlib import Path

import pytest

from sweeper.store.manifest import FORMAT, MANIFEST, parse_manifest, write_manifest
from tests.sweeper.store.nights import EVENING, fill, open_store


def manifest(name: str) -> str:
    return json.dumps({"format": FORMAT, "files": {name: {"bytes": 1, "sha256": "0" * 64}}})


@pytest.mark.parametrize(
    "name", ["/etc/passwd", "../other/days/2026-11-01.parquet", "days/../../x", "days/.."]
)
def test_a_name_that_leads_out_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="outside the station's folder"):
        parse_manifest(manifest(name))


@pytest.mark.parametrize("text", ["", "[]", "{}", "null", '{"format": "other", "files": {}}', "{" * 1000])
def test_what_is_no_manifest_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        parse_manifest(text)


def test_finished_days_are_listed_with_their_checksums(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 2, timedelta(days=1))
        store.finish_days(EVENING + timedelta(days=5))
        listed = parse_manifest((store.folder / MANIFEST).read_text())
        assert sorted(listed) == ["days/2026-11-01.parquet", "days/2026-11-02.parquet"]
        for name, entry in listed.items():
            content = (store.folder / name).read_bytes()
            assert (entry["bytes"], entry["sha256"]) == (len(content), hashlib.sha256(content).hexdigest())
        before = (store.folder / MANIFEST).read_bytes()
        write_manifest(store.folder)
        assert (store.folder / MANIFEST).read_bytes() == before


def test_a_folder_named_like_a_day_hides_no_later_day(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        fill(store, EVENING, 2, timedelta(days=1))
        store.finish_days(EVENING + timedelta(days=5))
        whole = (store.folder / MANIFEST).read_bytes()
        (store.folder / MANIFEST).unlink()
        (store.folder / "days" / "2026-10-01.parquet").mkdir()
        write_manifest(store.folder)
        assert (store.folder / MANIFEST).read_bytes() == whole
