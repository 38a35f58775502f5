"""Where a ray meets the surfaces, and its way from one to the next (numba).

A surface of revolution sees a ray o + s d only through z = o_z + s d_z and the square of its
radius, c0 + 2 c1 s + c2 s^2. A hit counts only from the air side, against the surface's normal,
so a reflected ray cannot meet the surface that it has just left. Flat discs, cones and balls are
solved in closed form; arcs off the axis, conics and splines are cut into cells that turn little,
whose chord gives the start of a Newton iteration on the true curve.

The rows of a scene are in depth-first order: one whose bounds the ray misses sends it on to the
row `skip`, past everything inside.
"""

import math

import numpy as np
from numba import njit

BOX, PLANE, CONE, BALL, ARC, CONIC, SPLINE, POST, SIDE, POLYGON, TRIANGLE, MESH_BOX = range(12)

GROUP_BITS = 3
GROUPS_KEPT = 20
"""So many surface groups of a ray's history fit into one whole number."""

SLACK = 1e-10
"""Surfaces overlap by this at their edges, metres, so that no ray slips through a joint."""

BACKWARD = -1e-9
"""A hit may lie this far behind the start: in a corner the next wall does, by rounding."""

NEWTON_STEPS = 30
NONE = math.inf

_inlined = njit(inline="always", error_model="numpy")


@_inlined
def _slab(o, per_d, low, high, near, far):
    """Part of (near, far) in which low <= o + s d <= high, per_d = 1 / d (infinite if level).

    A level ray gives two infinities of one sign outside, of both inside; bounds are spaced out,
    so that its start does not lie on them.
    """
    first, last = (low - o) * per_d, (high - o) * per_d
    return max(near, min(first, last)), min(far, max(first, last))


@_inlined
def _may_meet(c0, c1, c2, oz, per_z, r_low, r_high, z_low, z_high, far):
    """True if the ray enters the ring r_low..r_high, z_low..z_high before `far`."""
    near, far = _slab(oz, per_z, z_low, z_high, BACKWARD, far)
    if near > far:
        return False
    closest = near if c2 == 0.0 else min(max(-c1 / c2, near), far)
    least = c0 + closest * (2.0 * c1 + closest * c2)
    if least > r_high * r_high:
        return False
    if r_low <= 0.0 or math.isinf(far):
        return True
    at_near = c0 + near * (2.0 * c1 + near * c2)
    return max(at_near, c0 + far * (2.0 * c1 + far * c2)) >= r_low * r_low


@_inlined
def _hit_plane(c0, c1, c2, oz, per_z, z, r_low, r_high, up):
    s = (z - oz) * per_z
    if per_z * up >= 0.0 or s <= BACKWARD or math.isinf(s):
        return NONE
    square = c0 + s * (2.0 * c1 + s * c2)
    low, high = r_low - SLACK, r_high + SLACK
    return s if square <= high * high and square >= low * abs(low) else NONE


@_inlined
def _cone_roots(c0, c1, c2, oz, dz, r0, z0, tr, tz):
    """Both s at which (r t_z)^2 = (c + t_r z)^2, and the discriminant."""
    g0, g1 = (r0 * tz - z0 * tr) + tr * oz, tr * dz
    a, b, c = tz * tz * c2 - g1 * g1, tz * tz * c1 - g0 * g1, tz * tz * c0 - g0 * g0
    disc = b * b - a * c
    if abs(a) < 1e-14:
        return -c / (2.0 * b), -c / (2.0 * b), disc
    if disc < 0.0:
        return -b / a, -b / a, disc
    q = -(b + math.copysign(math.sqrt(disc), b))
    return q / a, (c / q if q != 0.0 else q / a), disc


@_inlined
def _hit_cone(c0, c1, c2, oz, dz, r0, z0, tr, tz, length):
    first, second, disc = _cone_roots(c0, c1, c2, oz, dz, r0, z0, tr, tz)
    best = NONE
    if disc >= 0.0:
        for s in (first, second):
            if BACKWARD < s < best:
                z = oz + dz * s
                r = math.sqrt(max(c0 + s * (2.0 * c1 + s * c2), 0.0))
                along = (r - r0) * tr + (z - z0) * tz
                off = (r - r0) * tz - (z - z0) * tr
                front = (c1 + c2 * s) * tz - dz * tr * r < 0.0
                # The mirror cone on the other side of the apex also solves the squares.
                if front and -SLACK <= along <= length + SLACK and abs(off) < 1e-8:
                    best = s
    return best


