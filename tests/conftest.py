"""What every test shares: no test finds, or leaves, a solve in anybody's ledger."""

import pytest


@pytest.fixture(autouse=True)
def ledger_of_its_own(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROUNDCAST_LEDGER", str(tmp_path_factory.mktemp("ledger") / "solves.sqlite"))
