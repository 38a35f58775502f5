"""How far the level swings round the column."""

from studies.answer.charts.around import AroundTrace, around_figure, azimuth_figure
from studies.answer.picture import Picture, Pictures
from studies.questions.posts.study import PostsStudy


def posts_pictures(study: PostsStudy) -> Pictures:
    """Draw how far the level swings round the column."""
    title, own = study.design.title, study.own
    traces = [
        AroundTrace(name, ripple.centres, ripple.minimum_db, ripple.maximum_db)
        for name, ripple in study.ripples.items()
    ]
    azimuth = azimuth_figure(
        f"{title}: posts {study.own_name}", own.azimuths_deg, own.centres, own.level_db
    )
    return {
        "around": Picture(
            around_figure(f"{title}: level round the column", traces),
            "How far the level swings as you walk round the column"
            + ("." if study.exact else ", by estimate."),
        ),
        "azimuth": Picture(azimuth, "Where round the column it is louder and softer."),
    }
