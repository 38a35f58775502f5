"""Rays, posts and the trust in quick methods."""

from __future__ import annotations

from studies.charts import AroundTrace, around_figure, azimuth_figure, rays_figure, trust_figure
from studies.pictures.picture import Picture, Pictures
from studies.posts import PostsStudy
from studies.rays import RayStudy
from studies.trust import WITHIN_DB, Trust


def rays_pictures(study: RayStudy) -> Pictures:
    """Draw rays through the section; nothing for a free form, which has none."""
    if not study.paths:
        return {}
    subtitle = f"rays mean something above about {study.meaningful_above_hz / 1e3:.2g} kHz"
    lines = [path.points for path in study.paths]
    figure = rays_figure(study.design.title, study.design.assembly(), lines, subtitle)
    caption = "Which way the sound leaves after one, two and more bounces, if it were light."
    return {"section": Picture(figure, caption)}


def posts_pictures(study: PostsStudy) -> Pictures:
    """Draw how far the level swings round the column."""
    title, own = study.design.title, study.own
    traces = [
        AroundTrace(name, ripple.centres, ripple.minimum_db, ripple.maximum_db)
        for name, ripple in study.ripples.items()
    ]
    name = next(iter(study.ripples))
    azimuth = azimuth_figure(f"{title}: posts {name}", own.azimuths_deg, own.centres, own.level_db)
    return {
        "around": Picture(
            around_figure(f"{title}: level round the column", traces),
            "How far the level swings as you walk round the column, by estimate.",
        ),
        "azimuth": Picture(azimuth, "Where round the column it is louder and softer."),
    }


def trust_pictures(trust: Trust) -> Pictures:
    """Draw how far each method is from the wave solver."""
    rms = {method: trust.rms_db(method) for method in trust.methods}
    title = f"{trust.design.title}: window level, {len(trust.cases)} designs"
    figure = trust_figure(title, trust.centres, rms, WITHIN_DB)
    return {"trust": Picture(figure, "How far each quick method is off, pitch by pitch.")}
