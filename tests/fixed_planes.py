"""Fixed placements of a flat stone on a circular edge, by clipping polygons in its face.

Nothing here comes from the package. Every plane shares β with the planar face, so what happens in
the face tells all: the outline after grinding is a polygon. Lengths in millimetres.
"""

import numpy as np
import shapely


def ground_outline(radius, length, dull, placements):
    """The edge's outline (a polygon) once every point of the arc has receded by `dull`.

    A placement serves an even share of the arc; its line is parallel to the tangent at mid-share
    and goes as far in as the ends of the share ask. The centre of the circle is the origin.
    """
    outline = shapely.box(-2 * radius, -2 * radius, 2 * radius, 2 * radius)
    share = length / radius / placements
    for number in range(placements):
        middle = (number + 0.5) * share
        out = np.array([np.cos(middle), np.sin(middle)])
        along = np.array([-out[1], out[0]])
        end = middle + share / 2
        level = (radius - dull) * np.array([np.cos(end), np.sin(end)]) @ out
        size = 4 * radius
        foot = level * out
        corners = [foot + size * along, foot - size * along]
        outer = [corners[1] + size * out, corners[0] + size * out]
        outline = outline.difference(shapely.Polygon([*corners, *outer]))
    return outline


def recession(radius, length, dull, placements, *, rays=6000):
    """Inset (rays,) of the ground outline along evenly spaced radii of the arc."""
    boundary = ground_outline(radius, length, dull, placements).exterior
    turn = (np.arange(rays) + 0.5) / rays * length / radius
    out = 1.01 * radius * np.column_stack([np.cos(turn), np.sin(turn)])
    sights = shapely.linestrings(np.stack([0.5 * out, out], axis=1))
    met = shapely.intersection(sights, boundary)
    return radius - np.hypot(shapely.get_x(met), shapely.get_y(met))
