"""Exact yes or no: do two shapes overlap, does a shape leave the region?

Touching is not overlapping: only crossing edges, or one shape lying inside the other, count.
"""

from nesting.search.kernels.arrays import Floats, Items, Region, Scratch, Shapes
from nesting.search.kernels.compiled import inner_kernel, kernel


@kernel
def edges_cross(ax: float, ay: float, bx: float, by: float, cx: float, cy: float, dx: float, dy: float) -> bool:
    """Tell whether edge a-b crosses edge c-d, what lies exactly on an edge counting as right of it.

    Rings have their inside on the left, so on the edge is outside: shapes may touch, and one that is let in through a
    corner or along a shared side is still seen.  A region's rings run the other way round, and on its edge is inside.
    """
    d1 = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    d2 = (bx - ax) * (dy - ay) - (by - ay) * (dx - ax)
    if (d1 > 0.0) == (d2 > 0.0):
        return False
    d3 = (dx - cx) * (ay - cy) - (dy - cy) * (ax - cx)
    d4 = (dx - cx) * (by - cy) - (dy - cy) * (bx - cx)
    return (d3 > 0.0) != (d4 > 0.0)


@kernel
def inside_rings(px: float, py: float, x: Floats, y: Floats, shapes: Shapes, k: int, dx: float, dy: float) -> bool:
    """Tell whether a point is inside shape `k` drawn by vertices (x + dx, y + dy); even-odd, so holes are outside."""
    v0 = shapes.vertex_start[k]
    inside = False
    px -= dx
    py -= dy
    for e in range(v0, shapes.vertex_start[k + 1]):
        i = e - v0
        j = shapes.following[e] - v0
        if (y[i] > py) != (y[j] > py) and px < (x[j] - x[i]) * (py - y[i]) / (y[j] - y[i]) + x[i]:
            inside = not inside
    return inside


@inner_kernel
def shapes_overlap(shapes: Shapes, k: int, s: Scratch, x: float, y: float, items: Items, j: int) -> bool:
    """Tell whether the candidate in `s`, shifted to (x, y), overlaps item `j`."""
    box = items.box[j]
    x0 = max(box[0], s.box[0] + x)
    y0 = max(box[1], s.box[1] + y)
    x1 = min(box[2], s.box[2] + x)
    y1 = min(box[3], s.box[3] + y)
    if x0 >= x1 or y0 >= y1:
        return False
    m = items.shape[j]
    v0, w0 = shapes.vertex_start[k], shapes.vertex_start[m]
    r0, q0 = shapes.run_start[k], shapes.run_start[m]
    bx, by = items.wx[j], items.wy[j]
    near = 0
    for b in range(q0, shapes.run_start[m + 1]):
        r, cx, cy = shapes.run_r[b], items.run_x[j, b - q0], items.run_y[j, b - q0]
        if cx + r >= x0 and cx - r <= x1 and cy + r >= y0 and cy - r <= y1:
            s.near_runs[near] = b
            near += 1
    for a in range(r0, shapes.run_start[k + 1]):
        ar = shapes.run_r[a]
        acx, acy = s.run_x[a - r0] + x, s.run_y[a - r0] + y
        if acx + ar < x0 or acx - ar > x1 or acy + ar < y0 or acy - ar > y1:
            continue
        for q in range(near):
            b = s.near_runs[q]
            ddx, ddy = acx - items.run_x[j, b - q0], acy - items.run_y[j, b - q0]
            reach = ar + shapes.run_r[b]
            if ddx * ddx + ddy * ddy >= reach * reach:
                continue
            for e in range(shapes.run_first[a], shapes.run_last[a]):
                i, n = e - v0, shapes.following[e] - v0
                px, py = s.wx[i] + x, s.wy[i] + y
                qx, qy = s.wx[n] + x, s.wy[n] + y
                ex0, ex1 = min(px, qx), max(px, qx)
                ey0, ey1 = min(py, qy), max(py, qy)
                if ex1 < x0 or ex0 > x1 or ey1 < y0 or ey0 > y1:
                    continue
                for f in range(shapes.run_first[b], shapes.run_last[b]):
                    g, h = f - w0, shapes.following[f] - w0
                    cx, cy, dx, dy = bx[g], by[g], bx[h], by[h]
                    if max(cx, dx) < ex0 or min(cx, dx) > ex1 or max(cy, dy) < ey0 or min(cy, dy) > ey1:
                        continue
                    if edges_cross(px, py, qx, qy, cx, cy, dx, dy):
                        return True
    # No edges cross: one may still lie wholly inside the other, and then its box does too.  The largest inscribed
    # circle's centre is well away from every edge, so rounding cannot mislead.  Or one covers a hole of the other.
    if x0 == s.box[0] + x and x1 == s.box[2] + x and y0 == s.box[1] + y and y1 == s.box[3] + y:
        if inside_rings(s.pole_x[0] + x, s.pole_y[0] + y, bx, by, shapes, m, 0.0, 0.0):
            return True
        if _covers_a_hole(shapes, k, s.wx, s.wy, s.box, m, bx, by, -x, -y):
            return True
    if x0 == box[0] and x1 == box[2] and y0 == box[1] and y1 == box[3]:
        cx, cy = items.pole_x[j, 0] + items.x[j], items.pole_y[j, 0] + items.y[j]
        if inside_rings(cx, cy, s.wx, s.wy, shapes, k, x, y):
            return True
        return _covers_a_hole(shapes, m, bx, by, box, k, s.wx, s.wy, x, y)
    return False


