"""Every format written and read back by its own library: one class, a subclass a format."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ElementTree
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firstcrank.errors import UsageError
from firstcrank.jobs import records
from firstcrank.jobs.export import export_store
from firstcrank.jobs.filing import attach
from firstcrank.jobs.store import open_store
from firstcrank.recording import Recording
from firstcrank.trace import CloseUp
from firstcrank.tracefiles.export import metadata
from firstcrank.tracefiles.native import from_bytes
from firstcrank.tracefiles.table import write

from .sim_recording import recorded


@pytest.fixture(scope="module")
def recording() -> Recording:
    read = from_bytes(recorded("marigold_trap"))
    piece = CloseUp(
        3.6,
        True,
        3.5996,
        6e-6,
        {"battery": np.linspace(12, 11, 90), "key_switch": np.linspace(12, 0, 90)},
        {"battery": 0.0, "key_switch": 2e-6},
    )
    return replace(read, trace=replace(read.trace, close_ups=(piece,)))


class RoundTrip:
    """Write, then read with the format's own library and compare. A format sets `suffix` and `read`."""

    suffix = ""
    tolerance = 0.0

    def read(self, path: Path) -> dict[str, np.ndarray]:
        raise NotImplementedError

    def close_up(self, path: Path) -> np.ndarray | None:
        return None

    def meta(self, path: Path) -> dict[str, object] | None:
        return None

    def test_bins(self, recording: Recording, tmp_path: Path) -> None:
        path = tmp_path / f"start{self.suffix}"
        write(path, recording)
        columns = self.read(path)
        for role, channel in recording.trace.channels.items():
            assert np.allclose(columns[f"{role}_v"], channel.mean_v, atol=self.tolerance, rtol=1e-8)
            assert np.allclose(columns[f"{role}_lowest_v"], channel.lowest_v, atol=self.tolerance, rtol=1e-8)
        assert np.allclose(columns["t_s"], recording.trace.start_s, atol=1e-7)

    def test_close_ups_and_metadata(self, recording: Recording, tmp_path: Path) -> None:
        path = tmp_path / f"start{self.suffix}"
        write(path, recording)
        found = self.close_up(path)
        if found is not None:
            assert np.allclose(np.sort(found), np.sort(recording.trace.close_ups[0].volts["key_switch"]))
        meta = self.meta(path)
        if meta is not None:
            assert meta == json.loads(json.dumps(metadata(recording)))

    def test_never_over_a_file(self, recording: Recording, tmp_path: Path) -> None:
        path = tmp_path / f"start{self.suffix}"
        path.write_text("mine")
        with pytest.raises(UsageError, match="already there"):
            write(path, recording)
        assert path.read_text() == "mine"


class TestCsv(RoundTrip):
    suffix = ".csv"
    tolerance = 1e-7

    def read(self, path: Path) -> dict[str, np.ndarray]:
        comments = sum(line.startswith("#") for line in path.read_text().splitlines())
        table = np.genfromtxt(path, delimiter=",", names=True, skip_header=comments)
        return {name: table[name] for name in table.dtype.names or ()}


class TestParquet(RoundTrip):
    suffix = ".parquet"

    def read(self, path: Path) -> dict[str, np.ndarray]:
        import pyarrow.parquet as pq

        table = pq.read_table(path)
        return {name: table[name].to_numpy() for name in table.column_names}

    def close_up(self, path: Path) -> np.ndarray:
        import pyarrow.compute as pc
        import pyarrow.parquet as pq

        table = pq.read_table(path.with_name(path.stem + "-close-ups.parquet"))
        return np.asarray(table.filter(pc.equal(table["role"], "key_switch"))["v"].to_numpy())

    def meta(self, path: Path) -> dict[str, object]:
        import pyarrow.parquet as pq

        table: dict[str, object] = json.loads(pq.read_schema(path).metadata[b"firstcrank"])
        return table


class TestMdf(RoundTrip):
    suffix = ".mf4"

    @pytest.fixture(autouse=True)
    def _library(self) -> None:
        pytest.importorskip("asammdf", reason="the asammdf package is not installed (firstcrank[mdf])")

    def read(self, path: Path) -> dict[str, np.ndarray]:
        from asammdf import MDF

        with MDF(path) as mdf:
            names = [n for n in mdf.channels_db if n.endswith("_v")]
            columns = {n: mdf.get(n, group=0).samples for n in names}
            signal = mdf.get("battery_v", group=0)
            assert signal.unit == "V"
            return {**columns, "t_s": signal.timestamps}

    def close_up(self, path: Path) -> np.ndarray:
        from asammdf import MDF

        with MDF(path) as mdf:
            return np.asarray(mdf.get("key_switch_close_up_0").samples)

    def meta(self, path: Path) -> dict[str, object]:
        from asammdf import MDF

        with MDF(path) as mdf:  # ASAM MDF 4 keeps a header comment as XML, the text in TX
            table: dict[str, object] = json.loads(ElementTree.fromstring(mdf.header.comment).findtext("TX") or "")
            return table


def test_an_unknown_suffix_is_wrong_usage(recording: Recording, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="suffix"):
        write(tmp_path / "a.xyz", recording)


def test_a_whole_store_as_a_parquet_folder(tmp_path: Path) -> None:
    import pyarrow.dataset as ds

    file = tmp_path / "a.fcr"
    file.write_bytes(recorded("marigold_trap"))
    with open_store(str(tmp_path / "s.sqlite")) as store:
        records.create_job(store, "1207", vehicle="Marigold")
        attach(store, "1207", file)
        records.create_job(store, "1208", vehicle="Foxglove")
        attach(store, "1208", file)  # the same recording once more: its bins are written once
        assert export_store(store, tmp_path / "out") == []
        with pytest.raises(UsageError, match="not empty"):
            export_store(store, tmp_path / "out")
    starts = ds.dataset(tmp_path / "out" / "starts.parquet").to_table()
    assert starts["verdict"].to_pylist() == ["FAIL", "FAIL"]
    bins = ds.dataset(tmp_path / "out" / "bins", partitioning="hive").to_table()
    assert set(bins["content_hash"].to_pylist()) == set(starts["content_hash"].to_pylist())
    trace = from_bytes(file.read_bytes()).trace
    assert bins["t_s"].to_pylist() == trace.start_s.tolist()
    lowest_v = bins["key_switch_lowest_v"].to_numpy()
    assert np.abs(lowest_v - trace.channels["key_switch"].lowest_v).max() < 2e-6
    written = sum(path.stat().st_size for path in (tmp_path / "out" / "bins").rglob("*.parquet"))
    kept = len(zlib.compress(file.read_bytes()))  # as the store keeps it
    print(
        f"bins of a start: {written / kept:.2f} of what the store keeps of it, {written / file.stat().st_size:.2f} of the recording"
    )
    assert written < 2.5 * kept
