"""Corners of a checkerboard: candidates, the grid they stand in, and their place to 0.01 px.

Where four squares meet, brightness is a saddle: -det of its Hessian has a sharp maximum there, on
bright metal and at the ends of scratches only weak ones. The place itself is the saddle of a
quadratic fitted about it (Lucchese & Mitra 2002, IEEE APCCAS). It is symmetric about the corner
under any response curve, so neither blur nor sRGB moves it.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from edgekit.checks import FloatArray
from edgekit.digitising.pictures.profiles import nearest, reduced
from edgekit.digitising.pictures.targets.plane import homography
from edgekit.digitising.pictures.targets.refining import refined
from edgekit.errors import Cannot

SEARCHED_PX = 1.5e6  # a larger picture is searched at a half or a third of its size
_SCALES = (1.5, 3.0, 6.0)  # px: for squares of 8 px and more
_WEAKEST = 0.06  # of the strongest saddles: noise and texture stay below
_ODD = 0.7  # of the even part: 0 for a corner between four squares, 1.4 for the tip of one
_NEAR = 0.3  # of a square: how far a corner may stand from where its neighbours put it
_FULL = 0.8  # of a grid's corners found at first; all of them must be in the end
_ROUNDS = 12
_MOST = 4000  # saddles looked at


def candidates(light: NDArray[np.floating], scale: float) -> FloatArray:
    """Local maxima (N, 2) [px] of -det of the Hessian at a scale [px], strongest first."""
    xx, yy, xy = (
        ndimage.gaussian_filter(light, scale, order=order) for order in ((0, 2), (2, 0), (1, 1))
    )
    saddle = xy * xy - xx * yy
    size = 2 * max(round(scale), 1) + 1
    peak = (saddle == ndimage.maximum_filter(saddle, size)) & (saddle > 0)
    row, column = np.nonzero(peak)
    height = saddle[row, column]
    if len(height) == 0:
        return np.empty((0, 2))
    order = _strongest(height)
    spots = np.stack([column[order], row[order]], axis=1).astype(float)
    ring = _ring(light, spots, 2 * scale)
    half = np.roll(ring, 8, axis=1)
    even = (ring + half) / 2  # the tip of one square does not look the same turned by half
    return np.asarray(spots[(ring - half).std(axis=1) / 2 < _ODD * even.std(axis=1)])


def _strongest(height: FloatArray) -> NDArray[np.intp]:
    """Which saddles count, strongest first."""
    order = np.argsort(-height)[:_MOST]
    top = height[order[: max(len(order) // 50, 8)]]
    return order[height[order] > _WEAKEST * float(np.median(top))]


def _ring(light: NDArray[np.floating], spots: FloatArray, radius: float) -> FloatArray:
    """Brightness (N, 16) round each candidate."""
    turn = np.pi / 8 * np.arange(16)
    at = [spots[:, 1:] + radius * np.sin(turn), spots[:, :1] + radius * np.cos(turn)]
    return np.asarray(ndimage.map_coordinates(light, at, order=1, mode="nearest"))


def _sense(light: NDArray[np.floating], spots: FloatArray, radius: float) -> NDArray[np.complex128]:
    """Strength and turn (N,) of each saddle, complex; neighbours on a board are opposite."""
    turn = np.pi / 8 * np.arange(16)
    return np.asarray(_ring(light, spots, radius) @ np.exp(2j * turn))


def saddles(
    light: NDArray[np.floating], near_px: FloatArray, half: int
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Saddles (N, 2) [px] nearest to points, and whether each is one (N,).

    Windows reach `half` pixels to either side and are sampled evenly about the last estimate, so
    that the fit stays symmetric.
    """
    low = np.maximum(np.floor(near_px.min(axis=0)).astype(int) - 3 * half - 8, 0)
    high = np.ceil(near_px.max(axis=0)).astype(int) + 3 * half + 9
    part = np.asarray(light[low[1] : high[1], low[0] : high[0]], dtype=float)
    smooth = ndimage.spline_filter(part, 3)
    steps = np.arange(-half, half + 1, dtype=float)
    dx, dy = (a.ravel() for a in np.meshgrid(steps, steps))
    weight = np.exp(-(dx**2 + dy**2) / (2 * (0.5 * half + 0.5) ** 2))
    design = np.stack([dx**2, dx * dy, dy**2, dx, dy, np.ones_like(dx)], axis=1)
    solve = np.linalg.pinv(design * weight[:, None]) * weight
    place = near_px - low
    for _ in range(_ROUNDS):
        at = [place[:, 1:] + dy, place[:, :1] + dx]
        values = ndimage.map_coordinates(smooth, at, prefilter=False, mode="nearest")
        a, b, c, d, e, _f = (values @ solve.T).T
        det = 4 * a * c - b * b
        det = np.where(np.abs(det) > 1e-12, det, 1e-12)  # even light is no saddle
        step = np.stack([(b * e - 2 * c * d) / det, (b * d - 2 * a * e) / det], axis=1)
        size = np.linalg.norm(step, axis=1, keepdims=True)
        step = step * np.minimum(1.0, half / 2 / np.maximum(size, 1e-12))
        place = place + step
        if not (np.abs(step) > 1e-5).any():
            break
    good = (det < 0) & (np.linalg.norm(step, axis=1) < 0.01)
    good &= np.linalg.norm(place + low - near_px, axis=1) < 2 * half + 2
    return place + low, good


