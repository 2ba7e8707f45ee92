"""Keys are placed so that no wrong closing finds a socket for every one of them."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from shellgen.mold.registration import choose_keys, wrong_closings


def ring(radius, count, turn=0.0):
    a = turn + 2 * np.pi * np.arange(count) / count
    return radius * np.column_stack([np.cos(a), np.sin(a)])


def least_miss(places, chosen, turned, motions, land):
    """By hand: for each motion the farthest any male lands from every socket, if it lands on the flange."""
    keys, turned = places[chosen], np.array(turned)
    worst = np.inf
    for m in motions:
        reach = 0.0
        for kind in (False, True):
            own = keys[turned == kind]
            # males of the second piece move; those of the first stand still, the flange over them comes from elsewhere
            moved = own @ m[:, :2].T + m[:, 2] if kind else (own - m[:, 2]) @ np.linalg.inv(m[:, :2]).T
            for q in moved:
                if shapely.contains_xy(land, *q):
                    reach = max(reach, float(np.linalg.norm(own - q, axis=1).min()))
        worst = min(worst, reach)
    return worst


@given(st.integers(2, 12).map(lambda half: 2 * half), st.floats(60, 200))
@settings(max_examples=20, deadline=None)
def test_a_round_flange_closes_one_way_only(count, radius):
    bolts, places = ring(radius, count), ring(radius, count, np.pi / count)
    land = shapely.Point(0, 0).buffer(radius + 12).difference(shapely.Point(0, 0).buffer(radius - 12))
    half_turns = [m for m in wrong_closings(bolts) if m[0, 0] < 0][:1]
    chosen, turned = choose_keys(places, 4, 4.0, land, half_turns)
    assert least_miss(places, chosen, turned, half_turns, land) >= 4.0
    assert 1 <= len(chosen) <= 4


def test_an_even_row_of_three_has_keys_on_both_sides():
    """With males on one side a shift by one, or a half turn, finds a socket for all that stay on the flange."""
    bolts = np.column_stack([np.arange(4) * 60.0, np.zeros(4)])
    places = bolts[:-1] + np.array([30.0, 0.0])
    land = shapely.box(-10, -10, 190, 10)
    motions = wrong_closings(bolts)
    chosen, turned = choose_keys(places, 4, 4.0, land, motions)
    assert least_miss(places, [0, 1, 2], [False] * 3, motions, land) < 4.0
    assert any(turned) and not all(turned)
    assert least_miss(places, chosen, turned, motions, land) >= 4.0


@pytest.mark.parametrize("count", [0, 1])
def test_few_places(count):
    chosen, turned = choose_keys(np.zeros((count, 2)), 4, 4.0, shapely.box(-9, -9, 9, 9), [])
    assert len(chosen) == len(turned) == count
