"""The quick picture: rays, image sources, simple diffraction, posts.

Each takes the same `Problem` as the wave solver. They give the reason where the wave solver gives
the answer, and what is not round; how far each can be believed is measured, not assumed (see
`studies.questions.trust`). Same conventions as `dispersion`: SI, exp(-i omega t), z up, elevation
from the horizontal, azimuth from the first post.
"""

from numba import config

from dispersion.code_version import keep_kernels

keep_kernels(config)  # before any kernel is defined
