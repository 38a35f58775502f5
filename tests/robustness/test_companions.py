"""Any bytes as a driver's curve: finite numbers come of it, or a refusal that names the file."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from dispersion.driver_curve import CurveError, read_driver_curve

NUMBERLIKE = st.text(alphabet="0123456789.,;- \t\n\"#eEnaif+'xHz\r", max_size=60)


@settings(
    max_examples=200,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.one_of(st.binary(max_size=120), NUMBERLIKE.map(str.encode)))
@example(b"100 1e308\n200 80\n")
@example(b"100 nan\n200 80\n")
@example(b"100 80\n1e400 80\n")
def test_any_bytes_give_a_finite_curve_or_a_refusal(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "curve.txt"
    path.write_bytes(content)
    try:
        curve = read_driver_curve(path, "hold")
    except CurveError as refused:
        assert str(refused).startswith(str(path))
        return
    levelled = curve.with_zero(curve.usual_level())
    assert np.isfinite(levelled.response([20.0, 1000.0, 20_000.0])).all()


@pytest.mark.parametrize("level", ["301", "-1e9"])
def test_another_column_is_no_level(tmp_path: Path, level: str) -> None:
    path = tmp_path / "curve.txt"
    path.write_text(f"100 80\n200 {level}\n", encoding="utf-8")
    with pytest.raises(CurveError, match=r"curve\.txt, line 2: .* is no level of a driver"):
        read_driver_curve(path)
