"""Bolts and keys on a mating face between planes, so placed that the face closes in one way only."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import shapely

from shellgen.envelope.raster import FloatArray
from shellgen.errors import DesignError
from shellgen.job.model import Settings
from shellgen.mold.bolt_row import along, length
from shellgen.mold.flange import FlangePlan
from shellgen.mold.places import Places, find_places
from shellgen.mold.registration import wrong_closings
from shellgen.standards.fasteners import bolt as bolt_data

CUTS_MM = (0.0, 4.0, 8.0, 12.0)
CLOSER = (1.0, 0.8, 0.65)  # shares of the pitch
FEW = 6  # with more bolts than that, rubber and wall stop what no key does, and no bolts are added
MET_MM = 1.5  # a bolt finds a hole that is no farther off
BESIDE_MM = (4.0, 3.0, 2.0)
TOWARDS = (0.0, 0.2, 0.35, 0.5, 0.6, 0.7, 0.8, 1.0)


def face_places(plan: FlangePlan, settings: Settings, lean_deg: float) -> Places:
    """Bolts and keys of a face; rows are cut at one end, short ones get more bolts, until no half turn closes it too.

    Turned about the middle of its bolts a curved row has little land to meet itself on, so no key might stop it.
    lean_deg : between the pull and the face's normal.
    """
    tries: list[Places] = []
    pitch_mm = settings.bolts.pitch_mm
    if not isinstance(pitch_mm, float):
        raise DesignError("bolts.pitch_mm is still open.")
    for share, cut_mm in product(CLOSER, CUTS_MM):
        if share < 1.0 and len(tries[0].spots) > FEW:
            break
        lines = tuple(
            line if closed or length(line) < 4 * cut_mm else _from(line, cut_mm)
            for line, closed in zip(plan.bolt_line, plan.closed, strict=True)
        )
        bolts = settings.bolts.model_copy(update={"pitch_mm": share * pitch_mm})
        asked = settings.model_copy(update={"bolts": bolts})
        tries.append(_beside(find_places(replace(plan, bolt_line=lines), asked, lean_deg=lean_deg), plan, settings))
        if not _ways_round(tries[-1], plan):
            break
    return min(tries, key=lambda places: _ways_round(places, plan))


def _ways_round(places: Places, plan: FlangePlan) -> int:
    """How many half turns lay two bolts or more on holes, while no male key lands on the flange beside a socket."""
    flange = plan.outline.difference(plan.section)
    keys = places.middles[list(places.keys)]
    sides = np.array(places.turned, bool)
    count = 0
    for turn in wrong_closings(places.spots):
        if turn[0, 0] > 0:  # a shift: the choice of keys sees to it
            continue
        bolts, males = (p @ turn[:, :2].T + turn[:, 2] for p in (places.spots, keys))
        gaps = np.hypot(*(bolts[:, None] - places.spots[None]).transpose(2, 0, 1)).min(axis=1)
        if int((gaps < MET_MM).sum()) < 2:
            continue
        caught = False
        for male, side in zip(males, sides, strict=True):
            away = np.hypot(*(keys[sides == side] - male).T).min()
            lands = flange.contains(shapely.Point(male).buffer(0.3 * places.radius_mm))
            caught |= bool(away > 0.6 * places.radius_mm and lands)
        count += not caught
    return count


def _beside(places: Places, plan: FlangePlan, settings: Settings) -> Places:
    """Keys moved off the middle between their bolts: a half turn about it would lay each into its own socket again.

    Of the places to the side of it and towards the bolts' chord the first is taken from where the turned key still
    lands on the flange; else the first that is free.
    """
    radius = places.radius_mm
    washers = shapely.MultiPoint(places.spots).buffer(bolt_data(str(settings.bolts.size)).washer_od_mm / 2 + 0.5)
    flange = plan.outline.difference(plan.section)
    land = plan.outline.buffer(-radius - 0.5).difference(shapely.union(plan.section, washers).buffer(radius))
    middles = places.middles.copy()
    for k in places.keys:
        middle, along_it = places.middles[k], places.tangents[k]
        near = np.argsort(np.hypot(*(places.spots - middle).T), kind="stable")[:2]
        chord = places.spots[near].mean(axis=0)
        tries = [middle + share * (chord - middle) + by * along_it for share in TOWARDS for by in BESIDE_MM]
        free = [at for at in tries if land.contains(shapely.Point(at))]
        met = [at for at in free if flange.contains(shapely.Point(2 * chord - at).buffer(0.3 * radius))]
        middles[k] = (met or free or [middle])[0]
    return replace(places, middles=middles)


def _from(line: FloatArray, start_mm: float) -> FloatArray:
    """An open line without its first stretch."""
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    return np.vstack([along(line, np.array([start_mm])), line[s > start_mm]])
