"""A name of a class stands for one thing in the whole project."""

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("shapes", "dispersion", "studies")


def test_no_class_name_stands_twice() -> None:
    homes = defaultdict(list)
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ClassDef):
                    homes[node.name].append(f"{path.relative_to(ROOT)}, line {node.lineno}")
    assert len(homes) > 100
    assert {name: places for name, places in homes.items() if len(places) > 1} == {}
