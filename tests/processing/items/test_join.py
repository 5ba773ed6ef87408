"""Items of overlapping areas: what belongs together becomes one, what disagrees is told."""

from dataclasses import replace

import numpy as np
import pytest

from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.items.join import flagged, join_items
from inslab.processing.items.model import Item

BAR = dict(zip(KINDS, (0.8, 0.05, 0.05, 0.05, 0.05)))
CONDUIT = dict(zip(KINDS, (0.2, 0.05, 0.6, 0.05, 0.1)))


def item(name, start, end, depth=0.05, kinds=BAR, sigma=0.003, picks=5):
    """A straight item in the site grid; `name` is area and number."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    count = max(round(np.linalg.norm(end - start) / 0.05), 1) + 1
    along = np.linspace(0, 1, count)[:, None]
    depths = np.interp(along[:, 0], [0, 1], np.broadcast_to(depth, 2))
    vertices = np.column_stack([start + along * (end - start), depths])
    return Item(name, (name.split("-")[0],), vertices, dict(kinds), 0.9, sigma, sigma, picks, "Bar: for a test.")


def test_one_object_seen_from_two_turned_areas_becomes_one_item():
    # Each area sees its own stretch of the same line; their fits leave 3 mm and a tenth of a degree.
    first = item("A1-001", (0.0, 0.0), (1.0, 0.0))
    second = item("A2-004", (1.4, 0.004), (0.6, 0.003), depth=0.052)
    (joined,) = join_items([second, first]).items
    assert joined.item_id == "A1-001"
    assert joined.area_ids == ("A1", "A2")
    assert joined.pick_count == 10
    assert "A1, A2" in joined.reasons
    ends = joined.vertices_m[[0, -1], 0]
    assert sorted(ends) == pytest.approx([0.0, 1.4], abs=1e-6)
    # Where both see it, the joined course lies between them.
    middle = joined.vertices_m[np.abs(joined.vertices_m[:, 0] - 0.8) < 0.03]
    assert np.all((middle[:, 1] > 0.0) & (middle[:, 1] < 0.004))
    assert np.all((middle[:, 2] > 0.05) & (middle[:, 2] < 0.052))
    # Outside the overlap each keeps its own.
    assert joined.vertices_m[np.argmin(joined.vertices_m[:, 0]), 1] == pytest.approx(0.0, abs=1e-4)
    assert joined.vertices_m[np.argmax(joined.vertices_m[:, 0]), 1] == pytest.approx(0.004, abs=5e-4)
    assert joined.confidence == pytest.approx(1 - 0.1 * 0.1)


def test_areas_that_agree_on_a_kind_do_not_make_it_surer():
    """The geometric mean of equal probabilities is what each of them was (their product would make 0.8 nearly 1)."""
    (joined,) = join_items([item("A1-001", (0, 0), (1, 0)), item("A2-001", (0.5, 0), (1.5, 0))]).items
    assert joined.kind_probabilities == pytest.approx(BAR, abs=1e-4)


def test_parallel_bars_sixty_millimetres_apart_stay_apart():
    items = [item("A1-001", (0, 0), (1, 0)), item("A2-001", (0.5, 0.06), (1.5, 0.06))]
    joined = join_items(items).items
    assert [one.item_id for one in joined] == ["A1-001", "A2-001"]
    assert join_items(items).disagreements == []


def test_mat_of_bars_finds_its_own_continuation():
    items = []
    for n in range(6):
        items.append(item(f"A1-{n:03d}", (0, 0.06 * n), (1, 0.06 * n)))
        items.append(item(f"A2-{n:03d}", (0.8, 0.06 * n + 0.005), (1.8, 0.06 * n + 0.005)))
    joined = join_items(items).items
    assert len(joined) == 6
    for one in joined:
        across = one.vertices_m[:, 1]
        assert np.ptp(across) < 0.006
        assert one.area_ids == ("A1", "A2")


def test_disagreement_is_told_and_not_averaged():
    shallow = item("A1-001", (0, 0), (1, 0), depth=0.05, sigma=0.002)
    deep = item("A2-001", (0.5, 0), (1.5, 0), depth=0.075, sigma=0.002)
    found = join_items([shallow, deep])
    first, second = flagged(found.items, found.disagreements)
    assert first.vertices_m == pytest.approx(shallow.vertices_m)
    assert second.vertices_m == pytest.approx(deep.vertices_m)
    for one, other in ((first, "A2-001"), (second, "A1-001")):
        assert f"Item {other} beside it differs" in one.flag
        assert "25 mm in depth" in one.flag
        assert one.area_ids == (one.item_id[:2],)
    (disagreement,) = found.disagreements
    assert disagreement.item_ids == ("A1-001", "A2-001")
    assert disagreement.depth_m == pytest.approx(0.025)


def test_wide_sigmas_let_the_same_pair_join():
    pair = [item("A1-001", (0, 0), (1, 0), sigma=0.010), item("A2-001", (0.5, 0), (1.5, 0), depth=0.070, sigma=0.010)]
    assert len(join_items(pair).items) == 1


def test_every_part_knows_what_it_became_part_of():
    items = [
        item("A1-001", (0, 0), (1, 0)),
        item("A1-002", (0, 0.2), (1, 0.2)),
        item("A2-007", (0.8, 0.201), (1.8, 0.201)),
        item("A3-003", (1.7, 0.2), (2.5, 0.2)),
        item("A3-004", (1.7, 0.4), (2.5, 0.4)),
    ]
    found = join_items(items)
    assert found.joined_as == {
        "A1-001": "A1-001",
        "A1-002": "A1-002",
        "A2-007": "A1-002",
        "A3-003": "A1-002",
        "A3-004": "A3-004",
    }
    assert {one.item_id for one in found.items} == set(found.joined_as.values())


def test_a_flag_names_the_joined_item_and_not_its_part():
    items = [
        item("A1-001", (0, 0), (1, 0), depth=0.05, sigma=0.002),
        item("A2-001", (0.5, 0), (1.5, 0), depth=0.05, sigma=0.002),
        item("A3-001", (1.0, 0), (2.0, 0), depth=0.075, sigma=0.002),
    ]
    found = join_items(items)
    first, second = flagged(found.items, found.disagreements)
    assert (first.item_id, second.item_id) == ("A1-001", "A3-001")
    assert "Item A3-001 beside it" in first.flag
    assert "Item A1-001 beside it" in second.flag


def test_chain_over_three_areas_becomes_one_item():
    items = [item(f"A{n}-001", (0.8 * n, 0.001 * n), (0.8 * n + 1.0, 0.001 * n)) for n in range(1, 4)]
    (joined,) = join_items(items).items
    assert joined.area_ids == ("A1", "A2", "A3")
    assert np.ptp(joined.vertices_m[:, 0]) == pytest.approx(2.6)
    assert joined.pick_count == 15


def test_two_of_one_area_are_never_joined_by_a_third():
    items = [
        item("A1-001", (0, 0), (1, 0)),
        item("A1-002", (0, 0.02), (1, 0.02)),
        item("A2-001", (0.5, 0.010), (1.5, 0.010), sigma=0.006),
    ]
    joined = join_items(items).items
    assert len(joined) == 2
    assert {one.item_id for one in joined} == {"A1-001", "A1-002"}


def test_items_across_a_small_gap_join_and_across_a_large_one_do_not():
    first = item("A1-001", (0, 0), (1, 0))
    assert len(join_items([first, item("A2-001", (1.10, 0.002), (2, 0.002))]).items) == 1
    assert len(join_items([first, item("A2-001", (1.20, 0.002), (2, 0.002))]).items) == 2


def test_crossing_items_stay_apart():
    assert len(join_items([item("A1-001", (0, 0), (1, 0)), item("A2-001", (0.5, -0.5), (0.5, 0.5))]).items) == 2


def test_order_of_the_input_does_not_matter():
    items = [
        item(f"A{n}-00{k}", (0.8 * n, 0.2 * k), (0.8 * n + 1.0, 0.2 * k + 0.003)) for n in (1, 2, 3) for k in (1, 2)
    ]
    one, other = join_items(items), join_items(items[::-1])
    assert one == other
    for a, b in zip(one.items, other.items):
        assert (a.vertices_m == b.vertices_m).all()


def test_single_items_come_through_untouched():
    alone = item("A1-001", (0, 0), (1, 0))
    (same,) = join_items([alone]).items
    assert same is alone
    assert join_items([]).items == []
    assert replace(alone).kind == "bar"


def test_a_flat_part_says_nothing_against_a_draped_one():
    bar = dict(zip(KINDS, (0.95, 0.03, 0.01, 0.0, 0.01)))
    tendon = dict(zip(KINDS, (0.1, 0.85, 0.02, 0.01, 0.02)))

    def part(item_id, area, start, end, kinds):
        vertices = np.array([[start, 0.0, 0.13], [end, 0.0, 0.14]])
        return Item(item_id, (area,), vertices, kinds, 0.9, 0.003, 0.003, 8, "Seen.")

    # Alone at its depth, a flat part of metal was taken for a conduit.
    conduit = dict(zip(KINDS, (0.03, 0.015, 0.92, 0.015, 0.02)))
    joined = join_items([part("A-1", "A", 0.0, 1.0, conduit), part("B-1", "B", 0.8, 1.8, tendon)])
    assert [item.kind for item in joined.items] == ["tendon"]
    joined = join_items([part("A-1", "A", 0.0, 1.0, bar), part("B-1", "B", 0.8, 1.8, tendon)])
    assert [item.kind for item in joined.items] == ["tendon"]
