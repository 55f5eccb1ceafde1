"""Builds one shot as a Mitsuba 3 scene and renders it to linear light."""

from __future__ import annotations

import glob
import os
import tempfile
from pathlib import Path

if "DRJIT_LIBLLVM_PATH" not in os.environ:
    # Mitsuba 3.9 wants LLVM 16 or newer; where several are installed, take the newest by name.
    found = sorted(
        p
        for n in ("16", "17", "18", "19", "20", "21", "22")
        for p in glob.glob(f"/usr/lib/*/libLLVM*{n}*.so*") + glob.glob(f"/usr/lib/*/libLLVM.so.{n}*")
    )
    if found:
        os.environ["DRJIT_LIBLLVM_PATH"] = found[-1]

import mitsuba as mi
import numpy as np

from camera import Array, Camera
from mesh import Mesh, bead, graded_line, grid, join, plate, revolve
from noise import Image
from pictures import Beam, Shot
from references import Reference
from surface import paint_side

mi.set_variant("llvm_ad_rgb")

PASS_SPP = 8


class Scene:
    """A shot's geometry and textures, ready to render."""

    def __init__(
        self, shot: Shot, references: list[Reference], texel_mm: float, fine_mm: float, coarse_mm: float
    ) -> None:
        self.shot = shot
        self.camera = shot.camera.pinhole()
        self.folder = tempfile.TemporaryDirectory()
        self.parts: dict[str, object] = {}
        low, high = self._extent()
        skin = paint_side(shot, low, high, texel_mm)
        look = {"colour": skin.colour, "metallic": skin.metallic, "roughness": skin.roughness}
        coat = _coat(look, skin.bump, (high[0] - low[0], high[1] - low[1]), anisotropic=0.45)

        def uv(x: Array, y: Array) -> Array:
            return np.stack([(x - low[0]) / (high[0] - low[0]), (y - low[1]) / (high[1] - low[1])], -1)

        self._add("skin", self._skin(low, high, fine_mm, coarse_mm, uv), coat)
        self._add("raised", self._raised(uv), coat)
        self._add("heads", self._heads(uv, low, high), coat)
        for k, (start, end, radius) in enumerate(shot.sealant):
            self._add(f"sealant{k}", [bead(start, end, radius, 900 + k)], _sealant())
        for k, one in enumerate(references):
            self._add(f"reference{k}", [one.mesh], _coat(one.look, None, (1, 1), 0.0))

    def _extent(self) -> tuple[Array, Array]:
        width, height = self.camera.size
        corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
        seen = self.camera.surface_at(corners)
        return seen.min(axis=0) - 6.0, seen.max(axis=0) + 6.0

    def _layout(self, x: Array, y: Array) -> tuple[Array, Array]:
        sign = -1.0 if self.shot.mirrored else 1.0
        return self.shot.origin[0] + sign * x, self.shot.origin[1] + y

    def _skin(self, low: Array, high: Array, fine: float, coarse: float, uv: object) -> list[Mesh]:
        spans_x, spans_y = [], []
        for dent in self.shot.side.dents:
            outline = np.array([self.shot.to_view(*p) for p in dent.outline()])
            a, b = outline.min(axis=0) - 0.3, outline.max(axis=0) + 0.3
            if (b > low).all() and (a < high).all() and dent.kind == "pit":
                spans_x.append((float(a[0]), float(b[0])))
                spans_y.append((float(a[1]), float(b[1])))
        xs = graded_line(float(low[0]), float(high[0]), coarse, fine, spans_x)
        ys = graded_line(float(low[1]), float(high[1]), coarse, fine, spans_y)

        def height(x: Array, y: Array) -> Array:
            s, o = self._layout(x, y)
            total = np.zeros_like(x)
            for dent in self.shot.side.dents:
                reach = max(dent.semi_axes) * 1.6
                near = (abs(s - dent.at[0]) < reach) & (abs(o - dent.at[1]) < reach)
                if near.any():
                    total[near] -= dent.depth_at(s[near], o[near])
            return total

        return [grid(xs, ys, height, uv)]

    def _raised(self, uv: object) -> list[Mesh]:
        made = []
        for strip in self.shot.side.raised:
            a, b = np.array(self.shot.to_view(*strip.low)), np.array(self.shot.to_view(*strip.high))
            p, q = np.minimum(a, b), np.maximum(a, b)
            corner = np.array([[p[0], p[1]], [q[0], p[1]], [q[0], q[1]], [p[0], q[1]]])
            made.append(plate(corner, 0.0, strip.thickness, uv))
        return made

    def _heads(self, uv: object, low: Array, high: Array) -> list[Mesh]:
        made = []
        for rivet in self.shot.side.rivets:
            at = self.shot.to_view(*rivet.at)
            if not rivet.flush and low[0] - 5 < at[0] < high[0] + 5 and low[1] - 5 < at[1] < high[1] + 5:
                made.append(revolve(rivet.profile(), at, rivet.base_z, uv))
        return made

    def _add(self, name: str, meshes: list[Mesh], coat: dict[str, object]) -> None:
        if not meshes:
            return
        mesh = _facing_out(join(meshes))
        path = str(Path(self.folder.name) / f"{name}.ply")
        made = mi.Mesh(
            name, len(mesh.points), len(mesh.faces), has_vertex_normals=True, has_vertex_texcoords=True
        )
        fields = mi.traverse(made)
        fields["vertex_positions"] = mesh.points.astype(np.float32).ravel()
        fields["vertex_normals"] = mesh.normals.astype(np.float32).ravel()
        fields["vertex_texcoords"] = mesh.uv.astype(np.float32).ravel()
        fields["faces"] = mesh.faces.astype(np.uint32).ravel()
        fields.update()
        made.write_ply(path)
        self.parts[name] = {"type": "ply", "filename": path, "bsdf": coat}

    def render(self, spp: int, aperture_mm: float) -> Image:
        """Linear RGB of the straight-line camera, (H, W, 3)."""
        scene: dict[str, object] = {"type": "scene", "integrator": {"type": "path", "max_depth": 5}}
        scene["sensor"] = _sensor(self.camera, aperture_mm)
        scene["sky"] = {"type": "envmap", "bitmap": mi.Bitmap(_surroundings(self.shot))}
        for k, beam in enumerate(self.shot.beams):
            scene[f"beam{k}"] = _lamp(beam)
        loaded = mi.load_dict(scene | self.parts)
        total = np.zeros((self.camera.size[1], self.camera.size[0], 3), np.float64)
        passes = max(1, spp // PASS_SPP)
        for k in range(passes):
            total += np.array(mi.render(loaded, spp=min(spp, PASS_SPP), seed=17 + k))[..., :3]
        return (total / passes).astype(np.float32)


def _facing_out(mesh: Mesh) -> Mesh:
    """Wind every face so that it agrees with its normals."""
    a, b, c = (mesh.points[mesh.faces[:, k]] for k in range(3))
    inwards = (np.cross(b - a, c - a) * mesh.normals[mesh.faces].sum(axis=1)).sum(axis=1) < 0
    mesh.faces[inwards] = mesh.faces[inwards][:, ::-1]
    return mesh


def _texture(value: object, raw_max: float = 1.0) -> object:
    if isinstance(value, (int, float)):
        return float(value)
    # Row 0 of our images is the top; Mitsuba puts row 0 at v = 0.
    image = np.ascontiguousarray(np.clip(np.asarray(value, np.float32), 0.0, raw_max)[::-1])
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(image if image.ndim == 3 else image[..., None]),
        "raw": True,
        "wrap_mode": "clamp",
    }