@_inlined
def _hit_ball(c0, c1, oz, dz, centre, radius, sign, z_low, z_high):
    b = c1 + dz * (oz - centre)
    disc = b * b - (c0 + (oz - centre) ** 2 - radius * radius)
    if disc < 0.0:
        return NONE
    s = -b - sign * math.sqrt(disc)
    z = oz + dz * s
    return s if s > BACKWARD and z_low - SLACK <= z <= z_high + SLACK else NONE


@_inlined
def _curve_at(kind, q0, q1, q2, q3, q4, q5, q6, q7, u):
    """Point r, z of a cell at u in [0, 1], and its derivative by u."""
    if kind == ARC:
        angle = q3 + u * q4
        x, y = q2 * math.cos(angle), q2 * math.sin(angle)
        return q0 + x, q1 + y, -q4 * y, q4 * x
    if kind == CONIC:
        angle = q3 + u * q4
        x, y = math.cos(angle), math.sin(angle)
        spread = 1.0 - q5 * x - q6 * y
        rho = q2 / spread
        growth = rho / spread * (q6 * x - q5 * y)
        return q0 + rho * x, q1 + rho * y, q4 * (growth * x - rho * y), q4 * (growth * y + rho * x)
    r = q0 + u * (q1 + u * (q2 + u * q3))
    z = q4 + u * (q5 + u * (q6 + u * q7))
    return r, z, q1 + u * (2.0 * q2 + u * 3.0 * q3), q5 + u * (2.0 * q6 + u * 3.0 * q7)


@_inlined
def _polish(kind, c0, c1, c2, oz, dz, size, s, u, q0, q1, q2, q3, q4, q5, q6, q7):
    """Newton on r(s) = R(u), z(s) = Z(u); returns s (none: inf) and u."""
    found = NONE
    for _ in range(NEWTON_STEPS):
        r = math.sqrt(max(c0 + s * (2.0 * c1 + s * c2), 1e-300))
        slope = (c1 + c2 * s) / r
        cr, cz, dr, dzu = _curve_at(kind, q0, q1, q2, q3, q4, q5, q6, q7, u)
        f_r, f_z = r - cr, oz + dz * s - cz
        det = dr * dz - slope * dzu
        if det == 0.0:
            break
        step = (f_r * dzu - f_z * dr) / det
        turn = (dz * f_r - slope * f_z) / det
        # Held back while far off: two cells' length along the ray, half a cell on the curve.
        shrink = max(1.0, abs(step) / (2.0 * size), 2.0 * abs(turn))
        s += step / shrink
        u += turn / shrink
        if abs(step) + size * abs(turn) < 1e-11 and abs(f_r) + abs(f_z) < 1e-11:
            # The step just made squares this error away.
            if det > 0.0:
                found = s
            break
    return found, u


@_inlined
def _stretch(c0, c1, c2, oz, per_z, r_high, z_low, z_high):
    """Part of the ray between two heights and within a radius."""
    near, far = _slab(oz, per_z, z_low, z_high, BACKWARD, NONE)
    if c2 > 0.0:
        middle = -c1 / c2
        half = math.sqrt(max(middle * middle - (c0 - r_high * r_high) / c2, 0.0))
        near, far = max(near, middle - half), min(far, middle + half)
    return near, far


@_inlined
def _hit_curve(
    kind, c0, c1, c2, oz, dz, per_z, r_high, z_low, z_high,
    r0, z0, tr, tz, length, q0, q1, q2, q3, q4, q5, q6, q7,
):  # fmt: skip
    near, far = _stretch(c0, c1, c2, oz, per_z, r_high, z_low, z_high)
    first, second, disc = _cone_roots(c0, c1, c2, oz, dz, r0, z0, tr, tz)
    # A ray along the chord meets its cone far away, or nowhere, and yet may meet the bulge.
    first = min(max(first, near), far) if math.isfinite(first) else near
    second = min(max(second, near), far) if math.isfinite(second) else far
    if disc <= 0.0 or abs(first - second) < length:
        middle = 0.5 * (first + second)
        first, second = middle - 0.5 * length, middle + 0.5 * length
    best, best_u = NONE, 0.0
    end = SLACK / length
    for start in (first, second):
        r = math.sqrt(max(c0 + start * (2.0 * c1 + start * c2), 0.0))
        along = ((r - r0) * tr + (oz + dz * start - z0) * tz) / length
        u = min(max(along, 0.0), 1.0)
        s, u = _polish(kind, c0, c1, c2, oz, dz, length, start, u, q0, q1, q2, q3, q4, q5, q6, q7)
        if BACKWARD < s < best and -end <= u <= 1.0 + end:
            best, best_u = s, u
    return best, best_u


