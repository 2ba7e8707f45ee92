"""Gussets on a fitted piece: where the planes of each web meet the wall's outside and the flange.

A web shows two sides, a sloping back, and a level top where the wall leans far from its foot. Each plane meets the
spline of the wall in a curve of its own; the wall's edge on the flange is cut where the sides cross it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.ops import substring

from shellgen.envelope.raster import FloatArray
from shellgen.errors import KernelError
from shellgen.solid.brep.graph import Graph, PlaneGraph
from shellgen.solid.brep.planes_graph import PlanesGraph
from shellgen.solid.brep.skin_section import Meeting, Section
from shellgen.solid.brep.traced_skin import MOST_TRACE_MM, TracedSkin
from shellgen.solid.recipe import Feature, Prism

ON_MM = 1e-6
SAME_MM = 1e-3
BESIDE_MM = 0.3  # lines nearer to each other than that are one
BISECTIONS = 60
STATIONS = 65


@dataclass(frozen=True, slots=True, eq=False)
class WebFrame:
    """A web in its own axes: r out from the wall, h up from the mating face, s across, each from `origin_mm`.

    back : direction of the sloping back, down and out. low_r_mm : its inner end; high_mm : its top.
    """

    origin_mm: FloatArray
    out: FloatArray
    up: FloatArray
    across: FloatArray
    back: FloatArray
    wall_mm: float
    low_r_mm: float
    high_mm: float
    long_mm: float

    def side(self, s_mm: float, graph: Graph) -> Section:
        """The plane of a side, axes r and h."""
        return Section(self.origin_mm + s_mm * self.across, self.out, self.up, graph)

    def top(self, graph: Graph) -> Section:
        """The plane of the level top, axes s and r."""
        return Section(self.origin_mm + self.high_mm * self.up, self.across, self.out, graph)

    def slope(self, graph: Graph) -> Section:
        """The plane of the back, axes s and the way down it."""
        return Section(self.origin_mm + self.high_mm * self.up, self.across, self.back, graph)


@dataclass(frozen=True, slots=True, eq=False)
class WebPlan:
    """Everything of one web that is found before OCC is asked.

    wall, land : the graphs of the wall's outside and of the flange's outer face.
    cuts : the wall's edge that it stands at and the parameters at which its sides cross it. Of the two sides (s = 0 and
    s = wall): feet and tips on the flange (2, 3), edges up the wall. tops, backs : edges of the level top and of the
    back on the wall, web on their left in (s, r). knees : where these meet (s), in rising s. ridges : edges on the
    flange from foot to tip, and between the tips last; None where they are straight.
    """

    frame: WebFrame
    wall: Graph
    land: Graph
    cuts: tuple[int, float, float]
    feet: FloatArray
    tips: FloatArray
    sides: tuple[Meeting, Meeting]
    tops: tuple[Meeting, ...]
    backs: tuple[Meeting, ...]
    knees: tuple[float, ...]
    ridges: tuple[Meeting, Meeting, Meeting] | None

    @property
    def error_mm(self) -> float:
        """Greatest height between an edge and what it lies on."""
        return max(m.error_mm for m in (*self.sides, *self.tops, *self.backs, *(self.ridges or ())))


def frame_of(feature: Feature) -> WebFrame:
    """The axes of a gusset. Raises KernelError for other shapes."""
    shape = feature.shape
    if not isinstance(shape, Prism) or len(shape.outer) not in (4, 5):
        raise KernelError("it is not the prism of a gusset")
    (low_r, _), _, (end, tip), (knee, high), *_ = shape.outer  # without a level top its back ends at the inner end
    out, up = np.asarray(shape.x_axis), np.asarray(shape.y_axis)
    back = (end - knee) * out + (tip - high) * up
    long = float(np.linalg.norm(back))
    return WebFrame(
        origin_mm=np.asarray(shape.origin) + knee * out,
        out=out,
        up=up,
        across=np.cross(out, up),
        back=back / long,
        wall_mm=shape.length_mm,
        low_r_mm=low_r - knee,
        high_mm=high,
        long_mm=long,
    )


def planned_web(feature: Feature, skin: TracedSkin) -> WebPlan:
    """A web on a piece's traced outside. Raises KernelError, saying why, where it cannot be built."""
    frame = frame_of(feature)
    land, mine = _land(frame, skin)
    tips = np.array([_tip(frame, s, land) for s in (0.0, frame.wall_mm)])
    index, t, feet = _crossings(frame, skin, mine, land, float(max((p - frame.origin_mm) @ frame.out for p in tips)))
    sides, tops, backs, knees = _on_wall(frame, skin.graph, feet, land)
    ridges = None if isinstance(land, PlaneGraph) else _ridges(frame, land, feet, tips)
    plan = WebPlan(frame, skin.graph, land, (index, *t), feet, tips, sides, tops, backs, knees, ridges)
    if plan.error_mm > MOST_TRACE_MM:
        raise KernelError(
            f"its edges cannot be followed within {MOST_TRACE_MM:g} mm: one is {plan.error_mm:.3f} mm off"
        )
    return plan


