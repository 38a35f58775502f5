"""Directivity of pistons, caps and points on spheres, against beamshapes.

beamshapes 0.2 (MIT; a library of bioacoustics): levels over the axis, by the series and matrices of
Beranek & Mellow, Acoustics: Sound Fields and Transducers (2012), 12.5 to 12.7 and 13.7, in sympy,
mpmath and python-flint. Its piston in a sphere is a flat disc that closes a cut-off ball, a case
that nothing else here covers. Half angles are as seen from the middle of the ball, R its radius.

Allowed: the project's promise, 0.1 dB where a level is within 30 dB of the loudest. No solver here
knows a baffle without an end: of the flush piston the edge of a wide one is allowed for, as
test_baffled_piston.py does it.
"""

import numpy as np
import pytest

beamshapes = pytest.importorskip("beamshapes")

POLAR_DEG = np.array([30.0, 60.0, 90.0, 120.0, 150.0, 180.0])
POINT = 0.2
"""Half angle in degrees of a cap that is as good as a point: 0.006 dB at order 20."""
