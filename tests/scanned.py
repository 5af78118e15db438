"""Scans made of known stones, for tests and benchmarks: meshes with stated noise, and the comparison with the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh

import raylab as rl
from raylab.errors import StoneError
from raylab.stone.scanning.scan import Scan

BETWEEN = {"star": 1, "crown main": 1, "pavilion main": 1, "upper half": 2, "lower half": 2}
"""Facets of a tier from one main to the next."""


def brilliant(**changes: object) -> rl.Stone:
    """A brilliant to scan."""
    return rl.round_brilliant(**({"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75} | changes))


def random_brilliant(rng: np.random.Generator) -> rl.Stone:
    """A brilliant of proportions as they are cut, 4 to 9 mm, with 16 to 96 girdle flats."""
    while True:
        try:
            return rl.round_brilliant(
                table_pct=rng.uniform(52.0, 66.0),
                crown_angle_deg=rng.uniform(30.0, 38.0),
                pavilion_angle_deg=rng.uniform(39.5, 42.5),
                star_pct=rng.uniform(40.0, 60.0),
                lower_half_pct=rng.uniform(70.0, 85.0),
                girdle_pct=rng.uniform(2.5, 5.0),
                culet_pct=float(rng.choice([0.0, 0.0, 3.0, 5.0])),
                girdle_facets=int(rng.choice([16, 32, 64, 96])),
                diameter_mm=rng.uniform(4.0, 9.0),
            )
        except StoneError:  # proportions that don't go together
            continue


def tessellated(stone: rl.Stone, times: int) -> tuple[np.ndarray, np.ndarray]:
    """The stone's own triangles, each cut into four `times` times: no triangle spans an edge."""
    vertices, triangles = stone.triangles()
    for _ in range(times):
        vertices, triangles = trimesh.remesh.subdivide(vertices, triangles)
    return vertices, triangles


def sampled(stone: rl.Stone, times: int, rng: np.random.Generator | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Points of the surface in even directions (20 x 4^times triangles), as a scanner would: triangles span the edges."""
    ball = trimesh.creation.icosphere(subdivisions=times)
    turn = random_rotation(rng) if rng is not None else np.eye(3)
    out = np.asarray(ball.vertices) @ turn.T
    radius = (out @ stone.normals.T / stone.distances_mm).max(axis=1)
    return out / radius[:, None], np.asarray(ball.faces)


def noisy(vertices: np.ndarray, noise_mm: float, rng: np.random.Generator) -> np.ndarray:
    """Vertices displaced at random, independently and alike in all directions."""
    return vertices + rng.normal(0.0, noise_mm, vertices.shape)


def blurred(vertices: np.ndarray, triangles: np.ndarray, times: int) -> np.ndarray:
    """Every vertex moved halfway to the mean of its neighbours, `times` times over: edges go round."""
    edges = np.unique(np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    count = np.bincount(edges.ravel(), minlength=len(vertices))[:, None]
    for _ in range(times):
        total = np.zeros_like(vertices)
        np.add.at(total, edges[:, 0], vertices[edges[:, 1]])
        np.add.at(total, edges[:, 1], vertices[edges[:, 0]])
        vertices = (vertices + total / count) / 2.0
    return vertices


def random_rotation(rng: np.random.Generator) -> np.ndarray:
    """A proper rotation (3, 3), evenly distributed."""
    return trimesh.transformations.random_rotation_matrix(rng.random(3))[:3, :3]


@dataclass(frozen=True)
class Agreement:
    """A scan against the stone it was made of, the girdle left out: the stone's facets that the scan lacks and those that it
    has beyond; of the others but table and culet the error of the slope in standard errors, where those aren't zero; and the
    largest angle between facets of one name, degrees."""

    missing: tuple[str, ...]
    beyond: tuple[str, ...]
    pulls: dict[str, float]
    turn_deg: float


def agreement(scan: Scan, stone: rl.Stone) -> Agreement:
    """Facet by facet, by name; of the stone's turns about its axis that look alike the best one is taken."""
    return min((_turned(scan, stone, k) for k in range(8)), key=lambda found: found.turn_deg)


def _turned(scan: Scan, stone: rl.Stone, k: int) -> Agreement:
    turn = trimesh.transformations.rotation_matrix(k * np.pi / 4.0, [0, 0, 1])[:3, :3]
    normals = scan.stone.normals @ turn.T
    truth = {stone.facet_name(f): f for f, tier in enumerate(stone.tiers) if tier != "girdle"}
    found = {}
    for f, (tier, index) in enumerate(zip(scan.stone.tiers, scan.stone.indices, strict=True)):
        if tier in BETWEEN:
            index = (index + k * BETWEEN[tier]) % (8 * BETWEEN[tier])
        if tier != "girdle":
            found[f"{tier} {index}"] = f
    both = sorted(truth.keys() & found.keys())
    cosine = [normals[found[name]] @ stone.normals[truth[name]] for name in both]
    error = {name: scan.report.facets[found[name]].slope_error_deg for name in both}
    off = {name: scan.stone.slope_deg()[found[name]] - stone.slope_deg()[truth[name]] for name in both}
    return Agreement(
        tuple(sorted(truth.keys() - found.keys())),
        tuple(sorted(found.keys() - truth.keys())),
        # a level facet has only one sign of error
        {name: off[name] / error[name] for name in both if error[name] > 0.0 and name not in ("table 0", "culet 0")},
        float(np.degrees(np.arccos(np.clip(min(cosine, default=-1.0), -1.0, 1.0)))),
    )


def well_sampled(stone: rl.Stone, vertices: np.ndarray, least: int = 10) -> set[str]:
    """Names of the facets on which at least so many vertices (in the stone's own frame) lie."""
    count = np.bincount((vertices @ stone.normals.T - stone.distances_mm).argmax(axis=1), minlength=len(stone))
    return {stone.facet_name(f) for f in np.flatnonzero(count >= least)}
