"""Acoustics of loudspeakers that radiate all round: no files, targets or commands in here.

Conventions
-----------
- SI inside; time factor exp(-i omega t), outgoing exp(+ikR) / (4 pi R).
- z up, z = 0 at the baffle's upper face; elevation 0 deg is horizontal, +90 straight up.
- 0 dB: see `dispersion.response`. Levels are never silently normalised.
- A band value is the mean of |p|^2 over at least four log-spaced frequencies in the band.

Submodules are imported by name, so that a command loads the wave solver only when it solves.
"""