def _grid(across: int, down: int) -> FloatArray:
    """Indices (down, across, 2) of inner corners."""
    i, j = np.meshgrid(np.arange(across), np.arange(down))
    return np.stack([i, j], axis=-1).astype(float)


def grid_from_clicks(
    light: NDArray[np.floating], clicks_px: FloatArray, across: int, down: int
) -> FloatArray:
    """Corners (down, across, 2) [px] from clicks (4, 2) near the outermost inner ones, in turn."""
    index = _grid(across, down)
    ends = index[[0, 0, -1, -1], [0, -1, -1, 0]]
    low = np.maximum(np.floor(clicks_px.min(axis=0) - 60).astype(int), 0)
    high = np.ceil(clicks_px.max(axis=0) + 60).astype(int)
    part = light[low[1] : high[1], low[0] : high[0]]
    square = _square(_projected(homography(ends, clicks_px), index))
    for scale in dict.fromkeys((float(np.clip(square / 8, 1.0, 6.0)), *_SCALES)):
        spots = candidates(part, scale) + low
        if len(spots) < 4:
            continue
        tree = cKDTree(spots)
        close = nearest(tree, clicks_px, min(3, len(spots)))[1]
        choices = sorted(itertools.product(range(close.shape[1]), repeat=4), key=sum)
        for choice in choices:
            start = spots[[close[k, c] for k, c in enumerate(choice)]]
            if len(np.unique(start, axis=0)) < 4:
                continue
            corners = _settle(light, tree, spots, homography(ends, start), index)
            if corners is not None:
                return refined(light, corners)
    raise Cannot(
        f"no board of {across + 1} x {down + 1} squares at the clicks",
        clicks_px.tolist(),
        "Click the four outermost inner corners in turn, within half a square; check the counts.",
    )


def _projected(h: FloatArray, index: FloatArray) -> FloatArray:
    out = np.concatenate([index, np.ones((*index.shape[:-1], 1))], axis=-1) @ h.T
    return np.asarray(out[..., :2] / out[..., 2:])


def _square(corners: FloatArray) -> float:
    """The shortest side of a square [px]."""
    steps = [np.linalg.norm(np.diff(corners, axis=k), axis=-1).min() for k in (0, 1)]
    return float(min(steps))


def _settle(
    light: NDArray[np.floating], tree: cKDTree, spots: FloatArray, h: FloatArray, index: FloatArray
) -> FloatArray | None:
    """Snap a projected grid to candidates, fit it again, take the saddles; None if none fits."""
    flat = index.reshape(-1, 2)
    for _ in range(4):
        guess = _projected(h, flat)
        square = _square(guess.reshape(index.shape))
        if not 4 < square < 1e4:
            return None
        distance, which = nearest(tree, guess)
        fit = distance < _NEAR * square
        if not fit.mean() > 0.8:
            return None
        h = homography(flat[fit], spots[which[fit]])
    place, good = saddles(light, spots[which], int(np.clip(0.3 * square, 2, 15)))
    spread = np.linalg.norm(place - guess, axis=1)
    if not (good.all() and fit.all() and (spread < _NEAR * square).all()):
        return None
    return place.reshape(index.shape)


