"""How far the level swings round the column."""

from studies.answer.charts.around import (
    AroundTrace,
    around_figure,
    azimuth_figure,
    places_figure,
)
from studies.answer.picture import Picture, Pictures
from studies.questions.posts.study import PostsStudy


def posts_pictures(study: PostsStudy) -> Pictures:
    """Draw how far the level swings round the column."""
    title, own = study.design.title, study.own
    traces = [
        AroundTrace(name, ripple.centres, ripple.minimum_db, ripple.maximum_db)
        for name, ripple in study.ripples.items()
    ]
    levels = {"dB re no posts": own.level_db, "dB about the mean of the band": own.about_mean_db}
    if study.bare_db is not None:
        window = study.bare_db[:, None] + own.level_db
        levels = {"window level, dB re 0 dB": window} | levels
    azimuth = azimuth_figure(
        f"{title}: posts {study.own_name}", own.azimuths_deg, own.centres, levels
    )
    places = places_figure(
        f"{title}: posts {study.own_name} from above",
        own.azimuths_deg,
        own.most_off_db,
        study.posts_deg,
        study.best_deg,
    )
    return {
        "around": Picture(
            around_figure(f"{title}: level round the column", traces),
            "How far the level swings as you walk round the column"
            + ("." if study.exact else ", by estimate."),
        ),
        "azimuth": Picture(
            azimuth,
            "Where round the column it is louder and softer"
            + (": first as it is, then" if study.bare_db is not None else ":")
            + " what the posts change, then without what all directions share.",
        ),
        "places": Picture(
            places,
            "Seen from above: how far any band is off its mean in each direction. Sit, or turn the"
            " posts, so that you are in the direction of a triangle.",
        ),
    }
