#!/usr/bin/python3
"""How reliable verdicts on penetrations are, on simulated surveys: reliability.py SURVEY_FOLDER RESULT_FOLDER [COUNT [SEED]]

SURVEY_FOLDER holds a simulated survey with its truth.json (make_sample.py writes one), RESULT_FOLDER what
inslab:processsurvey made of it. Random holes in and just around the scan areas are checked with a keep-out distance of 15 mm
for every kind and compared with the truth. Prints two tables in Markdown: verdict against truth, and stated probability of
touching against the share of holes that truly touch.
"""

import json
import sys
from pathlib import Path

import numpy as np

KEEP_OUT_M, TOLERANCE_M = 0.015, 0.003
DIAMETERS_M = (0.008, 0.012, 0.016, 0.022, 0.032, 0.052, 0.102)
BEYOND_M = 0.10
LINE = "polyline_site_x_y_topdepth_m"
BINS = (0.0, 0.001, 0.01, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0)


def parts_of(truth):
    """(surface, truth) of each side that was scanned: slab top, soffit, wall."""
    yield "top", truth
    yield from ((side, truth[side]) for side in ("soffit", "wall") if side in truth)


def draw_holes(part, count, random):
    """Centres (n, 2), diameters and depths of random holes; two in five go through the slab."""
    areas = part["areas"]
    which = random.integers(0, len(areas), count)
    size = np.array([area["size_m"] for area in areas])[which]
    local = -BEYOND_M + random.uniform(0.0, 1.0, (count, 2)) * (size + 2 * BEYOND_M)
    if areas[0].get("mirrored"):  # seen from below
        local[:, 0] *= -1.0
    turn = np.radians([area["rotation_deg"] for area in areas])[which]
    shift = np.array([(area["tx"], area["ty"]) for area in areas])[which]
    cos, sin = np.cos(turn), np.sin(turn)
    centres = shift + np.column_stack([cos * local[:, 0] - sin * local[:, 1], sin * local[:, 0] + cos * local[:, 1]])
    thickness = part["slab"]["thickness_m"]
    depths = np.where(random.random(count) < 0.4, thickness, random.uniform(0.03, thickness, count))
    return centres, random.choice(DIAMETERS_M, count), depths


def true_distances(objects, centres, diameters, depths):
    """Distance of each drilled cylinder from the nearest true object, metres; zero where they touch, infinite beyond 0.35 m.

    Objects are sampled every 2 mm; each fills its width from its top downwards.
    """
    from scipy.spatial import cKDTree

    from inslab.processing.geometry.polylines import length_m, points_at

    nearest = np.full(len(centres), np.inf)
    for item in objects:
        points = points_at(item[LINE], np.arange(0.0, length_m(item[LINE]), 0.002))
        near = cKDTree(points[:, :2]).query_ball_point(centres, 0.35)
        for hole, found in enumerate(near):
            if found:
                aside = np.hypot(*(points[found, :2] - centres[hole]).T) - (item["diameter_m"] + diameters[hole]) / 2
                below = points[found, 2] - depths[hole]
                nearest[hole] = min(nearest[hole], np.hypot(np.maximum(aside, 0), np.maximum(below, 0)).min())
    return nearest


def check(survey_path, surface, centres, diameters, depths):
    """Verdicts as Inslab gives them."""
    from inslab.processing.penetrations.check import check_penetrations
    from inslab.processing.penetrations.ground import find_ground, read_tables
    from inslab.processing.penetrations.model import DEFAULT_RULES, KindRule, Penetrations

    rules = {
        kind: KindRule(KEEP_OUT_M, rule.smallest_diameter_m, rule.largest_diameter_m)
        for kind, rule in DEFAULT_RULES.items()
    }
    tables = read_tables(survey_path)
    level = next(level for level, side in tables.planes if side == surface)
    ground = find_ground(tables, level, surface, rules)
    holes = Penetrations.upright(centres, diameters, depths, TOLERANCE_M)
    return check_penetrations(holes, ground.pieces, ground.known, rules)


def print_tables(verdicts, touches):
    """The two tables."""
    names = np.array([one.verdict for one in verdicts])
    stated = np.array([one.touch_probability for one in verdicts])
    print("| verdict | holes | of these truly touching | per cent |\n| --- | ---: | ---: | ---: |")
    for name in ("clear", "too_close", "hits", "unknown"):
        own = names == name
        share = 100 * touches[own].mean() if own.any() else 0.0
        print(f"| {name} | {own.sum()} | {touches[own].sum()} | {share:.1f} |")
    print("\n| stated probability | holes | mean of the stated | share truly touching |\n| --- | ---: | ---: | ---: |")
    known = names != "unknown"
    for low, high in zip(BINS[:-1], BINS[1:]):
        own = known & (stated >= low) & ((stated < high) | (high == 1.0))
        if own.any():
            print(f"| {low:g} to {high:g} | {own.sum()} | {stated[own].mean():.3f} | {touches[own].mean():.3f} |")


def main(arguments):
    if not 2 <= len(arguments) <= 4:
        print("Usage: reliability.py SURVEY_FOLDER RESULT_FOLDER [COUNT [SEED]]", file=sys.stderr)
        return 2
    survey, result = (Path(argument).resolve() for argument in arguments[:2])
    count, seed = int(arguments[2]) if len(arguments) > 2 else 10_000, int(arguments[3]) if len(arguments) > 3 else 1
    for path in (survey / "truth.json", result / "survey.gpkg"):
        if not path.is_file():
            print(f"There is no {path}; make the sample survey and process it first.", file=sys.stderr)
            return 1
    sys.path.insert(0, str(Path(__file__).resolve().parent))
    from make_sample import load_inslab

    load_inslab()
    truth = json.loads((survey / "truth.json").read_text(encoding="utf-8"))
    random = np.random.default_rng(seed)
    verdicts, touches = [], []
    parts = list(parts_of(truth))
    shares = np.array([len(part["areas"]) for _, part in parts], float)
    for (surface, part), own in zip(parts, np.round(count * shares / shares.sum()).astype(int)):
        holes = draw_holes(part, own, random)
        verdicts += check(result / "survey.gpkg", surface, *holes)
        touches.append(true_distances(part["objects"], *holes) <= 0.0)
    print_tables(verdicts, np.concatenate(touches))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
