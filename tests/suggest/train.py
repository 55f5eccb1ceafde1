# mypy: ignore-errors
# PyTorch is no part of the environment that is type-checked.
"""Trains the small net of `corrosion.suggest`. Run: ``python train.py CACHE OUT [STEPS] [START]``.

Needs numpy and PyTorch (made with 1.13) and nothing else, so that it can run in an environment of its own;
CACHE is what `tests.suggest.pictures` wrote. Writes ``OUT.onnx``, to be copied to
``corrosion/suggest/pit_net.onnx``, and ``OUT.pt`` to go on from. Crops are scaled so that pits are 9 to
125 px across, and shown in other light, hue, blur, noise and turn each time; every third crop is grey.
The net in the package was trained from nothing in 14,000 steps, about an hour on two processors, while the
last of the rendered pictures were still being made: to train again gives another net, not the same numbers.
"""

from __future__ import annotations

import math
import sys
import time
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import torch
from numpy.typing import NDArray
from torch import multiprocessing, nn
from torch.nn import functional

WIDTHS = (16, 32, 48, 64)
"""Channels at a half, a quarter, an eighth and a sixteenth of the resolution."""
CROP = 160
BATCH = 16
SMALLEST, LARGEST = 8.5, 125.0
"""px; pits of other sizes are read at another level of the pyramid and teach nothing at this one."""
NEAR_A_PIT = 0.6
HIDDEN = 255
TURNED, ROOM = 0.5, 1.5
"""Share of the crops that are turned by any angle, and the side, of the crop's, that this takes."""
RATE, RATE_ON = 4e-3, 2e-3
"""Highest learning rate, from nothing and going on."""
SHARES = {"drawn": 1, "collage": 1, "net": 2}
"""Folders of the cache, and how often a crop is cut from each."""
WAITING, SHOWN = 12, 200
"""Batches cut ahead; steps between two lines printed."""
MIDDLE = torch.tensor([50.0, 0.0, 0.0]).view(1, 3, 1, 1)
SCALE = torch.tensor([40.0, 20.0, 20.0]).view(1, 3, 1, 1)
# CIE XYZ of linear sRGB, over the white of D65, as OpenCV's conversion has it.
XYZ = torch.tensor([
    [0.4124564 / 0.950456, 0.3575761 / 0.950456, 0.1804375 / 0.950456],
    [0.2126729, 0.7151522, 0.0721750],
    [0.0193339 / 1.088754, 0.1191920 / 1.088754, 0.9503041 / 1.088754],
])  # fmt: skip

Tensor = torch.Tensor


class Lesson(NamedTuple):
    """A picture, the number of the pit each pixel lies in, and x, y, diameter of each pit, px."""

    pixels: NDArray[np.uint8]
    labels: NDArray[np.uint8]
    places: NDArray[np.float64]


def layer(come: int, go: int, size: int = 3, stride: int = 1, spread: int = 1) -> nn.Sequential:
    """Convolution, normalisation, rectifier."""
    pad = spread * (size // 2)
    return nn.Sequential(
        nn.Conv2d(come, go, size, stride, pad, spread, bias=False),
        nn.BatchNorm2d(go),
        nn.ReLU(inplace=True),
    )


class Net(nn.Module):
    """An hourglass with bridges: four times halved, three times doubled."""

    def __init__(self) -> None:
        super().__init__()
        a, b, c, d = WIDTHS
        self.e0 = nn.Sequential(layer(3, a, 5, 2), layer(a, a))
        self.e1 = nn.Sequential(layer(a, b, 3, 2), layer(b, b))
        self.e2 = nn.Sequential(layer(b, c, 3, 2), layer(c, c))
        self.e3 = nn.Sequential(layer(c, d, 3, 2), layer(d, d), layer(d, d, 3, 1, 2))
        self.u2, self.f2 = nn.Conv2d(d, c, 1), layer(c, c)
        self.u1, self.f1 = nn.Conv2d(c, b, 1), layer(b, b)
        self.u0, self.f0 = nn.Conv2d(b, a, 1), layer(a, a)
        self.h = nn.Conv2d(a, 1, 1)
        self.up = nn.Upsample(scale_factor=2, mode="nearest")
        nn.init.constant_(self.h.bias, -2.5)

    def forward(self, lab: Tensor) -> Tensor:
        """Log-odds at half the resolution."""
        e0 = self.e0(lab)
        e1 = self.e1(e0)
        e2 = self.e2(e1)
        y = self.f2(e2 + self.up(self.u2(self.e3(e2))))
        y = self.f1(e1 + self.up(self.u1(y)))
        y = self.f0(e0 + self.up(self.u0(y)))
        found: Tensor = self.h(y)
        return found


def lab_of(rgb: Tensor) -> Tensor:
    """CIE L*a*b* of sRGB in [0, 1]."""
    light = torch.where(rgb <= 0.04045, rgb / 12.92, ((rgb.clamp(min=1e-6) + 0.055) / 1.055) ** 2.4)
    xyz = torch.einsum("ij,bjhw->bihw", XYZ, light)
    f = torch.where(xyz > 0.008856, xyz.clamp(min=1e-6) ** (1 / 3), 7.787 * xyz + 16 / 116)
    return torch.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], 1)