@_inlined
def _hit_post(ox, oy, oz, dx, dy, dz, px, py, radius, z_low, z_high):
    x, y = ox - px, oy - py
    a, b, c = dx * dx + dy * dy, x * dx + y * dy, x * x + y * y - radius * radius
    disc = b * b - a * c
    if a == 0.0 or disc < 0.0:
        return NONE
    s = -(b + math.sqrt(disc)) / a
    z = oz + s * dz
    return s if s > BACKWARD and z_low - SLACK <= z <= z_high + SLACK else NONE


@_inlined
def _hit_side(ox, oy, oz, dx, dy, dz, nx, ny, distance, half, z_low, z_high):
    across = dx * nx + dy * ny
    if across >= 0.0:
        return NONE
    s = (distance - ox * nx - oy * ny) / across
    along, z = (oy + s * dy) * nx - (ox + s * dx) * ny, oz + s * dz
    inside = abs(along) <= half + SLACK and z_low - SLACK <= z <= z_high + SLACK
    return s if s > BACKWARD and inside else NONE


@_inlined
def _hit_polygon(ox, oy, oz, dx, dy, dz, z, up, count, distance, azimuth, hole):
    if dz * up >= 0.0:
        return NONE
    s = (z - oz) / dz
    x, y = ox + s * dx, oy + s * dy
    if s <= BACKWARD or x * x + y * y < (hole - SLACK) * abs(hole - SLACK):
        return NONE
    for side in range(int(count)):
        angle = azimuth + side * 2.0 * math.pi / count
        if x * math.cos(angle) + y * math.sin(angle) > distance + SLACK:
            return NONE
    return s


@_inlined
def _hit_triangle(ox, oy, oz, dx, dy, dz, ax, ay, az, ux, uy, uz, vx, vy, vz):
    """Moeller and Trumbore's solution, from the front only."""
    px, py, pz = dy * vz - dz * vy, dz * vx - dx * vz, dx * vy - dy * vx
    det = ux * px + uy * py + uz * pz
    if det <= 0.0:
        return NONE
    x, y, z = ox - ax, oy - ay, oz - az
    u = (x * px + y * py + z * pz) / det
    qx, qy, qz = y * uz - z * uy, z * ux - x * uz, x * uy - y * ux
    v = (dx * qx + dy * qy + dz * qz) / det
    s = (vx * qx + vy * qy + vz * qz) / det
    inside = u >= -1e-9 and v >= -1e-9 and u + v <= 1.0 + 1e-9
    return s if s > BACKWARD and inside else NONE


@_inlined
def _around(nr, nz, x, y):
    """Turn a meridian's normal to the azimuth of the point."""
    r, size = math.hypot(x, y), math.hypot(nr, nz)
    if r == 0.0:
        return 0.0, 0.0, math.copysign(1.0, nz)
    return nr / size * x / r, nr / size * y / r, nz / size


@_inlined
def _hit_round(what, row, bounds, data, c0, c1, c2, oz, dz, per_z):
    """Meet a row's surface of revolution; returns s (none: inf), and u on a curve."""
    s, u = NONE, 0.0
    if what == PLANE:
        s = _hit_plane(
            c0, c1, c2, oz, per_z, data[row, 0], data[row, 1], data[row, 2], data[row, 3]
        )
    elif what == CONE:
        s = _hit_cone(
            c0, c1, c2, oz, dz,
            data[row, 0], data[row, 1], data[row, 2], data[row, 3], data[row, 4],
        )  # fmt: skip
    elif what == BALL:
        s = _hit_ball(
            c0, c1, oz, dz, data[row, 0], data[row, 1], data[row, 2], data[row, 3], data[row, 4]
        )
    elif ARC <= what <= SPLINE:
        d, e = data[row], bounds[row]
        s, u = _hit_curve(
            what, c0, c1, c2, oz, dz, per_z, e[1], e[2], e[3],
            d[0], d[1], d[2], d[3], d[4], d[5], d[6], d[7], d[8], d[9], d[10], d[11], d[12],
        )  # fmt: skip
    return s, u