def find_grid(light: NDArray[np.floating], across: int, down: int) -> FloatArray:
    """Corners (down, across, 2) [px] of a board, found by its counts of inner corners alone."""
    best = 0
    small, k = reduced(light, SEARCHED_PX)
    for scale in _SCALES:
        spots = k * candidates(small, scale) + (k - 1) / 2
        if len(spots) < across * down:
            continue
        tree = cKDTree(spots)
        sense = _sense(light, spots, 2 * k * scale)
        tried: set[int] = set()
        for seed in range(min(len(spots), 400)):
            if seed in tried:
                continue
            cells = _grow(spots, tree, sense, seed)
            tried.update(cells.values())
            best = max(best, len(cells))
            corners = _as_grid(light, spots, tree, cells, across, down)
            if corners is not None:
                return refined(light, corners)
    raise Cannot(
        f"no board of {across + 1} x {down + 1} squares is to be seen (the largest grid has {best} "
        "corners)",
        (across + 1, down + 1),
        "Check the counts of squares, show the whole board, or click its four outermost inner "
        "corners.",
    )


def _first_steps(
    spots: FloatArray, tree: cKDTree, sense: NDArray[np.complex128], seed: int
) -> FloatArray | None:
    """Steps (2, 2) [px] from a candidate to two neighbours across one another, if it has them."""
    if len(spots) < 5:
        return None
    close = nearest(tree, spots[seed], min(9, len(spots)))[1]
    near = [int(n) for n in close[1:] if _opposite(complex(sense[seed]), complex(sense[n]))]
    if len(near) < 2:
        return None
    first, *others = (spots[n] - spots[seed] for n in near)
    size = np.linalg.norm(first)
    for step in others:
        length = np.linalg.norm(step)
        turn = abs(first[0] * step[1] - first[1] * step[0])
        if turn > 0.5 * size * length and length < 3 * size:
            return np.stack([first, step])
    return None


def _grow(
    spots: FloatArray, tree: cKDTree, sense: NDArray[np.complex128], seed: int
) -> dict[tuple[int, int], int]:
    """Cells (i, j) and the candidates in them, grown from one by its neighbours' steps."""
    start = _first_steps(spots, tree, sense, seed)
    if start is None:
        return {}
    cells = {(0, 0): seed}
    steps = {(0, 0): start}
    queue, taken = [(0, 0)], {seed}
    while queue:
        here = queue.pop(0)
        basis = steps[here].copy()
        for axis, to in ((0, 1), (0, -1), (1, 1), (1, -1)):
            there = (here[0] + (to if axis == 0 else 0), here[1] + (to if axis == 1 else 0))
            if there in cells:
                continue
            step = to * basis[axis]
            distance, neighbour = nearest(tree, spots[cells[here]] + step)
            which = int(neighbour)
            fits = bool(distance < _NEAR * np.linalg.norm(step)) and which not in taken
            if fits and _opposite(complex(sense[cells[here]]), complex(sense[which])):
                cells[there] = which
                taken.add(which)
                turned = basis.copy()
                turned[axis] = to * (spots[which] - spots[cells[here]])
                steps[there] = turned
                queue.append(there)
    return cells


def _opposite(a: complex, b: complex) -> bool:
    """Whether two saddles have opposite senses and strengths within a factor of three."""
    low, high = sorted((abs(a), abs(b)))
    return (a * b.conjugate()).real < -0.3 * abs(a) * abs(b) and low > high / 3


def _as_grid(
    light: NDArray[np.floating],
    spots: FloatArray,
    tree: cKDTree,
    cells: dict[tuple[int, int], int],
    across: int,
    down: int,
) -> FloatArray | None:
    """The full grid of the size asked for among the cells, in either turn; None if there is none.

    Stray saddles may stand beside the board; a full row of them would be a larger board.
    """
    if len(cells) < across * down * _FULL:
        return None
    keys = np.array(list(cells))
    low = keys.min(axis=0)
    which = np.full(keys.max(axis=0) - low + 1, -1)
    which[tuple((keys - low).T)] = list(cells.values())
    for table in (which, which.T):
        padded = np.pad(table >= 0, 1)
        for i, j in np.ndindex(*np.maximum(np.array(table.shape) - (across - 1, down - 1), 0)):
            inside = padded[i + 1 : i + 1 + across, j + 1 : j + 1 + down]
            rim = max(
                padded[i, j + 1 : j + 1 + down].mean(),
                padded[i + 1 + across, j + 1 : j + 1 + down].mean(),
                padded[i + 1 : i + 1 + across, j].mean(),
                padded[i + 1 : i + 1 + across, j + 1 + down].mean(),
            )
            if not (inside.mean() >= _FULL and rim < _FULL):
                continue
            index = np.argwhere(inside)
            place = spots[table[i : i + across, j : j + down][inside]]
            h = homography(index.astype(float), place)
            corners = _settle(light, tree, spots, h, _grid(across, down))
            if corners is not None:
                return corners
    return None