@kernel
def _covers_a_hole(
    shapes: Shapes, k: int, ax: Floats, ay: Floats, box: Floats, m: int, bx: Floats, by: Floats, dx: float, dy: float
) -> bool:
    """Tell whether shape `k` covers a whole hole of `m`, drawn by (bx + dx, by + dy), and more; no edges cross.

    One that just fills the hole, box for box, does not.
    """
    first, end = shapes.vertex_start[m], shapes.vertex_start[m + 1]
    w0, is_hole = first, False
    hx0, hy0, hx1, hy1 = 1e300, 1e300, -1e300, -1e300
    for e in range(first, end):
        px, py = bx[e - w0] + dx, by[e - w0] + dy
        hx0, hx1, hy0, hy1 = min(hx0, px), max(hx1, px), min(hy0, py), max(hy1, py)
        if shapes.following[e] > e:
            continue
        if is_hole and hx0 > box[0] and hx1 < box[2] and hy0 > box[1] and hy1 < box[3]:
            if inside_rings(bx[first - w0] + dx, by[first - w0] + dy, ax, ay, shapes, k, 0.0, 0.0):
                return True
        first, is_hole = e + 1, True
        hx0, hy0, hx1, hy1 = 1e300, 1e300, -1e300, -1e300
    return False


@inner_kernel
def surely_inside(shapes: Shapes, k: int, s: Scratch, x: float, y: float, region: Region) -> bool:
    """Tell whether box or enclosing circle alone show that the candidate in `s`, shifted to (x, y), is inside.

    Most poses tried are, and then no circle has to be held against the field.
    """
    nx, ny, c = region.limit[0], region.limit[1], region.limit[2]
    x0, y0, x1, y1 = s.box[0] + x, s.box[1] + y, s.box[2] + x, s.box[3] + y
    if nx * (x1 if nx > 0.0 else x0) + ny * (y1 if ny > 0.0 else y0) > c and (nx != 0.0 or ny != 0.0):
        return False
    b = region.bounds
    if x0 < b[0] or y0 < b[1] or x1 > b[2] or y1 > b[3]:
        return False
    return region.is_box or depth_at(region, x, y) >= shapes.radius[k] + 0.75 * region.step