@_inlined
def _hit_other(what, row, data, ox, oy, oz, dx, dy, dz):
    """Meet a row's surface that is not round about the axis; returns s (none: inf)."""
    d, s = data[row], NONE
    if what == POST:
        s = _hit_post(ox, oy, oz, dx, dy, dz, d[0], d[1], d[2], d[3], d[4])
    elif what == SIDE:
        s = _hit_side(ox, oy, oz, dx, dy, dz, d[0], d[1], d[2], d[3], d[4], d[5])
    elif what == POLYGON:
        s = _hit_polygon(ox, oy, oz, dx, dy, dz, d[0], d[1], d[2], d[3], d[4], d[5])
    elif what == TRIANGLE:
        s = _hit_triangle(
            ox, oy, oz, dx, dy, dz, d[0], d[1], d[2], d[3], d[4], d[5], d[6], d[7], d[8]
        )
    return s


@_inlined
def _normal_at(what, row, data, x, y, z, u):
    """Normal of a row's surface at a point of it, into the air."""
    d = data[row]
    nx, ny, nz = 0.0, 0.0, 0.0
    if what == PLANE:
        nz = d[3]
    elif what == CONE:
        nx, ny, nz = _around(d[3], -d[2], x, y)
    elif what == BALL:
        nx, ny, nz = d[2] * x / d[1], d[2] * y / d[1], d[2] * (z - d[0]) / d[1]
    elif what == POST:
        nx, ny = (x - d[0]) / d[2], (y - d[1]) / d[2]
    elif what == SIDE:
        nx, ny = d[0], d[1]
    elif what == POLYGON:
        nz = d[1]
    elif what == TRIANGLE:
        nx, ny, nz = d[9], d[10], d[11]
    else:
        _, _, dr, dzu = _curve_at(what, d[5], d[6], d[7], d[8], d[9], d[10], d[11], d[12], u)
        nx, ny, nz = _around(dzu, -dr, x, y)
    return nx, ny, nz


@_inlined
def _into_pose(pose, x, y, z):
    """Turn a direction as the upper body sees it."""
    return (
        pose[0] * x + pose[3] * y + pose[6] * z,
        pose[1] * x + pose[4] * y + pose[7] * z,
        pose[2] * x + pose[5] * y + pose[8] * z,
    )


@_inlined
def _out_of_pose(pose, x, y, z):
    """Turn a direction from the upper body's axes into those of the column."""
    return (
        pose[0] * x + pose[1] * y + pose[2] * z,
        pose[3] * x + pose[4] * y + pose[5] * z,
        pose[6] * x + pose[7] * y + pose[8] * z,
    )


@_inlined
def _nearest(kind, skip, moves, bounds, data, pose, wx, wy, wz, vx, vy, vz):
    """Distance to the first surface met (none: inf), its row, and u on a curve."""
    best, best_row, best_u = NONE, -1, 0.0
    moved, hanging, row = pose[12] != 0.0, 0, 0
    ox, oy, oz, dx, dy, dz = wx, wy, wz, vx, vy, vz
    c0, c1, c2, per_z = ox * ox + oy * oy, ox * dx + oy * dy, dx * dx + dy * dy, 1.0 / dz
    while row < len(kind):
        if moved and moves[row] != hanging:
            hanging = moves[row]
            ox, oy, oz, dx, dy, dz = wx, wy, wz, vx, vy, vz
            if hanging:
                ox, oy, oz = _into_pose(pose, wx - pose[9], wy - pose[10], wz - pose[11])
                dx, dy, dz = _into_pose(pose, vx, vy, vz)
            c0, c1, c2, per_z = ox * ox + oy * oy, ox * dx + oy * dy, dx * dx + dy * dy, 1.0 / dz
        what = kind[row]
        if what >= TRIANGLE:
            near, far = _slab(ox, 1.0 / dx, bounds[row, 0], bounds[row, 1], BACKWARD, best)
            near, far = _slab(oy, 1.0 / dy, bounds[row, 2], bounds[row, 3], near, far)
            near, far = _slab(oz, per_z, bounds[row, 4], bounds[row, 5], near, far)
            meets = near <= far
        else:
            meets = _may_meet(
                c0, c1, c2, oz, per_z,
                bounds[row, 0], bounds[row, 1], bounds[row, 2], bounds[row, 3], best,
            )  # fmt: skip
        if not meets:
            row = skip[row]
            continue
        u = 0.0
        if what <= SPLINE:
            s, u = _hit_round(what, row, bounds, data, c0, c1, c2, oz, dz, per_z)
        else:
            s = _hit_other(what, row, data, ox, oy, oz, dx, dy, dz)
        if s < best:
            best, best_row, best_u = s, row, u
        row += 1
    return best, best_row, best_u