def blurred(rgb: Tensor, sigma: float) -> Tensor:
    """Gaussian blur of up to 1.4 px."""
    k = torch.arange(-4, 5).float()
    weights = torch.exp(-(k**2) / (2 * sigma**2))
    weights = weights / weights.sum()
    padded = functional.pad(rgb, (4, 4, 4, 4), mode="reflect")
    across = functional.conv2d(padded, weights.view(1, 1, 1, 9).expand(3, 1, 1, 9), groups=3)
    return functional.conv2d(across, weights.view(1, 1, 9, 1).expand(3, 1, 9, 1), groups=3)


def window(lesson: Lesson, rng: np.random.Generator) -> tuple[int, int, int]:
    """Corner and side, px, of a square near a pit or anywhere."""
    height, width = lesson.labels.shape
    if len(lesson.places) and rng.random() < NEAR_A_PIT:
        x, y, across = lesson.places[rng.integers(len(lesson.places))]
        factor = np.clip(np.exp(rng.uniform(np.log(10), np.log(110))) / across, 0.25, 1.6)
    else:
        factor = np.exp(rng.uniform(np.log(0.3), np.log(1.4)))
        x, y = rng.uniform(0, width), rng.uniform(0, height)
    side = min(round(CROP / float(factor)), height, width)
    shake = rng.uniform(-0.4, 0.4, 2) * side
    x0 = int(np.clip(x - side / 2 + shake[0], 0, width - side))
    y0 = int(np.clip(y - side / 2 + shake[1], 0, height - side))
    return x0, y0, side


def crop(lesson: Lesson, rng: np.random.Generator) -> tuple[Tensor, Tensor, Tensor]:
    """Cut out, scale, turn a square: L*a*b*; share of pit, share that teaches nothing, at half size."""
    x0, y0, side = window(lesson, rng)
    more = math.ceil((ROOM - 1) / 2 * side) if rng.random() < TURNED else 0
    height, width = lesson.labels.shape
    if min(x0, y0, width - x0 - side, height - y0 - side) < more:
        more = 0
    planes = _cut(lesson, (x0 - more, y0 - more, side + 2 * more), CROP / side)
    if more:
        planes = _turned(planes, rng)
    planes = torch.rot90(planes, int(rng.integers(4)), (2, 3))
    if rng.random() < 0.5:
        planes = torch.flip(planes, (3,))
    seen = lab_of(_in_other_light(planes[:, :3].clamp(0, 1), rng))
    half = functional.avg_pool2d(planes[:, 3:], 2)
    return (seen - MIDDLE) / SCALE, half[:, :1], half[:, 1:]


def _cut(lesson: Lesson, square: tuple[int, int, int], factor: float) -> Tensor:
    """Red, green, blue, pit, and what teaches nothing, of a square of the picture, scaled."""
    x0, y0, side = square
    here = (slice(y0, y0 + side), slice(x0, x0 + side))
    labels = lesson.labels[here]
    pit, mute = (labels > 0) & (labels != HIDDEN), labels == HIDDEN
    for number, across in enumerate(lesson.places[:, 2], 1):
        if not SMALLEST <= across * factor <= LARGEST:
            mute = mute | (labels == number)
    seen = np.dstack([lesson.pixels[here].astype(np.float32) / 255, pit, mute]).astype(np.float32)
    planes = torch.from_numpy(seen).permute(2, 0, 1)[None]
    to = (round(factor * side),) * 2
    return functional.interpolate(planes, to, mode="bilinear", align_corners=False, antialias=True)


def _turned(planes: Tensor, rng: np.random.Generator) -> Tensor:
    """Turn by any angle, stretch a little, and keep the middle."""
    angle, long = float(rng.uniform(0, 2 * np.pi)), float(np.exp(rng.uniform(-0.15, 0.15)))
    keep = CROP / planes.shape[2]
    c, s = np.cos(angle) * keep, np.sin(angle) * keep
    matrix = torch.tensor([[[c * long, -s / long, 0.0], [s * long, c / long, 0.0]]], dtype=torch.float32)
    grid = functional.affine_grid(matrix, (1, planes.shape[1], CROP, CROP), align_corners=False)
    return functional.grid_sample(
        planes, grid, mode="bilinear", padding_mode="reflection", align_corners=False
    )


def _in_other_light(rgb: Tensor, rng: np.random.Generator) -> Tensor:
    rgb = rgb ** float(rng.uniform(0.7, 1.45))
    hue = torch.tensor(rng.uniform(0.85, 1.15, 3), dtype=torch.float32).view(1, 3, 1, 1)
    rgb = rgb * hue * float(rng.uniform(0.7, 1.25))
    rgb = (rgb - 0.5) * float(rng.uniform(0.65, 1.25)) + 0.5 + float(rng.uniform(-0.08, 0.08))
    kind = rng.random()
    if kind < 0.3:
        rgb = rgb.mean(1, keepdim=True).expand(-1, 3, -1, -1)
    elif kind < 0.4:
        rgb = rgb[:, torch.from_numpy(rng.permutation(3))]
    if rng.random() < 0.35:
        rgb = blurred(rgb, float(rng.uniform(0.4, 1.4)))
    rgb = rgb + float(rng.uniform(0, 0.03)) * torch.randn(rgb.shape)
    return (rgb * 255).round().clamp(0, 255) / 255