@inner_kernel
def leaves_region(shapes: Shapes, k: int, s: Scratch, x: float, y: float, region: Region) -> bool:
    """Tell whether the candidate in `s`, shifted to (x, y), is not wholly inside the region."""
    v0, r0 = shapes.vertex_start[k], shapes.run_start[k]
    nx, ny, c = region.limit[0], region.limit[1], region.limit[2]
    if (nx != 0.0 or ny != 0.0) and _beyond(shapes, k, s, nx, ny, c - nx * x - ny * y):
        return True
    b = region.bounds
    if s.box[0] + x < b[0] or s.box[1] + y < b[1] or s.box[2] + x > b[2] or s.box[3] + y > b[3]:
        return True
    if region.is_box:
        return False
    doubt = 0.75 * region.step
    for a in range(r0, shapes.run_start[k + 1]):
        depth = depth_at(region, s.run_x[a - r0] + x, s.run_y[a - r0] + y)
        if depth >= shapes.run_r[a] + doubt:
            continue
        if depth <= -shapes.run_r[a] - doubt:
            return True
        for e in range(shapes.run_first[a], shapes.run_last[a]):
            i, n = e - v0, shapes.following[e] - v0
            if _edge_crosses_region(s.wx[i] + x, s.wy[i] + y, s.wx[n] + x, s.wy[n] + y, region):
                return True
    depth = depth_at(region, s.pole_x[0] + x, s.pole_y[0] + y)
    if depth < doubt and (depth < -doubt or not inside_region(s.pole_x[0] + x, s.pole_y[0] + y, region)):
        return True
    for h in range(region.hole_x.shape[0]):
        hx, hy = region.hole_x[h], region.hole_y[h]
        if s.box[0] + x < hx < s.box[2] + x and s.box[1] + y < hy < s.box[3] + y:
            if inside_rings(hx, hy, s.wx, s.wy, shapes, k, x, y):
                return True
    return False


@kernel
def inside_region(px: float, py: float, region: Region) -> bool:
    """Tell whether a point is inside the region, even-odd over all of its rings."""
    inside = False
    for e in range(region.x.shape[0]):
        ay, by = region.y[e], region.y_end[e]
        if (ay > py) != (by > py):
            ax = region.x[e]
            if px < (region.x_end[e] - ax) * (py - ay) / (by - ay) + ax:
                inside = not inside
    return inside


@inner_kernel
def depth_at(region: Region, x: float, y: float) -> float:
    """Return the signed distance to the region's boundary, wrong by at most 0.71 grid steps; negative outside.

    Off the grid it falls further with the distance from the grid.
    """
    rows, columns = region.depth.shape
    u = (x - region.x0) / region.step
    v = (y - region.y0) / region.step
    off = 0.0
    if u < 0.0:
        off -= u
        u = 0.0
    elif u > columns - 1.001:
        off += u - (columns - 1.001)
        u = columns - 1.001
    if v < 0.0:
        off -= v
        v = 0.0
    elif v > rows - 1.001:
        off += v - (rows - 1.001)
        v = rows - 1.001
    i, j = int(u), int(v)
    a, b = u - i, v - j
    d = region.depth
    near = d[j, i] * (1 - a) + d[j, i + 1] * a
    far = d[j + 1, i] * (1 - a) + d[j + 1, i + 1] * a
    return near * (1 - b) + far * b - off * region.step


@kernel
def _beyond(shapes: Shapes, k: int, s: Scratch, nx: float, ny: float, c: float) -> bool:
    for i in range(shapes.vertex_start[k + 1] - shapes.vertex_start[k]):
        if nx * s.wx[i] + ny * s.wy[i] > c:
            return True
    return False


@kernel
def _edge_crosses_region(px: float, py: float, qx: float, qy: float, region: Region) -> bool:
    x0, x1 = min(px, qx), max(px, qx)
    y0, y1 = min(py, qy), max(py, qy)
    step = region.cell_step
    i0 = max(0, int((x0 - region.x0) / step))
    j0 = max(0, int((y0 - region.y0) / step))
    i1 = min(region.cell_columns - 1, int((x1 - region.x0) / step))
    j1 = min(region.cell_rows - 1, int((y1 - region.y0) / step))
    for j in range(j0, j1 + 1):
        for i in range(i0, i1 + 1):
            cell = j * region.cell_columns + i
            for q in range(region.cell_start[cell], region.cell_start[cell + 1]):
                e = region.cell_edge[q]
                cx, cy, dx, dy = region.x[e], region.y[e], region.x_end[e], region.y_end[e]
                if max(cx, dx) < x0 or min(cx, dx) > x1 or max(cy, dy) < y0 or min(cy, dy) > y1:
                    continue
                if edges_cross(px, py, qx, qy, cx, cy, dx, dy):
                    return True
    return False