def _land(frame: WebFrame, skin: TracedSkin) -> tuple[Graph, list[int]]:
    """The flange's face that a web stands on, and the numbers of the wall's edges on it."""
    numbers = list(range(len(skin.curves)))
    trim = skin.trim
    if not isinstance(trim, PlanesGraph):
        return trim, numbers
    x, y = frame.origin_mm[:2]
    own = int(trim.top(x, y))
    middles = [c.curve.poles_mm.mean(axis=0) for c in skin.curves]
    return trim.planes[own], [k for k in numbers if int(trim.top(*middles[k])) == own]


def _tip(frame: WebFrame, s_mm: float, land: Graph) -> FloatArray:
    """Where the back of one side comes down on the flange."""
    back = frame.slope(land)
    way = np.linspace(0.0, frame.long_mm, STATIONS)
    over = back.over(np.column_stack([np.full(STATIONS, s_mm), way])) >= 0
    if over[0] or not over[-1] or int(np.count_nonzero(np.diff(over))) != 1:
        raise KernelError("its back does not end on the flange")
    k = int(np.argmax(over))
    low, high = float(way[k - 1]), float(way[k])
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if float(back.over(np.array([s_mm, middle]))) < 0 else (low, middle)
    return back.space(np.array([s_mm, 0.5 * (low + high)]))


def _crossings(
    frame: WebFrame, skin: TracedSkin, mine: list[int], land: Graph, far_mm: float
) -> tuple[int, tuple[float, float], FloatArray]:
    """The wall's edge that both sides cross, where on it, and the two places in space."""
    found: list[list[tuple[int, float, FloatArray]]] = [[], []]
    for number in mine:
        curve = skin.curves[number].curve

        def placed(t: FloatArray, curve=curve) -> tuple[FloatArray, FloatArray, FloatArray]:  # type: ignore[no-untyped-def]
            plan = curve.at(t)
            at = np.column_stack([plan, land.at(plan[:, 0], plan[:, 1])])
            return at, (at - frame.origin_mm) @ frame.across, (at - frame.origin_mm) @ frame.out

        b = curve.breaks
        t = np.append((b[:-1, None] + np.diff(b)[:, None] * np.arange(4) / 4).ravel(), b[-1])
        _, s, r = placed(t)
        near = (r > frame.low_r_mm) & (r < far_mm)
        if bool(((s > 0) & (s < frame.wall_mm) & near).all()):
            raise KernelError("it stands over an opening of the wall")
        for which, level in enumerate((0.0, frame.wall_mm)):
            for k in np.flatnonzero(((s[:-1] > level) != (s[1:] > level)) & near[:-1]):
                low, high = float(t[k]), float(t[k + 1])
                rising = s[k + 1] > level
                for _ in range(BISECTIONS):
                    middle = 0.5 * (low + high)
                    _, at_s, _ = placed(np.array([middle]))
                    low, high = (low, middle) if (float(at_s[0]) > level) == rising else (middle, high)
                found[which].append((number, 0.5 * (low + high), placed(np.array([0.5 * (low + high)]))[0][0]))
    if [len(f) for f in found] != [1, 1] or found[0][0][0] != found[1][0][0]:
        raise KernelError("its sides do not each cross the wall's edge once")
    (index, t0, foot0), (_, t1, foot1) = found[0][0], found[1][0]
    return index, (t0, t1), np.array([foot0, foot1])


