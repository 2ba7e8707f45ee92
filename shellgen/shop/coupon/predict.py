"""What a strip pair does under a hung weight: the same solver as the job's seam. N, mm."""

from __future__ import annotations

from shellgen.shop.joint.loads import weight_n
from shellgen.shop.joint.seam import Clamp, SeamLine, solve_seam
from shellgen.shop.joint.section import JointSection

WEIGHTS_KG = (0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 10.0, 15.0, 20.0)
WANTED_MM = 0.6  # opening of the longest gap that is easy to read with a feeler gauge
BOLT_SHARE = 0.5  # of a bolt's preload that half the weight may reach


def opening_mm(line: SeamLine, section: JointSection, clamp: Clamp, span: int, weight_kg: float) -> float:
    """Opening [mm] midway in a span while `weight_kg` pulls the faces apart there, along the bolt line."""
    solved = solve_seam(line, section, clamp, 0.0, pulls_n={span: weight_n(1000.0 * weight_kg)})
    nodes = solved.span_nodes(span)
    return float(solved.opening_mm[nodes[len(nodes) // 2]])


def weight_for(line: SeamLine, section: JointSection, clamp: Clamp) -> float:
    """The lightest handy weight [kg] that opens the longest span by about 0.6 mm, and that the bolts hold easily."""
    longest = max(range(len(line.spans_mm)), key=lambda i: line.spans_mm[i])
    held = [w for w in WEIGHTS_KG if weight_n(1000.0 * w) / 2.0 <= BOLT_SHARE * clamp.preload_n] or [WEIGHTS_KG[0]]
    for weight in held:
        if opening_mm(line, section, clamp, longest, weight) >= WANTED_MM:
            return weight
    return held[-1]
