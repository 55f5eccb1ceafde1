"""Scales of discs, rules and cylinders fitted anew for each of many draws (JCGM 101:2008).

The matrix of a disc or a rule is worked from drawn parameters of its fit: the ellipse's five, the ticks'
five, and what else is uncertain of size and lens. On a cylinder each draw has its own touching plane, line
of contact, viewpoint and radius, and is unrolled with them.

What stays a hypothesis is drawn with the tilt: which side of a disc is farther off, and how steep it is.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from corrosion.quantity import FloatArray
from corrosion.scale import CylinderScale, DiscPlane, RulePlane
from corrosion.scale.cylinder import AXIS_OFFSET, RADIUS, VIEWPOINT
from corrosion.scale.disc import RIM_EDGE
from corrosion.scale.matrix_plane import STEP
from corrosion.scale.plane import LENS, REFERENCE_POINTS, REFERENCE_TOLERANCE
from corrosion.scale.rule import U_K1, U_MIDDLE, bend

BY_THE_DISC = (REFERENCE_POINTS, REFERENCE_TOLERANCE, LENS, RIM_EDGE)
BY_THE_RULE = (REFERENCE_POINTS, REFERENCE_TOLERANCE, LENS)
BY_THE_CYLINDER = (RADIUS, AXIS_OFFSET, VIEWPOINT)

Rng = np.random.Generator
Base = Callable[[FloatArray], tuple[FloatArray, set[str]]]


def disc_places(scale: DiscPlane, ideal: FloatArray, rng: Rng) -> FloatArray:
    """Map drawn ideal pixels (m, n, 2) by as many drawn discs, mm."""
    disc, m = scale.disc, len(ideal)
    values, vectors = np.linalg.eigh(disc.ellipse.covariance)
    parameters = disc.ellipse.parameters + (
        rng.standard_normal((m, 5)) * np.sqrt(np.maximum(values, 0.0)) @ vectors.T
    )
    # A rim seen too far out everywhere enlarges both semi-axes alike.
    grown = disc.u_edge * rng.standard_normal(m) + disc.camera.lens_u_px * rng.standard_normal(m)
    shape = np.zeros((m, 2, 2))
    shape[:, 0, 0], shape[:, 1, 1] = parameters[:, 2] + grown, parameters[:, 4] + grown
    shape[:, 0, 1] = shape[:, 1, 0] = parameters[:, 3]
    diameter = disc.diameter + disc.u_diameter * rng.standard_normal(m)
    affine = np.zeros((m, 3, 3))
    affine[:, :2, :2] = diameter[:, None, None] / 2.0 * np.linalg.inv(shape)
    affine[:, :2, 2] = -np.einsum("mij,mj->mi", affine[:, :2, :2], parameters[:, :2])
    affine[:, 2, 2] = 1.0
    # Where a slope is known, the drawn circle is laid into it: the fitted disc's plane goes on from there.
    onwards = scale.matrix @ np.linalg.inv(disc.affine(disc.ellipse.parameters))
    return scale.parallax.factor * _apply_each(onwards @ affine, ideal)


def rule_places(scale: RulePlane, ideal: FloatArray, rng: Rng) -> FloatArray:
    """Map drawn ideal pixels (m, n, 2) by as many drawn rules, mm; NaN beyond the horizon."""
    rule, m = scale.rule, len(ideal)
    pencil = rule.pencil
    parameters = pencil.parameters + rng.standard_normal((m, len(pencil.factor))) @ pencil.factor.T
    pinholes = np.tile(scale.pinhole, (m, 1))
    size = 1.0 + scale.u_scale * rng.standard_normal(m)
    if scale.bent is not None:
        pinholes[:, 0] *= np.exp(scale.u_ln_focal * rng.standard_normal(m))
        side = 2.0 * float(scale.pinhole[1:].max())
        pinholes[:, 1:] += U_MIDDLE * side * rng.standard_normal((m, 2))
    else:
        size += rule.lens_share * rng.standard_normal(m)
    matrices, _ = rule.rectified(pinholes, parameters)
    if scale.bent is not None:
        k1 = rng.standard_normal(m)
        ideal = bend(ideal, scale.pinhole, U_K1 * k1[:, None, None])
        # The ticks are bent as well: what that does to the fitted matrix is nearly in proportion.
        change = np.linalg.inv(scale.matrix) @ (scale.bent - scale.matrix) / STEP
        matrices = matrices @ (np.eye(3) + k1[:, None, None] * change)
    return scale.parallax.factor * size[:, None, None] * _apply_each(matrices, ideal)


def rolled_places(
    scale: CylinderScale, points_px: FloatArray, ideal: FloatArray, base: Base, rng: Rng
) -> FloatArray:
    """Unroll drawn ideal pixels (m, n, 2) on as many drawn cylinders, mm; NaN beside them.

    Parameters
    ----------
    points_px : ndarray of shape (n, 2)
        The points as they are.
    base : callable
        Maps drawn ideal pixels by as many drawn scales of the touching plane, and names the sources that
        are in that.
    """
    m = len(ideal)
    view = scale.view(points_px)
    axis, lens = scale.camera.ideal(scale.axis_px)
    clicked = axis + np.einsum("nij,mnj->mni", lens, scale.u_axis_px * rng.standard_normal((m, 2, 2)))
    square = np.broadcast_to(view.square_ideal, (m, *view.square_ideal.shape))
    every = np.concatenate([ideal, clicked, square], axis=1)
    plane, covered = base(every)
    # What the touching plane's own draw leaves out moves its points in proportion.
    for name, moved in scale.base.shared_sensitivities(view.every_px).items():
        if name not in covered:
            plane = plane + np.einsum("nik,mk->mni", moved, rng.standard_normal((m, moved.shape[2])))
    radius = scale.radius + scale.u_radius * rng.standard_normal(m)
    places, _ = view.at(plane).each(np.where(radius > 0.0, radius, np.nan))
    share = rng.uniform(0.0, 1.0, (m, 1, 1)) if len(places) > 1 else 0.0
    return np.asarray(places[0] + share * (places[-1] - places[0]))


def _apply_each(matrices: FloatArray, ideal: FloatArray) -> FloatArray:
    """Map points (m, n, 2) by a matrix each, (m, 3, 3); NaN beyond the horizon."""
    q = ideal @ np.swapaxes(matrices[:, :, :2], 1, 2) + matrices[:, None, :, 2]
    places: FloatArray = q[..., :2] / np.where(q[..., 2:] > 0.0, q[..., 2:], np.nan)
    return places