def _on_wall(
    frame: WebFrame, wall: Graph, feet: FloatArray, land: Graph
) -> tuple[tuple[Meeting, Meeting], tuple[Meeting, ...], tuple[Meeting, ...], tuple[float, ...]]:
    """Edges of a web on the wall: of its sides, of its top, of its back, and where the last two meet."""
    top, slope = frame.top(wall), frame.slope(wall)
    ends: dict[str, list[tuple[float, float]]] = {"low": [], "high": [], "top knee": [], "back knee": []}
    drawn: list[list[tuple[FloatArray, FloatArray, FloatArray]]] = []
    for section, name, low, high in (
        (top, "top", frame.low_r_mm, 0.0),
        (slope, "back", 0.0, frame.long_mm),
    ):
        kept = []
        for line in section.lines((0.0, low), (frame.wall_mm, high)) if high > low else ():
            stops = []
            for end in (line[0], line[-1]):
                if end[0] < ON_MM or end[0] > frame.wall_mm - ON_MM:
                    at = section.root(end, 1)
                    ends["low" if end[0] < ON_MM else "high"].append((float(name == "back"), float(at[1])))
                elif abs(end[1]) < ON_MM:
                    at = section.root(end, 0)
                    ends[f"{name} knee"].append((float(at[0]), 0.0))
                else:
                    raise KernelError("its top does not meet the wall in one line")
                stops.append(at)
            kept.append((line, stops[0], stops[1]))
        drawn.append(kept)
    knees = sorted(s for s, _ in ends["top knee"]), sorted(s for s, _ in ends["back knee"])
    if len(ends["low"]) != 1 or len(ends["high"]) != 1 or len(knees[0]) != len(knees[1]):
        raise KernelError("its top does not meet the wall in one line")
    if any(abs(a - b) > SAME_MM for a, b in zip(*knees, strict=True)):
        raise KernelError("its top does not meet the wall in one line")
    tops, backs = (
        tuple(section.followed(line, a, b) for line, a, b in kept)
        for section, kept in ((top, drawn[0]), (slope, drawn[1]))
    )
    sides = []
    for k, s_mm in enumerate((0.0, frame.wall_mm)):
        on_back, along = ends["low" if k == 0 else "high"][0]
        end = along * frame.back if on_back else along * frame.out
        head = np.array([end @ frame.out, frame.high_mm + end @ frame.up])
        sides.append(_up_wall(frame, frame.side(s_mm, wall), feet[k] - frame.origin_mm, head, land))
    return (sides[0], sides[1]), tops, backs, tuple(knees[0])


def _up_wall(frame: WebFrame, side: Section, foot: FloatArray, head: FloatArray, land: Graph) -> Meeting:
    """The edge of a side up the wall, from its foot to where its top meets the wall (r, h)."""
    start = np.array([foot @ frame.out, foot @ frame.up])
    low = (frame.low_r_mm, float(min(start[1], head[1])) - 1.0)
    high = (float(frame.long_mm * frame.back @ frame.out), frame.high_mm)
    found = None
    ground = Section(side.origin_mm, side.first, side.second, land)
    slope = -float(frame.back @ frame.up) / float(frame.back @ frame.out)
    for line in side.lines(low, high):
        road = shapely.LineString(line)
        stops = [road.project(shapely.Point(p)) for p in (start, head)]
        apart = [road.distance(shapely.Point(p)) for p in (start, head)]
        if max(apart) < BESIDE_MM and abs(stops[0] - stops[1]) > BESIDE_MM:
            found = np.asarray(substring(road, stops[0], stops[1]).coords)
            rest = _beyond(line, road, stops)
        else:
            rest = line
        room = np.minimum(frame.high_mm, frame.high_mm - slope * np.maximum(rest[:, 0], 0.0)) - rest[:, 1]
        if bool(((-ground.over(rest) > BESIDE_MM) & (room > BESIDE_MM)).any()):
            raise KernelError("the wall runs through its side more than once")
    if found is None:
        raise KernelError("its side does not meet the wall in one line")
    return side.followed(found, start, head)


def _beyond(line: FloatArray, road: shapely.LineString, stops: list[float]) -> FloatArray:
    """Points (n, 2) of a line outside a stretch of it."""
    along = np.array([road.project(shapely.Point(p)) for p in line])
    return line[(along < min(stops)) | (along > max(stops))]


def _ridges(frame: WebFrame, land: Graph, feet: FloatArray, tips: FloatArray) -> tuple[Meeting, Meeting, Meeting]:
    """Edges on a flange that is no plane: along both sides, and between the tips."""
    out = []
    for k, s_mm in enumerate((0.0, frame.wall_mm)):
        side = frame.side(s_mm, land)
        ends = np.array(
            [[(p - side.origin_mm) @ frame.out, (p - side.origin_mm) @ frame.up] for p in (feet[k], tips[k])]
        )
        out.append(side.followed(ends, ends[0], ends[1]))
    slope = frame.slope(land)
    ends = np.array([[(p - slope.origin_mm) @ frame.across, (p - slope.origin_mm) @ frame.back] for p in tips])
    return out[0], out[1], slope.followed(ends, ends[0], ends[1])