def _coat(
    look: dict[str, object], bump: Image | None, size_mm: tuple[float, float], anisotropic: float
) -> dict[str, object]:
    coat: dict[str, object] = {
        "type": "principled",
        "base_color": _texture(look["colour"]),
        "metallic": _texture(look["metallic"]),
        "roughness": _texture(look["roughness"]),
        "anisotropic": anisotropic,
        "specular": 0.4,
    }
    if bump is not None:
        coat = {"type": "bumpmap", "scale": 1.0, "arbitrary": _texture(bump + 0.2), "bsdf": coat}
    return {"type": "twosided", "bsdf": coat}


def _sealant() -> dict[str, object]:
    return {
        "type": "twosided",
        "bsdf": {
            "type": "principled",
            "base_color": {"type": "rgb", "value": [0.21, 0.17, 0.115]},
            "roughness": 0.5,
            "specular": 0.4,
        },
    }


def _sensor(camera: Camera, aperture_mm: float) -> dict[str, object]:
    eye, up = camera.centre, -camera.rotation[1]
    aim = eye + camera.rotation[2]
    width, height = camera.size
    fov = float(np.degrees(2 * np.arctan(width / 2 / camera.focal_px)))
    place = mi.ScalarTransform4f().look_at(eye.tolist(), aim.tolist(), up.tolist())
    lens = (
        {"type": "thinlens", "aperture_radius": aperture_mm, "focus_distance": camera.distance_mm}
        if aperture_mm
        else {"type": "perspective"}
    )
    return lens | {
        "fov": fov,
        "fov_axis": "x",
        "near_clip": 1.0,
        "far_clip": 5000.0,
        "to_world": place,
        "film": {
            "type": "hdrfilm",
            "width": width,
            "height": height,
            "rfilter": {"type": "gaussian", "stddev": 0.45},
        },
        "sampler": {"type": "independent"},
    }