@_inlined
def _reflected(kind, moves, data, pose, row, u, wx, wy, wz, vx, vy, vz):
    """Direction after a reflection at a point of a row's surface."""
    if moves[row] and pose[12] != 0.0:
        x, y, z = _into_pose(pose, wx - pose[9], wy - pose[10], wz - pose[11])
        nx, ny, nz = _normal_at(kind[row], row, data, x, y, z, u)
        nx, ny, nz = _out_of_pose(pose, nx, ny, nz)
    else:
        nx, ny, nz = _normal_at(kind[row], row, data, wx, wy, wz, u)
    twice = 2.0 * (vx * nx + vy * ny + vz * nz) / (nx * nx + ny * ny + nz * nz)
    vx, vy, vz = vx - twice * nx, vy - twice * ny, vz - twice * nz
    size = math.sqrt(vx * vx + vy * vy + vz * vz)
    return vx / size, vy / size, vz / size


@njit(cache=True, nogil=True, error_model="numpy")
def trace(
    kind, skip, moves, group, bounds, data, pose, origins, directions, most, places, out, code
):
    """Follow rays until they leave or have been reflected `most` times.

    Parameters
    ----------
    kind, skip, moves, group, bounds, data, pose
        Rows of a scene, see `dispersion.paths.scene.Scene`.
    origins, directions : (N, 3) arrays
        Metres; unit vectors.
    most : int
        Largest number of bounces.
    places : (N or 0, most + 2, 3) array
        Receives the start, every bounce and the direction of leaving; empty if not wanted.
    out : (N, 4) array
        Receives the direction of leaving and the path length up to the last bounce.
    code : (N, 3) whole-number array
        Receives the bounces, whether the ray is still trapped, and the first groups, the earliest
        in the highest bits.
    """
    for ray in range(len(origins)):
        wx, wy, wz = origins[ray, 0], origins[ray, 1], origins[ray, 2]
        vx, vy, vz = directions[ray, 0], directions[ray, 1], directions[ray, 2]
        length, bounces, history, trapped = 0.0, 0, np.int64(0), 0
        if len(places):
            places[ray, 0, 0], places[ray, 0, 1], places[ray, 0, 2] = wx, wy, wz
        while True:
            best, row, u = _nearest(kind, skip, moves, bounds, data, pose, wx, wy, wz, vx, vy, vz)
            if row < 0:
                break
            if bounces == most:
                trapped = 1
                break
            wx, wy, wz = wx + best * vx, wy + best * vy, wz + best * vz
            vx, vy, vz = _reflected(kind, moves, data, pose, row, u, wx, wy, wz, vx, vy, vz)
            length += best
            bounces += 1
            if bounces <= GROUPS_KEPT:
                history = (history << GROUP_BITS) | group[row]
            if len(places):
                places[ray, bounces, 0], places[ray, bounces, 1] = wx, wy
                places[ray, bounces, 2] = wz
        out[ray, 0], out[ray, 1], out[ray, 2], out[ray, 3] = vx, vy, vz, length
        code[ray, 0], code[ray, 1], code[ray, 2] = bounces, trapped, history
        if len(places):
            places[ray, bounces + 1, 0], places[ray, bounces + 1, 1] = vx, vy
            places[ray, bounces + 1, 2] = vz
