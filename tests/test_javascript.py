"""Scripts of the pages: types by TypeScript's checker, arithmetic of the test sounds by node.

Both are skipped where the tools are missing; ROUNDCAST_NPM names a folder of npm's modules.
"""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BENCH = ROOT / "studies" / "bench" / "static"
LISTENING = ROOT / "studies" / "answer" / "listening" / "templates"
STRICT = {
    "noEmit": True, "allowJs": True, "checkJs": True, "strict": True, "target": "es2022",
    "module": "esnext", "moduleResolution": "bundler", "lib": ["es2022", "dom", "dom.iterable"],
    "types": [], "rootDirs": [str(BENCH), str(LISTENING)],
}  # fmt: skip


def test_types_of_the_scripts_hold(tmp_path: Path) -> None:
    checker = Path(os.environ.get("ROUNDCAST_NPM", "node_modules")) / ".bin" / "tsc"
    if not checker.exists():
        pytest.skip("no TypeScript here: npm install typescript")
    files = [str(BENCH / "bench.js"), str(BENCH / "globals.d.ts")]
    config = tmp_path / "tsconfig.json"
    config.write_text(json.dumps({"compilerOptions": STRICT, "files": files}))
    result = subprocess.run([checker, "-p", config], capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stdout


def computed(code: str) -> object:
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node here")
    script = f'import * as sounds from "{(LISTENING / "sounds.js").as_uri()}";\n{code}'
    command = [node, "--input-type=module", "-e", script]
    return json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def test_loudness_is_that_of_the_standard() -> None:
    """ITU-R BS.1770: 997 Hz at full scale in one channel reads -3.01 LKFS; 20 dB less, 20 less.

    Pauses do not count, by the gate.
    """
    found = computed(
        """
        const tone = (level, pause) => Float32Array.from({length: 48000 * 6}, (_, n) =>
          n >= 48000 * (6 - pause) ? 0 : level * Math.sin(2 * Math.PI * 997 * n / 48000));
        console.log(JSON.stringify([sounds.loudness(tone(1, 0)), sounds.loudness(tone(0.1, 0)),
          sounds.loudness(tone(1, 3)), String(sounds.loudness(tone(0, 0)))]));
        """
    )
    assert isinstance(found, list)
    assert found[:2] == pytest.approx([-3.01, -23.01], abs=0.005)
    assert found[2] == pytest.approx(-3.01, abs=0.5)  # blocks on the edge count in part
    assert found[3] == "-Infinity"


def test_odds_of_guessing_are_the_tail_of_the_binomial() -> None:
    """Of ten: 9 or more in (1 + 10) / 1024 of all cases, 0 or more always; 16 of 16 in 2^-16."""
    found = computed(
        "console.log(JSON.stringify([[9, 10], [0, 10], [16, 16]]"
        ".map((given) => sounds.chanceOfGuessing(...given))));"
    )
    assert found == pytest.approx([11 / 1024, 1.0, 2.0**-16], abs=1e-12)


def test_test_sounds_are_the_same_every_time_and_within_full_scale() -> None:
    found = computed(
        """
        console.log(JSON.stringify(Object.values(sounds.SOUNDS).map((make) => {
          const [once, again] = [make(48000), make(48000)];
          let most = 0;
          for (const value of once) most = Math.max(most, Math.abs(value));
          return [once.length, most, once.every((value, n) => value === again[n])];
        })));
        """
    )
    assert isinstance(found, list) and len(found) == 4
    for length, most, same in found:
        assert (length, same) == (192_000, True) and 0.5 < most <= 1.0