def _lamp(beam: Beam) -> dict[str, object]:
    reach = float(np.linalg.norm(np.asarray(beam.at) - (*beam.aim, 0.0)))
    # Intensity falls off with the square of the distance: state it so that `strength` holds at the aim.
    power = beam.strength * reach**2
    place = mi.ScalarTransform4f().look_at(list(beam.at), [*beam.aim, 0.0], [0.1, 0.2, 1.0])
    return {
        "type": "spot",
        "intensity": {"type": "rgb", "value": [power, power * 0.97, power * 0.90]},
        "cutoff_angle": beam.cutoff_deg,
        "beam_width": beam.core_deg,
        "to_world": place,
    }


def _surroundings(shot: Shot, rows: int = 128) -> Image:
    """A dim shed as seen from the metal: two windows, strip lamps, the photographer's dark outline."""
    v, u = np.meshgrid(
        (np.arange(rows) + 0.5) / rows, (np.arange(2 * rows) + 0.5) / (2 * rows), indexing="ij"
    )
    theta, phi = v * np.pi, u * 2 * np.pi
    d = np.stack([np.sin(phi) * np.sin(theta), np.cos(theta), -np.cos(phi) * np.sin(theta)], -1)

    def lobe(x: float, y: float, z: float, width: float) -> Array:
        aim = np.array([x, y, z]) / np.linalg.norm([x, y, z])
        return np.exp((d @ aim - 1) / width**2)

    light = 0.30 + 0.25 * d[..., 1] + 2.4 * lobe(-0.8, 0.9, 0.9, 0.22) + 1.5 * lobe(0.9, 0.5, 0.7, 0.18)
    light += 1.3 * np.exp(-(((d[..., 0] - 0.25) / 0.07) ** 2)) * (d[..., 2] > 0.2) * (d[..., 1] > 0.25)
    eye = shot.camera.centre / np.linalg.norm(shot.camera.centre)
    light *= 1 - 0.72 * np.exp((d @ eye - 1) / 0.20**2)
    warm = np.stack(
        [light * (0.95 + 0.1 * (d[..., 0] > 0)), light, light * (1.08 - 0.16 * (d[..., 0] > 0))], -1
    )
    return np.ascontiguousarray(shot.ambient * np.clip(warm, 0.01, None)).astype(np.float32)
