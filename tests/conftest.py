"""What every test shares: `small` beside it, and no solve in anybody's ledger."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(autouse=True)
def ledger_of_its_own(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROUNDCAST_LEDGER", str(tmp_path_factory.mktemp("ledger") / "solves.sqlite"))
