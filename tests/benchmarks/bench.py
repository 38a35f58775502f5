"""How soon the bench answers: from a changed key to section, first curve and settled answer.

    python tests/benchmarks/bench.py

Prints wall time, processor time and memory on the example; nothing is kept. Aims: section within
0.1 s, first curve within 0.5 s on two quiet cores.
"""

import resource
import statistics
import tempfile
import threading
import time
from pathlib import Path

from studies.answer.listening.panel import script_of
from studies.bench.app import LISTENING, STATIC, plotly_script
from studies.bench.desk import Edition
from studies.bench.workbench import Workbench
from studies.solving.options import SolverOptions

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "studies" / "examples"
SETTLED, CHANGES = 5, 100


def main() -> None:
    folder = Path(tempfile.mkdtemp(prefix="roundcast-bench-"))
    for file in EXAMPLES.glob("*.toml"):
        (folder / file.name).write_bytes(file.read_bytes())
    bench = Workbench(folder, SolverOptions(no_ledger=True, yes=True))
    try:
        _measure(bench, folder)
    finally:
        bench.close()
    _page_weight()


def _measure(bench: Workbench, folder: Path) -> None:
    told: list[tuple[float, dict]] = []
    there = threading.Condition()

    def tell(kind: str, data: dict) -> None:
        if kind == "live":
            with there:
                told.append((time.perf_counter(), data))
                there.notify_all()

    bench.channel.tell = tell  # type: ignore[method-assign]
    path = folder / "reading_room.toml"
    bench.lay(Edition(path.read_text(encoding="utf-8"), path))
    with there:
        there.wait_for(lambda: told and told[-1][1].get("last"), timeout=600)
    sections, by_stage = [], {}
    for number in range(SETTLED):
        start, used = time.perf_counter(), time.process_time()
        shown = bench.edit("reflector.keep", "set", f"{30 + number}.5")
        sections.append((time.perf_counter() - start, time.process_time() - used))
        version = shown["version"]
        with there:
            there.wait_for(
                lambda v=version: told[-1][1]["version"] == v and told[-1][1]["last"], timeout=600
            )
        for at, data in told:
            if data["version"] == version:
                by_stage.setdefault(data["stage"], []).append(at - start)
    wall, cpu = (statistics.median(column) for column in zip(*sections, strict=True))
    print(f"key to section (form, words, outline): {wall:.3f} s, processor {cpu:.3f} s")
    for stage, seconds in by_stage.items():
        print(f"key to answer, {stage}: {statistics.median(seconds):.2f} s")
    before = _peak_mib()
    for number in range(CHANGES):
        bench.edit("reflector.keep", "set", f"{20 + 0.3 * number:.1f}")
    version = bench.desk.version
    with there:
        there.wait_for(
            lambda: told[-1][1]["version"] == version and told[-1][1]["last"], timeout=600
        )
    print(f"peak memory: {before:.0f} MiB, after {CHANGES} more changes {_peak_mib():.0f} MiB")


def _page_weight() -> None:
    static = ROOT / "studies" / "bench" / "static"
    own = sum((static / name).stat().st_size for name in STATIC)
    own += sum(len(script_of(name)) for name in LISTENING)
    print(f"page: {own / 1e3:.0f} kB of its own, plotly {len(plotly_script()) / 1e6:.1f} MB")


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
