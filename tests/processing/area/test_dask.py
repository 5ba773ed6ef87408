"""On a Dask cluster areas give what they give here."""

import pytest

from inslab.processing.area import runners
from inslab.processing.area.compute import AreaTask, bare
from inslab.processing.area.plain_data import from_bytes, to_bytes
from inslab.processing.area.runners import run_here, run_on_dask, task_text
from inslab.processing.survey.read import read_survey

distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def survey(small_survey, tmp_path_factory):
    """Two areas of one line each, which real radar work does in seconds."""
    import tiny

    folder = tiny.tiny_survey(small_survey, tmp_path_factory.mktemp("dask") / "job")
    table = folder / "scan_lines.csv"
    rows = table.read_text(encoding="utf-8").splitlines()
    table.write_text("\n".join([rows[0], *(row for row in rows if ",X01," in row)]) + "\n", encoding="utf-8")
    return folder


@pytest.fixture
def scheduler():
    """Address of a cluster in this process."""
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        yield cluster.scheduler_address


def run(runner, tasks):
    from inslab.processing.common.monitor import Monitor

    found = {}
    with runners._one_thread():
        runner(tasks, lambda number, content: found.__setitem__(number, from_bytes(content)), Monitor())
    for one in found.values():
        one.seconds.clear()
    return [to_bytes(found[number]) for number in range(len(tasks))]


def test_a_cluster_gives_the_same_bits(survey, scheduler):
    tasks = [task_text(AreaTask(bare(area))) for area in read_survey(survey).areas]
    results = run(run_on_dask(scheduler), tasks)
    assert results == run(run_here, tasks)
    assert not from_bytes(results[0]).failure
    assert from_bytes(results[0]).items


def test_a_scheduler_that_does_not_answer_is_named(monkeypatch):
    monkeypatch.setattr(runners, "START_SECONDS", 1)
    with pytest.raises(Exception, match=r"tcp://127\.0\.0\.1:9 does not answer"):
        run(run_on_dask("tcp://127.0.0.1:9"), [])