def loss_of(odds: Tensor, truth: Tensor, ignored: Tensor) -> Tensor:
    """Cross-entropy, pits weighing threefold, and half of one minus the Dice overlap."""
    weight = 1 - ignored
    entropy = functional.binary_cross_entropy_with_logits(
        odds, truth, weight=weight * (1 + 2 * truth), reduction="sum"
    )
    share = torch.sigmoid(odds) * weight
    dice = (2 * (share * truth).sum() + 50) / ((share + truth * weight).sum() + 50)
    return entropy / weight.sum() + 0.5 * (1 - dice)


def folded(net: nn.Module) -> nn.Module:
    """Give each layer's normalisation to its convolution, in place."""
    for name, child in list(net.named_children()):
        if isinstance(child, nn.Sequential) and len(child) == 3 and isinstance(child[1], nn.BatchNorm2d):
            one = torch.nn.utils.fusion.fuse_conv_bn_eval(child[0], child[1])
            setattr(net, name, nn.Sequential(one, child[2]))
        else:
            folded(child)
    return net


def write(net: Net, path: Path) -> None:
    """Write the weights to go on from, and the folded net for OpenCV."""
    torch.save(net.state_dict(), path.with_suffix(".pt"))
    twin = Net()
    twin.load_state_dict(net.state_dict())
    axes = {"lab": {2: "h", 3: "w"}, "odds": {2: "h", 3: "w"}}
    torch.onnx.export(
        folded(twin.eval()), torch.zeros(1, 3, 64, 96), str(path.with_suffix(".onnx")),
        input_names=["lab"], output_names=["odds"], dynamic_axes=axes, opset_version=11,
    )  # fmt: skip


def read(folder: Path) -> list[Lesson]:
    """Read the pictures of a folder."""
    found = []
    for path in sorted(folder.glob("*.npz")):
        with np.load(path) as part:
            found.append(Lesson(part["pixels"], part["labels"], part["places"]))
    return found


def batch(pools: list[list[Lesson]], count: int, rng: np.random.Generator) -> list[Tensor]:
    """Cut crops from the pools in equal shares."""
    chosen = [pools[int(k)] for k in rng.integers(len(pools), size=count)]
    crops = [crop(pool[int(rng.integers(len(pool)))], rng) for pool in chosen]
    return [torch.cat(planes) for planes in zip(*crops, strict=True)]


def feed(waiting: Any, cache: Path) -> None:
    """Cut batches in a process of its own, for ever."""
    torch.set_num_threads(1)
    rng = np.random.default_rng(5)
    pools = [read(cache / folder) for folder, share in SHARES.items() for _ in range(share)]
    while True:
        waiting.put([plane.numpy() for plane in batch(pools, BATCH, rng)])


def train(cache: Path, out: Path, steps: int, start: Path | None) -> None:
    """Train on drawn and rendered pictures; print the loss on them and on those for judging."""
    torch.manual_seed(5)
    waiting = multiprocessing.Queue(WAITING)
    multiprocessing.Process(target=feed, args=(waiting, cache), daemon=True).start()
    kept: Any = batch([read(cache / "judging")], 160, np.random.default_rng(6))
    net = Net().to(memory_format=torch.channels_last)
    if start is not None:
        net.load_state_dict(torch.load(start))
    rate = RATE if start is None else RATE_ON
    optimiser = torch.optim.AdamW(net.parameters(), rate, weight_decay=2e-3)
    plan = torch.optim.lr_scheduler.OneCycleLR(optimiser, rate, total_steps=steps, pct_start=0.06)
    begun, losses = time.perf_counter(), []
    for step in range(1, steps + 1):
        lab, truth, ignored = (torch.from_numpy(plane) for plane in waiting.get())
        loss = loss_of(net(lab.contiguous(memory_format=torch.channels_last)), truth, ignored)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        plan.step()
        losses.append(float(loss))
        if step % SHOWN == 0 or step == steps:
            unseen, used = judged(net, kept), time.perf_counter() - begun
            print(f"{step}: {np.mean(losses):.3f}, unseen {unseen:.3f}, {used:.0f} s", flush=True)
            losses = []
            write(net, out)


def judged(net: Net, kept: list[Tensor]) -> float:
    """Loss on crops that nothing is learnt from."""
    net.eval()
    with torch.no_grad():
        odds = torch.cat([net(some) for some in kept[0].split(BATCH)])
    net.train()
    return float(loss_of(odds, kept[1], kept[2]))


def main() -> None:
    """Command line."""
    cache, out = Path(sys.argv[1]), Path(sys.argv[2])
    steps = int(sys.argv[3]) if len(sys.argv) > 3 else 2000
    train(cache, out, steps, Path(sys.argv[4]) if len(sys.argv) > 4 else None)


if __name__ == "__main__":
    main()
